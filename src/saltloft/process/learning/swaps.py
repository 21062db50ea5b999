"""Two tags exchanged, on one visit or from it on."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from saltloft.foundation.words import say
from saltloft.process.learning.faults import Fault, probability_of
from saltloft.process.learning.observations import Observations, visits_of
from saltloft.process.learning.posterior import Posterior
from saltloft.process.parameters import DryingParameters

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


# Among more tags than this only those with a doubtful reading are compared, and no more than this.
MOST_TAGS = 12


def _pairs(observed: Observations, added: Array) -> list[tuple[str, str, Whole, Whole]]:
    """Every two tags with their readings of shared visits, rows of each, in time order."""
    visit = visits_of(observed)
    rows_of: dict[str, dict[int, int]] = {}
    for row in np.flatnonzero(observed.weighed & (observed.green_kg > 0.0)):
        if observed.tag[row]:
            rows_of.setdefault(observed.tag[row], {})[int(visit[row])] = int(row)
    tags = sorted(rows_of)
    if len(tags) > MOST_TAGS:
        doubt = {tag: sum(added[row] > 0.0 for row in rows_of[tag].values()) for tag in tags}
        tags = sorted((tag for tag in tags if doubt[tag]), key=lambda tag: (-doubt[tag], tag))[:MOST_TAGS]
    pairs = []
    for i, one in enumerate(tags):
        for other in tags[i + 1 :]:
            shared = sorted(rows_of[one].keys() & rows_of[other].keys())
            if shared:
                a = np.array([rows_of[one][v] for v in shared], dtype=np.int64)
                b = np.array([rows_of[other][v] for v in shared], dtype=np.int64)
                pairs.append((one, other, a, b))
    return pairs


def swapped_tags(
    posterior: Posterior, observed: Observations, added: Array, parameters: DryingParameters
) -> list[Swap]:
    """Pairs of tags whose readings fit better the other way round.

    Args:
        posterior: Posterior. With the errors of `added` in.
        observed: Observations.
        added: array (obs,). Variance that doubtful readings were given. [fraction2]
        parameters: DryingParameters. Share of wild readings.

    Returns:
        list of Swap, each reading in one at most, the most probable first.

    Notes:
        All readings of the two tags are judged together, from what everything else leads to
        expect of them: a piece's offset would else learn itself into an exchange that lasts.
    """
    pairs = _pairs(observed, added)
    found = [
        item for pair in pairs if (item := _swap(posterior, observed, added, pair, parameters)) is not None
    ]
    found.sort(key=lambda item: -item[0])
    taken: set[int] = set()
    kept = []
    for _, swap in found:
        if not taken & set(swap.rows.tolist()):
            taken |= set(swap.rows.tolist())
            kept.append(swap)
    return kept


def _swap(
    posterior: Posterior,
    observed: Observations,
    added: Array,
    pair: tuple[str, str, Whole, Whole],
    parameters: DryingParameters,
) -> tuple[float, Swap] | None:
    """The most probable exchange of two tags with its log odds, or None."""
    one, other, a, b = pair
    rows = np.concatenate([a, b])
    mass = (1.0 - observed.value) * observed.green_kg
    change = np.concatenate([1.0 - mass[b] / observed.green_kg[a], 1.0 - mass[a] / observed.green_kg[b]])
    change = change - observed.value[rows]
    visits = len(a)
    # First on each visit alone, then from each visit but the last on.
    single = np.eye(visits, dtype=np.bool_)
    which = np.concatenate([single, np.tri(visits, dtype=np.bool_).T[: visits - 1]])
    which = which[np.max(np.abs(change[:visits]) * which, axis=1) > LEAST_SWAP]
    if not len(which):
        return None
    stories = np.where(np.tile(which, 2), change, 0.0)
    covariance = np.asarray(np.linalg.inv(posterior.block(rows)))
    miss = covariance @ posterior.pull[rows]
    clean: Array = covariance - np.diag(added[rows])
    inverse = np.linalg.inv(clean)
    moved = miss + np.concatenate([np.zeros((1, 2 * visits)), stories])
    logs = -0.5 * np.einsum("ki,ij,kj->k", moved, inverse, moved)
    doubtful = added[rows] > 0.0
    wide = np.where(doubtful, observed.wide[rows] ** 2, 0.0)
    loose = np.linalg.inv(clean + np.diag(wide))
    wild = -0.5 * miss @ loose @ miss + 0.5 * (np.linalg.slogdet(loose)[1] - np.linalg.slogdet(inverse)[1])
    wild += int(doubtful.sum()) * np.log(parameters.outlier_share)
    best = int(np.argmax(logs[1:]))
    odds = float(logs[1 + best] + np.log(SWAP_SHARE) - np.logaddexp(logs[0], wild))
    if odds <= 0.0:
        return None
    here = np.tile(which[best], 2)
    fault = _fault(observed, one, other, rows[here], odds, stays=int(which[best].sum()) > 1)
    return odds, Swap(rows[here], observed.value[rows[here]] + change[here], fault)


def _fault(observed: Observations, one: str, other: str, rows: Whole, odds: float, *, stays: bool) -> Fault:
    day = round(float(observed.day[rows].min()), 1)
    given = tuple(sorted(int(place) for place in observed.order[rows]))
    if stays:
        words = say(
            "tags {one} and {other} look exchanged from day {day:g} on", one=one, other=other, day=day
        )
    else:
        words = say("tags {one} and {other} look exchanged on day {day:g}", one=one, other=other, day=day)
    return Fault("swapped_tags", given, probability_of(odds), words)
