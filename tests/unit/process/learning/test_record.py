"""Ranks and scores of past forecasts against closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import norm

from saltloft.process.learning.record import (
    HouseRecord,
    PastForecast,
    lead_class,
    log_score,
    rank_of,
    ranks,
)


def _past(lot: str, kind: str, rank: float) -> PastForecast:
    return PastForecast(lot, "salame", 50.0, 7.0, kind, 7.0, 0.2, rank, 0.5, 0.0, 0.0)


def test_a_rank_is_the_share_of_draws_below() -> None:
    """Of 0..99, what comes out at 49.5 lies in the middle; 'never' lies above every day."""
    draws = np.arange(100.0)
    assert rank_of(draws, 49.5) == pytest.approx(0.5, abs=0.005)
    assert 0.0 < rank_of(draws, -1.0) < 0.01
    assert rank_of(np.full(10, np.inf), 30.0) == pytest.approx(0.5 / 11.0)


def test_ranks_of_draws_from_the_forecast_itself_are_flat() -> None:
    """Mean a half, variance a twelfth (uniform distribution)."""
    random = np.random.Generator(np.random.Philox(3))
    places = np.array([rank_of(random.normal(size=200), float(random.normal())) for _ in range(2000)])
    assert places.mean() == pytest.approx(0.5, abs=0.02)
    assert places.var() == pytest.approx(1.0 / 12.0, abs=0.006)


def test_the_score_of_many_normal_draws_is_near_the_normal_density() -> None:
    """scipy's normal density as the reference, within what kernels on 4,000 draws can do."""
    draws = 0.3 + 0.02 * np.random.Generator(np.random.Philox(4)).normal(size=4000)
    for observed in (0.28, 0.30, 0.33):
        assert log_score(draws, observed, "loss") == pytest.approx(norm.logpdf(observed, 0.3, 0.02), abs=0.12)


def test_days_are_scored_by_their_logarithm_and_never_costs_its_share() -> None:
    """Half the draws at 'never' costs ln 2 where the other half is right."""
    days = np.exp(3.4 + 0.1 * np.random.Generator(np.random.Philox(5)).normal(size=2000))
    half = np.concatenate([days, np.full(2000, np.inf)])
    assert log_score(days, np.exp(3.4), "ready") - log_score(half, np.exp(3.4), "ready") == pytest.approx(
        np.log(2.0), abs=0.02
    )


def test_what_no_draw_came_near_scores_low_but_finite() -> None:
    """An impossible outcome, and a forecast of 'never' only."""
    assert log_score(np.full(50, 0.2), 0.9, "loss") == pytest.approx(np.log(0.01 / 0.5), abs=1e-9)
    assert np.isfinite(log_score(np.full(50, np.inf), 30.0, "ready"))


def test_a_record_leaves_a_lot_out() -> None:
    """No lot is its own witness; leads fall into five classes."""
    record = HouseRecord((_past("A", "loss", 0.1), _past("B", "ready", 0.9), _past("A", "ready", 0.3)), "v")
    assert record.lots == ("A", "B")
    assert record.without("A").lots == ("B",)
    assert record.of(["A"]).version == "v"
    assert list(ranks(record.past, "ready")) == [0.9, 0.3]
    assert [lead_class(lead) for lead in (1.0, 3.0, 7.0, 14.0, 28.0)] == [0, 1, 2, 3, 4]
