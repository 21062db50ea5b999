"""Blocks of rows from a clock that had lost its date, and the hour such a block may be given back."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np
import numpy.typing as npt

from saltloft.foundation.errors import InputError
from saltloft.foundation.words import say
from saltloft.store.loggers.clock import zone_named
from saltloft.store.loggers.model import Question, ReadOptions, Values

# A logger that lost its battery starts again at the first day of one of these years.
_RESET_YEARS = (1970, 1980, 1999, 2000, 2001, 2004, 2005, 2008, 2010, 2015)
_FAR_SECONDS = 2 * 365 * 86400


@dataclass(frozen=True)
class Quarantine:
    """Rows set apart.

    Args:
        utc: float64 array (n,). Times with given-back blocks moved and the others NaN. [s]
        rows: int. How many are left out.
        words: tuple of str. What was found and done.
        questions: tuple of Question. One per block left out; none of them blocks.
    """

    utc: Values
    rows: int
    words: tuple[str, ...]
    questions: tuple[Question, ...]


def set_resets_apart(
    utc: Values, lines: npt.NDArray[np.int32], zone: str, options: ReadOptions
) -> Quarantine:
    """Find blocks whose date is that of a clock just started, years before the rest of the file.

    Args:
        utc: float64 array (n,). In the order of the file, NaN where not read. [s]
        lines: int32 array (n,).
        zone: str. Zone in which an answer 'clock_reset.N=TIME' is meant.
        options: ReadOptions.

    Raises:
        InputError: every row carries such a date, or an answer is no moment.
    """
    finite = np.isfinite(utc)
    if not finite.any():
        return Quarantine(utc, 0, (), ())
    typical = float(np.quantile(utc[finite], 0.75, method="higher"))
    lost = finite & (utc < typical - _FAR_SECONDS)
    lost[lost] = _near_reset(utc[lost])
    if _near_reset(np.array([typical]), days=32)[0] and typical < _year(2012):
        raise InputError(
            say("the logger's clock was never set: its dates begin in {year}", year=_year_of(typical)),
            allowed=say("a file with real dates"),
            do=say("set the logger's clock; write down what these readings were"),
            line=int(lines[0]),
        )
    if not lost.any():
        return Quarantine(utc, 0, (), ())
    return _blocks(utc.copy(), lost, lines, zone, options)


def _blocks(
    utc: Values, lost: npt.NDArray[np.bool_], lines: npt.NDArray[np.int32], zone: str, options: ReadOptions
) -> Quarantine:
    edges = np.flatnonzero(np.diff(np.concatenate(([0], lost.astype(np.int8), [0]))))
    words, questions, left_out = [], [], 0
    for number, (start, end) in enumerate(zip(edges[::2], edges[1::2], strict=True), start=1):
        first, last = int(lines[start]), int(lines[end - 1])
        answer = options.answers.get(f"clock_reset.{number}", "")
        if answer:
            utc[start:end] += _moment(answer, zone, number) - utc[start]
            words.append(
                say(
                    "Lines {first} to {last} were given back their time: {answer}.",
                    first=first,
                    last=last,
                    answer=answer,
                )
            )
            continue
        # A day on: the first of January of the logger may still be the last of December in UTC.
        year = _year_of(float(utc[start]) + 86400.0)
        utc[start:end] = np.nan
        left_out += int(end - start)
        words.append(
            say(
                "Lines {first} to {last} carry the date of a clock that lost it ({year}) and are left out.",
                first=first,
                last=last,
                year=year,
            )
        )
        question = say(
            "When was line {first} really read? The block is taken back with that time.", first=first
        )
        questions.append(Question(f"clock_reset.{number}", question, (), blocking=False))
    return Quarantine(utc, left_out, tuple(words), tuple(questions))


def _near_reset(utc: Values, days: int = 92) -> npt.NDArray[np.bool_]:
    starts = np.array([_year(year) for year in _RESET_YEARS])
    away = utc[:, None] - starts[None, :]
    return np.asarray(((away >= -86400.0) & (away < days * 86400.0)).any(axis=1))


def _year(year: int) -> float:
    return datetime(year, 1, 1, tzinfo=UTC).timestamp()


def _year_of(moment_s: float) -> int:
    return datetime.fromtimestamp(moment_s, UTC).year


def _moment(answer: str, zone: str, number: int) -> float:
    try:
        moment = datetime.fromisoformat(answer)
    except ValueError as error:
        raise InputError(
            say("the time of a block is no moment"),
            got=f"'{answer}'",
            allowed="2026-03-05T10:00",
            key=f"clock_reset.{number}",
        ) from error
    return (moment if moment.tzinfo else moment.replace(tzinfo=zone_named(zone))).timestamp()
