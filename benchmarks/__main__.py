"""`scripts/bench [NAME] [ARGS...]`: one benchmark by name, or the list of them."""

from __future__ import annotations

import pkgutil
import runpy
import sys

import benchmarks

NAMES = sorted(
    found.name for found in pkgutil.iter_modules(benchmarks.__path__) if not found.name.startswith("_")
)


def main() -> int:
    """Run the named benchmark with the rest of the arguments."""
    if len(sys.argv) < 2 or sys.argv[1] not in NAMES:
        print(f"scripts/bench NAME, one of: {', '.join(NAMES)}", file=sys.stderr)
        return 0 if len(sys.argv) < 2 else 2
    name = sys.argv.pop(1)
    runpy.run_module(f"benchmarks.{name}", run_name="__main__", alter_sys=True)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
