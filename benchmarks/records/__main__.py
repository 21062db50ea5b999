"""Entries a second through the web API, also on a slow disk; walking and rebuilding a long journal.

    scripts/bench records [--json] [--seconds 60] [--rate 200] [--entries 500000]

Twenty phones weigh pieces of four lots, one of them crowded before, on one house as
`saltloft serve` runs it, its worker included. The slow disk is a library compiled on the spot and
loaded before the C library of the web process: every fsync takes 10 ms longer.
"""

from __future__ import annotations

import argparse
import asyncio
import json
import os
import shutil
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path

from benchmarks._machine import machine
from benchmarks.records.phones import send
from saltloft.foundation.units import mass
from saltloft.house import House
from saltloft.jobs import people, record
from saltloft.plant.canonical import canonical_bytes
from saltloft.plant.entries import encode
from saltloft.plant.instruments import InstrumentDefined
from saltloft.plant.lots import Consumed, LotHung, LotMade
from saltloft.plant.people import PersonAdded
from saltloft.plant.readings import PieceWeighed
from saltloft.plant.recipes import Ingredient, ProductDefined, RecipeDefined, StageTarget
from saltloft.plant.rooms import RoomDefined
from saltloft.plant.stated import Draft, Stamp
from saltloft.plant.stock import MaterialReceived
from saltloft.store import journal, writing
from saltloft.store.journal import NewEntry

PHONES = 20
LOTS = ["AL-0401", "AL-0402", "AL-0403", "AL-0404"]
CROWD = 5000
SLOW_MS = 10
NOW = datetime.now(UTC).replace(microsecond=0)
MADE = NOW - timedelta(days=9)
BY = Stamp("administrator", "console", NOW)


def make(folder: Path, url: str = "") -> House:
    """A house with four hanging lots, the first with thousands of weighings."""
    house = House.create(folder, "Bench", "Europe/Vienna", database_url=url)
    lines = (
        Ingredient("lean trim", "meat", Decimal(730), "10072"),
        Ingredient("backfat", "fat", Decimal(270), "10004"),
    )
    stage = StageTarget("fermentation", Decimal(72), Decimal(22), Decimal(92), Decimal("0.3"))
    product = ProductDefined(
        "alder", "AL", "dry_sausage", "Alder 65", "alder-1", Decimal(65), Decimal(300), "fibrous", 1,
        (stage,), Decimal(35),
    )  # fmt: skip
    payloads = [
        PersonAdded("maren", "curer"),
        RoomDefined("D2", "drying", 70_000, Decimal(150), Decimal(35)),
        InstrumentDefined("S1", "scale", "5 g"),
        MaterialReceived("LT-1", "lean trim", "s-01", mass("25000", "kg")),
        MaterialReceived("BF-1", "backfat", "s-01", mass("9000", "kg")),
        RecipeDefined("alder-1", "meat", lines),
        product,
    ]
    for lot in LOTS:
        used = (
            Consumed("LT-1", "lean trim", mass("940", "kg")),
            Consumed("BF-1", "backfat", mass("350", "kg")),
        )
        payloads += [LotMade(lot, "alder", "alder-1", used, mass("1280", "kg"), 1306, Decimal("5.86"))]
        payloads += [LotHung(lot, "D2")]
    receipts = record.enter(house, BY, [Draft(house.new_id(), payload, MADE) for payload in payloads])
    refused = [receipt for receipt in receipts if receipt.status != "stored"]
    if refused:
        raise SystemExit(f"the house cannot be made: {refused[0]}")
    crowd(house, LOTS[:1], CROWD)
    return house


def stated(entry_id: str, kind: str, subject: str, body: bytes, second: int) -> NewEntry:
    """An entry as the journal takes it, so many seconds after the lots were made."""
    at = MADE + timedelta(seconds=second)
    return NewEntry(entry_id, kind, subject, body, at, NOW, "maren", "phone")


def crowd(house: House, lots: list[str], count: int) -> None:
    """Write that many weighings, spread over the lots, straight into the journal."""
    body = {lot: canonical_bytes(encode(PieceWeighed(lot, mass("1.01", "kg"), "S1", "77"))) for lot in lots}
    for start in range(0, count, 2000):
        numbers = range(start, min(start + 2000, count))
        entries = [
            stated(f"crowd-{number:012d}", "piece.weighed/1", lot, body[lot], number % 80_000)
            for number in numbers
            for lot in [lots[number % len(lots)]]
        ]
        house.store.write(lambda connection, entries=entries: writing.append(connection, entries))


def wait_for(port: int) -> None:
    """Until the pages answer."""
    end = time.monotonic() + 120.0
    while time.monotonic() < end:
        try:
            urllib.request.urlopen(f"http://127.0.0.1:{port}/sign-in", timeout=5).close()
        except OSError:
            time.sleep(0.1)
        else:
            return
    raise SystemExit("the pages did not answer")


@contextmanager
def served(folder: Path, slow: Path | None) -> Iterator[int]:
    """`saltloft serve` of the house on a free port, on a slow disk when the library is given."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = int(free.getsockname()[1])
    environment = {**os.environ, "SALTLOFT_HOUSE": str(folder)}
    if slow is not None:
        environment |= {"LD_PRELOAD": str(slow), "SLOW_FSYNC_MS": str(SLOW_MS)}
    command = [
        str(Path(sys.executable).with_name("saltloft")),
        "serve",
        "--house",
        str(folder),
        "--port",
        str(port),
    ]
    process = subprocess.Popen(command, env=environment, stdout=subprocess.DEVNULL)
    try:
        wait_for(port)
        yield port
    finally:
        process.terminate()
        process.wait(10)


def slow_disk(folder: Path) -> Path | None:
    """The compiled library that slows fsync down; None without a C compiler."""
    compiler = shutil.which("cc")
    if compiler is None:
        return None
    source, library = Path(__file__).with_name("slow_fsync.c"), folder / "slow_fsync.so"
    subprocess.run([compiler, "-shared", "-fPIC", "-O1", "-o", library, source, "-ldl"], check=True)
    return library


def entries(
    folder: Path, rate: float, seconds: float, *, slow: Path | None, url: str = ""
) -> dict[str, float]:
    """Let the phones send; how many a second were acknowledged, and how long they waited."""
    with make(folder, url) as house:
        codes = [people.make_link(house, "maren", house.now()) for _ in range(PHONES)]
    with served(folder, slow) as port:
        answers = asyncio.run(send(port, codes, LOTS, rate=rate, seconds=seconds, at=NOW.isoformat()))
    with House.open(folder) as house:
        whole = house.store.verify().whole
        with house.store.database.reading() as connection:
            weighed = sum(entry.kind == "piece.weighed/1" for entry in journal.walk(connection)) - CROWD
    stored = answers.statuses.get("stored", 0)
    if not whole or weighed != stored:
        raise SystemExit(f"the journal does not hold what was acknowledged: {answers.statuses}")
    return {
        "entries_s": stored / seconds,
        "refused": float(sum(answers.statuses.values()) - stored),
        "p50_ms": answers.milliseconds(50),
        "p99_ms": answers.milliseconds(99),
        "most_ms": answers.milliseconds(100),
    }


def long_journal(folder: Path, count: int) -> dict[str, float]:
    """A journal of that many entries: walked, and its tables built anew."""
    with make(folder) as house:
        crowd_more = count - (head.seq if (head := house.store.head()) else 0)
        body_lots = [f"XX-{number:04d}" for number in range(400)]
        crowd_from(house, body_lots, crowd_more)
        begun = time.perf_counter()
        found = house.store.verify()
        verify_s = time.perf_counter() - begun
        begun = time.perf_counter()
        house.store.rebuild()
        rebuild_s = time.perf_counter() - begun
    if not found.whole or found.entries != count:
        raise SystemExit(f"{found.entries} entries, {found.faults}")
    return {"entries": float(count), "verify_s": verify_s, "rebuild_s": rebuild_s}


def crowd_from(house: House, lots: list[str], count: int) -> None:
    """Lots of their own with their weighings, straight into the journal."""
    used = (Consumed("LT-1", "lean trim", mass("9", "kg")),)
    made = [LotMade(lot, "alder", "alder-1", used, mass("8", "kg"), 9, Decimal("5.86")) for lot in lots]
    entries = [
        stated(f"made-{lot.lot}", "lot.made/1", lot.lot, canonical_bytes(encode(lot)), 0) for lot in made
    ]
    house.store.write(lambda connection: writing.append(connection, entries))
    body = {lot: canonical_bytes(encode(PieceWeighed(lot, mass("1.01", "kg"), "S1", "77"))) for lot in lots}
    for start in range(0, count - len(lots), 5000):
        rows = [
            stated(f"long-{number:012d}", "piece.weighed/1", lot, body[lot], number // len(lots))
            for number in range(start, min(start + 5000, count - len(lots)))
            for lot in [lots[number % len(lots)]]
        ]
        house.store.write(lambda connection, rows=rows: writing.append(connection, rows))


def main() -> None:
    """Measure and print."""
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    options.add_argument("--json", action="store_true")
    options.add_argument("--seconds", type=float, default=60.0)
    options.add_argument("--rate", type=float, default=200.0)
    options.add_argument("--entries", type=int, default=500_000)
    options.add_argument("--only", choices=("entries", "slow", "journal"), default="")
    said = options.parse_args()
    figures: dict[str, object] = {"benchmark": "records", "machine": machine()}
    with tempfile.TemporaryDirectory(prefix="saltloft-records-") as aside:
        folder = Path(aside)
        if said.only in ("", "entries"):
            figures["entries"] = entries(folder / "plain", said.rate, said.seconds, slow=None)
        if said.only in ("", "slow"):
            slow = slow_disk(folder)
            if slow is None:
                figures["with_slow_fsync"] = "not measured: there is no C compiler (cc) here"
            else:
                figures["with_slow_fsync"] = entries(folder / "slow", said.rate, said.seconds, slow=slow)
        if said.only in ("", "journal"):
            figures["journal"] = long_journal(folder / "long", said.entries)
    if said.json:
        print(json.dumps(figures, indent=2))
        return
    for name, part in figures.items():
        print(name, part if not isinstance(part, dict) else "")
        for key, value in part.items() if isinstance(part, dict) else ():
            print(f"  {key}: {value:.1f}" if isinstance(value, float) else f"  {key}: {value}")


if __name__ == "__main__":
    main()
