"""Proportional odds: the most probable law against a general optimiser, its chances against quadrature."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import minimize
from scipy.special import expit
from scipy.stats import norm

from saltloft.process.ordinal import Ordinal, OrdinalPrior, chances, fitted, log_posterior


def _prior(columns: int, grades: int) -> OrdinalPrior:
    return OrdinalPrior(-1.6, 1.4, 1.5, 0.5, np.full(columns, 0.6), grades)


def _looks(count: int, grades: int, seed: int) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    rows = rng.standard_normal((count, 3))
    level = rows @ np.array([1.0, -0.7, 0.0]) - 0.8 + rng.logistic(size=count)
    return rows, (level > 0).astype(int) + (grades == 3) * (level > 1.4).astype(int)


@pytest.mark.parametrize("grades", [2, 3])
@pytest.mark.parametrize("count", [0, 8, 120])
def test_the_most_probable_law_is_that_of_a_general_optimiser(grades: int, count: int) -> None:
    """scipy.optimize on the log posterior, no derivative handed over."""
    rows, seen = _looks(count, grades, seed=count + grades)
    prior = _prior(3, grades)
    law = fitted(rows, seen, prior)
    best = minimize(
        lambda theta: -log_posterior(theta, rows, seen, prior), prior.mean, method="BFGS", tol=1e-9
    )
    assert law.mean == pytest.approx(best.x, abs=2e-4)


@pytest.mark.parametrize("grades", [2, 3])
def test_the_doubt_is_the_inverse_curvature(grades: int) -> None:
    """Second differences of the log posterior, expected against observed information: within a tenth."""
    rows, seen = _looks(400, grades, seed=5)
    prior = _prior(3, grades)
    law = fitted(rows, seen, prior)
    size, step = law.mean.size, 1e-3
    curve = np.empty((size, size))
    for i in range(size):
        for j in range(size):
            a, b = np.eye(size)[i] * step, np.eye(size)[j] * step
            values = [
                log_posterior(law.mean + one + two, rows, seen, prior) for one in (a, -a) for two in (b, -b)
            ]
            curve[i, j] = -(values[0] - values[1] - values[2] + values[3]) / (4 * step**2)
    assert np.sqrt(np.diag(law.covariance)) == pytest.approx(np.sqrt(np.diag(np.linalg.inv(curve))), rel=0.1)


@pytest.mark.parametrize(("middle", "sd"), [(-1.6, 1.4), (0.5, 0.3), (3.0, 1.0)])
def test_an_averaged_chance_is_that_of_quadrature(middle: float, sd: float) -> None:
    """The closed form is an approximation: within two points in a hundred."""
    prior = _prior(0, 2)
    law = Ordinal(np.array([middle]), np.array([[sd**2]]))
    exact, _ = quad(lambda x: expit(x) * norm.pdf(x, middle, sd), middle - 9 * sd, middle + 9 * sd)
    assert chances(law, np.empty(0), prior)[1] == pytest.approx(exact, abs=0.02)


def test_chances_add_up_and_stay_in_order() -> None:
    rows, seen = _looks(60, 3, seed=9)
    prior = _prior(3, 3)
    law = fitted(rows, seen, prior)
    for row in rows:
        found = chances(law, row, prior)
        assert found.sum() == pytest.approx(1.0)
        assert (found > 0.0).all()
    eager, idle = (
        chances(law, np.array([2.0, -2.0, 0.0]), prior),
        chances(law, np.array([-2.0, 2.0, 0.0]), prior),
    )
    assert eager[1:].sum() > 0.8
    assert idle[1:].sum() < 0.2
