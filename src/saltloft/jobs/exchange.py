"""Taking everything out of a house, and putting it into an empty one: lines that any program reads.

JSON lines carry a house whole: the journal's bytes as they are stored, the
readings, the attached files; names and addresses of people only when asked.
CSV and spreadsheets are for people's eyes and other programs and are not read
back.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
from sqlalchemy import Connection

from saltloft.cases.open_house import OpenHouse
from saltloft.foundation.errors import InputError
from saltloft.plant.answers import JournalHead
from saltloft.store import carry, projection
from saltloft.store.bulk import Times, Values
from saltloft.store.journal import Entry

FORMAT = "saltloft-export/1"
MANIFEST, JOURNAL, READINGS = "manifest.json", "journal.jsonl", "readings.jsonl"
FILES, PEOPLE, CONTACTS = "files.jsonl", "people.jsonl", "contacts.jsonl"
# Readings on one line.
ROWS_A_LINE = 5000


@dataclass(frozen=True)
class Carried:
    """What an export wrote, or an import read.

    Args:
        folder: Path.
        head: JournalHead or None. None: an empty journal.
        entries, batches, files: int.
        names: bool. True when names and addresses of people are among it.
    """

    folder: Path
    head: JournalHead | None
    entries: int
    batches: int
    files: int
    names: bool


@dataclass(frozen=True)
class CarriedHouse:
    """How to make the empty house that an export goes into.

    Args:
        name, zone, units: str.
        markets: tuple of str.
        demo: bool.
        demo_now: str.
    """

    name: str
    zone: str
    units: str
    markets: tuple[str, ...]
    demo: bool
    demo_now: str


def empty_folder(folder: Path) -> Path:
    """The folder, made; an export never mixes with what lies there already.

    Raises:
        InputError: it is not empty.
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise InputError(
            "an export goes into an empty folder only", got=str(folder), do="name another folder"
        )
    folder.mkdir(parents=True, exist_ok=True)
    return folder


def export_lines(house: OpenHouse, folder: Path, *, names: bool = False) -> Carried:
    """Everything as JSON lines, with a manifest of SHA-256 digests.

    Args:
        house: OpenHouse.
        folder: Path. Empty or missing.
        names: bool. Names and addresses of people, customers and suppliers too.

    Raises:
        InputError: the folder is not empty.
    """
    store = house.store
    empty_folder(folder)
    head = store.head()
    digests: dict[str, str] = {}
    entries = _write(folder, JOURNAL, map(_entry_line, carry.entries(store.database)), digests)
    counted = _Counted(carry.batches(store.database))
    _write(folder, READINGS, (line for batch in counted for line in _batch_lines(*batch)), digests)
    files = _export_files(house, folder, digests)
    if names:
        people = ({"person": person, "name": name} for person, name in sorted(store.secrets.names().items()))
        _write(folder, PEOPLE, people, digests)
        _write(folder, CONTACTS, map(asdict, carry.contacts(store.database)), digests)
    said = store.house().payload
    manifest = {
        "format": FORMAT,
        "house": {
            "name": said.name,
            "zone": said.zone,
            "units": said.units,
            "markets": list(said.markets),
            "demo": bool(said.demo),
            "demo_now": house.now().isoformat() if said.demo else "",
        },
        "head": asdict(head) if head else None,
        "entries": entries,
        "batches": counted.count,
        "names": names,
        "sha256": digests,
    }
    text = json.dumps(manifest, indent=1, default=_moment_text)
    (folder / MANIFEST).write_text(text + "\n", encoding="utf-8")
    return Carried(folder, head, entries, counted.count, files, names)


def carried_house(folder: Path) -> CarriedHouse:
    """What the house of an export is called, so that an empty one can be made for it.

    Raises:
        InputError: no export lies there, or one of another format.
    """
    found = _manifest(folder)["house"]
    return CarriedHouse(
        found["name"],
        found["zone"],
        found["units"],
        tuple(found["markets"]),
        found["demo"],
        found["demo_now"],
    )


def import_lines(house: OpenHouse, folder: Path) -> Carried:
    """Put an export into a house whose journal is empty: the same bytes, the same head.

    Args:
        house: OpenHouse. Just made, without any entry.
        folder: Path. Where the export lies.

    Raises:
        InputError: a file is missing or was changed.
        StoreError: the house is not empty, or the lines are not a whole chain; nothing was imported.
    """
    manifest = _manifest(folder)
    for name, digest in manifest["sha256"].items():
        if digest_of(folder / name) != digest:
            raise InputError(
                "a file of the export is missing or was changed",
                got=name,
                do="export the house again; nothing was imported",
            )
    found = [_entry(line) for line in _lines(folder, JOURNAL)]

    def work(connection: Connection) -> tuple[int, int]:
        entries = carry.put_entries(connection, found)
        batches = carry.put_batches(connection, _batches(folder))
        projection.rebuild(connection)
        return entries, batches

    entries, batches = house.store.write(work)
    files = _import_files(house, folder)
    if manifest["names"]:
        for person in _lines(folder, PEOPLE):
            house.store.secrets.set_name(person["person"], person["name"])
        for contact in _lines(folder, CONTACTS):
            house.store.secrets.set_contact(**{"name_id": contact.pop("contact"), **contact})
    return Carried(folder, house.store.head(), entries, batches, files, bool(manifest["names"]))


class _Counted:
    """Batches as they come, counted."""

    def __init__(self, batches: Iterable[tuple[str, dict[str, tuple[Times, Values]]]]) -> None:
        self._batches = batches
        self.count = 0

    def __iter__(self) -> Iterator[tuple[str, dict[str, tuple[Times, Values]]]]:
        for batch in self._batches:
            self.count += 1
            yield batch


def _entry_line(entry: Entry) -> dict[str, Any]:
    return {**carry.vars_of(entry), "body": entry.body.decode("utf-8")}


def _entry(line: Mapping[str, Any]) -> Entry:
    try:
        return Entry(**{**line, "body": str(line["body"]).encode("utf-8")})
    except (KeyError, TypeError) as error:
        raise InputError("a line of the journal lacks something", got=str(error), key=JOURNAL) from error


def _batch_lines(batch: str, columns: Mapping[str, tuple[Times, Values]]) -> Iterator[dict[str, Any]]:
    """A batch without any row still has its line: it was sealed so."""
    if not columns:
        yield {"batch": batch, "series": "", "at": [], "value": []}
    for series, (times, values) in sorted(columns.items()):
        for start in range(0, len(times), ROWS_A_LINE):
            part = slice(start, start + ROWS_A_LINE)
            yield {
                "batch": batch,
                "series": series,
                "at": times[part].tolist(),
                # Python writes the shortest text that reads back as the same 64 bits.
                "value": values[part].tolist(),
            }


def _batches(folder: Path) -> Iterator[tuple[str, dict[str, tuple[Times, Values]]]]:
    name = ""
    parts: dict[str, list[tuple[list[int], list[float]]]] = {}
    for line in _lines(folder, READINGS):
        if line["batch"] != name and name:
            yield name, _joined(parts)
            parts = {}
        name = line["batch"]
        if line["series"]:
            parts.setdefault(line["series"], []).append((line["at"], line["value"]))
    if name:
        yield name, _joined(parts)


def _joined(parts: Mapping[str, list[tuple[list[int], list[float]]]]) -> dict[str, tuple[Times, Values]]:
    return {
        series: (
            np.array([at for times, _ in found for at in times], dtype=np.int64),
            np.array([value for _, values in found for value in values], dtype=np.float64),
        )
        for series, found in parts.items()
    }


def _export_files(house: OpenHouse, folder: Path, digests: dict[str, str]) -> int:
    kept = house.store.attachments.all()
    for one in kept:
        path = folder / "files" / one.digest
        path.parent.mkdir(exist_ok=True)
        _, content = house.store.attachments.get(one.digest)
        path.write_bytes(content)
        digests[f"files/{one.digest}"] = one.digest
    _write(folder, FILES, map(asdict, kept), digests)
    return len(kept)


def _import_files(house: OpenHouse, folder: Path) -> int:
    count = 0
    for line in _lines(folder, FILES):
        content = (folder / "files" / line["digest"]).read_bytes()
        house.store.attachments.put_back(content, line["file_name"], line["media_type"], house.now())
        count += 1
    return count


def _write(folder: Path, name: str, rows: Iterable[Mapping[str, Any]], digests: dict[str, str]) -> int:
    count, digest = 0, hashlib.sha256()
    with (folder / name).open("wb") as file:
        for row in rows:
            line = json.dumps(row, ensure_ascii=False, separators=(",", ":")).encode("utf-8") + b"\n"
            file.write(line)
            digest.update(line)
            count += 1
    digests[name] = digest.hexdigest()
    return count


def _lines(folder: Path, name: str) -> Iterator[dict[str, Any]]:
    with (folder / name).open(encoding="utf-8", newline="\n") as file:
        for number, line in enumerate(file, start=1):
            try:
                yield json.loads(line)
            except ValueError as error:
                raise InputError(
                    f"a line of {name} cannot be read", got=f"line {number}", key=name
                ) from error


def _manifest(folder: Path) -> dict[str, Any]:
    path = folder / MANIFEST
    try:
        found = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise InputError(
            "no export of a house lies there", got=str(folder), do=f"name a folder with {MANIFEST}"
        ) from error
    if not isinstance(found, dict) or found.get("format") != FORMAT:
        raise InputError("the export is of another format", got=str(found.get("format")), allowed=FORMAT)
    return found


def digest_of(path: Path) -> str:
    digest = hashlib.sha256()
    if not path.is_file():
        return ""
    with path.open("rb") as file:
        while block := file.read(1 << 20):
            digest.update(block)
    return digest.hexdigest()


def _moment_text(value: object) -> str:
    if isinstance(value, datetime):
        return value.isoformat()
    raise TypeError(f"cannot be written: {value!r}")
