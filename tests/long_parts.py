"""The full-size checks, in parts named by issue, each at most 30 minutes.

`scripts/test --long` runs all of them, `scripts/test --long NAME...` the named
ones. SALTLOFT_LONG_BUDGET_SECONDS stops starting new parts when it is spent
and says which were left.
"""

from __future__ import annotations

import os
import subprocess
import sys
import time

PARTS: dict[str, list[str]] = {
    "drying": ["pytest", "tests/reference", "tests/numerics", "-m", "long"],
    "trace": ["pytest", "tests/integration/test_trace_long.py", "-m", "long"],
    "records": [
        "pytest",
        "tests/integration/test_kill.py",
        "tests/integration/test_api_contract.py",
        "-m",
        "long",
    ],
    "truth": [
        "pytest",
        "tests/unit/truth",
        "tests/integration/test_truth_engine.py",
        "tests/integration/test_early_warning.py",
        "-m",
        "long",
    ],
}


def main(names: list[str]) -> int:
    """Run the parts; returns the exit code."""
    unknown = [name for name in names if name not in PARTS]
    if unknown:
        print(f"no part is called {', '.join(unknown)}; there are: {', '.join(PARTS)}", file=sys.stderr)
        return 2
    budget = float(os.environ.get("SALTLOFT_LONG_BUDGET_SECONDS", "inf"))
    started = time.monotonic()
    failed: list[str] = []
    for name in names or list(PARTS):
        if time.monotonic() - started > budget:
            print(f"-- {name}: left for another run, the time is spent")
            continue
        print(f"-- {name}")
        code = subprocess.run([sys.executable, "-m", *PARTS[name]], check=False).returncode
        if code:
            failed.append(name)
    if failed:
        print(f"failed: {', '.join(failed)}", file=sys.stderr)
    return 1 if failed else 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
