"""Forecasts put right by a house's record: nothing without one, the lean of the past with one."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import norm
from tests.drying_cases import parameters, piece, standard

from saltloft.process.ensemble import forecast
from saltloft.process.learning import Weighing
from saltloft.process.learning.recalibrate import LEAN_WORTH, Correction, recalibration_of
from saltloft.process.learning.record import HouseRecord, PastForecast
from saltloft.process.learning.share import Experience
from saltloft.process.result import DryingForecast


def _record(lots: int, score: float, kind: str = "loss", lead_d: float = 7.0) -> HouseRecord:
    """Lots whose every forecast came out at one normal score."""
    rank = float(norm.cdf(score))
    past = [
        PastForecast(f"lot {i}", "Alder", 50.0, 7.0, kind, lead_d, 0.3, rank, 0.5, 0.0, 0.0)
        for i in range(lots)
    ]
    return HouseRecord(tuple(past), "record")


DRAWS = 0.30 + 0.01 * np.random.default_rng(4).normal(size=400)


def test_a_house_without_a_record_gets_back_what_it_put_in() -> None:
    """The very same numbers, for losses, dates and whole curves; and nothing is said."""
    right = recalibration_of(HouseRecord(), product="Alder", calibre_mm=50.0)
    assert right.corrected(DRAWS, "loss", 7.0) is DRAWS
    curves = np.tile(DRAWS, (3, 1))
    assert not right.added(curves, np.array([1.0, 8.0, 20.0]), 7.0).any()
    assert right.lots == 0
    assert right.flag() is None


def test_a_lean_is_taken_out_more_the_more_lots_showed_it() -> None:
    """Truths one deviation over the middle: the middle moves up by shrunk parts of a deviation."""
    moved = []
    for lots in (1, 4, 16):
        right = recalibration_of(_record(lots, 1.0), product="Alder", calibre_mm=50.0)
        moved.append(float(np.median(right.corrected(DRAWS, "loss", 7.0)) - np.median(DRAWS)) / 0.01)
        assert right.lots == lots
        assert right.flag() is not None
        assert str(lots) in right.flag().words  # type: ignore[union-attr]
    assert moved == sorted(moved)
    # One lot against three lots' worth of belief: a quarter.
    assert moved[0] == pytest.approx(1.0 / (1.0 + LEAN_WORTH), abs=0.06)
    assert 0.6 < moved[2] < 1.0


def test_draws_keep_their_place_and_never_stays_last() -> None:
    """Corrected draws rise with the plain ones; infinity stays the largest."""
    draws = DRAWS.copy()
    draws[:30] = np.inf
    right = recalibration_of(_record(8, -0.8, "ready", 30.0), product="Alder", calibre_mm=50.0)
    better = right.corrected(draws, "ready", 30.0)
    order = np.argsort(draws, kind="stable")
    finite = better[order][np.isfinite(better[order])]
    assert (np.diff(finite) >= 0.0).all()
    assert np.isinf(better).sum() <= 30
    assert np.median(better) < np.median(draws)


def test_wide_bands_become_narrow_and_narrow_ones_wide() -> None:
    """Ranks all near the middle narrow the band, ranks at both ends widen it: about the same middle."""
    narrow = recalibration_of(_record(12, 0.0), product="Alder", calibre_mm=50.0).correction("loss", 7.0)
    ends = tuple(
        PastForecast(f"lot {i}", "Alder", 50.0, 7.0, "loss", 7.0, 0.3, rank, 0.5, 0.0, 0.0)
        for i, rank in enumerate([0.02, 0.98] * 6)
    )
    wide = recalibration_of(HouseRecord(ends), product="Alder", calibre_mm=50.0).correction("loss", 7.0)
    assert narrow.spread < 0.85
    assert wide.spread > 1.3
    assert abs(wide.lean) < 0.15
    spreads = [Correction(0.0, one.spread, 12.0).of(DRAWS).std() for one in (narrow, wide)]
    assert spreads[0] < DRAWS.std() < spreads[1]


def test_the_map_of_known_ranks_makes_them_even() -> None:
    """60 lots whose truths lean by 0.5 and spread by 1.5: corrected ranks are even to a tenth.

    By the definition of a probability integral transform (Gneiting and Raftery, JASA 102, 2007).
    """
    rng = np.random.default_rng(8)
    score = 0.5 + 1.5 * rng.normal(size=60)
    past = tuple(
        PastForecast(f"lot {i}", "Alder", 50.0, 7.0, "loss", 7.0, 0.3, float(norm.cdf(one)), 0.5, 0.0, 0.0)
        for i, one in enumerate(score)
    )
    right = recalibration_of(HouseRecord(past), product="Alder", calibre_mm=50.0)
    fresh = 0.30 + 0.01 * (0.5 + 1.5 * rng.normal(size=4000))
    better = np.sort(right.corrected(0.30 + 0.01 * norm.ppf((np.arange(400) + 0.5) / 400), "loss", 7.0))
    inside = np.mean((fresh > np.quantile(better, 0.05)) & (fresh < np.quantile(better, 0.95)))
    assert inside == pytest.approx(0.9, abs=0.1)
    assert np.mean(fresh < np.median(better)) == pytest.approx(0.5, abs=0.15)


def test_what_a_loss_showed_moves_a_date_the_other_way() -> None:
    """Lots that lost more than forecast: dates come sooner; far leads and calibres count less."""
    right = recalibration_of(_record(8, 1.0, "loss", 20.0), product="Alder", calibre_mm=50.0)
    assert right.correction("ready", 20.0).lean < -0.2
    near, far = right.correction("loss", 20.0), right.correction("loss", 2.0)
    assert near.lean > far.lean >= 0.0
    other = recalibration_of(_record(8, 1.0, "loss", 20.0), product="Yew", calibre_mm=90.0)
    assert 0.0 < other.correction("loss", 20.0).lean < near.lean


def test_curves_stay_curves() -> None:
    """Each draw keeps its place on every day, nothing moves up to the asking, and none jumps after."""
    right = recalibration_of(_record(8, 1.0), product="Alder", calibre_mm=50.0)
    time_d = np.arange(0.0, 40.0, 0.25)
    pace = 0.05 * (1.0 + 0.1 * np.random.default_rng(3).normal(size=60))
    loss = np.sqrt(time_d)[:, None] * pace
    added = right.added(loss, time_d, 7.0)
    assert not added[time_d <= 7.0].any()
    assert added[-1].mean() > 0.0
    better = loss + added
    assert (np.argsort(better[-1]) == np.argsort(loss[-1])).all()
    # In a quarter of a day less than the draws lie apart by.
    assert np.abs(np.diff(added, axis=0)).max() < 0.8 * loss[28].std()


def test_a_forecast_is_put_right_and_says_so() -> None:
    """Earlier lots lost more than forecast at 20 d: this one's later losses rise, its day comes sooner."""

    def asked(record: HouseRecord) -> DryingForecast:
        return forecast(
            piece(50.0), standard(), parameters(),
            targets={"weight_loss_pct": 33.0}, weighings=[Weighing(7.0, 0.15, pieces=6)], members=60,
            experience=Experience("Alder", 0.05, (), record),
        )  # fmt: skip

    plain, right = asked(HouseRecord()), asked(_record(8, 1.0, "loss", 20.0))
    assert "put_right" not in [flag.code for flag in plain.flags]
    (flag,) = [flag for flag in right.flags if flag.code == "put_right"]
    assert "8 earlier lots" in flag.words
    loss = [one.bands["weight_loss_pct"].mean_p50 for one in (plain, right)]
    asked_at, later = (int(np.searchsorted(plain.time_d, day)) for day in (7.0, 27.0))
    assert loss[1][asked_at] == pytest.approx(loss[0][asked_at], abs=1e-4)
    assert loss[1][later] > loss[0][later] + 0.5
    days = [one.targets["weight_loss_pct"].mean.p50 for one in (plain, right)]
    assert days[1] < days[0]  # type: ignore[operator]
    water = [one.bands["moisture_pct"].mean_p50 for one in (plain, right)]
    assert water[1][later] < water[0][later]
