"""Learning from pH readings: members that foresaw them count more."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from saltloft.process.fermentation.members import FermentationParameters
from saltloft.science import statistics

FloatArray = NDArray[np.float64]

# Mince at room temperature, offcuts, strips: they ferment otherwise than the piece.
PLACES_THAT_TEACH = ("core", "rim")
# How long the model's error at one reading lasts to the next. [h]
_ERROR_LASTS_H = 24.0
# Degrees of freedom of the error: few, so that one wrong reading moves little.
_FREEDOM = 4.0
_ROUNDS = 6


@dataclass(frozen=True)
class PhReading:
    """pH read on pieces of the lot.

    Args:
        hour: float. From stuffing. [h]
        ph: float. The highest of the pieces. [pH]
        where: str. 'core', 'rim', 'test_mince', 'offcut' or 'strip'.
        pieces: int. How many were read, 1 or more.
        sd: float or None. Its own error when it is known; None: a meter's. [pH]
    """

    hour: float
    ph: float
    where: str = "core"
    pieces: int = 1
    sd: float | None = None


@dataclass(frozen=True)
class Learned:
    """Draws and their weights after the readings.

    Args:
        z: array (members, columns). [1]
        weights: array (members,). Sum 1. [1]
        share_effective: float, 0..1. Effective share of the members.
    """

    z: FloatArray
    weights: FloatArray
    share_effective: float


def highest_of(pieces: int) -> float:
    """By how many piece spreads the highest of n pieces stands above their mean.

    Args:
        pieces: int, 1 or more.

    Returns:
        float. Blom's approximation of the expected largest normal of n. [1]
    """
    return float(ndtri((pieces - 0.375) / (pieces + 0.25))) if pieces > 1 else 0.0


def teaching(readings: Sequence[PhReading]) -> tuple[PhReading, ...]:
    """The readings that teach, by hour."""
    return tuple(
        sorted((one for one in readings if one.where in PLACES_THAT_TEACH), key=lambda one: one.hour)
    )


def learn(
    prior: FloatArray,
    readings: Sequence[PhReading],
    expect: Callable[[FloatArray], FloatArray],
    parameters: FermentationParameters,
    *,
    seed: int,
    lot: str,
) -> Learned:
    """Weigh the members by the readings; draw anew where too few would count.

    Args:
        prior: array (members, columns). Standard normal draws. [1]
        readings: sequence of PhReading. Those that do not teach are left out.
        expect: function of draws to array (readings, members): the pH each foresaw. [pH]
        parameters: FermentationParameters. For the errors.
        seed: int, 0 or more.
        lot: str. Name that keys new draws.

    Returns:
        Learned. Without readings the prior comes back with equal weights.

    Notes:
        Student likelihood with an error that lasts about a day. When fewer than three in ten members
        would count, new members are drawn from a normal fitted to the weighted ones, widened, and
        weighed by prior over proposal (adaptive importance sampling).
    """
    count = len(prior)
    if not readings:
        return Learned(prior, np.full(count, 1.0 / count), 1.0)
    z, log_proposal = prior, _log_normal(prior, np.zeros(prior.shape[1]), np.eye(prior.shape[1]))
    weights = np.empty(0)
    for attempt in range(_ROUNDS + 1):
        likelihood = _log_likelihood(expect(z), readings, parameters)
        log_prior = -0.5 * np.sum(z * z, axis=1)
        log_weights = likelihood + log_prior - log_proposal
        weights = _normalised(log_weights)
        if attempt == _ROUNDS or _effective(weights) >= 0.3:
            break
        centre, spread = _fitted(z, log_weights)
        root = np.linalg.cholesky(spread)
        fresh = statistics.normal(
            seed,
            f"ferment:{lot}:{attempt}",
            np.arange(count)[:, None],
            np.arange(prior.shape[1])[None, :],
        )
        z = centre + fresh @ root.T
        log_proposal = _log_normal(z, centre, spread)
    return Learned(z, weights, _effective(weights))


def _log_likelihood(
    expected: FloatArray, readings: Sequence[PhReading], parameters: FermentationParameters
) -> FloatArray:
    """Log likelihood of each member, array (members,)."""
    hours = np.array([one.hour for one in readings])
    lasting = np.exp(-np.abs(hours[:, None] - hours[None, :]) / _ERROR_LASTS_H)
    own = [
        one.sd**2
        if one.sd is not None
        else parameters.meter_ph_sd**2 + parameters.piece_ph_sd**2 / max(one.pieces, 1)
        for one in readings
    ]
    spread = parameters.model_ph_sd**2 * lasting + np.diag(own)
    above = np.array([parameters.piece_ph_sd * highest_of(one.pieces) for one in readings])
    measured = np.array([one.ph for one in readings]) - above
    white = np.linalg.solve(np.linalg.cholesky(spread), measured[:, None] - expected)
    distance = np.sum(white * white, axis=0)
    return np.asarray(-0.5 * (_FREEDOM + len(readings)) * np.log1p(distance / _FREEDOM))


def _normalised(log_weights: FloatArray) -> FloatArray:
    weights = np.exp(log_weights - log_weights.max())
    return np.asarray(weights / weights.sum())


def _effective(weights: FloatArray) -> float:
    return float(1.0 / np.sum(weights * weights) / weights.size)


def _fitted(z: FloatArray, log_weights: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Mean and widened covariance of the members under weights flattened until a tenth count."""
    power = 1.0
    while power > 1e-3 and _effective(_normalised(power * log_weights)) < 0.1:
        power *= 0.7
    weights = _normalised(power * log_weights)
    centre = weights @ z
    apart = z - centre
    spread = (apart * weights[:, None]).T @ apart
    # Half way to the diagonal: few members know little of how columns go together.
    spread = 0.5 * spread + 0.5 * np.diag(np.diag(spread))
    return centre, np.asarray(1.3 * spread + 0.05 * np.eye(z.shape[1]))


def _log_normal(z: FloatArray, centre: FloatArray, spread: FloatArray) -> FloatArray:
    root = np.linalg.cholesky(spread)
    white = np.linalg.solve(root, (z - centre).T)
    return np.asarray(-0.5 * np.sum(white * white, axis=0) - np.log(np.diag(root)).sum())
