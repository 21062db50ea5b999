"""Errors in blocks and the posterior over them, against the plain way with large matrices."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tests.drying_cases import parameters

from saltloft.process.learning import COLUMNS, Likelihood, LotPrior
from saltloft.process.learning.columns import likelihood_of, state_of
from saltloft.process.learning.errors import ErrorBlocks
from saltloft.process.learning.posterior import Posterior
from saltloft.process.learning.robust import wildness


def _blocks(groups: int, each: int, seed: int = 3) -> ErrorBlocks:
    rng = np.random.default_rng(seed)
    count = groups * each
    weight = 1.0 / (0.002 + 0.002 * rng.random(count)) ** 2
    offset = 0.004 * rng.normal(size=(count, 3))
    return ErrorBlocks(weight, offset, np.repeat(np.arange(groups), each))


@pytest.mark.parametrize(("groups", "each"), [(7, 1), (5, 3), (2, 20), (1, 30)])
def test_blocks_are_the_inverse_of_the_whole_covariance(groups: int, each: int) -> None:
    """Groups one after the other, or all at once: both are the dense inverse."""
    blocks = _blocks(groups, each)
    inverse = np.linalg.inv(blocks.dense())
    values = np.random.default_rng(1).normal(size=(groups * each, 4))
    np.testing.assert_allclose(blocks.solve(values), inverse @ values, rtol=1e-9)
    np.testing.assert_allclose(blocks.inverse_diagonal, np.diag(inverse), rtol=1e-9)
    rows = np.unique([0, 1, groups * each // 2, groups * each - 1])
    np.testing.assert_allclose(blocks.inverse_block(rows), inverse[np.ix_(rows, rows)], rtol=1e-9, atol=1e-6)


def _posterior() -> Posterior:
    rng = np.random.default_rng(5)
    state = state_of(LotPrior.plain(), 1, {"scale B": 0.01**2})
    slopes = 0.01 * rng.normal(size=(30, len(state.names)))
    return Posterior(state, slopes, _blocks(5, 6), 0.01 * rng.normal(size=30))


def test_the_posterior_is_the_plain_kalman_one() -> None:
    """Best point, covariance and leave-one-out surprise by dense algebra."""
    found = _posterior()
    prior, error = found.state.covariance, found.errors.dense()
    whole = found.slopes @ prior @ found.slopes.T + error
    gain = prior @ found.slopes.T @ np.linalg.inv(whole)
    np.testing.assert_allclose(found.best, gain @ found.residual, rtol=1e-8, atol=1e-12)
    np.testing.assert_allclose(found.covariance, prior - gain @ found.slopes @ prior, rtol=1e-7, atol=1e-10)
    inverse = np.linalg.inv(whole)
    np.testing.assert_allclose(found.pull, inverse @ found.residual, rtol=1e-8)
    np.testing.assert_allclose(found.tightness, np.diag(inverse), rtol=1e-8)
    rows = np.array([2, 3, 17])
    np.testing.assert_allclose(found.block(rows), inverse[np.ix_(rows, rows)], rtol=1e-7, atol=1e-3)
    miss, variance = found.surprise()
    others = np.delete(np.arange(30), 4)
    part = whole[np.ix_(others, others)]
    expected = whole[4, others] @ np.linalg.solve(part, found.residual[others])
    spread = whole[4, 4] - whole[4, others] @ np.linalg.solve(part, whole[others, 4])
    assert miss[4] == pytest.approx(found.residual[4] - expected, rel=1e-7)
    assert variance[4] == pytest.approx(spread, rel=1e-7)


def test_a_reading_left_out_teaches_nothing() -> None:
    """Weight 0 gives the posterior without that reading."""
    found = _posterior()
    weight = found.errors.weight.copy()
    weight[7] = 0.0
    without = replace(found, errors=replace(found.errors, weight=weight))
    keep = np.delete(np.arange(30), 7)
    errors = ErrorBlocks(found.errors.weight[keep], found.errors.offset[keep], found.errors.group[keep])
    small = replace(found, slopes=found.slopes[keep], errors=errors, residual=found.residual[keep])
    np.testing.assert_allclose(without.best, small.best, rtol=1e-9, atol=1e-13)


def test_a_likelihood_with_its_prior_is_the_posterior_again() -> None:
    """Prior taken out, stages and scales integrated out: putting the prior back gives the same marginal."""
    found, width = _posterior(), len(COLUMNS)
    vector = found.slopes.T @ found.errors.solve(found.residual[:, None])[:, 0]
    said = likelihood_of(found.information, vector, found.state)
    assert isinstance(said, Likelihood)
    covariance = np.linalg.inv(said.precision + np.eye(width))
    np.testing.assert_allclose(covariance, found.covariance[:width, :width], rtol=1e-8, atol=1e-12)
    np.testing.assert_allclose(covariance @ said.vector, found.best[:width], rtol=1e-8, atol=1e-12)


def test_wild_readings_are_judged_by_the_others() -> None:
    """Five consistent readings of one piece and one 20 points off: only that one is wild."""
    state = state_of(LotPrior.plain(), 0, {})
    slopes = np.zeros((6, len(state.names)))
    slopes[:, 0] = 0.01
    errors = ErrorBlocks(np.full(6, 1e5), np.zeros((6, 1)), np.arange(6))
    residual = np.array([0.001, -0.002, 0.2, 0.0, 0.001, 0.002])
    wild = wildness(Posterior(state, slopes, errors, residual), np.full(6, 0.1), parameters())
    assert wild[2] > 0.99
    assert np.delete(wild, 2).max() < 0.05
