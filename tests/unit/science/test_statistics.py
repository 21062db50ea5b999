"""Draws that depend on their place alone, and quantiles with weights."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from saltloft.foundation.errors import InputError
from saltloft.science import statistics

WORD = st.integers(0, 2**64 - 1)


@given(st.tuples(WORD, WORD, WORD, WORD), st.tuples(WORD, WORD))
def test_philox_is_that_of_numpy(counter: tuple[int, int, int, int], key: tuple[int, int]) -> None:
    """Word for word numpy.random.Philox, which adds one to the counter before its first block."""
    words = tuple(np.array([word], dtype=np.uint64) for word in counter)
    with np.errstate(over="ignore"):
        ours = [int(word[0]) for word in statistics.philox(words, key)]
    before = (sum(word << (64 * place) for place, word in enumerate(counter)) - 1) % 2**256
    start = np.array([(before >> (64 * place)) % 2**64 for place in range(4)], dtype=np.uint64)
    theirs = np.random.Philox(counter=start, key=np.array(key, dtype=np.uint64)).random_raw(4)
    assert ours == [int(word) for word in theirs]


def test_a_draw_depends_on_its_place_alone() -> None:
    """Alone, among others, in any order: the same bytes; another lot, seed or slot: others."""
    block = statistics.normal(7, "AL-0310", np.arange(400)[:, None], np.arange(25))
    assert block.shape == (400, 25)
    assert statistics.normal(7, "AL-0310", 133, 21) == block[133, 21]
    np.testing.assert_array_equal(statistics.normal(7, "AL-0310", np.arange(399, -1, -1), 4), block[::-1, 4])
    for other in (
        statistics.normal(8, "AL-0310", np.arange(400), 0),
        statistics.normal(7, "AL-0311", np.arange(400), 0),
        block[:, 1],
    ):
        assert abs(np.corrcoef(block[:, 0], other)[0, 1]) < 0.2


def test_kept_draws_do_not_change() -> None:
    """Bytes of this version, so that a kept forecast can be made again (pinned, own)."""
    assert statistics.uniform(1, "AL-0310", [0, 1], 0).tolist() == [0.5216143687407917, 0.7619344230809355]


def test_draws_have_their_distributions() -> None:
    """Kolmogorov-Smirnov on 20,000 draws: uniform and normal not rejected at 1e-3 (seed fixed)."""
    members = np.arange(20_000)
    assert stats.kstest(statistics.uniform(3, "x", members, 0), "uniform").pvalue > 1e-3
    assert stats.kstest(statistics.normal(3, "x", members, 1), "norm").pvalue > 1e-3


def test_a_negative_seed_is_refused() -> None:
    """Seeds are 0 or more."""
    with pytest.raises(InputError, match="seed"):
        statistics.uniform(-1, "x", 0, 0)


@given(st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=40), st.floats(0.0, 1.0))
def test_equal_weights_are_hazen(values: list[float], q: float) -> None:
    """numpy.quantile(method='hazen') is the same rule."""
    ours = statistics.weighted_quantile(values, None, q)
    assert ours == pytest.approx(np.quantile(values, q, method="hazen"), rel=1e-9, abs=1e-9)


def test_weights_count_like_copies_and_zero_like_absence() -> None:
    """Half-weight twins change nothing; a member of weight 0 is not there."""
    values, q = np.array([3.0, 1.0, 4.0, 1.5]), [0.05, 0.5, 0.95]
    plain = statistics.weighted_quantile(values, None, q)
    with_ghost = statistics.weighted_quantile([*values, 99.0], [1.0, 1.0, 1.0, 1.0, 0.0], q)
    np.testing.assert_allclose(with_ghost, plain, rtol=1e-14)
    pulled = statistics.weighted_quantile(values, [1.0, 1.0, 5.0, 1.0], 0.5)
    assert pulled > plain[1]


def test_never_is_later_than_any_day() -> None:
    """Members that never reach a target are infinite; a quantile among them is infinite, not NaN."""
    days = np.array([[10.0, 20.0, np.inf, np.inf], [1.0, 2.0, 3.0, 4.0]])
    found = statistics.weighted_quantile(days, None, [0.25, 0.9])
    assert found.shape == (2, 2)
    assert found[0].tolist() == [15.0, 1.5]
    assert found[1, 0] == np.inf


def test_the_axis_of_the_members_is_free() -> None:
    """Members first or last, the same quantiles."""
    values = np.random.Generator(np.random.Philox(5)).normal(size=(30, 7))
    np.testing.assert_array_equal(
        statistics.weighted_quantile(values, None, [0.1, 0.9], axis=0),
        statistics.weighted_quantile(values.T, None, [0.1, 0.9], axis=1),
    )


@pytest.mark.parametrize("weights", [[1.0], [1.0, -1.0], [0.0, 0.0], [np.nan, 1.0]])
def test_wrong_weights_are_refused(weights: list[float]) -> None:
    """Another length, negative, all zero, not a number."""
    with pytest.raises(InputError, match="weights do not fit"):
        statistics.weighted_quantile([1.0, 2.0], weights, 0.5)
    with pytest.raises(InputError, match="quantile"):
        statistics.weighted_quantile([1.0, 2.0], None, 1.2)
