"""Slips of weighing, found by asking which story the readings tell more probably."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from saltloft.foundation.words import say
from saltloft.process.learning.observations import Observations, Truths
from saltloft.process.learning.posterior import Posterior

Array = NDArray[np.float64]

# Share of the weighings that fit nothing which are slips of the decimal mark; chosen, no source.
SLIP_SHARE = 0.5


@dataclass(frozen=True)
class Fault:
    """A slip the readings tell of.

    Args:
        code: str. slipped_decimal, swapped_tags, scale_off, scale_changed, scale_unseen or wild.
        weighings: tuple of int. Places in the weighings as given.
        probability: float. Of this slip, the others being as found, 0..1; 0 for scale_unseen.
        words: str. One plain sentence.
    """

    code: str
    weighings: tuple[int, ...]
    probability: float
    words: str


def probability_of(log_odds: float) -> float:
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
    miss, variance = posterior.surprise()
    expected = observed.value - miss
    for row in np.flatnonzero(doubtful & observed.weighed):
        clean = (
            max(variance[row] - 1.0 / max(posterior.errors.weight[row], 1e-12), 0.0) + observed.variance[row]
        )
        left = 1.0 - observed.value[row]
        # Masses are compared: a tenfold mass is a tenfold narrower story.
        stories = [(factor, left * factor) for factor in (0.1, 10.0)]
        logs = [
            -0.5 * ((1.0 - then - expected[row]) ** 2 / clean + np.log(clean)) + np.log(factor / 2.0)
            for factor, then in stories
        ]
        other = clean + observed.wide[row] ** 2
        wild = -0.5 * (miss[row] ** 2 / other + np.log(other))
        best = int(np.argmax(logs))
        odds = logs[best] + np.log(SLIP_SHARE) - wild - np.log(1.0 - SLIP_SHARE)
        if odds > 0.0:
            factor = stories[best][0]
            words = say(
                "the weighing of day {day:g} looks like a slipped decimal mark: {read} kg for {meant} kg",
                day=round(float(observed.day[row]), 1),
                read=_kg(left, observed.green_kg[row]),
                meant=_kg(left * factor, observed.green_kg[row]),
            )
            found[int(row)] = Fault(
                "slipped_decimal", (int(observed.order[row]),), probability_of(odds), words
            )
    return found


def _kg(left: float, green_kg: float) -> str:
    """A mass as it was read; of one kilogram green where the green weight is not known."""
    return f"{left * (green_kg or 1.0):.3g}"


def wild_faults(observed: Observations, wild: Array, named: Sequence[int]) -> list[Fault]:
    """Readings that fit nothing and have no other name.

    Args:
        observed: Observations.
        wild: array (obs,). Probability of being wild, 0..1.
        named: sequence of int. Rows that other faults explain.
    """
    faults = []
    for row in np.flatnonzero((wild > 0.5) & observed.weighed):
        if row in named:
            continue
        words = say(
            "the weighing of day {day:g} ({loss:.1f} %) does not fit the others: weigh again",
            day=round(float(observed.day[row]), 1),
            loss=100.0 * observed.value[row],
        )
        faults.append(Fault("wild", (int(observed.order[row]),), float(wild[row]), words))
    return faults
