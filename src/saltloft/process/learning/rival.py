"""The rival model: weight loss as a straight line in the square root of time, with its whole doubt.

What a curer draws on squared paper, as a probability model. A lot has a slope and a start, its
pieces have slopes of their own, a visit to the scale has an error of its own. Slope and start come
from the house's earlier lots as a mean and a spread; how uneven pieces and visits are is weighed on
a short grid by the lots' evidence. All is normal and in closed form at each node of the grid.
It knows weight loss only; nothing is said of the inside of a piece.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import product as every

import numpy as np
from numpy.typing import NDArray

from saltloft.process.learning.level import Level, PastLine, usual_level
from saltloft.process.learning.weighed import Seen
from saltloft.science import statistics

Array = NDArray[np.float64]
Whole = NDArray[np.int64]

# Nodes: sd of a visit's own error, of a start off nought [fraction of green weight], and of the pieces'
# slopes about the lot's [1]. A visit is off by 0.3 points at most: with more it would be another model
# that fits whatever comes. Own choice; equal weight before anything was weighed.
VISIT_SD = (0.0003, 0.001, 0.003)
START_SD = (0.0007, 0.02)
PIECE_SD = (0.025, 0.04, 0.055, 0.075, 0.11)
NODES: Array = np.array(list(every(VISIT_SD, START_SD, PIECE_SD)))

# The start is felt from the first hours on. [d]
START_D = 0.25
LEAST_SLOPE = 1e-4
SLOT0 = 12_000


def roots_of(day: Array) -> tuple[Array, Array]:
    """What a unit of start and a unit of slope add to the loss, arrays like day.

    Args:
        day: array. 0 or more. [d]
    """
    return -np.expm1(-day / START_D), np.sqrt(day)


@dataclass(frozen=True)
class Line:
    """A lot's line after its weighings: at each node a normal over start, slope and its pieces' slopes.

    Args:
        mean: array (nodes, 2 + tags). Start [1], slope, slopes of tagged pieces less the lot's. [1/d^0.5]
        covariance: array (nodes, 2 + tags, 2 + tags).
        evidence: array (nodes,). Log density of the weighings.
        tags: tuple of str.
        prior: array (nodes,). Log weight of each node before these weighings.
    """

    mean: Array
    covariance: Array
    evidence: Array
    tags: tuple[str, ...]
    prior: Array

    @cached_property
    def weights(self) -> Array:
        """Of each node after them, array (nodes,), sum 1."""
        log = self.prior + self.evidence
        weights: Array = np.exp(log - log.max())
        weights /= weights.sum()
        return weights

    @cached_property
    def log_evidence(self) -> float:
        """Log density of the weighings, all nodes together."""
        prior = self.prior - np.logaddexp.reduce(self.prior)
        return float(np.logaddexp.reduce(prior + self.evidence))

    def draws(self, lots: int, *, seed: int, lot: str) -> Drawn:
        """So many draws of the line.

        Args:
            lots: int.
            seed: int.
            lot: str.
        """
        width = self.mean.shape[1]
        pairs = np.arange((lots + 1) // 2)[:, None]
        chance = statistics.uniform(seed, lot, pairs, np.array([[SLOT0]]))[:, 0]
        # Nodes in proportion to their weights, evenly, so that few draws do not miss a heavy one;
        # two draws mirror each other, so that few do not miss the middle.
        even = (np.argsort(np.argsort(chance)) + 0.5) / len(pairs)
        place = np.minimum(np.searchsorted(np.cumsum(self.weights), even), len(self.weights) - 1)
        half = _white(statistics.normal(seed, lot, pairs, SLOT0 + 1 + np.arange(width + 1)[None, :]))
        node = np.repeat(place, 2)[:lots]
        z = np.stack([half, -half], axis=1).reshape(-1, width + 1)[:lots]
        roots = np.linalg.cholesky(self.covariance + 1e-18 * np.eye(width))
        drawn = self.mean[node] + np.einsum("nij,nj->ni", roots[node], z[:, :width])
        return Drawn(
            start=drawn[:, 0],
            slope=np.maximum(drawn[:, 1], LEAST_SLOPE),
            pieces=drawn[:, 2:],
            piece_sd=NODES[node, 2] * np.maximum(drawn[:, 1], LEAST_SLOPE),
            visit_sd=NODES[node, 0],
            rest=z[:, width],
            tags=self.tags,
        )


@dataclass(frozen=True)
class Drawn:
    """Draws of a lot's line.

    Args:
        start: array (lots,). [1]
        slope: array (lots,). [1/d^0.5]
        pieces: array (lots, tags). Slope of each tagged piece less the lot's. [1/d^0.5]
        piece_sd: array (lots,). How uneven pieces' slopes are. [1/d^0.5]
        visit_sd: array (lots,). Of a visit's own error. [1]
        rest: array (lots,). Standard normal draws for the mean of pieces that nobody weighed. [1]
        tags: tuple of str.
    """

    start: Array
    slope: Array
    pieces: Array
    piece_sd: Array
    visit_sd: Array
    rest: Array
    tags: tuple[str, ...]

    def of_tags(self, tags: Sequence[str]) -> Array:
        """Mean slope of some tagged pieces less the lot's, array (lots,). [1/d^0.5]

        Args:
            tags: sequence of str. One never weighed counts as a fresh piece.
        """
        known = [self.tags.index(tag) for tag in tags if tag in self.tags]
        fresh = len(tags) - len(known)
        summed = self.pieces[:, known].sum(axis=1) + np.sqrt(fresh) * self.piece_sd * self.rest
        mean: Array = summed / max(len(tags), 1)
        return mean

    def of_whole(self, tags: Sequence[str], hung: int) -> Array:
        """Mean slope of all pieces that hang less the lot's own, array (lots,). [1/d^0.5]

        Args:
            tags: sequence of str. The tagged ones among them.
            hung: int. How many hang, at least as many as tags.
        """
        known = [self.tags.index(tag) for tag in tags if tag in self.tags]
        others = hung - len(known)
        summed = self.pieces[:, known].sum(axis=1) + np.sqrt(others) * self.piece_sd * self.rest
        mean: Array = summed / hung
        return mean

    def loss(self, day: Array, more: Array | float = 0.0) -> Array:
        """Weight loss, array (days, lots), 0..1, never falling.

        Args:
            day: array (days,), rising. [d]
            more: array (lots,) or float. Added to the slope. [1/d^0.5]
        """
        one, root = roots_of(day)
        slope = np.maximum(self.slope + more, LEAST_SLOPE)
        line = one[:, None] * self.start + root[:, None] * slope
        return np.asarray(np.maximum.accumulate(np.clip(line, 0.0, 1.0), axis=0))


def _white(z: Array) -> Array:
    """Normal draws of which few already have the right spread in every direction, array like z.

    Args:
        z: array (draws, columns). As they are where there are few of them.
    """
    if len(z) < 2 * z.shape[1]:
        return z
    root = np.linalg.cholesky(z.T @ z / len(z))
    return np.asarray(np.linalg.solve(root, z.T).T, dtype=np.float64)


def line_of(seen: Seen, level: Level, prior: Array | None = None) -> Line:
    """Fit the line of a lot to its weighings at every node.

    Args:
        seen: Seen. May be empty.
        level: Level.
        prior: array (nodes,) or None. Log weight of each node by the house's earlier lots. [1]

    Notes:
        The visits' errors are integrated out one by one (each is one number common to its
        readings), so that the matrices have a row for start, slope and each tagged piece only.
        ln slope's prior enters as a normal of the slope.
    """
    seen = seen.thinned
    visit_sd, start_sd, piece_sd = NODES.T
    tags, width = seen.named, 2 + len(seen.named)
    before = np.zeros((len(NODES), width))
    before[:, 1] = level.slope
    spread = np.empty((len(NODES), width))
    spread[:, 0], spread[:, 1] = start_sd, level.sd * level.slope
    # Pieces are uneven about their lot's slope; a rough one does for the size of it.
    rough = _rough(seen, level)
    spread[:, 2:] = (piece_sd * rough)[:, None]
    if not len(seen.day):
        covariance = np.eye(width) * (spread**2)[:, None, :]
        return Line(before, covariance, np.zeros(len(NODES)), tags, _even(prior))
    design = _design(seen, width)
    fresh = (
        seen.variance
        + np.where(_tagged(seen), 0.0, 1.0 / seen.pieces)
        * ((piece_sd * rough)[:, None] * np.sqrt(seen.day)) ** 2
    )
    mean, covariance, evidence = _solved(seen, design, fresh, visit_sd, before=before, spread=spread)
    return Line(mean, covariance, evidence, tags, _even(prior))


def _even(prior: Array | None) -> Array:
    return np.zeros(len(NODES)) if prior is None else prior


def _rough(seen: Seen, level: Level) -> float:
    """A slope through all readings with the expected one as one more of them. [1/d^0.5]"""
    weight = 1e-4 / (level.sd * level.slope) ** 2
    root = np.sqrt(seen.day)
    fitted = float(root @ seen.loss + weight * level.slope) / float(root @ root + weight)
    return max(fitted, 0.3 * level.slope)


def _tagged(seen: Seen) -> NDArray[np.bool_]:
    return np.array([tag in seen.named for tag in seen.tag], dtype=np.bool_)


def _design(seen: Seen, width: int) -> Array:
    one, root = roots_of(seen.day)
    design = np.zeros((len(seen.day), width))
    design[:, 0], design[:, 1] = one, root
    for number, tag in enumerate(seen.tag):
        if tag in seen.named:
            # A set of so many pieces strays less than one.
            place = 2 + seen.named.index(tag)
            design[number, place] = root[number] / np.sqrt(seen.pieces[number])
    return design


def _solved(
    seen: Seen, design: Array, fresh: Array, visit_sd: Array, *, before: Array, spread: Array
) -> tuple[Array, Array, Array]:
    """Mean, covariance and log evidence at each node."""
    visit = seen.visit
    member = (visit[:, None] == np.arange(int(visit.max()) + 1)).astype(np.float64)
    weight = 1.0 / fresh
    inner = 1.0 / visit_sd[:, None] ** 2 + weight @ member
    surprise = seen.loss - np.einsum("ok,nk->no", design, before)
    both = np.concatenate(
        [np.broadcast_to(design, (len(NODES), *design.shape)), surprise[:, :, None]], axis=2
    )
    weighted = weight[:, :, None] * both
    per_visit = np.einsum("ov,nok->nvk", member, weighted)
    moments = np.einsum("nok,nol->nkl", both, weighted) - np.einsum(
        "nvk,nv,nvl->nkl", per_visit, 1.0 / inner, per_visit
    )
    prior = 1.0 / spread**2
    precision = moments[:, :-1, :-1] + np.eye(design.shape[1]) * prior[:, None, :]
    covariance = np.linalg.inv(precision)
    pull = moments[:, :-1, -1]
    shift = np.einsum("nkl,nl->nk", covariance, pull)
    log_det = (
        np.log(fresh).sum(axis=1)
        + (np.log(inner) + 2.0 * np.log(visit_sd)[:, None]).sum(axis=1)
        + np.linalg.slogdet(precision)[1]
        + 2.0 * np.log(spread).sum(axis=1)
    )
    left = moments[:, -1, -1] - np.einsum("nk,nk->n", pull, shift)
    evidence = -0.5 * (len(seen.day) * np.log(2.0 * np.pi) + log_det + left)
    return before + shift, 0.5 * (covariance + covariance.transpose(0, 2, 1)), evidence


def past_line(seen: Seen, lot: str, product: str, calibre_m: float) -> PastLine:
    """What a lot's weighings say of its line, the house's prior not in it.

    Args:
        seen: Seen. Not empty.
        lot, product: str.
        calibre_m: float. [m]
    """
    line = line_of(seen, usual_level(calibre_m))
    slope = float(np.sum(line.weights * line.mean[:, 1]))
    within = line.covariance[:, 1, 1] + (line.mean[:, 1] - slope) ** 2
    slope = max(slope, LEAST_SLOPE)
    sd = float(np.sqrt(np.sum(line.weights * within))) / slope
    return PastLine(lot, product, calibre_m, float(np.log(slope)), sd, line.evidence)


# No one lot settles how even a house is.
MOST_A_LOT = 8.0


def node_prior(past: Sequence[PastLine]) -> Array:
    """Log weight of each node by the house's earlier lots, array (nodes,).

    Args:
        past: sequence of PastLine.
    """
    total = np.zeros(len(NODES))
    for one in past:
        total += np.maximum(one.evidence - one.evidence.max(), -MOST_A_LOT)
    return total
