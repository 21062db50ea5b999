"""Day, month or year first: decided for the whole file by evidence, never row by row."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from saltloft.foundation.errors import InputError
from saltloft.foundation.words import say
from saltloft.store.loggers.model import Question, ReadOptions
from saltloft.store.loggers.stamps import DMY, LAST_YEAR, SERIAL, SHORT, SHORT_DASHED, UNIX, YMD, Parts
from saltloft.store.loggers.steps import usual_step

ORDERS = ("dmy", "mdy", "ymd")
_BLOCK = 200_000
_EARLIEST, _LATEST = 2010, 2079
# Day number of 1970-01-01 in a spreadsheet that counts from 1900, and from 1904.
_SERIAL_1970 = {"1900": 25569, "1904": 24107}


@dataclass(frozen=True)
class Moments:
    """Moments of all rows on the file's own clock.

    Args:
        seconds: float64 array (n,). Seconds since 1970 on the written clock; NaN where impossible. [s]
        offset: int32 array (n,). Written offset from UTC, NO_OFFSET when none. [s]
        universal: bool array (n,). True where the cell is UTC by its nature (Unix time).
        understood: tuple of str.
        questions: tuple of Question.
    """

    seconds: npt.NDArray[np.float64]
    offset: npt.NDArray[np.int32]
    universal: npt.NDArray[np.bool_]
    understood: tuple[str, ...]
    questions: tuple[Question, ...]


def place_moments(parts: Parts, lines: npt.NDArray[np.int32], options: ReadOptions) -> Moments:
    """Turn calendar parts into seconds once the order of day and month is decided.

    Args:
        parts: Parts (n,).
        lines: int32 array (n,). Line of each row, for what is said.
        options: ReadOptions. Answers 'date_order' and 'serial'; the moment of reading.
    """
    seconds = np.full(len(parts.kind), np.nan)
    understood: list[str] = []
    questions: list[Question] = []
    for kind, order in ((YMD, "ymd"), (DMY, "dmy")):
        rows = _where(parts, kind)
        if rows is not None:
            seconds[rows] = _seconds(parts.take(rows), order)
            said = say("Dates are written year first.") if kind == YMD else say("Dates name their month.")
            understood.append(said)
    _numbers_as_dates(parts, seconds, options, understood)
    # A short year stands first only in the dashed form: nobody writes 26/11/03 for it.
    for kind, orders in ((LAST_YEAR, ORDERS[:2]), (SHORT, ORDERS[:2]), (SHORT_DASHED, ORDERS)):
        rows = _where(parts, kind)
        if rows is not None:
            found = _decide(parts.take(rows), lines[rows], orders, options)
            seconds[rows] = found[0]
            understood += found[1]
            questions += found[2]
    return Moments(seconds, parts.offset, parts.kind == UNIX, tuple(understood), tuple(questions))


def _numbers_as_dates(
    parts: Parts, seconds: npt.NDArray[np.float64], options: ReadOptions, understood: list[str]
) -> None:
    serial = parts.kind == SERIAL
    if serial.any():
        epoch = options.answers.get("serial", "1900")
        if epoch not in _SERIAL_1970:
            raise InputError(
                say("a spreadsheet counts days from one of two years"),
                got=f"'{epoch}'",
                allowed="1900, 1904",
                key="serial",
            )
        seconds[serial] = np.rint((parts.second[serial] - _SERIAL_1970[epoch]) * 86400.0)
        understood.append(say("Dates are a spreadsheet's day numbers counted from {epoch}.", epoch=epoch))
    unix = parts.kind == UNIX
    if unix.any():
        seconds[unix] = parts.second[unix]
        understood.append(say("Times are seconds or milliseconds since 1970 (UTC)."))


def _order_words(order: str) -> str:
    if order == "dmy":
        return say("day, month, year")
    return say("month, day, year") if order == "mdy" else say("year, month, day")


def _where(parts: Parts, kind: int) -> npt.NDArray[np.bool_] | slice | None:
    """The rows of one kind: all of them as a slice, which copies nothing; None when there are none."""
    rows = parts.kind == kind
    if rows.all():
        return slice(None) if rows.size else None
    return rows if rows.any() else None


def _seconds(parts: Parts, order: str) -> npt.NDArray[np.float64]:
    """Seconds since 1970 of the written clock; NaN where the date does not exist. [s]"""
    where = {"ymd": ("one", "two", "three"), "dmy": ("three", "two", "one"), "mdy": ("three", "one", "two")}
    numbers = [getattr(parts, name) for name in where[order]]
    found = np.empty(parts.second.size)
    for start in range(0, found.size, _BLOCK):
        block = slice(start, start + _BLOCK)
        year, month, day = (column[block].astype(np.int64) for column in numbers)
        found[block] = _day_starts(year, month, day) + parts.second[block]
    return found


def _day_starts(
    year: npt.NDArray[np.int64], month: npt.NDArray[np.int64], day: npt.NDArray[np.int64]
) -> npt.NDArray[np.float64]:
    year = np.where(year < 100, year + 2000, year)
    good = (month >= 1) & (month <= 12) & (day >= 1) & (year >= 1900) & (year <= 2200)
    months = (np.where(good, year, 1970) - 1970) * 12 + np.where(good, month, 1) - 1
    start = months.astype("datetime64[M]").astype("datetime64[D]").astype(np.int64)
    end = (months + 1).astype("datetime64[M]").astype("datetime64[D]").astype(np.int64)
    good &= day <= end - start
    return np.where(good, (start + day - 1) * 86400.0, np.nan)


def _decide(
    parts: Parts, lines: npt.NDArray[np.int32], orders: tuple[str, ...], options: ReadOptions
) -> tuple[npt.NDArray[np.float64], list[str], list[Question]]:
    read = {order: _plausible(_seconds(parts, order), options) for order in orders}
    answered = options.answers.get("date_order", "").casefold()
    if answered:
        if answered not in ORDERS:
            raise InputError(
                say("the order of day and month can't be that"),
                got=f"'{answered}'",
                allowed=", ".join(ORDERS),
                key="date_order",
            )
        if answered in read:
            words = say("Dates are {order}, as you answered.", order=_order_words(answered))
            return read[answered], [words], []
    anywhere = np.any([np.isfinite(values) for values in read.values()], axis=0)
    whole = [order for order in orders if np.isfinite(read[order][anywhere]).all()]
    if len(whole) == 1 and anywhere.any():
        return read[whole[0]], [_because(read, whole[0], lines, anywhere)], []
    if not whole:
        return _two_orders(read, lines, anywhere)
    return _by_steps(read, whole)


def _plausible(seconds: npt.NDArray[np.float64], options: ReadOptions) -> npt.NDArray[np.float64]:
    """Dates before loggers kept time or after the moment of reading are no evidence for an order.

    A clock that fell back to 1970, 2000 or 2010 stays: it is found later, by its distance. Works in place.
    """
    earliest = (np.datetime64(f"{_EARLIEST}-01-03") - np.datetime64("1970-01-01")).astype(int) * 86400
    latest = (np.datetime64(f"{_LATEST}-01-01") - np.datetime64("1970-01-01")).astype(int) * 86400
    if options.now_s is not None:
        latest = options.now_s + 2 * 86400
    for start in range(0, seconds.size, _BLOCK):
        block = seconds[start : start + _BLOCK]
        year = block / (365.2425 * 86400) + 1970
        reset = (np.abs(year - 1970) < 0.01) | (np.abs(year - 2000) < 0.09) | (np.abs(year - 2010) < 0.01)
        block[~reset & ~((block >= earliest) & (block <= latest))] = np.nan
    return seconds


def _because(
    read: dict[str, npt.NDArray[np.float64]],
    order: str,
    lines: npt.NDArray[np.int32],
    anywhere: npt.NDArray[np.bool_],
) -> str:
    for other, values in read.items():
        if other != order:
            against = np.flatnonzero(anywhere & ~np.isfinite(values))
            return say(
                "Dates are {order}: line {line} fits no other order.",
                order=_order_words(order),
                line=int(lines[against[0]]),
            )
    return say("Dates are {order}.", order=_order_words(order))


def _two_orders(
    read: dict[str, npt.NDArray[np.float64]], lines: npt.NDArray[np.int32], anywhere: npt.NDArray[np.bool_]
) -> tuple[npt.NDArray[np.float64], list[str], list[Question]]:
    """Some rows fit one order only, others another only: a person must say which rows to believe."""
    examples = []
    for order, values in read.items():
        others = [np.isfinite(read[other]) for other in read if other != order]
        alone = np.flatnonzero(np.isfinite(values) & ~np.any(others, axis=0))
        if alone.size:
            examples.append(
                say("line {line} is {order}", line=int(lines[alone[0]]), order=_order_words(order))
            )
    best = max(read, key=lambda order: int(np.isfinite(read[order]).sum()))
    if not anywhere.any():
        return read[best], [], []
    words = say(
        "The dates stand in two orders: {examples}. Which one counts? Rows that don't fit it are left out.",
        examples="; ".join(examples),
    )
    return read[best], [], [Question("date_order", words, tuple(read))]


def _by_steps(
    read: dict[str, npt.NDArray[np.float64]], whole: list[str]
) -> tuple[npt.NDArray[np.float64], list[str], list[Question]]:
    """Both orders give dates that exist: the one with the steadier steps is taken, else we ask."""
    scores = {order: _steadiness(read[order]) for order in whole}
    ranked = sorted(whole, key=lambda order: scores[order], reverse=True)
    best, second = ranked[0], ranked[1]
    if np.array_equal(read[best], read[second], equal_nan=True):
        return read[best], [say("Dates read the same in both orders.")], []
    if scores[best] > scores[second]:
        words = say(
            "Dates are {order}: only so do the readings follow each other at an even step.",
            order=_order_words(best),
        )
        return read[best], [words], []
    finite = np.flatnonzero(np.isfinite(read[best]))
    examples = ", ".join(
        f"{order} = {np.datetime64(int(read[order][finite[0]]), 's').astype('datetime64[D]')}"
        for order in whole
    )
    words = say(
        "The first date can be read in more than one order: {examples}. Which is it?", examples=examples
    )
    return read[best], [], [Question("date_order", words, tuple(whole))]


def _steadiness(seconds: npt.NDArray[np.float64]) -> tuple[int, int]:
    """(number of steps equal to the usual step, minus the steps back)."""
    finite = seconds[np.isfinite(seconds)]
    steps = np.diff(finite)
    return int(np.sum(steps == usual_step(finite))) if np.any(steps > 0) else 0, -int(np.sum(steps < 0))
