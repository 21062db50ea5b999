"""From the bytes of a logger file to its series: the steps in order."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from saltloft.foundation.errors import InputError, UnknownName
from saltloft.foundation.words import say
from saltloft.store.loggers.columns import Columns, choose_columns
from saltloft.store.loggers.date_order import Moments, place_moments
from saltloft.store.loggers.encoding import TextForm, lines_in_pieces, sniff
from saltloft.store.loggers.explain import local_text, series_sentences, table_sentences
from saltloft.store.loggers.gather import Gathered, gather
from saltloft.store.loggers.model import Counts, LogReading, Question, ReadOptions, Refused, RowShown, Values
from saltloft.store.loggers.quality import find_flags, find_gaps
from saltloft.store.loggers.resets import Quarantine, set_resets_apart
from saltloft.store.loggers.rows import RawRows, RowReader
from saltloft.store.loggers.stamps import Parts
from saltloft.store.loggers.table import LOOKED_AT, Table, find_table, split_lines
from saltloft.store.loggers.timing import Timed, rows_to_utc

MAXIMUM_BYTES = 200_000_000
# More refused rows than this share of a file is a misreading, not a few bad lines.
_MOST_REFUSED_SHARE = 0.05
_FEW_REFUSED = 3
ANSWER_KEYS = (
    "date_order",
    "serial",
    "clock",
    "zone",
    "unit",
    "unit.CHANNEL",
    "unit_change.CHANNEL",
    "rh_scale",
    "room.CHANNEL",
    "column.N",
    "clock_reset.N",
    "clock_fast_seconds",
    "spring_hour",
    "repeated_hour",
    "refused_rows",
    "changed_values",
)


def refuse_size(size: int) -> None:
    """Refuse a file by its size, before a byte of it is read.

    Args:
        size: int. [bytes]

    Raises:
        InputError: empty, or above MAXIMUM_BYTES.
    """
    if size == 0:
        raise InputError(
            say("the file is empty"), allowed=say("a logger's table as text"), do=say("export it again")
        )
    if size > MAXIMUM_BYTES:
        raise InputError(
            say("the file is too large and was not read"),
            got=say("{size} MB", size=round(size / 1e6)),
            allowed=say("at most {most} MB", most=MAXIMUM_BYTES // 1_000_000),
            do=say("export it in parts, for instance one per month"),
        )


def read_log(data: bytes, options: ReadOptions | None = None) -> LogReading:
    """Read one logger file.

    Args:
        data: bytes. The file.
        options: ReadOptions. What is known about it.

    Returns:
        LogReading. With questions when something can't be decided; `blocked` says whether they stop it.

    Raises:
        InputError: empty, binary, too large, no table, no moments, no temperature or humidity, or no row
            that can be taken; with the line where there is one.
        UnknownName: an answer's key or a room nobody knows.
    """
    options = options or ReadOptions()
    _known_answers(options)
    refuse_size(len(data))
    form = sniff(data)
    pieces = lines_in_pieces(data, form)
    head: list[str] = []
    for piece in pieces:
        head += piece
        if len(head) >= LOOKED_AT:
            break
    table = find_table(head)
    sample = [
        row for row in split_lines(head[table.first_line - 1 : LOOKED_AT], table.separator) if len(row) > 1
    ]
    table, columns = choose_columns(table, sample, options)
    if columns.questions:
        return _only_questions(table, columns, form)
    raw = RowReader(table, columns).read(itertools.chain([head], pieces))
    if not raw.lines.size:
        raise _nothing(raw.odd.refused)
    reading = _understand(raw, table, columns, form, options)
    return replace(reading, refused=_with_text(reading.refused, data, form))


def _known_answers(options: ReadOptions) -> None:
    for key in options.answers:
        stem, dot, rest = key.partition(".")
        allowed = {name.partition(".")[0]: "." in name for name in ANSWER_KEYS if name != "unit"}
        if stem not in allowed or (dot and not rest) or (bool(dot) != allowed[stem] and stem != "unit"):
            raise UnknownName("answer", key, ANSWER_KEYS, key=key)


def _only_questions(table: Table, columns: Columns, form: TextForm) -> LogReading:
    understood = tuple(table_sentences(table, columns, form))
    return LogReading((), understood, columns.questions, (), (), (), (), Counts(), "", table.notes)


def _nothing(refused: Sequence[Refused]) -> InputError:
    first = refused[0] if refused else None
    return InputError(
        say("no row could be taken"),
        got=first.reason if first else "",
        allowed=say("rows with a date and time and at least one number"),
        do=say("look at that line, or export the file again"),
        line=first.line if first else None,
    )


@dataclass(frozen=True)
class _Placed:
    """When every row was read, and everything said and asked on the way."""

    utc: Values
    zone: str
    quarantined: int
    understood: tuple[str, ...]
    questions: tuple[Question, ...]


def _place(raw: RawRows, table: Table, options: ReadOptions) -> _Placed:
    moments = place_moments(raw.parts, raw.lines, options)
    raw.parts = Parts.empty(0)  # a third of what a long file takes
    timed = rows_to_utc(raw, moments, table, options)
    apart = set_resets_apart(timed.utc, raw.lines, timed.zone, options)
    utc = _refuse_times(raw, moments, timed, apart, options)
    if not np.isfinite(utc).any():
        raise _nothing(raw.odd.refused)
    return _Placed(
        utc,
        timed.zone,
        apart.rows,
        (*moments.understood, *timed.understood, *apart.words),
        (*moments.questions, *timed.questions, *apart.questions),
    )


def _understand(
    raw: RawRows, table: Table, columns: Columns, form: TextForm, options: ReadOptions
) -> LogReading:
    placed = _place(raw, table, options)
    roles = dict(options.rooms)
    if options.room and options.role:
        roles[options.room] = options.role
    found = gather(raw, placed.utc, table=table, columns=columns, options=options, role_of=roles)
    raw.values.clear()  # their copies in the series are what counts now
    gaps = tuple(gap for one in found.series for gap in find_gaps(one))
    counts = _counts(raw, placed, found)
    questions = [*placed.questions, *found.questions]
    if any(question.key == "spring_hour" for question in questions):  # it tells why an hour stands twice
        questions = [question for question in questions if question.key != "repeated_hour"]
    questions += _too_many_refused(counts, options)
    understood = [
        *table_sentences(table, columns, form),
        *placed.understood,
        *found.understood,
        *series_sentences(found.series, gaps, counts, placed.zone),
    ]
    return LogReading(
        tuple(found.series),
        tuple(understood),
        tuple(questions),
        gaps,
        tuple(flag for one in found.series for flag in find_flags(one)),
        tuple(sorted(raw.odd.refused, key=lambda one: one.line)),
        _shown(raw, found, placed.zone),
        counts,
        placed.zone,
        table.notes,
    )


def _refuse_times(
    raw: RawRows, moments: Moments, timed: Timed, apart: Quarantine, options: ReadOptions
) -> Values:
    utc = apart.utc
    for row in np.flatnonzero(~np.isfinite(moments.seconds)).tolist():
        raw.odd.refuse(
            int(raw.lines[row]), say("a date that does not exist, or lies after the moment of reading"), ""
        )
    nowhere = np.isfinite(moments.seconds) & ~np.isfinite(timed.utc)
    for row in np.flatnonzero(nowhere).tolist():
        raw.odd.refuse(
            int(raw.lines[row]), say("a time that this clock skips, or shows twice without an order"), ""
        )
    if options.now_s is not None:
        later = np.isfinite(utc) & (utc > options.now_s + 86400)
        for row in np.flatnonzero(later).tolist():
            raw.odd.refuse(int(raw.lines[row]), say("a time after the moment of reading"), "")
        utc[later] = np.nan
    return utc


def _counts(raw: RawRows, placed: _Placed, found: Gathered) -> Counts:
    return Counts(
        rows=int(np.isfinite(placed.utc).sum()),
        values=int(sum(one.values.size for one in found.series)),
        missing=raw.odd.missing,
        events=raw.odd.events,
        repeated=found.repeated,
        out_of_order=found.out_of_order,
        refused=raw.odd.refused_count,
        quarantined=placed.quarantined,
    )


def _too_many_refused(counts: Counts, options: ReadOptions) -> list[Question]:
    answer = options.answers.get("refused_rows", "")
    if answer not in ("", "leave_out"):
        raise InputError(
            say("refused rows can only be left out"),
            got=f"'{answer}'",
            allowed="leave_out",
            key="refused_rows",
        )
    if answer or counts.refused <= max(_FEW_REFUSED, _MOST_REFUSED_SHARE * counts.rows):
        return []
    words = say(
        "{refused} rows or values of {rows} can't be taken; look at their lines. Leave them out?",
        refused=counts.refused,
        rows=counts.rows + counts.refused,
    )
    return [Question("refused_rows", words, ("leave_out",))]


def _shown(raw: RawRows, found: Gathered, zone: str) -> tuple[RowShown, ...]:
    return tuple(
        RowShown(
            line,
            text[:200],
            tuple(
                f"{name} {local_text(when, zone)} {value:g}" for name, when, value in found.shown.get(row, [])
            ),
        )
        for row, (line, text) in enumerate(raw.first)
    )


def _with_text(refused: Sequence[Refused], data: bytes, form: TextForm) -> tuple[Refused, ...]:
    """Refused rows with their text, fetched by one more walk when some were found late."""
    wanted = {one.line for one in refused if not one.raw}
    if not wanted:
        return tuple(refused)
    texts: dict[int, str] = {}
    line = 1
    for piece in lines_in_pieces(data, form):
        for number in wanted:
            if line <= number < line + len(piece):
                texts[number] = piece[number - line][:200]
        line += len(piece)
        if len(texts) == len(wanted):
            break
    return tuple(replace(one, raw=one.raw or texts.get(one.line, "")) for one in refused)
