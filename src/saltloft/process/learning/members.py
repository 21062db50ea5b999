"""The members after learning: each its own prior draw, moved by what the readings say."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from saltloft.process.draws import PIECE_SLOTS, Draws
from saltloft.process.learning.fit import Fit
from saltloft.process.learning.lanes import Lot, predicted
from saltloft.process.learning.observations import Observations
from saltloft.science import statistics

Array = NDArray[np.float64]

_NOISE_SLOT0, _NUISANCE_SLOT0, _OFFSET_SLOT0 = 5000, 6000, 7000
# A member is not carried further than this by what its own run shows. [prior standard deviations]
LONGEST_CORRECTION = 1.0


def moved(draws: Draws, fit: Fit, *, seed: int, lot: str) -> Array:
    """Posterior draws of the whole state, array (lots, columns).

    Args:
        draws: Draws. Of the prior.
        fit: Fit.
        seed: int.
        lot: str.

    Notes:
        Matheron's rule: z + K (readings + noise - straight model at z). A column the readings
        do not reach keeps its prior draw. The noise enters as its image in the columns, so its
        cost does not grow with the number of readings.
    """
    posterior, state = fit.posterior, fit.posterior.state
    row = np.arange(draws.lots)[:, None]
    extra = np.sqrt(np.diag(state.covariance)[state.draws :])
    slots = _NUISANCE_SLOT0 + np.arange(len(extra))
    nuisances = extra * statistics.normal(seed, lot, row, slots[None, :])
    prior = np.concatenate([draws.lot, nuisances], axis=1)
    told = np.flatnonzero(np.diag(posterior.information) > 0.0)
    values, vectors = np.linalg.eigh(posterior.information[np.ix_(told, told)])
    root = (vectors * np.sqrt(np.maximum(values, 0.0))) @ vectors.T
    noise = np.zeros_like(prior)
    noise[:, told] = statistics.normal(seed, lot, row, _NOISE_SLOT0 + told[None, :]) @ root
    surprise = posterior.slopes.T @ posterior.errors.solve(posterior.residual[:, None])[:, 0]
    pulled = surprise - (prior - state.mean) @ posterior.information + noise
    whole: Array = prior + pulled @ posterior.covariance
    return whole


def corrected(whole: Array, draws: Draws, fit: Fit, lot: Lot, observed: Observations) -> tuple[Array, Array]:
    """Members whose own run met the readings, and what their runs miss by.

    Args:
        whole: array (lots, columns). From `moved`. [1]
        draws: Draws. Of the prior.
        fit: Fit.
        lot: Lot.
        observed: Observations.

    Returns:
        Array (lots, columns), moved by the gain times the curvature each run shows; and the
        readings minus what each member then leads to expect, array (obs, lots).
    """
    posterior, state = fit.posterior, fit.posterior.state
    lanes = Draws(
        whole[:, : state.draws], np.zeros((draws.lots, len(PIECE_SLOTS))), draws.stages, pieces_each=1
    )
    run = observed.pick(predicted(lot.run_of(lanes, observed.time_d), observed))
    own = posterior.slopes[:, : state.draws]
    straight = (observed.value - posterior.residual)[:, None]
    straight = straight + own @ (whole[:, : state.draws] - state.mean[: state.draws]).T
    curvature = run - straight
    step = np.clip(-(posterior.gain @ curvature).T, -LONGEST_CORRECTION, LONGEST_CORRECTION)
    better = whole + step
    left = posterior.residual[:, None] - posterior.slopes @ (better - state.mean).T - curvature
    return better, left


def offsets_of(left: Array, fit: Fit, observed: Observations, *, seed: int, lot: str) -> Mapping[str, Array]:
    """What each tagged piece is by itself, given the lot, tag by tag, arrays (lots, PIECE_SLOTS).

    Args:
        left: array (obs, lots). Readings minus what each member expects of a mean piece. [fraction]
        fit: Fit.
        observed: Observations.
        seed: int.
        lot: str.
    """
    errors = fit.posterior.errors
    row = np.arange(left.shape[1])[:, None]
    found = {}
    for number, name in enumerate(observed.groups):
        here = slice(errors.starts[number], errors.starts[number] + int(np.sum(observed.group == number)))
        if not observed.tag[here.start]:
            continue
        offset = errors.offset[here] * errors.weight[here, None]
        capacity = errors.capacity[number]
        width = errors.offset.shape[1]
        slots = _OFFSET_SLOT0 + width * number + np.arange(width)
        noise = statistics.normal(seed, lot, row, slots[None, :]) @ np.linalg.cholesky(capacity).T
        found[name] = ((left[here].T @ offset) @ capacity + noise)[:, : len(PIECE_SLOTS)]
    return found


def put_back(draws: Draws, whole: Array) -> Draws:
    """The draws with their lot columns replaced.

    Args:
        draws: Draws.
        whole: array (lots, columns). Draws first. [1]
    """
    return replace(draws, lot=whole[:, : draws.lot.shape[1]])
