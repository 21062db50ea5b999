"""Two tags exchanged, on one visit or from it on."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from saltloft.foundation.words import say
from saltloft.process.learning.faults import Fault, probability_of
from saltloft.process.learning.observations import Observations, visits_of
from saltloft.process.learning.posterior import Posterior

Array = NDArray[np.float64]
Whole = NDArray[np.int64]

# How often two tags are exchanged at a visit, before anything is seen; chosen, no source.
SWAP_SHARE = 2e-4
# Below this difference of the losses an exchange changes nothing worth a word. [fraction]
LEAST_SWAP = 0.004


@dataclass(frozen=True)
class Swap:
    """Two tags exchanged on one visit, or from it on.

    Args:
        rows: array of int. Readings concerned.
        value: array. What they are with the tags put right. [fraction]
        fault: Fault.
    """

    rows: Whole
    value: Array
    fault: Fault


def _pairs(observed: Observations) -> list[tuple[str, str, Whole, Whole]]:
    """Every two tags with their readings of shared visits, rows of each, in time order."""
    visit = visits_of(observed)
    rows_of: dict[str, dict[int, int]] = {}
    for row in np.flatnonzero(observed.weighed & (observed.green_kg > 0.0)):
        if observed.tag[row]:
            rows_of.setdefault(observed.tag[row], {})[int(visit[row])] = int(row)
    tags = sorted(rows_of)
    pairs = []
    for i, one in enumerate(tags):
        for other in tags[i + 1 :]:
            shared = sorted(rows_of[one].keys() & rows_of[other].keys())
            if shared:
                a = np.array([rows_of[one][v] for v in shared], dtype=np.int64)
                b = np.array([rows_of[other][v] for v in shared], dtype=np.int64)
                pairs.append((one, other, a, b))
    return pairs


# More tags than this are not compared pair by pair.
MOST_TAGS = 60


def swapped_tags(posterior: Posterior, observed: Observations, added: Array) -> list[Swap]:
    """Pairs of tags whose readings fit better the other way round.

    Args:
        posterior: Posterior. With the errors of `added` in.
        observed: Observations.
        added: array (obs,). Variance that doubtful readings were given. [fraction2]

    Returns:
        list of Swap, each reading in one at most, the most probable first.
    """
    if len({tag for tag in observed.tag if tag}) > MOST_TAGS:
        return []
    miss, variance = posterior.surprise()
    found: list[tuple[float, Swap]] = []
    for one, other, a, b in _pairs(observed):
        mass = (1.0 - observed.value) * observed.green_kg
        as_a, as_b = 1.0 - mass[b] / observed.green_kg[a], 1.0 - mass[a] / observed.green_kg[b]
        moved = np.abs(as_a - observed.value[a])
        # A quick look first: by its own surprise each reading must gain by the exchange.
        gain = (miss[a] ** 2 - (miss[a] + as_a - observed.value[a]) ** 2) / (variance[a] - added[a])
        gain += (miss[b] ** 2 - (miss[b] + as_b - observed.value[b]) ** 2) / (variance[b] - added[b])
        for first in np.flatnonzero((gain > 4.0) & (moved > LEAST_SWAP)):
            for last in sorted({int(first), len(a) - 1}):
                rows = np.concatenate([a[first : last + 1], b[first : last + 1]])
                value = np.concatenate([as_a[first : last + 1], as_b[first : last + 1]])
                odds = _swap_odds(posterior, observed, added, rows, value)
                if odds > 0.0:
                    fault = _swap_fault(observed, one, other, rows, odds, stays=bool(last > first))
                    found.append((odds, Swap(rows, value, fault)))
    found.sort(key=lambda item: -item[0])
    taken: set[int] = set()
    kept = []
    for _, swap in found:
        if not taken & set(swap.rows.tolist()):
            taken |= set(swap.rows.tolist())
            kept.append(swap)
    return kept


def _swap_odds(
    posterior: Posterior, observed: Observations, added: Array, rows: Whole, value: Array
) -> float:
    """Log odds of the exchange against: as written, or as written and all of them wild."""
    covariance: Array = np.asarray(np.linalg.inv(posterior.block(rows)))
    miss = covariance @ posterior.pull[rows]
    clean: Array = covariance - np.diag(added[rows])

    def log_density(misses: Array, spread: Array) -> float:
        _, log_det = np.linalg.slogdet(spread)
        return float(-0.5 * (misses @ np.linalg.solve(spread, misses) + log_det))

    as_written = log_density(miss, clean)
    wild = log_density(miss, clean + np.diag(observed.wide[rows] ** 2)) + len(rows) * np.log(0.02)
    swapped = log_density(miss + value - observed.value[rows], clean)
    return swapped + float(np.log(SWAP_SHARE)) - float(np.logaddexp(as_written, wild))


def _swap_fault(
    observed: Observations, one: str, other: str, rows: Whole, odds: float, *, stays: bool
) -> Fault:
    day = round(float(observed.day[rows].min()), 1)
    given = tuple(sorted(int(place) for place in observed.order[rows]))
    if stays:
        words = say(
            "tags {one} and {other} look exchanged from day {day:g} on", one=one, other=other, day=day
        )
    else:
        words = say("tags {one} and {other} look exchanged on day {day:g}", one=one, other=other, day=day)
    return Fault("swapped_tags", given, probability_of(odds), words)
