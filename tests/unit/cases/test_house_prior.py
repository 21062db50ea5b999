"""Kept likelihoods come back as they were, to the precision they are kept in."""

from __future__ import annotations

import numpy as np

from saltloft.cases.house_prior import HousePast, likelihood_bytes, likelihood_from
from saltloft.process.learning import COLUMNS, Likelihood


def test_a_likelihood_comes_back_symmetric_and_close() -> None:
    """Single precision: seven figures; nothing is kept as nothing."""
    rng = np.random.default_rng(1)
    slopes = rng.normal(size=(8, len(COLUMNS)))
    told = Likelihood(slopes.T @ slopes, rng.normal(size=len(COLUMNS)))
    back = likelihood_from(likelihood_bytes(told))
    assert back is not None
    np.testing.assert_allclose(back.precision, told.precision, rtol=1e-5, atol=1e-5)
    np.testing.assert_allclose(back.vector, told.vector, rtol=1e-6)
    assert np.array_equal(back.precision, back.precision.T)
    assert likelihood_bytes(back) == likelihood_bytes(likelihood_from(likelihood_bytes(back)))
    assert likelihood_from(likelihood_bytes(None)) is None


def test_the_first_lot_of_a_house_starts_from_the_literature() -> None:
    """No earlier lot: no prior of the house, and the literature's name."""
    assert HousePast("literature/1", (), "alder", "dry 1").prior is None
