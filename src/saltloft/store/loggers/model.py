"""What a logger file says, once it has been read."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

TEMPERATURE = "temperature_c"
HUMIDITY = "rh_pct"

Times = npt.NDArray[np.int64]
Values = npt.NDArray[np.float64]


@dataclass(frozen=True)
class ReadOptions:
    """What is known about a file before it is read.

    Args:
        file_name: str. Its name, which may name a room; may be empty.
        zone: str. IANA zone of the logger's clock given by a person; empty when not said.
        house_zone: str. IANA zone of the house, used when nothing else says; empty when no house.
        room: str. The room given by a person; empty when not said.
        role: str. Role of the room given by a person, one of plant.rooms.ROOM_ROLES; may be empty.
        rooms: mapping of str to str. Known rooms and their roles; empty when no house is open.
        loggers: mapping of str to str. Known logger tags and the room each lives in.
        answers: mapping of str to str. Answers to earlier questions by key.
        now_s: int or None. The moment of reading, to tell impossible future dates. [s, UTC]
    """

    file_name: str = ""
    zone: str = ""
    house_zone: str = ""
    room: str = ""
    role: str = ""
    rooms: Mapping[str, str] = field(default_factory=dict)
    loggers: Mapping[str, str] = field(default_factory=dict)
    answers: Mapping[str, str] = field(default_factory=dict)
    now_s: int | None = None


@dataclass(frozen=True)
class Series:
    """One quantity of one room through time, rising and without repeats.

    Args:
        name: str. 'ROOM/quantity' or 'ROOM/quantity/LOGGER', as sealed in the journal.
        room: str. The room.
        channel: str. What the file called it.
        quantity: str. 'temperature_c' or 'rh_pct'.
        times_s: int64 array (n,). Strictly rising. [s, UTC]
        values: float64 array (n,). [degC or %RH]
        interval_s: int. Usual step between readings; 0 for fewer than two. [s]
    """

    name: str
    room: str
    channel: str
    quantity: str
    times_s: Times
    values: Values
    interval_s: int


@dataclass(frozen=True)
class Question:
    """Something the file cannot tell; a person answers with --answer KEY=VALUE.

    Args:
        key: str. Name of the answer.
        words: str. The question, one sentence.
        options: tuple of str. Values that are taken; empty when free.
        blocking: bool. True when nothing may be stored before it is answered.
    """

    key: str
    words: str
    options: tuple[str, ...] = ()
    blocking: bool = True


@dataclass(frozen=True)
class SeriesGap:
    """A stretch of one series without a reading, longer than its usual step.

    Args:
        series: str. Name of the series.
        start_s: int. Last reading before it. [s, UTC]
        end_s: int. First reading after it. [s, UTC]
    """

    series: str
    start_s: int
    end_s: int


@dataclass(frozen=True)
class Flag:
    """A stretch that is kept and worth a look.

    Args:
        code: str. 'flat', 'jump' or 'saturated'.
        series: str. Name of the series.
        start_s: int. [s, UTC]
        end_s: int. [s, UTC]
        words: str. What was seen, one sentence.
    """

    code: str
    series: str
    start_s: int
    end_s: int
    words: str


@dataclass(frozen=True)
class Refused:
    """A row, or one value of it, that was not taken.

    Args:
        line: int. Line in the file, from 1.
        reason: str. Why, in plain words.
        raw: str. The row as it stands, at most 200 characters.
    """

    line: int
    reason: str
    raw: str


@dataclass(frozen=True)
class RowShown:
    """One row as it stands and as it was understood.

    Args:
        line: int. Line in the file, from 1.
        raw: str. The row as it stands, at most 200 characters.
        parsed: tuple of str. 'SERIES TIME VALUE' per value taken.
    """

    line: int
    raw: str
    parsed: tuple[str, ...]


@dataclass(frozen=True)
class Counts:
    """How many of what the file held.

    Args:
        rows: int. Rows with a time and at least one value.
        values: int. Values kept.
        missing: int. Values that carried a missing or fault code.
        events: int. Rows that state an event or a note instead of values.
        repeated: int. Values that repeat an earlier one exactly.
        out_of_order: int. Steps back in time.
        refused: int. Rows or values not taken; `LogReading.refused` lists the first of them.
        quarantined: int. Rows left out because the clock had lost its date.
    """

    rows: int = 0
    values: int = 0
    missing: int = 0
    events: int = 0
    repeated: int = 0
    out_of_order: int = 0
    refused: int = 0
    quarantined: int = 0


@dataclass(frozen=True)
class LogReading:
    """One logger file, understood.

    Args:
        series: tuple of Series.
        understood: tuple of str. What the reader took the file for, one sentence each.
        questions: tuple of Question. What it must be told; nothing is stored while one blocks.
        gaps: tuple of SeriesGap.
        flags: tuple of Flag.
        refused: tuple of Refused. The first 200, with lines.
        first_rows: tuple of RowShown. The first five data rows.
        counts: Counts.
        zone: str. The zone its times were read in.
        metadata: tuple of (str, str). Notes before the table.
    """

    series: tuple[Series, ...]
    understood: tuple[str, ...]
    questions: tuple[Question, ...]
    gaps: tuple[SeriesGap, ...]
    flags: tuple[Flag, ...]
    refused: tuple[Refused, ...]
    first_rows: tuple[RowShown, ...]
    counts: Counts
    zone: str
    metadata: tuple[tuple[str, str], ...] = ()

    @property
    def blocked(self) -> bool:
        """True when a question must be answered before anything may be stored."""
        return any(question.blocking for question in self.questions)
