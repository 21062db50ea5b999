"""How far the straight line is believed: by the lot's own weighings, by the house's record."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from saltloft.cases.drying_parameters import drying_parameters
from saltloft.facts.loader import load_facts
from saltloft.process.draws import draw
from saltloft.process.ensemble import forecast
from saltloft.process.learning import LinearModel, Weighing, learn
from saltloft.process.learning.hindsight import Asked, outcomes, reached
from saltloft.process.learning.level import usual_level
from saltloft.process.learning.record import HouseRecord, PastForecast
from saltloft.process.learning.rival import line_of
from saltloft.process.learning.share import (
    Share,
    by_record,
    engine_evidence,
    readable,
    seen_of,
    share_of,
    taken,
)
from saltloft.process.piece import Piece
from saltloft.process.programme import Programme, Span, Stage

PIECE = Piece(diameter_m=Span.of(0.05), fat=Span.of(0.28), salt=Span.of(0.027))
ROOM = Stage("drying", Span.of(60.0), Span.of(14.0), Span.of(0.78), Span.of(0.15))
VISITS = (1.0, 2.0, 3.0, 5.0, 7.0, 9.0, 11.0, 14.0, 21.0)


def _parameters():  # type: ignore[no-untyped-def]
    return drying_parameters(load_facts())


def _straight(days: tuple[float, ...]) -> list[Weighing]:
    """Six pieces whose loss is exactly as the root of time."""
    own = 0.062 * (1.0 + 0.04 * np.array([-1.2, -0.6, -0.2, 0.2, 0.6, 1.2]))
    return [
        Weighing(day, float(slope * np.sqrt(day)), tag=f"T{i}", division_kg=0.001, green_kg=0.8)
        for day in days
        for i, slope in enumerate(own)
    ]


def _linear(weighings: list[Weighing]) -> LinearModel:
    plain = draw(1, "lot", 40, 1)
    learned = learn(
        PIECE, Programme((ROOM,)), _parameters(), plain, weighings=weighings, seed=1, lot="lot", correct=False
    )
    assert learned.linear is not None
    return learned.linear


def test_the_engine_s_evidence_is_the_density_of_its_own_straight_model() -> None:
    """scipy's multivariate normal on the dense covariance of all readings."""
    linear = _linear(_straight((2.0, 5.0, 9.0)))
    middle = linear.expected + linear.jacobian @ (linear.prior_mean - linear.point)
    covariance = linear.jacobian @ linear.prior_covariance @ linear.jacobian.T + linear.error
    told = multivariate_normal(middle, covariance).logpdf(linear.observed)
    assert engine_evidence(linear, np.arange(18)) == pytest.approx(told, abs=1e-6)


def test_exact_lines_win_by_their_own_weighings_alone_and_curves_never() -> None:
    """Nine visits to exact lines convince without any history; a course that bends does not."""
    straight = _straight(VISITS)
    bent = [replace(one, weight_loss=one.weight_loss * (1.0 - 0.012 * one.day)) for one in straight]
    shares = []
    for weighings in (straight, bent):
        line = line_of(seen_of(weighings, _parameters()), usual_level(0.05))
        shares.append(share_of(HouseRecord(), line, _linear(weighings), readable(weighings)))
    assert shares[0].rival > 0.9
    assert shares[1].rival == 0.0
    assert shares[1].by_lot < 0.0 < shares[0].by_lot


def test_without_history_and_weighings_it_has_no_part() -> None:
    """The belief beforehand is too little to count."""
    line = line_of(seen_of([], _parameters()), usual_level(0.05))
    assert share_of(HouseRecord(), line, None, np.zeros(0, dtype=np.int64)) == Share()


def _past(lot: str, gain: float, lead_d: float = 10.0) -> PastForecast:
    return PastForecast(lot, "p", 50.0, 7.0, "loss", lead_d, 0.2, 0.5, 0.5, 1.0, 1.0 + gain)


def test_a_record_is_capped_forgets_and_can_change_its_mind() -> None:
    """Ten lots for the line, then ten against it: the last ones decide; one lot counts 3 at most."""
    assert by_record(HouseRecord()) == 0.0
    assert by_record(HouseRecord((_past("a", 50.0),))) == pytest.approx(3.0)
    assert by_record(HouseRecord((_past("a", 50.0, lead_d=2.0),))) == 0.0
    good = [_past(f"g{i}", 2.0) for i in range(10)]
    bad = [_past(f"b{i}", -2.0) for i in range(10)]
    assert by_record(HouseRecord((*bad, *good))) > 4.0
    assert by_record(HouseRecord((*good, *bad))) < -4.0
    both = HouseRecord((_past("a", 1.0), _past("a", 3.0), _past("b", 1.0)))
    assert by_record(both) == pytest.approx(1.0 + 0.9 * 2.0)


def test_so_many_draws_as_the_share_says() -> None:
    """37 of 100, the same ones every time."""
    found = taken(Share(0.37), 100, seed=1, lot="a")
    assert found.sum() == 37
    assert (found == taken(Share(0.37), 100, seed=1, lot="a")).all()
    assert not taken(Share(0.0), 100, seed=1, lot="a").any()


def test_a_forecast_of_exact_lines_says_that_it_follows_one() -> None:
    """Its date is that of the line, its flag names the share, and the core's bands stay as they were."""
    result = forecast(
        PIECE,
        Programme((ROOM,)),
        _parameters(),
        targets={"weight_loss_pct": 35.0},
        weighings=_straight(VISITS),
        members=60,
        lot="line",
    )
    assert result.line_share > 0.9
    (flag,) = [one for one in result.flags if one.code == "straight_line"]
    assert flag.share == result.line_share
    ready = result.targets["weight_loss_pct"].mean
    assert ready.p50 == pytest.approx((0.35 / 0.062) ** 2, abs=1.0)
    assert ready.p05 is not None
    assert ready.p95 is not None
    assert ready.p95 - ready.p05 < 6.0
    moisture = result.bands["moisture_pct"].mean_p50
    loss = result.bands["weight_loss_pct"].mean_p50
    # Mass balance: what is not water does not leave, so (1 - moisture) of what is left stays the same.
    dry = (1.0 - moisture / 100.0) * (1.0 - loss / 100.0)
    np.testing.assert_allclose(dry, dry[0], atol=0.004)


def test_what_came_out_is_ranked_and_the_target_is_read_between_visits() -> None:
    """Exact lines: the day at 35 % between two visits, to a hundredth of a day."""
    day = np.array([3.0, 14.0, 21.0, 28.0, 35.0])
    loss = 0.062 * np.sqrt(day)
    assert reached(day, loss, 0.35) == pytest.approx((0.35 / 0.062) ** 2, abs=0.01)
    assert reached(day, loss, 0.60) is None
    line = line_of(seen_of(_straight((1.0, 3.0)), _parameters()), usual_level(0.05))
    time_d = np.arange(0.0, 60.0)
    engine = np.outer(np.sqrt(time_d), np.linspace(0.05, 0.07, 41))
    tags = tuple(f"T{i}" for i in range(6))
    asked = Asked("a", "p", 50.0, 3.0, 0.35, time_d, engine, line.draws(40, seed=1, lot="a"), tags)
    found = outcomes(asked, day, loss, 0.001, seed=1)
    assert [one.kind for one in found] == ["loss"] * 4 + ["ready"]
    assert [one.lead_d for one in found[:4]] == [11.0, 18.0, 25.0, 32.0]
    assert all(0.3 < one.rank < 0.8 for one in found)
    assert all(one.log_score_rival > one.log_score_engine for one in found)
