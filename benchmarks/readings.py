"""Import five million readings into a new house, and read a month of one series: time and peak memory.

    scripts/bench readings [--json]

One file of 2.5 million lines, two series, one reading a minute; it is parsed as a
person's import is, sealed in one batch and stored with full durability.
"""

from __future__ import annotations

import argparse
import json
import resource
import tempfile
import time
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path

import numpy as np

from benchmarks._machine import machine
from saltloft.house import House
from saltloft.jobs import record, watch
from saltloft.jobs.watch import Said
from saltloft.plant.rooms import RoomDefined
from saltloft.plant.stated import Draft, Stamp

NOW = datetime(2026, 11, 3, 18, 0, tzinfo=UTC)
START = datetime(2022, 1, 3, 0, 0, tzinfo=UTC)
FILES, LINES, BLOCK = 1, 2_500_000, 10_000
BY = Stamp("administrator", "console", NOW)


def peak_mb() -> float:
    """The most memory this process has held. [MB]"""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0


def write_logger_file(path: Path, seed: int) -> None:
    """One room's log, a block of lines at a time so that making it needs no memory of its own."""
    random = np.random.Generator(np.random.Philox(seed))
    with path.open("w", encoding="utf-8") as out:
        out.write("Timestamp UTC,Temperature (°C),RH (%)\n")
        for first in range(0, LINES, BLOCK):
            celsius = 14.0 + 0.4 * random.standard_normal(BLOCK)
            rh = 78.0 + 2.0 * random.standard_normal(BLOCK)
            for row in range(BLOCK):
                moment = START + timedelta(minutes=first + row)
                out.write(f"{moment:%Y-%m-%dT%H:%M:%SZ},{celsius[row]:.2f},{rh[row]:.1f}\n")


def measure(folder: Path) -> dict[str, float]:
    """Import every file and read a month back."""
    for number in range(FILES):
        write_logger_file(folder / f"R{number}.csv", number)
    with House.create(folder / "house", "Bench", "Europe/Vienna", clock=lambda: NOW) as house:
        rooms = [RoomDefined(f"R{n}", "drying", 7000, Decimal(400), Decimal(30)) for n in range(FILES)]
        record.enter(house, BY, [Draft(house.new_id(), room, NOW) for room in rooms])
        before = peak_mb()
        begun, added = time.perf_counter(), 0
        for number in range(FILES):
            name = f"R{number}.csv"
            data = watch.read_bytes(folder / name)
            taken = watch.import_file(
                house, BY, name, data, Said(zone="UTC", room=f"R{number}"), entry_id=house.new_id()
            )
            if taken.status != watch.STORED:
                raise SystemExit(f"{name}: {taken.status}: {taken.words}")
            added += taken.added
        import_s = time.perf_counter() - begun
        begun = time.perf_counter()
        times, _ = house.store.readings.trace(
            "R0", "temperature_c", START + timedelta(days=90), START + timedelta(days=120)
        )
        month_ms = 1e3 * (time.perf_counter() - begun)
    return {
        "readings": added,
        "import_s": import_s,
        "before_mb": before,
        "memory_mb": peak_mb(),
        "month_readings": len(times),
        "month_ms": month_ms,
    }


def main() -> None:
    """Print the figures with machine and versions."""
    parser = argparse.ArgumentParser(prog="scripts/bench readings", description=__doc__)
    parser.add_argument("--json", action="store_true")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="saltloft-readings-") as folder:
        figures = measure(Path(folder))
    if given.json:
        print(json.dumps({**figures, **machine()}))
        return
    for name, value in {**figures, **machine()}.items():
        print(f"{name:16} {value:.1f}" if isinstance(value, float) else f"{name:16} {value}")


if __name__ == "__main__":
    main()
