"""What a reading teaches: the algebra against large matrices, the slopes against members and learning."""

from __future__ import annotations

import numpy as np
import pytest
from tests.drying_cases import parameters, piece, standard

from saltloft.process.draws import draw
from saltloft.process.ensemble import forecast
from saltloft.process.learning import Weighing
from saltloft.process.learning.advice import (
    FAT,
    SAMPLED,
    WEIGHED,
    Rows,
    about_of,
    spread,
    taught_by,
)
from saltloft.process.learning.teaching import Ground, Teaching, teaching
from saltloft.process.result import DryingForecast
from saltloft.process.series import output_days
from saltloft.process.simulate import first_day, lot_mean, simulate

CALIBRE = 65.0
TARGET = 33.0


def _forecast(weighings: tuple[Weighing, ...] = (), members: int = 400) -> DryingForecast:
    return forecast(
        piece(CALIBRE),
        standard(),
        parameters(),
        targets={"weight_loss_pct": TARGET},
        weighings=weighings,
        members=members,
        seed=7,
        lot="teach",
    )


def _ground(found: DryingForecast, weighings: tuple[Weighing, ...] = (), today_d: float = 0.6) -> Ground:
    ready = found.targets["weight_loss_pct"].mean.p50
    assert ready is not None
    return Ground(
        piece(CALIBRE),
        standard(),
        parameters(),
        "weight_loss_pct",
        ready,
        today_d,
        weighings=weighings,
        linear=found.linear,
        tags=tuple("abcdef"),
    )


@pytest.fixture(scope="module")
def before() -> tuple[DryingForecast, Teaching]:
    """A lot of which nothing was read."""
    found = _forecast()
    return found, teaching(_ground(found))


def test_the_doubt_is_that_of_conditioning_with_large_matrices() -> None:
    """By hand: C - C J' (J C J' + E)^-1 J C, rows of one piece sharing their offset."""
    rng = np.random.default_rng(2)
    slopes, offset = rng.normal(size=(7, 5)), rng.normal(size=(7, 2))
    group, weight = np.array([3, 1, 3, 8, 1, 3, 9]), 1.0 / rng.uniform(0.5, 2.0, 7)
    rows, gradient, covariance = (
        Rows(slopes, weight, offset, group),
        rng.normal(size=5),
        np.diag([1.0, 2, 1, 3, 1]),
    )
    error = np.diag(1.0 / weight) + np.where(group[:, None] == group, offset @ offset.T, 0.0)

    def plain(which: list[int]) -> float:
        j, e = slopes[which], error[np.ix_(which, which)]
        gain = covariance @ j.T @ np.linalg.inv(j @ covariance @ j.T + e)
        return float(np.sqrt(gradient @ (covariance - gain @ j @ covariance) @ gradient))

    prior = np.linalg.inv(covariance)
    assert spread(gradient, rows.information, prior) == pytest.approx(plain(list(range(7))), rel=1e-9)
    visits = [np.array([0, 1]), np.array([2, 3, 4]), np.array([5, 6])]
    told = taught_by(rows, visits, gradient, prior)
    assert [one[1] for one in told] == pytest.approx(
        [plain([0, 1]), plain([0, 1, 2, 3, 4]), plain(list(range(7)))]
    )
    assert [one[2] for one in told] == pytest.approx(
        [plain([2, 3, 4, 5, 6]), plain([0, 1, 5, 6]), plain([0, 1, 2, 3, 4])]
    )
    assert told[1][0] == told[0][1]


def test_the_group_that_lost_most_doubt_is_named() -> None:
    """Diffusivity known better and nothing else: 'inside'."""
    columns = ("water_diffusivity", "film", "halsey_scale", "knot_3")
    covariance = np.eye(4)
    after = np.diag([0.2, 1.0, 0.9, 1.0])
    assert about_of(columns, np.array([5.0, 9.0, 2.0, 7.0]), covariance, after) == "inside"
    assert about_of(columns, np.ones(4), covariance, np.diag([1.0, 1, 1, 0.5])) == "model"
    assert about_of(columns, np.ones(4), covariance, covariance) == ""


def test_doubt_before_any_reading_is_that_of_the_members(before: tuple[DryingForecast, Teaching]) -> None:
    """The spread of the members' own ready days, from the engine itself: within a fifth."""
    found, told = before
    band = found.targets["weight_loss_pct"].mean
    assert band.p05 is not None
    assert band.p95 is not None
    assert 1.645 * told.now_d == pytest.approx(0.5 * (band.p95 - band.p05), rel=0.2)
    assert told.alone_d == told.prior_d == told.now_d
    assert told.taught == ()


def test_options_narrow_as_the_members_say(before: tuple[DryingForecast, Teaching]) -> None:
    """Brute force: members' covariance of the loss on a day with the ready day, conditioned."""
    _, told = before
    plan = standard()
    draws = draw(11, "brute", 600, len(plan.stages))
    days = output_days(160.0)
    run = simulate(piece(CALIBRE), plan, parameters(), draws, days)
    loss = lot_mean(run.weight_loss, draws.lots)
    ready = first_day(days, 100.0 * loss, TARGET, falling=False)
    inside = np.isfinite(ready) & (ready < np.quantile(ready, 0.97))
    day = next(one.day for one in told.options if one.day > 13.0)
    at = int(np.searchsorted(days, day))
    kept, y = ready[inside], loss[at, inside]
    tries = np.array([run.weight_loss[at, i] for i in range(draws.members)])
    pieces = 0.5 * (tries[0::2] - tries[1::2])
    noise = np.mean(np.square(pieces)) / 6.0 + parameters().scale_error.sd ** 2 / 6.0
    covariance = np.cov(kept, y)
    share = 1.0 - covariance[0, 1] ** 2 / (covariance[0, 0] * (covariance[1, 1] + noise))
    option = next(
        one for one in told.options if one.day == day and one.quantity == WEIGHED and one.pieces == 6
    )
    assert option.after_d / told.now_d == pytest.approx(np.sqrt(share), abs=0.12)


def test_what_was_promised_to_be_learned_is_learned(before: tuple[DryingForecast, Teaching]) -> None:
    """Six pieces weighed on the day advised: the doubt left is what was said beforehand, within a fifth."""
    found, told = before
    day = next(one.day for one in told.options if one.day > 13.0)
    option = next(o for o in told.options if o.day == day and o.quantity == WEIGHED and o.pieces == 6)
    curve = np.interp(day, found.time_d, found.bands["weight_loss_pct"].mean_p50) / 100.0
    weighed = tuple(Weighing(day, curve + 0.004 * (i - 2.5), tag=tag) for i, tag in enumerate("abcdef"))
    after = _forecast(weighed)
    learned = teaching(_ground(after, weighed, day))
    assert learned.now_d == pytest.approx(option.after_d, rel=0.2)
    assert [(one.quantity, one.pieces) for one in learned.taught] == [(WEIGHED, 6)]
    assert learned.taught[0].before_d > learned.taught[0].after_d == pytest.approx(learned.now_d)
    assert learned.taught[0].about in {"inside", "model", "room"}


def test_more_pieces_and_later_days_never_know_less(before: tuple[DryingForecast, Teaching]) -> None:
    """Six pieces tell at least what three tell; every reading narrows; early ones say little."""
    _, told = before
    weighed = [one for one in told.options if one.quantity == WEIGHED]
    by_day = {
        one.day: {other.pieces: other.after_d for other in weighed if other.day == one.day} for one in weighed
    }
    for counts in by_day.values():
        assert sorted(counts.values(), reverse=True) == [counts[count] for count in sorted(counts)]
    assert all(one.after_d <= told.now_d + 1e-9 for one in told.options)
    first, last = min(by_day), max(by_day)
    assert by_day[first][6] > by_day[last][6]
    assert {one.quantity for one in told.options} == {WEIGHED, SAMPLED, FAT}
