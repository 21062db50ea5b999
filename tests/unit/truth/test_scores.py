"""Scoring functions on distributions whose answer is known."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import norm
from tests.truth.baselines import leave_one_out_line
from tests.truth.scores import (
    coverage,
    crps,
    lot_means,
    place_in,
    rank_histogram,
    redraw,
    samples_of_quantiles,
)


def _normal_crps(z: float) -> float:
    """Closed form for a standard normal: Gneiting and Raftery 2007, JASA 102:359, eq. 21 (memory)."""
    return float(z * (2.0 * norm.cdf(z) - 1.0) + 2.0 * norm.pdf(z) - 1.0 / np.sqrt(np.pi))


@pytest.mark.parametrize("z", [-2.5, 0.0, 0.7, 4.0])
def test_crps_of_a_normal(z: float) -> None:
    """Against the closed form, samples placed evenly."""
    samples = norm.ppf((np.arange(4000) + 0.5) / 4000)
    assert crps(samples, z) == pytest.approx(_normal_crps(z), abs=2e-3)


def test_crps_is_fair_to_small_ensembles() -> None:
    """Eight random members have the normal's score on average, not a worse one."""
    rng = np.random.default_rng(1)
    mean = np.mean([crps(rng.normal(size=8), 0.5) for _ in range(20000)])
    assert mean == pytest.approx(_normal_crps(0.5), abs=0.006)


def test_crps_by_its_definition() -> None:
    """Against the double sum over pairs of different members."""
    members = np.array([3.0, -1.0, 4.0, 1.5])
    pairs = [abs(a - b) for i, a in enumerate(members) for j, b in enumerate(members) if i != j]
    assert crps(members, 2.0) == pytest.approx(np.mean(abs(members - 2.0)) - 0.5 * np.mean(pairs), rel=1e-12)


def test_quantiles_of_a_normal_give_back_the_normal() -> None:
    """Levels 0.05, 0.5, 0.95 suffice for a normal; the tails go on."""
    levels = np.array([0.05, 0.5, 0.95])
    samples = samples_of_quantiles(levels, 3.0 + 2.0 * norm.ppf(levels), 1000)
    np.testing.assert_allclose(samples, 3.0 + 2.0 * norm.ppf((np.arange(1000) + 0.5) / 1000), atol=1e-9)


def test_a_quantile_later_than_every_day_stays_so() -> None:
    """A share that never gets there is kept as never."""
    samples = samples_of_quantiles(np.array([0.05, 0.5, 0.95]), np.array([20.0, 30.0, np.inf]), 1000)
    assert 0.45 < np.isinf(samples).mean() < 0.55
    assert np.isinf(samples_of_quantiles(np.array([0.05, 0.95]), np.array([np.inf, np.inf]))).all()


def test_quantiles_that_end_inside_the_band_are_refused() -> None:
    """A 90 % band can't be scored from 10 and 90 %."""
    with pytest.raises(ValueError, match=r"0\.05 and 0\.95"):
        samples_of_quantiles(np.array([0.1, 0.9]), np.array([0.0, 1.0]))


def test_a_lot_counts_once_however_often_it_was_weighed() -> None:
    """One lot with 100 misses beside nine lots with one hit each: 90 %, not 8 %."""
    lot = np.concatenate([np.zeros(100, dtype=int), np.arange(1, 10)])
    observed = np.concatenate([np.full(100, 5.0), np.zeros(9)])
    bands = np.tile([-1.0, 1.0], (109, 1))
    held = coverage(bands, observed, lot)
    assert (held.inside, held.above, held.below) == (pytest.approx(0.9), pytest.approx(0.1), 0.0)
    assert held.lots == 10
    assert held.width == pytest.approx(2.0)
    assert held.low < 0.9 <= held.high


def test_interval_of_independent_lots_is_the_binomial_one() -> None:
    """400 lots at 0.9: standard error sqrt(0.9 x 0.1 / 400)."""
    held = (np.arange(400) % 10 > 0).astype(float)
    spread = redraw(held, np.arange(400)).std()
    assert spread == pytest.approx(np.sqrt(0.09 / 400), rel=0.06)


def test_houses_that_stick_together_widen_the_interval() -> None:
    """Twenty lots alike in each of ten houses know no more than ten."""
    lot, house = np.arange(200), np.arange(200) // 20
    values = (house % 2).astype(float)
    assert redraw(values, lot, house).std() > 3.0 * redraw(values, lot).std()


def test_lot_means_leave_the_order_of_lots() -> None:
    """Means by number, gaps left out."""
    np.testing.assert_allclose(lot_means(np.array([1.0, 3.0, 10.0]), np.array([2, 2, 7])), [2.0, 10.0])


def test_places_of_a_calibrated_forecast_are_flat_and_of_a_narrow_one_are_not() -> None:
    """2,000 lots of normals: flat within its noise; at a third of the spread the ends fill."""
    rng = np.random.default_rng(2)
    truth, ties = rng.normal(size=(2, 2000)), rng.random(2000)
    members = rng.normal(size=(2000, 99))
    right = np.array([place_in(m, t, u) for m, t, u in zip(members, truth[0], ties, strict=True)])
    narrow = np.array([place_in(m / 3.0, t, u) for m, t, u in zip(members, truth[0], ties, strict=True)])
    lot = np.arange(2000)
    assert rank_histogram(right, lot).p_flat > 0.05
    histogram = rank_histogram(narrow, lot)
    assert histogram.p_flat < 0.01
    assert histogram.share[0] > 0.2
    assert histogram.share.sum() == pytest.approx(1.0)
    assert ((histogram.low <= histogram.share) & (histogram.share <= histogram.high)).all()


def test_ties_are_spread_evenly() -> None:
    """An observation equal to all members may stand anywhere."""
    samples = np.zeros(9)
    assert place_in(samples, 0.0, 0.0) == 0.0
    assert place_in(samples, 0.0, 1.0) == 1.0
    assert place_in(samples, 1.0, 0.0) == pytest.approx(0.9)


def test_leave_one_out_is_fitting_without_the_one() -> None:
    """Against numpy's fit on the other points; an unseen point gets the line through all seen."""
    rng = np.random.default_rng(3)
    x = np.array([1.0, 2.0, 2.5, 4.0, 7.0])
    y = 2.0 * x + rng.normal(size=5)
    y[3] = np.nan
    got = leave_one_out_line(x, y)
    for i in range(5):
        kept = [j for j in range(5) if j not in (i, 3)]
        slope, start = np.polyfit(x[kept], y[kept], 1)
        assert got[i] == pytest.approx(start + slope * x[i], rel=1e-9)
