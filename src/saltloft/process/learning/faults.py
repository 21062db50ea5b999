"""Slips of weighing, found by asking which story the readings tell more probably."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from saltloft.foundation.words import say
from saltloft.process.learning.observations import Observations, Truths
from saltloft.process.learning.posterior import Posterior
from saltloft.process.parameters import DryingParameters

Array = NDArray[np.float64]

# Of the weighings that fit nothing: slips of the decimal mark, and digits exchanged; chosen, no source.
SLIP_SHARE, DIGIT_SHARE = 0.4, 0.1
# Two weighings so close are of one day, and a piece loses no more between them; chosen. [d] [1/d]
ONE_DAY, PACE = 0.6, 0.04


@dataclass(frozen=True)
class Fault:
    """A slip the readings tell of.

    Args:
        code: str. slipped_decimal, contradictory, swapped_tags, scale_off, scale_changed, scale_unseen
            or wild.
        weighings: tuple of int. Places in the weighings as given; empty for another reading.
        probability: float. Of this slip, the others being as found, 0..1; 0 for scale_unseen.
        words: str. One plain sentence.
    """

    code: str
    weighings: tuple[int, ...]
    probability: float
    words: str


def probability_of(log_odds: float) -> float:
    """The probability, 0..1, of what has these odds.

    Args:
        log_odds: float. Natural logarithm of the odds. [1]
    """
    return float(1.0 / (1.0 + np.exp(-np.clip(log_odds, -700.0, 700.0))))


def slipped_decimals(posterior: Posterior, observed: Observations, doubtful: Truths) -> dict[int, Fault]:
    """Readings that fit once the decimal mark moves one place, or two neighbouring digits change places.

    Args:
        posterior: Posterior. Doubtful readings already loosened.
        observed: Observations.
        doubtful: array of bool (obs,). Only these are asked about.

    Returns:
        dict of row to Fault.
    """
    found: dict[int, Fault] = {}
    rows = np.flatnonzero(doubtful & observed.weighed)
    if not len(rows):
        return found
    miss, variance = posterior.surprise()
    for row in rows.tolist():
        fresh = observed.variance[row]
        clean = max(float(variance[row]) - 1.0 / max(float(posterior.errors.weight[row]), 1e-12), 0.0) + fresh
        wide = clean + float(observed.wide[row]) ** 2
        expected = float(observed.value[row] - miss[row])
        best, meant = max(
            (_log_normal(1.0 - left - expected, clean) + prior, left) for left, prior in _meant(observed, row)
        )
        wild = _log_normal(float(miss[row]), wide) + float(np.log(1.0 - SLIP_SHARE - DIGIT_SHARE))
        if best > wild:
            found[row] = _slip(observed, row, meant, probability_of(best - wild))
    return found


def what_of(observed: Observations, row: int) -> str:
    """What was weighed, in words: a tagged piece, or so many pieces."""
    if observed.tag[row]:
        return say("piece {tag}", tag=observed.tag[row])
    return (
        say("{count} pieces", count=int(observed.pieces[row])) if observed.pieces[row] > 1 else say("a piece")
    )


def _log_normal(miss: float, variance: float) -> float:
    return float(-0.5 * (miss**2 / variance + np.log(variance)))


def _meant(observed: Observations, row: int) -> list[tuple[float, float]]:
    """What may have been meant by a mass, as a share of green, with its log prior.

    A density of masses ten times as large is a tenth as high, which the prior takes in.
    """
    left = float(1.0 - observed.value[row])
    stories = [(left * factor, float(np.log(SLIP_SHARE / 2.0 * factor))) for factor in (0.1, 10.0)]
    green_g = 1000.0 * float(observed.green_kg[row])
    if green_g > 0.0:
        digits = f"{left * green_g:.0f}"
        exchanged = {digits[:i] + digits[i + 1] + digits[i] + digits[i + 2 :] for i in range(len(digits) - 1)}
        each = float(np.log(DIGIT_SHARE / max(len(exchanged), 1)))
        stories += [(int(other) / green_g, each) for other in exchanged - {digits}]
    return stories


def _slip(observed: Observations, row: int, meant: float, probability: float) -> Fault:
    """Masses as read and as probably meant; of a loss alone, as shares of green."""
    left, green_kg = float(1.0 - observed.value[row]), float(observed.green_kg[row])
    day = round(float(observed.day[row]), 1)
    if green_kg > 0.0:
        words = say(
            "the weighing of {what} on day {day:g} looks mistyped: {read:.4g} kg, probably {meant:.4g} kg",
            what=what_of(observed, row), day=day, read=left * green_kg, meant=meant * green_kg,
        )  # fmt: skip
    else:
        words = say(
            "the weighing of {what} on day {day:g} looks like a slipped decimal mark: weigh again",
            what=what_of(observed, row),
            day=day,
        )
    return Fault("slipped_decimal", (int(observed.order[row]),), probability, words)


def contradictions(
    observed: Observations, named: Iterable[int], parameters: DryingParameters
) -> dict[int, Fault]:
    """Two weighings of one tag on one day of which one must be wrong, whichever it is.

    Args:
        observed: Observations.
        named: iterable of int. Rows that other slips explain already.
        parameters: DryingParameters. Share and spread of wild readings.

    Returns:
        dict of row to Fault; a pair shares one.

    Notes:
        Judged by the two readings alone: what lies between them is two errors of weighing and at most
        the pace of a day, or else one of them is wild.
    """
    taken, found = set(named), {}
    tagged = [row for row in np.flatnonzero(observed.weighed).tolist() if observed.tag[row]]
    tagged.sort(key=lambda row: (observed.group[row], observed.day[row]))
    wide = 2.0 * parameters.outlier_spread**2
    for one, other in pairwise(tagged):
        apart = float(observed.day[other] - observed.day[one])
        if observed.group[one] != observed.group[other] or apart > ONE_DAY or {one, other} & taken:
            continue
        away = float(observed.value[other] - observed.value[one])
        plain = float(observed.variance[one] + observed.variance[other]) + (PACE * apart) ** 2
        share = 2.0 * parameters.outlier_share
        odds = (
            _log_normal(away, plain + wide) - _log_normal(away, plain) + float(np.log(share / (1.0 - share)))
        )
        if odds > 0.0:
            found[one] = found[other] = _contradiction(observed, one, other, probability_of(odds))
            taken |= {one, other}
    return found


def _contradiction(observed: Observations, one: int, other: int, probability: float) -> Fault:
    """Both readings by their masses, or as losses where the green weight is not known."""
    left, green_kg = 1.0 - observed.value[[one, other]], observed.green_kg[[one, other]]
    day, given = round(float(observed.day[one]), 1), sorted(observed.order[[one, other]].tolist())
    if green_kg.min() > 0.0:
        first, second = (left * green_kg).tolist()
        words = say(
            "two weighings of {what} on day {day:g} contradict each other, "
            "{first:.4g} kg and {second:.4g} kg: weigh again",
            what=what_of(observed, one), day=day, first=first, second=second,
        )  # fmt: skip
    else:
        first, second = (100.0 * (1.0 - left)).tolist()
        words = say(
            "two weighings of {what} on day {day:g} contradict each other, "
            "{first:.1f} % and {second:.1f} %: weigh again",
            what=what_of(observed, one), day=day, first=first, second=second,
        )  # fmt: skip
    return Fault("contradictory", tuple(given), probability, words)


def wild_faults(observed: Observations, wild: Array, named: Sequence[int]) -> list[Fault]:
    """Readings that fit nothing and have no other name.

    Args:
        observed: Observations.
        wild: array (obs,). Probability of being wild, 0..1.
        named: sequence of int. Rows that other faults explain.
    """
    faults = []
    for row in np.flatnonzero(wild > 0.5).tolist():
        if row in named:
            continue
        day, value = round(float(observed.day[row]), 1), float(observed.value[row])
        if observed.weighed[row]:
            words = say(
                "the weighing of {what} on day {day:g} ({loss:.1f} %) does not fit the others: weigh again",
                what=what_of(observed, row),
                day=day,
                loss=100.0 * value,
            )
        else:
            words = say("the reading {value:g} of day {day:g} does not fit the others", value=value, day=day)
        given = (int(observed.order[row]),) if observed.weighed[row] else ()
        faults.append(Fault("wild", given, float(wild[row]), words))
    return faults
