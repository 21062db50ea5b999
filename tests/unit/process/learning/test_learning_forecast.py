"""Weighings move the forecast as far as they know something, and no further."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tests.drying_cases import central_draws, parameters, piece, standard, standard_forecast

from saltloft.process.ensemble import forecast
from saltloft.process.learning import Weighing
from saltloft.process.result import DryingForecast
from saltloft.process.simulate import first_day, simulate

DAYS = np.array([4.0, 7.0, 10.0, 14.0, 17.0, 21.0])


def _truth(factor: float, diameter: float = 50.0) -> tuple[np.ndarray, float]:
    """Losses on DAYS and the day of 35 % of a piece whose water moves `factor` times as fast."""
    prior = parameters()
    faster = replace(prior.water_diffusivity, median=factor * prior.water_diffusivity.median)
    time_d = np.union1d(np.arange(0.0, 200.0, 0.5), DAYS)
    run = simulate(
        piece(diameter), standard(), replace(prior, water_diffusivity=faster), central_draws(2), time_d
    )
    loss = run.states.weight_loss
    return np.interp(DAYS, time_d, loss[:, 0]), float(first_day(time_d, loss, 0.35, falling=False)[0])


def _weighings(losses: np.ndarray, count: int, **more: object) -> list[Weighing]:
    made = [Weighing(float(day), float(loss), pieces=6) for day, loss in zip(DAYS, losses, strict=True)]
    return [replace(weighing, **more) for weighing in made[:count]]  # type: ignore[arg-type]


def _learned(weighings: list[Weighing], diameter: float = 50.0) -> DryingForecast:
    return forecast(
        piece(diameter),
        standard(),
        parameters(),
        targets={"weight_loss_pct": 35.0, "moisture_protein": 1.9},
        weighings=weighings,
    )


def _log_spread(result: DryingForecast) -> float:
    """Standard deviation of the log of the lot mean's day, from its 90 % band."""
    band = result.targets["weight_loss_pct"].mean
    assert band.p05 is not None
    assert band.p95 is not None
    return float(np.log(band.p95 / band.p05) / 3.29)


@pytest.mark.parametrize("factor", [0.6, 1.6])
def test_faster_or_slower_weighings_move_the_day_and_narrow_the_band(factor: float) -> None:
    """Weighings of a faster law bring the median day forward, of a slower one back, near the truth."""
    losses, day = _truth(factor)
    before = standard_forecast(50).targets["weight_loss_pct"].mean
    after = _learned(_weighings(losses, 6))
    band = after.targets["weight_loss_pct"].mean
    assert (band.p50 < before.p50) == (factor > 1.0)  # type: ignore[operator]
    assert band.p05 < day < band.p95  # type: ignore[operator]
    assert band.p50 == pytest.approx(day, rel=0.08)
    assert _log_spread(after) < 0.7 * _log_spread(standard_forecast(50))


def test_composition_and_water_activity_move_with_the_band() -> None:
    """One physics: a faster lot is drier and lower in a_w on the same day, and narrower."""
    losses, _ = _truth(1.6)
    before, after = standard_forecast(50), _learned(_weighings(losses, 6))

    def on_day_25(result: DryingForecast, quantity: str) -> tuple[float, float]:
        """Median and width of the lot mean's band."""
        band, i = result.bands[quantity], int(np.searchsorted(result.time_d, 25.0))
        return float(band.mean_p50[i]), float(band.mean_p95[i] - band.mean_p05[i])

    for quantity, sign, narrower in (
        ("weight_loss_pct", 1.0, 0.5),
        ("moisture_pct", -1.0, 0.8),
        ("water_activity_mean", -1.0, 1.0),
    ):
        (old, wide), (new, narrow) = on_day_25(before, quantity), on_day_25(after, quantity)
        assert sign * (new - old) > 0.0, quantity
        assert narrow < narrower * wide, quantity


def test_a_rough_weighing_moves_less_than_a_fine_one() -> None:
    """Spread 3 % against 0.3 % on one and the same weighing."""
    losses, _ = _truth(1.6)
    before = standard_forecast(50).targets["weight_loss_pct"].mean.p50
    moved = {}
    for spread in (0.03, 0.003):
        weighing = Weighing(14.0, float(losses[3]), spread=spread)
        day = _learned([weighing]).targets["weight_loss_pct"].mean.p50
        moved[spread] = before - day  # type: ignore[operator]
    assert 0.0 < moved[0.03] < 0.75 * moved[0.003]


def test_without_a_weighing_the_prior_is_unchanged() -> None:
    """No weighing: every number of every band is the prior's, to the bit."""
    one, two = standard_forecast(50), _learned([])
    for name, band in one.bands.items():
        for part in ("p05", "p50", "p95", "mean_p05", "mean_p50", "mean_p95"):
            assert getattr(band, part).tobytes() == getattr(two.bands[name], part).tobytes()
    assert one.targets["weight_loss_pct"].piece == two.targets["weight_loss_pct"].piece


@pytest.mark.parametrize("diameter", [50.0, 80.0])
def test_weighings_up_to_day_7_cannot_know_the_day(diameter: float) -> None:
    """They may not narrow the log of the date by more than half (drying priors, own trial, 8)."""
    losses, _ = _truth(1.0, diameter)
    after = _learned(_weighings(losses, 2), diameter)
    assert _log_spread(after) > 0.5 * _log_spread(standard_forecast(diameter))


def test_a_slipped_weighing_is_named_and_hardly_believed() -> None:
    """One of six weighings 12 points too high: flagged by its day, the date moves under 3 %."""
    losses, _ = _truth(1.0)
    good = _weighings(losses, 6)
    bad = [*good[:3], replace(good[3], weight_loss=good[3].weight_loss + 0.12), *good[4:]]
    plain, robust = _learned(good), _learned(bad)
    flags = [flag for flag in robust.flags if flag.code == "weighing_outlier"]
    assert [flag.at_d for flag in flags] == [14.0]
    assert not [flag for flag in plain.flags if flag.code == "weighing_outlier"]
    days = [result.targets["weight_loss_pct"].mean.p50 for result in (plain, robust)]
    assert days[1] == pytest.approx(days[0], rel=0.03)


def test_a_tagged_piece_teaches_less_than_six() -> None:
    """One piece keeps its own offset however often it is weighed; six pieces average theirs."""
    losses, _ = _truth(1.0)
    six = _learned(_weighings(losses, 6))
    one = _learned(_weighings(losses, 6, pieces=1, tag="14"))
    assert _log_spread(six) < _log_spread(one) < _log_spread(standard_forecast(50))
