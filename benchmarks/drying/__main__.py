"""Speed of the drying engine beside other ways in the same run, and of whole answers.

    scripts/bench drying [--json] [--more]

us_per_member: one thread, 1,024 members, 90 days of an hourly log that jumps daily, salt and
surface cooling in. error: worst weight loss of any member on any day against the same log hour
by hour with small steps and more nodes. The references are carried on few members: LSODA at the
loosest tolerance whose own error is no worse than the engine's. memory_mb is the peak of a
process that does the morning and nothing else.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys

from benchmarks._machine import machine
from benchmarks.drying import engine, house

NAMES = (
    "us_per_member",
    "error",
    "lsoda_compiled_ratio",
    "lsoda_python_ratio",
    "same_scheme_scalar_ratio",
    "calibration_ms",
    "forecast_400_ms",
    "morning_s",
    "morning_next_s",
    "memory_mb",
)


def morning_alone() -> dict[str, float]:
    """The morning in a process of its own, for its memory."""
    done = subprocess.run(
        [sys.executable, "-m", "benchmarks.drying", "--morning"], check=True, capture_output=True, text=True
    )
    found: dict[str, float] = json.loads(done.stdout)
    return found


def measure() -> tuple[dict[str, float], dict[str, float]]:
    """The figures by NAMES, and what lies behind them."""
    found = engine.measure()
    own = found.us_per_member
    figures = {
        "us_per_member": own,
        "error": found.error,
        "lsoda_compiled_ratio": found.lsoda_compiled.us_per_member / own,
        "lsoda_python_ratio": found.lsoda_python.us_per_member / own,
        "same_scheme_scalar_ratio": found.scalar.us_per_member / own,
        **house.one_lot(),
    }
    alone = morning_alone()
    more = {
        "steps": found.steps,
        "lsoda_members": float(engine.LSODA_MEMBERS),
        "lsoda_rtol": found.lsoda_compiled.rtol,
        "lsoda_error": found.lsoda_compiled.error,
        "lsoda_us_per_member": found.lsoda_compiled.us_per_member,
        "lsoda_python_members": float(engine.PYTHON_MEMBERS),
        "lsoda_python_error": found.lsoda_python.error,
        "lsoda_python_us_per_member": found.lsoda_python.us_per_member,
        "scalar_members": float(engine.SCALAR_MEMBERS),
        "scalar_us_per_member": found.scalar.us_per_member,
        "kept_mb": alone.pop("kept_mb"),
    }
    return figures | alone, more


def main() -> None:
    """Print the figures with machine and versions."""
    parser = argparse.ArgumentParser(prog="scripts/bench drying", description=__doc__)
    parser.add_argument("--json", action="store_true", help="one JSON object")
    parser.add_argument("--more", action="store_true", help="also what lies behind the ratios")
    parser.add_argument("--morning", action="store_true", help="the morning alone, as JSON")
    given = parser.parse_args()
    if given.morning:
        print(json.dumps(house.morning() | {"memory_mb": house.peak_mb()}))
        return
    figures, more = measure()
    shown = {name: figures[name] for name in NAMES} | (more if given.more else {})
    if given.json:
        print(json.dumps(shown | machine()))
        return
    for name, value in (shown | machine()).items():
        print(f"{name:28} {value:.4g}" if isinstance(value, float) else f"{name:28} {value}")


if __name__ == "__main__":
    main()
