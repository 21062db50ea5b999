"""Bringing logger files in: look at one, store what is new in it, undo it.

    looked = look("D2.csv", data, Said(zone="Europe/Vienna"))          no house needed
    taken = import_file(house, by, "D2.csv", data, Said(room="D2"), entry_id=id)
    undo(house, by, batch, reason, entry_id)

A batch is sealed in the journal and never changes; a file brought in again
adds what is new in it, and nothing when there is nothing new.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from saltloft.cases.open_house import OpenHouse
from saltloft.foundation.errors import InputError
from saltloft.foundation.words import say, say_many
from saltloft.plant.house_record import BatchRecord
from saltloft.plant.readings import ReadingsSealed
from saltloft.plant.rooms import ROOM_ROLES
from saltloft.plant.stated import Stamp
from saltloft.store.apart import read_log_apart
from saltloft.store.bulk import Times, Values
from saltloft.store.loggers import LogReading, Question, ReadOptions, Series, read_log, shown
from saltloft.store.loggers.reader import refuse_size
from saltloft.store.loggers.shown import reading_as_plain, reading_sentences
from saltloft.store.readings import batch_digest

_Mask = npt.NDArray[np.bool_]
Reader = Callable[[bytes, ReadOptions], LogReading]
read_apart: Reader = read_log_apart
DRY, STORED, NOTHING_NEW, ASKED = "dry run", "stored", "nothing new", "asked"


@dataclass(frozen=True)
class Said:
    """What a person said about a file.

    Args:
        zone: str. IANA zone of the logger's clock; empty when not said.
        room: str. The room; empty when not said.
        role: str. The room's role, one of ROOM_ROLES; empty when not said.
        answers: mapping of str to str. Answers to questions by key.
    """

    zone: str = ""
    room: str = ""
    role: str = ""
    answers: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class FileTaken:
    """What became of one file.

    Args:
        file: str. Its name.
        status: str. 'dry run', 'stored', 'nothing new' or 'asked' (nothing was stored).
        reading: LogReading. What the reader understood; its questions when asked.
        words: str. One sentence.
        batch: str. The sealed batch; empty when none was made.
        added: int. Readings stored, or that would be. [readings]
        known: int. Readings the house already holds with the same value. [readings]
        changed: int. Readings the house holds with another value. [readings]
    """

    file: str
    status: str
    reading: LogReading
    words: str
    batch: str = ""
    added: int = 0
    known: int = 0
    changed: int = 0


@dataclass(frozen=True)
class _Fresh:
    columns: dict[str, tuple[Times, Values]]
    known: int
    changed: int

    @property
    def rows(self) -> int:
        return sum(len(times) for times, _ in self.columns.values())


def read_bytes(path: Path) -> bytes:
    """The bytes of a file, refused by its size before any of it is read.

    Raises:
        InputError: no such file, a folder, empty, or above the largest size.
    """
    if not path.is_file():
        raise InputError(
            say("there is no such file"), got=str(path), allowed=say("a logger's file"), key=str(path)
        )
    refuse_size(path.stat().st_size)
    try:
        return path.read_bytes()
    except OSError as error:
        raise InputError(
            say("the file can't be read"),
            got=f"{path}: {error.strerror}",
            do=say("copy it to a place you may read"),
        ) from error


def look(
    file: str,
    data: bytes,
    said: Said,
    *,
    now: datetime,
    house: OpenHouse | None = None,
    reader: Reader = read_log,
) -> FileTaken:
    """What a file would bring, without storing anything; needs no house.

    Args:
        file: str. The file's name.
        data: bytes. The file.
        said: Said.
        now: datetime, aware. Later readings than a day after it are refused.
        house: OpenHouse or None. When given, its rooms are known and what it already holds is counted.
        reader: Reader. `read_apart` for a file from outside: in a process of its own, with limits.

    Raises:
        InputError: the file can't be read at all, or what was said can't be.
        UnknownName: a room the house does not know.
    """
    reading = reader(data, _options(file, said, now, house))
    if house is None or reading.blocked:
        added = _size(reading)
        return FileTaken(file, DRY, reading, _dry_words(reading, added), added=added)
    fresh, reading = _fresh(house, reading, said)
    words = _dry_words(reading, fresh.rows)
    return FileTaken(file, DRY, reading, words, "", fresh.rows, fresh.known, fresh.changed)


def import_file(
    house: OpenHouse,
    by: Stamp,
    file: str,
    data: bytes,
    said: Said,
    *,
    entry_id: str,
    reader: Reader = read_log,
) -> FileTaken:
    """Store what is new in a file as one sealed batch; all of it, or nothing while a question is open.

    Args:
        house: OpenHouse.
        by: Stamp. Who brings it in, where and when.
        file: str. The file's name.
        data: bytes. The file.
        said: Said.
        entry_id: str. Id of the sealing entry and name of the batch.
        reader: Reader. As for `look`.

    Raises:
        InputError: the file can't be read, or it was brought in for another room.
        UnknownName: a room the house does not know.
    """
    reading = reader(data, _options(file, said, by.recorded_at, house))
    digest = hashlib.sha256(data).hexdigest()
    if reading.blocked:
        return FileTaken(file, ASKED, reading, _asked_words(reading))
    earlier = house.store.readings.by_file(digest)
    if earlier is not None:
        _refuse_other_room(file, earlier, reading.series)
        if batch_digest({one.name: (one.times_s, one.values) for one in reading.series}) == (
            earlier.sealed.payload.digest
        ):  # the very rows of that batch: no need to look each of them up
            return FileTaken(file, NOTHING_NEW, reading, _before_words(earlier), known=_size(reading))
    fresh, reading = _fresh(house, reading, said)
    if reading.blocked:
        return FileTaken(file, ASKED, reading, _asked_words(reading), "", 0, fresh.known, fresh.changed)
    if not fresh.rows:
        words = say("Nothing new: the house already holds these readings.")
        if earlier is not None:
            words = _before_words(earlier)
        return FileTaken(file, NOTHING_NEW, reading, words, "", 0, fresh.known, fresh.changed)
    sealed = ReadingsSealed(
        batch=entry_id,
        file_name=file,
        file_digest=digest,
        rows=0,
        digest="",
        series=(),
        first_at="",
        last_at="",
        understood=reading.understood,
        clock_offset_seconds=-int(said.answers.get("clock_fast_seconds", "0")),
    )
    record = house.store.readings.seal(fresh.columns, sealed, by, entry_id)
    words = say_many(
        "{count} reading stored as {batch}.",
        "{count} readings stored as {batch}.",
        fresh.rows,
        batch=record.batch,
    )
    return FileTaken(file, STORED, reading, words, record.batch, fresh.rows, fresh.known, fresh.changed)


def undo(house: OpenHouse, by: Stamp, batch: str, reason: str, entry_id: str) -> BatchRecord:
    """Let a batch count no more, by an entry; its rows stay and what they replaced counts again.

    Args:
        house: OpenHouse.
        by: Stamp.
        batch: str.
        reason: str. Why, in the person's words.
        entry_id: str.

    Raises:
        InputError: no reason.
        UnknownName: no such batch.
        StoreError: it was undone already.
    """
    if not reason.strip():
        raise InputError(
            say("undoing an import needs a reason"), do=say("say why, such as 'wrong room'"), key="reason"
        )
    return house.store.readings.void(batch, reason.strip(), by, entry_id)


def recent(house: OpenHouse, count: int = 5) -> list[BatchRecord]:
    """The imports made last, newest first, undone ones too.

    Args:
        house: OpenHouse.
        count: int. How many at most.
    """
    return house.store.readings.newest(count)


def sentences(taken: FileTaken) -> list[str]:
    """Everything to show about one file, one line each: what was understood, odd rows, questions, the end."""
    lines = [*reading_sentences(taken.reading), taken.words]
    if taken.known and taken.added:
        lines.append(
            say_many(
                "{count} reading was known already.", "{count} readings were known already.", taken.known
            )
        )
    return lines


def odd_sentences(taken: FileTaken) -> list[str]:
    """Gaps, stretches worth a look and rows that were not taken, one line each."""
    return list(shown.odd_sentences(taken.reading))


def as_plain(taken: FileTaken) -> dict[str, Any]:
    """One file's part of the JSON answer 'import/1'."""
    return {
        "file": taken.file,
        "status": taken.status,
        "words": taken.words,
        "batch": taken.batch,
        "added": taken.added,
        "known": taken.known,
        "changed": taken.changed,
        **reading_as_plain(taken.reading),
    }


def _options(file: str, said: Said, now: datetime, house: OpenHouse | None) -> ReadOptions:
    if said.role and said.role not in ROOM_ROLES:
        raise InputError(
            say("the role of the room is not known"),
            got=f"'{said.role}'",
            allowed=", ".join(ROOM_ROLES),
            key="role",
        )
    options = ReadOptions(
        file_name=file,
        zone=said.zone,
        room=said.room,
        role=said.role,
        answers=said.answers,
        now_s=int(now.timestamp()),
    )
    if house is None:
        return options
    rooms = {record.room: record.defined.payload.role for record in house.store.rooms.all()}
    if not rooms:
        raise InputError(
            say("the house has no room yet"),
            do=say("set a room up first"),
            allowed=say("at least one room"),
            key="room",
        )
    loggers = {
        record.instrument: record.defined.payload.room
        for record in house.store.instruments.all()
        if record.defined.payload.type == "logger"
    }
    return replace(options, house_zone=house.zone.key, rooms=rooms, loggers=loggers)


def _fresh(house: OpenHouse, reading: LogReading, said: Said) -> tuple[_Fresh, LogReading]:
    """What of a reading the house does not hold yet; asks when it holds other values for the same moments."""
    columns: dict[str, tuple[Times, Values]] = {}
    known = changed = 0
    answer = said.answers.get("changed_values", "")
    if answer not in ("", "replace", "keep_stored"):
        raise InputError(
            say("readings that differ are replaced or kept"),
            got=f"'{answer}'",
            allowed="replace, keep_stored",
            key="changed_values",
        )
    for one in reading.series:
        new, other = _compare(house, one)
        known += one.values.size - int(new.sum()) - int(other.sum())
        changed += int(other.sum())
        take = new | other if answer == "replace" else new
        if take.all():
            columns[one.name] = (one.times_s, one.values)
        elif take.any():
            columns[one.name] = (one.times_s[take], one.values[take])
    if changed and not answer:
        reading = replace(reading, questions=(*reading.questions, _ask_changed(changed)))
    return _Fresh(columns, known, changed), reading


def _compare(house: OpenHouse, one: Series) -> tuple[_Mask, _Mask]:
    """For each reading of a series: True where it is new, and True where another value is held."""
    quantity, _, logger = one.name.partition("/")[2].partition("/")
    start, end = (datetime.fromtimestamp(int(edge), UTC) for edge in (one.times_s[0], one.times_s[-1]))
    times, values = house.store.readings.trace(
        one.room.partition("/")[0], quantity, start, end, logger=logger
    )
    if not times.size:
        nothing = np.zeros(one.values.size, np.bool_)
        return ~nothing, nothing
    at = np.minimum(np.searchsorted(times, one.times_s), times.size - 1)
    held = times[at] == one.times_s
    return ~held, held & (values[at] != one.values)


def _ask_changed(changed: int) -> Question:
    words = say_many(
        "The house holds another value for {count} of these moments. Replace it, keep what is stored, or, "
        "if it is a second logger, name it with room ROOM/LOGGER?",
        "The house holds other values for {count} of these moments. Replace them, keep what is stored, or, "
        "if it is a second logger, name it with room ROOM/LOGGER?",
        changed,
    )
    return Question("changed_values", words, ("replace", "keep_stored"))


def _refuse_other_room(file: str, earlier: BatchRecord, series: tuple[Series, ...]) -> None:
    now, then = {one.name for one in series}, set(earlier.sealed.payload.series)
    if now.isdisjoint(then):
        raise InputError(
            say("'{file}' was brought in before for other series", file=file),
            got=", ".join(sorted(now)),
            allowed=", ".join(sorted(then)),
            do=say("undo {batch} first: saltloft import --undo {batch} --reason WHY", batch=earlier.batch),
            key="room",
        )


def _before_words(earlier: BatchRecord) -> str:
    return say("Nothing new: this file was brought in before, as {batch}.", batch=earlier.batch)


def _size(reading: LogReading) -> int:
    return sum(one.values.size for one in reading.series)


def _dry_words(reading: LogReading, added: int) -> str:
    if reading.blocked:
        return _asked_words(reading)
    return say_many(
        "Nothing was stored: {count} reading would be.",
        "Nothing was stored: {count} readings would be.",
        added,
    )


def _asked_words(reading: LogReading) -> str:
    open_questions = sum(question.blocking for question in reading.questions)
    return say_many(
        "Nothing was stored: {count} question is open.",
        "Nothing was stored: {count} questions are open.",
        open_questions,
    )
