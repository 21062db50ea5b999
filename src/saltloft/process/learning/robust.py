"""Wild readings: a mixture of a narrow and a wide error, judged by what all others lead to expect."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from saltloft.process.learning.posterior import Posterior
from saltloft.process.parameters import DryingParameters

Array = NDArray[np.float64]

ROUNDS = 6


def inflation(wild: Array, wide: Array) -> Array:
    """Variance added to a reading that may be wild, array (obs,).

    Args:
        wild: array (obs,). Probability of being wild, 0..1.
        wide: array (obs,). Spread of a wild one. [unit of the reading]
    """
    doubt = np.where(wild > 0.5, wild, 0.0)
    added: Array = doubt / np.maximum(1.0 - doubt, 1e-3) * wide**2
    return added


def inflated(posterior: Posterior, added: Array) -> Posterior:
    """The same with larger fresh errors of some readings.

    Args:
        posterior: Posterior.
        added: array (obs,). Variance to add. [unit of the reading, squared]
    """
    if not np.any(added > 0.0):
        return posterior
    weight = posterior.errors.weight
    looser = weight / (1.0 + weight * added)
    return replace(posterior, errors=replace(posterior.errors, weight=looser))


def wildness(posterior: Posterior, wide: Array, parameters: DryingParameters) -> Array:
    """Probability of each reading being wild, array (obs,), 0..1.

    Args:
        posterior: Posterior. With the plain errors.
        wide: array (obs,). Spread of a wild reading. [unit of the reading]
        parameters: DryingParameters. Share of wild ones.
    """
    share = parameters.outlier_share
    weight = posterior.errors.weight
    fresh = np.divide(1.0, weight, out=np.full_like(weight, np.inf), where=weight > 0.0)
    wild = np.zeros(len(wide))
    for _ in range(ROUNDS):
        added = inflation(wild, wide)
        miss, variance_all = inflated(posterior, added).surprise()
        variance = np.maximum(variance_all - added, np.where(np.isfinite(fresh), fresh, variance_all))
        spread = variance + wide**2
        # Compared as logarithms: a slipped decimal mark misses by thousands of deviations.
        log_wild = np.log(share) - 0.5 * (miss**2 / spread + np.log(spread))
        log_plain = np.log(1.0 - share) - 0.5 * (miss**2 / variance + np.log(variance))
        before, wild = wild, np.exp(log_wild - np.logaddexp(log_wild, log_plain))
        if np.array_equal(before > 0.5, wild > 0.5):
            break
    return wild
