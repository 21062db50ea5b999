"""Moves the members by weighings, so that band, composition and water activity move together.

An ensemble smoother with several passes: each pass takes in every weighing with its error
inflated, recomputes all members, and the passes together use each weighing once. Moved are
the standard normal draws of the lot, never the results, so whatever is computed afterwards
belongs to one physics.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from saltloft.process.draws import Draws
from saltloft.process.parameters import DryingParameters
from saltloft.science import statistics

Array = NDArray[np.float64]

PASSES = 4
_NOISE_SLOT0 = 5000


@dataclass(frozen=True)
class Weighing:
    """One weighing of hanging pieces, as a loss.

    Args:
        day: float. From stuffing. [d]
        weight_loss: float. Fraction of the green weight of what was weighed, 0..1.
        pieces: int. How many were weighed together.
        tag: str. Names one piece that is weighed again and again; empty otherwise.
        spread: float or None. Standard deviation between single pieces or readings, as
            stated; None: the model's own. [fraction]
        division_kg: float. Scale division; 0 when not known. [kg]
        green_kg: float. Green weight of what was weighed; 0 when not known. [kg]
    """

    day: float
    weight_loss: float
    pieces: int = 1
    tag: str = ""
    spread: float | None = None
    division_kg: float = 0.0
    green_kg: float = 0.0

    @property
    def group(self) -> str:
        """Weighings of one group are of the same pieces, whose offset stays theirs."""
        return self.tag or f"{self.pieces} pieces"


@dataclass(frozen=True)
class Learned:
    """What the weighings did.

    Args:
        draws: Draws. The lot's columns moved.
        outlier_share: array (weighings,). Probability of each being a wild one, 0..1.
    """

    draws: Draws
    outlier_share: Array


def error_covariance(
    weighings: Sequence[Weighing], piece_spread: Array, parameters: DryingParameters
) -> Array:
    """How weighings miss the lot's mean, array (weighings, weighings) of fractions squared.

    Args:
        weighings: sequence of Weighing.
        piece_spread: array (weighings,). The model's spread between pieces then. [fraction]
        parameters: DryingParameters. Scale error.

    Notes:
        Scale and rounding are fresh each time; a piece's own offset, shrunk by the number
        of pieces weighed together, returns with every weighing of the same group.
    """
    count = len(weighings)
    own = np.array([piece_spread[i] if w.spread is None else w.spread for i, w in enumerate(weighings)])
    offset = own / np.sqrt([w.pieces for w in weighings])
    covariance = np.zeros((count, count))
    for i, one in enumerate(weighings):
        for j, other in enumerate(weighings):
            if one.group == other.group:
                covariance[i, j] = offset[i] * offset[j]
        # A weighing whose own spread is stated is not worsened by our guess of a scale.
        scale = parameters.scale_error.sd
        if one.spread is not None:
            scale = min(scale, one.spread)
        rounding = one.division_kg / np.sqrt(6.0) / one.green_kg if one.green_kg > 0.0 else 0.0
        covariance[i, i] += scale**2 + rounding**2
    return covariance


def outliers(residual: Array, covariance: Array, error: Array, parameters: DryingParameters) -> Array:
    """Probability of each weighing being wild, judged by what all others lead to expect.

    Args:
        residual: array (weighings,). Weighed minus expected. [fraction]
        covariance: array (weighings, weighings). Of the expectation. [fraction2]
        error: array (weighings, weighings). Of the weighings. [fraction2]
        parameters: DryingParameters. Share and spread of wild weighings.

    Returns:
        Array (weighings,), 0..1.
    """
    wild = np.zeros(len(residual))
    share, spread = parameters.outlier_share, parameters.outlier_spread
    for _ in range(6):
        inverse = np.linalg.inv(covariance + error + np.diag(inflation(wild, parameters)))
        variance_all = 1.0 / np.diag(inverse)
        miss = (inverse @ residual) * variance_all
        variance = np.maximum(variance_all - inflation(wild, parameters), np.diag(error))
        plain = (1.0 - share) * np.exp(-0.5 * miss**2 / variance) / np.sqrt(variance)
        wide = variance + spread**2
        other = share * np.exp(-0.5 * miss**2 / wide) / np.sqrt(wide)
        wild = other / (plain + other)
    return wild


def inflation(wild: Array, parameters: DryingParameters) -> Array:
    """Variance added to a weighing that may be wild, array (weighings,). [fraction2]

    Args:
        wild: array (weighings,). Probability of being wild, 0..1.
        parameters: DryingParameters.
    """
    doubt = np.where(wild > 0.5, wild, 0.0)
    added: Array = doubt / np.maximum(1.0 - doubt, 1e-3) * parameters.outlier_spread**2
    return added


def _gain(columns: Array, expected: Array, error: Array) -> Array:
    """Kalman gain (columns, weighings), with chance correlations shrunk away."""
    lots = len(columns)
    z, y = columns - columns.mean(axis=0), expected - expected.mean(axis=0)
    cross = z.T @ y / (lots - 1)
    spread = np.outer(z.std(axis=0, ddof=1), y.std(axis=0, ddof=1))
    squared = np.square(np.divide(cross, spread, out=np.zeros_like(cross), where=spread > 0.0))
    kept = np.clip((squared - 1.0 / lots) / np.maximum(squared, 1e-12), 0.0, 1.0)
    within = y.T @ y / (lots - 1) + error
    gain: Array = np.linalg.solve(within, (cross * kept).T).T
    return gain


def learn(
    draws: Draws,
    weighings: Sequence[Weighing],
    expect: Callable[[Draws], tuple[Array, Array]],
    parameters: DryingParameters,
    *,
    seed: int,
    lot: str,
) -> Learned:
    """Move the lot draws by the weighings.

    Args:
        draws: Draws. The prior.
        weighings: sequence of Weighing; with none the draws come back untouched.
        expect: function of Draws giving the lot's mean loss at each weighing, array
            (weighings, lots), and the spread between its pieces, (weighings,). [fraction]
        parameters: DryingParameters.
        seed: int.
        lot: str.

    Returns:
        Learned.
    """
    count = len(weighings)
    if not count:
        return Learned(draws, np.zeros(0))
    seen = np.array([w.weight_loss for w in weighings])
    wild = np.zeros(count)
    for number in range(PASSES):
        expected, piece_spread = expect(draws)
        error = error_covariance(weighings, piece_spread, parameters)
        if number == 0:
            spread = np.cov(expected).reshape(count, count)
            wild = outliers(seen - expected.mean(axis=1), spread, error, parameters)
        inflated = PASSES * (error + np.diag(inflation(wild, parameters)))
        slots = _NOISE_SLOT0 + number * 1000 + np.arange(count)
        noise = statistics.normal(seed, lot, np.arange(draws.lots)[:, None], slots[None, :])
        noise = (noise - noise.mean(axis=0)) @ np.linalg.cholesky(inflated).T
        moved = draws.lot + (seen + noise - expected.T) @ _gain(draws.lot, expected.T, inflated).T
        draws = replace(draws, lot=moved)
    return Learned(draws, wild)
