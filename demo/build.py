"""Write the whole demo year: logger files, records, intended releases, and apart from them the truth."""

from __future__ import annotations

import hashlib
import json
import lzma
from collections.abc import Iterable
from pathlib import Path

from demo.clock import TODAY, ZONE_NAME, text_of
from demo.house import PEOPLE
from demo.loggers.downloads import downloads
from demo.records.book import Book, Plain
from demo.records.flow import contacts, flow
from demo.records.fresh import batch, fresh_days
from demo.records.hams import hams
from demo.records.heat_week import heat_week
from demo.records.numbers import numbers
from demo.records.sausages import Writer
from demo.records.setup import instrument_checks, room_settings, rounds, set_up
from demo.records.shipping import confirmations, documents, releases
from demo.records.stock import Stock
from demo.truth.year import LotLife, Year, simulate

SHIPPED_SEED = 20261103
FORMAT = 1


def build(seed: int, folder: Path, truth_file: Path | None = None) -> Path:
    """Write the demo files of one seed; the same seed writes the same bytes.

    Args:
        seed: int. Seed of the whole house.
        folder: Path. Made when missing; gets manifest.json, records.jsonl.xz and loggers/*.csv.xz.
        truth_file: Path or None. Where the truth goes; it never belongs into `folder`.

    Returns:
        Path. The folder.
    """
    year = simulate(seed)
    write_files(seed, year, folder)
    if truth_file is not None:
        truth_file.write_text(json.dumps(truth(seed, year), separators=(",", ":")) + "\n", encoding="utf-8")
    return folder


def write_files(seed: int, year: Year, folder: Path) -> None:
    """Write what the house's people and loggers left of a year that was lived through."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "loggers").mkdir(exist_ok=True)
    for old in (folder / "loggers").iterdir():
        old.unlink()
    book, attempts = write_records(seed, year)
    _pack(folder / "records.jsonl.xz", "".join(_line(record) for record in book).encode())
    files = _logger_files(seed, year, folder / "loggers")
    manifest = {
        "format": FORMAT,
        "seed": seed,
        "generator": generator_digest(),
        "zone": ZONE_NAME,
        "today": text_of(TODAY),
        "names": {person: name for person, _, name, _ in PEOPLE},
        "contacts": contacts(),
        "confirmations": confirmations(),
        "releases": attempts,
        "logger_files": files,
    }
    (folder / "manifest.json").write_text(
        json.dumps(manifest, indent=1, sort_keys=True) + "\n", encoding="utf-8"
    )


def build_if_stale(seed: int, folder: Path) -> bool:
    """Build unless the folder already holds what this generator and seed write; True when it was built."""
    manifest = folder / "manifest.json"
    if manifest.is_file():
        known = json.loads(manifest.read_text(encoding="utf-8"))
        if (known["seed"], known["generator"]) == (seed, generator_digest()):
            return False
    build(seed, folder)
    return True


def generator_digest() -> str:
    """SHA-256 over the generator's own source files."""
    digest = hashlib.sha256()
    root = Path(__file__).parent
    for path in sorted(root.rglob("*.py"), key=lambda path: path.relative_to(root).as_posix()):
        digest.update(path.relative_to(root).as_posix().encode() + b"\0" + path.read_bytes())
    return digest.hexdigest()


def _line(record: Plain) -> str:
    return json.dumps(record, sort_keys=True, separators=(",", ":"), ensure_ascii=False) + "\n"


def _pack(path: Path, content: bytes) -> None:
    path.write_bytes(lzma.compress(content, preset=4))


def _recorded(year: Year) -> list[LotLife]:
    return [life for life in year.lots if life.plan.made_at < TODAY]


def write_records(seed: int, year: Year) -> tuple[list[Plain], list[Plain]]:
    """All records in the order they reached the house, and the intended releases."""
    book = Book(seed)
    set_up(book)
    documents(book)
    room_settings(book)
    instrument_checks(book)
    rounds(book)
    stock = Stock(book)
    writers = {life.plan.name: Writer(book, stock, life) for life in _recorded(year)}
    # Bramble's mixer runs in the morning, the others' after noon: shelves empty in that order.
    turns: list[tuple[object, Writer | None]] = [(day, None) for day in fresh_days()]
    turns += [(writer.life.plan.made_at.date(), writer) for writer in writers.values()]
    for day, writer in sorted(turns, key=lambda turn: (str(turn[0]), turn[1] is not None)):
        if writer is None:
            batch(book, stock, day)  # type: ignore[arg-type]
        else:
            writer.write()
    heat_week(book, writers)
    hams(book)
    attempts = releases(book, _recorded(year))
    # Last, so that no record of before changes its id.
    flow(book, attempts)
    numbers(book)
    return book.records(), attempts


def _logger_files(seed: int, year: Year, folder: Path) -> list[Plain]:
    files = []
    for download in downloads(seed, year.air):
        _pack(folder / f"{download.file_name}.xz", download.text)
        files.append(
            {
                "file": download.file_name,
                "logger": download.logger.name,
                "downloaded_at": text_of(download.downloaded_at),
                "room": download.logger.said_room,
                "answers": download.answers,
            }
        )
    return files


def truth(seed: int, year: Year) -> Plain:
    """What nobody in the house sees: true loss of every followed piece day by day, and the true ready day."""
    return {"seed": seed, "lots": [_true_lot(life) for life in _recorded(year)]}


def _true_lot(life: LotLife) -> Plain:
    per_day: Iterable[int] = range(
        0, life.hours.size, max(1, life.hours.size * 24 // max(1, int(life.hours[-1])))
    )
    target = life.plan.line.target_loss_pct
    return {
        "lot": life.plan.name,
        "product": life.plan.line.product,
        "made_at": text_of(life.plan.made_at),
        "ended_at": text_of(life.ended_at) if life.ended_at < TODAY else None,
        "target_loss_pct": target,
        "ready_day": life.ready_day(target / 100),
        "ready_day_35": life.ready_day(0.35),
        "green_kg": [round(float(kg), 4) for kg in life.green_kg],
        "days": [round(float(life.hours[index]) / 24, 3) for index in per_day],
        "loss": [[round(float(value), 5) for value in life.loss[index]] for index in per_day],
        "water_activity": [round(float(life.activity[index, 0]), 4) for index in per_day],
    }


def read_records(folder: Path) -> list[Plain]:
    """The records of a built folder."""
    text = lzma.decompress((folder / "records.jsonl.xz").read_bytes()).decode()
    return [json.loads(line) for line in text.splitlines()]
