"""Moments on a logger's clock to UTC: which zone, which clock, and what a person answered."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from saltloft.foundation.errors import InputError
from saltloft.foundation.words import say
from saltloft.store.loggers import clock
from saltloft.store.loggers.date_order import Moments
from saltloft.store.loggers.model import Question, ReadOptions, Values
from saltloft.store.loggers.places import zone_in_notes
from saltloft.store.loggers.rows import RawRows
from saltloft.store.loggers.stamps import NO_OFFSET
from saltloft.store.loggers.table import Table


@dataclass(frozen=True)
class Timed:
    """Moments in UTC.

    Args:
        utc: float64 array (n,). NaN where a moment can't be placed. [s]
        zone: str. IANA name of the zone in which the file was read.
        understood: tuple of str.
        questions: tuple of Question.
    """

    utc: Values
    zone: str
    understood: tuple[str, ...]
    questions: tuple[Question, ...]


def rows_to_utc(raw: RawRows, moments: Moments, table: Table, options: ReadOptions) -> Timed:
    """Every row's moment in UTC.

    Args:
        raw: RawRows (n,).
        moments: Moments (n,). On the file's own clock.
        table: Table. Its notes and headings may name a zone.
        options: ReadOptions.
    """
    local, understood, questions = moments.seconds, [], []
    written = (moments.offset != NO_OFFSET) | moments.universal
    utc = np.where(moments.universal, local, local - np.where(written, moments.offset, 0))
    if written.all():
        if not moments.universal.all():
            understood.append(say("Each time carries its own offset from UTC."))
        zone = _zone(table, options)[0] or "UTC"
        return _fast_clock(Timed(utc, zone, tuple(understood), ()), options)
    zone, why = _zone(table, options)
    if not zone:
        zone = "UTC"
        words = say("In which time zone does the logger's clock run? Give --zone, such as Europe/Vienna.")
        questions.append(Question("zone", words))
    clock.zone_named(zone)
    groups = _rows_of_groups(raw, np.isfinite(local) & ~written)
    evidence = [_evidence(local[rows], zone) for rows in groups]
    kind, words_found, asked = clock.choose_clock(evidence, options, zone)
    spring, spring_asked = _spring(evidence, options)
    resolved = 0
    for rows in groups:
        utc[rows], one = clock.to_utc(local[rows], zone, kind, spring)
        resolved += one
    understood += [why] if why else []
    understood += [*words_found] if zone != "UTC" and not questions else []
    if resolved:
        understood.append(
            say(
                "{count} rows of the hour that autumn shows twice were placed by their order.", count=resolved
            )
        )
    utc[~np.isfinite(local)] = np.nan
    return _fast_clock(Timed(utc, zone, tuple(understood), (*questions, *asked, *spring_asked)), options)


def _rows_of_groups(raw: RawRows, wanted: npt.NDArray[np.bool_]) -> list[npt.NDArray[np.intp] | slice]:
    if len(raw.groups) == 1 and wanted.all():
        return [slice(None)]
    groups = (np.flatnonzero(wanted & (raw.group == index)) for index in range(len(raw.groups)))
    return [rows for rows in groups if rows.size]


def _evidence(local: Values, zone: str) -> clock.Evidence:
    # A clock that lost its date would stretch the search over decades: only the main block counts.
    typical = float(np.quantile(local, 0.75, method="higher"))
    near = np.abs(local - typical) < 5 * 365 * 86400
    return clock.look_for_evidence(local if near.all() else local[near], zone)


def _spring(evidence: Iterable[clock.Evidence], options: ReadOptions) -> tuple[str, list[Question]]:
    days = [day for one in evidence for day in one.repeated_spring]
    answer = options.answers.get("spring_hour", "")
    if answer not in ("", "standard_after", "as_written"):
        raise InputError(
            say("the hour shown twice in spring can't be read so"),
            got=f"'{answer}'",
            allowed="standard_after, as_written",
            key="spring_hour",
        )
    if not days or answer:
        return answer, []
    words = say(
        "On {day} the hour after the spring change stands twice: the clock went forward and fell back. "
        "Is what follows standard time, or as written (repeats with other values are left out)?",
        day=days[0],
    )
    return "", [Question("spring_hour", words, ("standard_after", "as_written"))]


def _zone(table: Table, options: ReadOptions) -> tuple[str, str]:
    given = options.zone or options.answers.get("zone", "")
    if given:
        return given, say("The zone {zone} was given.", zone=given)
    noted = zone_in_notes(
        [f"{key} {value}" for key, value in table.notes] + [heading.label for heading in table.headings]
    )
    if noted:
        return noted, say("The file says its clock runs in {zone}.", zone=_plain_zone(noted))
    if options.house_zone:
        return options.house_zone, say(
            "The file names no zone: the house's zone {zone} counts.", zone=options.house_zone
        )
    return "", ""


def _plain_zone(name: str) -> str:
    if name.startswith("Etc/GMT"):
        return "UTC" + name[7:].translate(str.maketrans("+-", "-+"))
    return name


def _fast_clock(timed: Timed, options: ReadOptions) -> Timed:
    answer = options.answers.get("clock_fast_seconds", "")
    if not answer:
        return timed
    try:
        fast = int(answer)
    except ValueError as error:
        raise InputError(
            say("by how much the clock was fast is a whole number of seconds"),
            got=f"'{answer}'",
            allowed=say("540 for 9 minutes fast, -60 for a minute slow"),
            key="clock_fast_seconds",
        ) from error
    words = say("The clock was {seconds} s fast, as you answered: taken off every time.", seconds=fast)
    return replace(timed, utc=timed.utc - fast, understood=(*timed.understood, words))
