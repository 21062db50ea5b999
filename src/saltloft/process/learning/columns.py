"""What is learned about: the lot's normal draws, their prior, and what readings say of them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from saltloft.process.draws import AIR_D, KNOTS_D, LOT_SLOTS, STAGE_SLOTS, Draws
from saltloft.process.learning.errors import ErrorBlocks

Array = NDArray[np.float64]
Whole = NDArray[np.int64]

# The draws of a lot that other lots of its house may know something of.
COLUMNS = (*LOT_SLOTS, *(f"knot_{i}" for i in range(len(KNOTS_D))))
# Size of the error of a day's air against `air_walk`, and what each was worth before anything was
# seen; own choice.
AIR_SIZES = ((0.4, 0.27), (1.0, 0.57), (2.0, 0.13), (3.5, 0.03))


@dataclass(frozen=True)
class LotPrior:
    """What is known of a lot's draws before its own readings: a normal over COLUMNS.

    Args:
        mean: array (columns,). [prior standard deviations]
        covariance: array (columns, columns), positive definite.
        version: str. Names the prior in every forecast that rests on it.
        air: tuple of float. Weights of AIR_SIZES, adding up to 1.
    """

    mean: Array
    covariance: Array
    version: str = ""
    air: tuple[float, ...] = tuple(weight for _, weight in AIR_SIZES)

    @staticmethod
    def plain() -> LotPrior:
        """The literature's prior: mean 0, variance 1, no correlation."""
        return LotPrior(np.zeros(len(COLUMNS)), np.eye(len(COLUMNS)), "plain")

    def moved(self, draws: Draws) -> Draws:
        """Plain prior draws turned into draws of this prior.

        Args:
            draws: Draws. Independent standard normals.

        Returns:
            Draws. Under the plain prior the same numbers.
        """
        width = len(COLUMNS)
        pooled = self.mean + draws.lot[:, :width] @ np.linalg.cholesky(self.covariance).T
        return replace(draws, lot=np.concatenate([pooled, draws.lot[:, width:]], axis=1))

    def sized(self, draws: Draws) -> Draws:
        """Standard normal steps of the air as large as this prior has them.

        Args:
            draws: Draws.
        """
        lot, first = draws.lot.copy(), draws.lot.shape[1] - draws.air.shape[1]
        lot[:, first:] *= np.sqrt(air_variance(np.array(self.air)))
        return replace(draws, lot=lot)


@dataclass(frozen=True)
class Likelihood:
    """What one lot's own readings say about COLUMNS, its prior taken out.

    log likelihood = -1/2 z' precision z + vector' z + constant, linearised at the best point;
    pieces, stages and scales are integrated out.

    Args:
        precision: array (columns, columns).
        vector: array (columns,).
        air: array (sizes,) or None. Log evidence of AIR_SIZES; None where it was not kept.
    """

    precision: Array
    vector: Array
    air: Array | None = None


@dataclass(frozen=True)
class LinearModel:
    """The readings as a straight function of the draws, near the best point.

    reading = expected + jacobian (z - point) + error; each draw has its prior.

    Args:
        columns: tuple of str. COLUMNS, then 'stage_0.humidity' and so on, racks and scales.
        jacobian: array (obs, columns). Rows: weighings, then measured, as given.
        blocks: ErrorBlocks. Error of the readings, in the order of `place`.
        place: array of int (obs,). Row of `blocks` of each reading.
        expected: array (obs,). At the point.
        observed: array (obs,).
        point: array (columns,). Where it was linearised.
        prior_mean: array (columns,).
        prior_covariance: array (columns, columns).
    """

    columns: tuple[str, ...]
    jacobian: Array
    blocks: ErrorBlocks
    place: Whole
    expected: Array
    observed: Array
    point: Array
    prior_mean: Array
    prior_covariance: Array

    @property
    def error(self) -> Array:
        """Covariance of the readings' errors, array (obs, obs). [unit of readings, squared]"""
        return self.blocks.dense()[np.ix_(self.place, self.place)]


@dataclass(frozen=True)
class State:
    """All that is estimated for a lot: its draws, then what its racks and scales add.

    Args:
        names: tuple of str.
        draws: int. Columns that are draws of the ensemble; the rest are nuisances.
        mean: array (columns,). Prior.
        covariance: array (columns, columns). Prior.
    """

    names: tuple[str, ...]
    draws: int
    mean: Array
    covariance: Array

    @cached_property
    def precision(self) -> Array:
        """Inverse of the prior covariance, array (columns, columns)."""
        width = len(COLUMNS)
        # Only what the house may know of is correlated; the rest stands alone.
        common = np.asarray(np.linalg.inv(self.covariance[:width, :width]))
        whole: Array = np.diag(np.concatenate([np.zeros(width), 1.0 / np.diag(self.covariance)[width:]]))
        whole[:width, :width] = 0.5 * (common + common.T)
        return whole


def air_variance(weights: Array) -> float:
    """Variance of the air's steps in a mixture of AIR_SIZES. [1]

    Args:
        weights: array (sizes,), adding up to 1. [1]
    """
    return float(weights @ np.square([size for size, _ in AIR_SIZES]))


def air_columns(state: State) -> Whole:
    """Columns of the steps of the air, array of int."""
    return np.array([i for i, name in enumerate(state.names) if name.startswith("air_")], dtype=np.int64)


def state_of(prior: LotPrior, stages: int, nuisances: dict[str, float]) -> State:
    """The columns of one lot with their prior.

    Args:
        prior: LotPrior.
        stages: int. Stages of its programme.
        nuisances: mapping of a name to its prior variance. [1]
    """
    staged = [f"stage_{i}.{name}" for i in range(stages) for name in STAGE_SLOTS]
    steps = [f"air_{i}" for i in range(len(AIR_D) - 1)]
    air = air_variance(np.array(prior.air))
    more = np.array([1.0] * len(staged) + [air] * len(steps) + list(nuisances.values()))
    staged += steps
    width = len(COLUMNS)
    covariance = np.diag(np.concatenate([np.zeros(width), more]))
    covariance[:width, :width] = prior.covariance
    return State(
        names=(*COLUMNS, *staged, *nuisances),
        draws=width + len(staged),
        mean=np.concatenate([prior.mean, np.zeros(len(more))]),
        covariance=covariance,
    )


def likelihood_of(precision: Array, vector: Array, state: State) -> Likelihood:
    """What is left for COLUMNS when stages, racks and scales are integrated out.

    Args:
        precision: array (columns, columns). Of the readings over the whole state. [1]
        vector: array (columns,). Precision times the best point. [1]
        state: State.
    """
    width = len(COLUMNS)
    rest = precision[width:, width:] + np.linalg.inv(state.covariance[width:, width:])
    if not len(rest):
        return Likelihood(precision, vector)
    gain = np.linalg.solve(rest, precision[width:, :width]).T
    own = precision[:width, :width] - gain @ precision[width:, :width]
    return Likelihood(0.5 * (own + own.T), vector[:width] - gain @ vector[width:])
