"""Proportional odds with Gaussian priors: the most probable law, its doubt, and chances of the next grade.

P(grade > k) = 1 / (1 + exp(-(x b + a - c_k))) with c_0 = 0 and c_1 = exp(g). Fitted by Fisher
scoring; the doubt is the inverse of the expected information and the prior's (Laplace); a
chance is averaged over it by the probit's closed form (MacKay 1992, equation 10: the
logistic of m / sqrt(1 + pi v / 8); from memory, held against quadrature in the tests).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit

Array = NDArray[np.float64]
Whole = NDArray[np.int64]

ROUNDS, HALVINGS, CLOSE = 40, 12, 1e-8
LEAST_CHANCE = 1e-9


@dataclass(frozen=True)
class OrdinalPrior:
    """What is held before the first look.

    Args:
        first, first_sd: float. Log odds of any grade above 0, and its standard deviation.
        apart, apart_sd: float. How much lower the log odds of the next grade are (median), and the
            standard deviation of its logarithm; unused with two grades.
        slope_sd: array (columns,). Standard deviation of each slope; mean 0.
        grades: int. 2 or 3.
    """

    first: float
    first_sd: float
    apart: float
    apart_sd: float
    slope_sd: Array
    grades: int

    @property
    def cuts(self) -> int:
        """How many of the law's numbers come before its slopes."""
        return self.grades - 1

    @property
    def mean(self) -> Array:
        """Prior mean, array (cuts + columns,)."""
        start = [self.first, np.log(self.apart)][: self.cuts]
        return np.concatenate([start, np.zeros(self.slope_sd.size)])

    @property
    def sd(self) -> Array:
        """Prior standard deviation, array (cuts + columns,)."""
        return np.concatenate([[self.first_sd, self.apart_sd][: self.cuts], self.slope_sd])


@dataclass(frozen=True)
class Ordinal:
    """A law and its doubt.

    Args:
        mean: array (cuts + columns,). Most probable.
        covariance: array (cuts + columns, cuts + columns).
    """

    mean: Array
    covariance: Array


def _above(theta: Array, rows: Array, prior: OrdinalPrior) -> tuple[Array, Array]:
    """Log odds of each look of more than each grade, and their slopes: (looks, cuts), (looks, cuts, all)."""
    level = rows @ theta[prior.cuts :] + theta[0]
    odds = np.repeat(level[:, None], prior.cuts, axis=1)
    slope = np.zeros((len(rows), prior.cuts, theta.size))
    slope[:, :, 0] = 1.0
    slope[:, :, prior.cuts :] = rows[:, None, :]
    if prior.cuts == 2:
        gap = np.exp(theta[1])
        odds[:, 1] -= gap
        slope[:, 1, 1] = -gap
    return odds, slope


def _grades(theta: Array, rows: Array, prior: OrdinalPrior) -> tuple[Array, Array]:
    """Chance of each grade and its slopes: (looks, grades), (looks, grades, all)."""
    odds, slope = _above(theta, rows, prior)
    above = expit(odds)
    steep = (above * (1.0 - above))[:, :, None] * slope
    ends = np.concatenate([np.ones((len(rows), 1)), above, np.zeros((len(rows), 1))], axis=1)
    flat = np.zeros((len(rows), 1, theta.size))
    steep = np.concatenate([flat, steep, flat], axis=1)
    return np.maximum(ends[:, :-1] - ends[:, 1:], LEAST_CHANCE), steep[:, :-1] - steep[:, 1:]


def log_posterior(theta: Array, rows: Array, grades: Whole, prior: OrdinalPrior) -> float:
    """Logarithm of prior times likelihood, up to a constant.

    Args:
        theta: array (cuts + columns,). Log odds, log gap and slopes. [1]
        rows: array (looks, columns). [1]
        grades: array (looks,). 0, 1, ...
        prior: OrdinalPrior.
    """
    chance, _ = _grades(theta, rows, prior)
    seen = float(np.log(chance[np.arange(grades.size), grades]).sum())
    return seen - 0.5 * float((((theta - prior.mean) / prior.sd) ** 2).sum())


def fitted(rows: Array, grades: Whole, prior: OrdinalPrior, start: Ordinal | None = None) -> Ordinal:
    """The most probable law and its doubt.

    Args:
        rows: array (looks, columns). [1]
        grades: array (looks,). 0, 1, ...
        prior: OrdinalPrior.
        start: Ordinal or None. Where to begin; the prior without.
    """
    theta = prior.mean if start is None else start.mean
    weight = np.diag(prior.sd**-2.0)
    here = log_posterior(theta, rows, grades, prior)
    information = weight
    for _ in range(ROUNDS):
        chance, slope = _grades(theta, rows, prior)
        own = slope[np.arange(grades.size), grades] / chance[np.arange(grades.size), grades][:, None]
        score = own.sum(axis=0) - (theta - prior.mean) / prior.sd**2
        information = weight + np.einsum("nki,nkj->ij", slope / chance[:, :, None], slope)
        step = np.linalg.solve(information, score)
        for _ in range(HALVINGS):
            there = log_posterior(theta + step, rows, grades, prior)
            if there >= here:
                break
            step = 0.5 * step
        theta, here = theta + step, there
        if float(score @ step) < CLOSE:
            break
    spread: Array = np.linalg.inv(information).astype(np.float64, copy=False)
    return Ordinal(theta, spread)


def chances(law: Ordinal, row: Array, prior: OrdinalPrior) -> Array:
    """Chance of each grade of the next look, its law's doubt averaged in, array (grades,). [0..1]

    Args:
        law: Ordinal.
        row: array (columns,). [1]
        prior: OrdinalPrior.
    """
    odds, slope = _above(law.mean, row[None, :], prior)
    spread = np.einsum("ki,ij,kj->k", slope[0], law.covariance, slope[0])
    above = expit(odds[0] / np.sqrt(1.0 + np.pi * spread / 8.0))
    ends = np.concatenate([[1.0], np.minimum.accumulate(above), [0.0]])
    found = np.maximum(ends[:-1] - ends[1:], 1e-4)
    return np.asarray(found / found.sum(), dtype=np.float64)
