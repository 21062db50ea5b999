"""Promise days: known answers for days that lie evenly, and laws that hold for any."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from saltloft.foundation.bands import Band
from saltloft.process.promise import chance_by, histogram, over_dried, promise, promised_day
from saltloft.process.result import DAY_CHANCES, SeriesBand, TargetDay
from saltloft.process.targets import day_chances

NEVER = Band(None, None, None)
# Reached on day 40 + 20 u with u even on 0..1: by day 58 nine times in ten.
EVEN = tuple(40.0 + 20.0 * chance for chance in DAY_CHANCES)
DAYS = st.lists(st.floats(5.0, 200.0) | st.just(float("inf")), min_size=20, max_size=60)


def target(days: tuple[float | None, ...], pieces: tuple[float | None, ...] = EVEN) -> TargetDay:
    chances = {"mean": days, "piece": pieces, "0.9": days}
    return TargetDay(NEVER, NEVER, 1.0, {}, {}, chances=chances)


@pytest.mark.parametrize(("sure", "day"), [(0.5, 50.0), (0.9, 58.0), (0.8125, 56.25), (0.999, 59.5)])
def test_the_promised_day_of_evenly_spread_days(sure: float, day: float) -> None:
    """A quantile of the even distribution on 40..60, worked out by hand; beyond 0.975 nothing is kept."""
    assert promised_day(EVEN, sure) == pytest.approx(day)


def test_a_target_that_is_not_reached_so_often_has_no_day() -> None:
    """Three lots in ten never get there: an even chance has a day, nine in ten has none."""
    days = day_chances(np.array([40.0] * 70 + [np.inf] * 30))
    assert promised_day(days, 0.5) == 40.0
    assert promised_day(days, 0.9) is None
    assert chance_by(days, 400.0) == pytest.approx(0.7, abs=0.026)


def test_kept_chances_are_the_members_own_days() -> None:
    """Of the days 1..40 numpy's Hazen quantiles (Hyndman and Fan 1996, definition 5), in any order."""
    days = np.arange(40.0, 0.0, -1.0)
    assert day_chances(days) == pytest.approx(np.quantile(days, DAY_CHANCES, method="hazen"))


def loss_band(middle: float, half: float) -> tuple[SeriesBand, np.ndarray]:
    """Loss of `middle` points a day times the days, 90 % of the lots within `half` of it."""
    time_d = np.array([0.0, 100.0])
    mean = middle * time_d
    return SeriesBand(mean, mean, mean, mean - half, mean, mean + half), time_d


@pytest.mark.parametrize(("day", "half"), [(70.0, 2.0), (74.0, 2.0), (66.0, 2.0), (72.0, 0.5)])
def test_the_weight_beyond_the_target_is_the_integral_over_the_lots(day: float, half: float) -> None:
    """Half a point a day and 35 %: scipy integrates (loss - 35) above nought over the normal distribution."""
    band, time_d = loss_band(0.5, half)
    lots = stats.norm(0.5 * day, half / stats.norm.ppf(0.95))
    expected = lots.expect(lambda loss: max(loss - 35.0, 0.0))
    assert over_dried(band, time_d, day, 35.0) == pytest.approx(expected, rel=1e-4, abs=1e-6)


def test_without_doubt_the_excess_is_the_plain_difference() -> None:
    band, time_d = loss_band(0.5, 0.0)
    assert over_dried(band, time_d, 72.0, 35.0) == pytest.approx(1.0)
    assert over_dried(band, time_d, 60.0, 35.0) == 0.0


def test_a_day_early_and_a_day_late() -> None:
    """Pieces even on 40..60: a day is a twentieth of them; the weight by the function that was handed in."""
    found = promise(target(EVEN), sure=0.9, over=lambda day: 0.3 * day)
    assert found.day == pytest.approx(58.0)
    assert found.on_it is not None
    assert found.on_it.under_share == pytest.approx(0.1)
    assert found.early_share == pytest.approx(1.0 / 20.0)
    assert found.late_points == pytest.approx(0.3)


def test_without_chances_nothing_is_promised() -> None:
    """A forecast kept by an earlier version carries none."""
    found = promise(TargetDay(NEVER, NEVER, 0.0, {}, {}), sure=0.9)
    assert (found.day, found.late_points, found.early_share) == (None, 0.0, 0.0)


@given(days=DAYS, sure=st.floats(0.025, 0.975), more=st.floats(0.0, 0.3))
def test_more_certainty_is_never_sooner(days: list[float], sure: float, more: float) -> None:
    """The promised day rises with the wanted chance, and the chance by that day is at least as large."""
    kept = day_chances(np.array(days))
    first, later = promised_day(kept, sure), promised_day(kept, sure + more)
    if first is None:
        assert later is None
        return
    assert later is None or later >= first - 1e-9
    assert chance_by(kept, first) >= sure - 0.0251


@given(days=DAYS, width=st.floats(0.5, 10.0))
def test_the_histogram_adds_up_to_what_is_reached(days: list[float], width: float) -> None:
    """No chance is lost between the spans and none is below nought."""
    kept = day_chances(np.array(days))
    starts, shares = histogram(kept, width)
    assert (shares >= -1e-12).all()
    if starts.size:
        last = max(day for day in kept if day is not None)
        assert shares.sum() == pytest.approx(chance_by(kept, last))


@given(day=st.floats(1.0, 99.0), more=st.floats(0.0, 30.0), half=st.floats(0.0, 5.0))
def test_waiting_never_dries_less(day: float, more: float, half: float) -> None:
    """Weight beyond the target rises with the day, and by no more than what is lost meanwhile."""
    band, time_d = loss_band(0.4, half)
    later = min(day + more, 100.0)
    gained = over_dried(band, time_d, later, 30.0) - over_dried(band, time_d, day, 30.0)
    assert -1e-9 <= gained <= 0.4 * (later - day) + 1e-9
