"""The members after learning: each its own prior draw, moved by what the readings say."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from saltloft.process.draws import PIECE_SLOTS, Draws
from saltloft.process.learning.columns import air_columns
from saltloft.process.learning.fit import Fit
from saltloft.process.learning.lanes import Lot, predicted
from saltloft.process.learning.observations import Observations
from saltloft.process.learning.places import AHEAD_D, PLACE, STRETCHES, shares_of_time
from saltloft.science import statistics

Array = NDArray[np.float64]

_NOISE_SLOT0, _NUISANCE_SLOT0, _OFFSET_SLOT0 = 5000, 6000, 7000
# A member is not carried further than this by what its own run shows. [prior standard deviations]
LONGEST_CORRECTION = 1.0


def moved(draws: Draws, fit: Fit, *, seed: int, lot: str) -> Array:
    """Posterior draws of the whole state, array (lots, columns).

    Args:
        draws: Draws. Of the prior, the air's steps as standard normals.
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
    # The steps of the air come as standard normals: how large they are these readings helped to tell.
    air = air_columns(state)
    prior[:, air] *= np.sqrt(np.diag(state.covariance)[air])
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


def offsets_of(
    left: Array, fit: Fit, observed: Observations, *, drift: float, seed: int, lot: str
) -> Mapping[str, Array]:
    """What each tagged piece is by itself, given the lot, tag by tag, arrays (lots, PIECE_SLOTS).

    Args:
        left: array (obs, lots). Readings minus what each member expects of a mean piece. [fraction]
        fit: Fit.
        observed: Observations.
        drift: float, 0..1. Share of a place's variance that does not last.
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
        own = (left[here].T @ offset) @ capacity + noise
        found[name] = _with_place(own, fit.slopes.piece[here], observed.day[here], drift)
    return found


def _with_place(own: Array, slopes: Array, day: Array, drift: float) -> Array:
    """Piece draws as they count some time after the last reading, array (lots, PIECE_SLOTS).

    Args:
        own: array (lots, slots). PIECE_SLOTS as far as they last, the stretches of the place, and more.
        slopes: array (obs, PIECE_SLOTS). What each draw adds to each reading.
        day: array (obs,). [d]
        drift: float, 0..1.

    Notes:
        The drifting part goes along what the place's draws do together. What the piece had so far
        makes up a part of the time until then, and the rest of it is nobody's knowledge: it is left
        at its mean, as the rack's next place is drawn with the lot's own.
    """
    slots, place = len(PIECE_SLOTS), [PIECE_SLOTS.index(name) for name in PLACE]
    along = slopes[:, place].mean(axis=0)
    along = along / max(float(np.linalg.norm(along)), 1e-12)
    last = float(day.max())
    so_far = own[:, slots : slots + STRETCHES] @ shares_of_time(np.array([last]))[0]
    found = own[:, :slots].copy()
    found[:, place] *= np.sqrt(1.0 - drift)
    found[:, place] += np.sqrt(drift) * last / (last + AHEAD_D) * so_far[:, None] * along
    return found


def put_back(draws: Draws, whole: Array) -> Draws:
    """The draws with their lot columns replaced.

    Args:
        draws: Draws.
        whole: array (lots, columns). Draws first. [1]
    """
    return replace(draws, lot=whole[:, : draws.lot.shape[1]])
