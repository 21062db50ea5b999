"""How much the air of single days errs in this lot: sizes weighed by what its own readings tell.

Fans that stand unlogged, doors, a load of fresh pieces beside it: in one house next to nothing, in
another half a day of drying lost in a week. The random walk of drying time (process.draws) comes in
a few sizes; the readings' evidence weighs them, and lots of the house hand it on.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from saltloft.process.learning.columns import AIR_SIZES, State, air_columns, air_variance
from saltloft.process.learning.posterior import Posterior

Array = NDArray[np.float64]


def air_evidence(posterior: Posterior) -> Array:
    """Logarithm of what the readings say for each of AIR_SIZES, array (sizes,).

    Args:
        posterior: Posterior. Of any size of the air's error.
    """
    state, here = posterior.state, air_columns(posterior.state)
    rest = np.setdiff1d(np.arange(len(state.names)), here)
    known = posterior.information
    told = posterior.slopes.T @ posterior.errors.solve(posterior.residual[:, None])[:, 0]
    # All other columns integrated out: what is left is a normal over the steps alone.
    others = state.precision[np.ix_(rest, rest)] + known[np.ix_(rest, rest)]
    gain = np.linalg.solve(others, known[np.ix_(rest, here)])
    own = known[np.ix_(here, here)] - known[np.ix_(here, rest)] @ gain
    values, vectors = np.linalg.eigh(0.5 * (own + own.T))
    values = np.maximum(values, 0.0)
    pulled = vectors.T @ (told[here] - gain.T @ told[rest])
    variance: Array = np.square([size for size, _ in AIR_SIZES])[:, None]
    each = variance * pulled**2 / (1.0 + variance * values) - np.log1p(variance * values)
    evidence: Array = 0.5 * np.sum(each, axis=1)
    return evidence


def with_air(state: State, weights: Array) -> State:
    """The same state with the air's error as large as these weights of AIR_SIZES say.

    Args:
        state: State.
        weights: array (sizes,), adding up to 1. [1]
    """
    here, covariance = air_columns(state), state.covariance.copy()
    covariance[here, here] = air_variance(weights)
    return replace(state, covariance=covariance)


def air_weights(before: Array, evidence: Array) -> Array:
    """Weights of AIR_SIZES after the readings, array (sizes,), adding up to 1.

    Args:
        before: array (sizes,). Weights before them. [1]
        evidence: array (sizes,). From `air_evidence`. [natural logarithm]
    """
    logs = np.log(before) + evidence
    weights = np.exp(logs - logs.max())
    whole: Array = weights / weights.sum()
    return whole


@dataclass(frozen=True)
class Story:
    """The readings met with one size of the air's error.

    Args:
        log_weight: float. Of this size before the readings, and what they say for it. [natural logarithm]
        posterior: Posterior.
    """

    log_weight: float
    posterior: Posterior


def stories(posterior: Posterior, before: Array, evidence: Array) -> list[Story]:
    """The same readings met with every size: a slip must not be taken for a draughty room.

    Args:
        posterior: Posterior. Of any size.
        before: array (sizes,). Weights of AIR_SIZES before the readings. [1]
        evidence: array (sizes,). From `air_evidence`. [natural logarithm]
    """
    logs = np.log(before) + evidence
    return [
        Story(float(log), replace(posterior, state=with_air(posterior.state, only)))
        for log, only in zip(logs, np.eye(len(AIR_SIZES)), strict=True)
    ]
