"""Weighings as losses: by tag, by mean piece, and one dot a visit that a slip cannot move."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from saltloft.cases.lot_weighings import losses, measured_points
from saltloft.foundation.units import mass
from saltloft.plant.lot_story import lot_record
from saltloft.plant.lots import LotHung, LotMade
from saltloft.plant.readings import PieceWeighed
from saltloft.plant.stated import Stated

MADE = datetime(2026, 3, 10, 12, 0, tzinfo=UTC)


def said(seq: int, payload: Any, day: float, kind: str = "piece.weighed/1") -> Stated[Any]:
    at = MADE + timedelta(days=day)
    return Stated(f"e{seq}", seq, kind, at, at, "maren", "tablet", payload, payload)


def lot(*weighed: tuple[float, PieceWeighed]) -> Any:
    statements = [
        said(1, LotMade("AL-0310", "alder", "alder-3", (), mass("1280", "kg"), 1280), 0.0, "lot.made/1"),
        said(2, LotHung("AL-0310", "F2"), 0.1, "lot.hung/1"),
        *(said(10 + index, payload, day) for index, (day, payload) in enumerate(weighed)),
    ]
    return lot_record("AL-0310", statements)


def piece(kg: str, tag: str = "", **more: Any) -> PieceWeighed:
    return PieceWeighed("AL-0310", mass(kg, "kg", division_mg=5000), "S-2", tag=tag, **more)


def test_a_tagged_piece_is_compared_with_its_own_green_weight() -> None:
    record = lot((0.2, piece("0.960", "14", green=1)), (7.0, piece("0.816", "14")))
    (reading,) = losses(record)
    assert reading.loss == pytest.approx(0.15)
    assert reading.day == pytest.approx(7.0)
    assert set(reading.entries) == {"e10", "e11"}


def test_hook_or_trolley_is_taken_off_both_weights() -> None:
    hook = mass("60", "g")
    record = lot((0.2, piece("1.060", "7", green=1, tare=hook)), (5.0, piece("0.960", "7", tare=hook)))
    assert losses(record)[0].loss == pytest.approx(0.10)


def test_an_untagged_set_is_compared_with_the_mean_green_piece() -> None:
    (reading,) = losses(lot((7.0, piece("5.100", pieces=6))))
    assert reading.loss == pytest.approx(1.0 - 5.1 / 6.0)
    assert "e1" in reading.entries


def test_a_slip_of_the_decimal_mark_does_not_move_the_dot() -> None:
    green = [(0.2, piece("1.000", str(tag), green=1)) for tag in range(5)]
    visit = [(7.0 + tag / 100, piece("0.850", str(tag))) for tag in range(4)] + [(7.05, piece("8.50", "4"))]
    (point,) = measured_points(losses(lot(*green, *visit)))
    assert point.value == pytest.approx(15.0)
    assert point.pieces == 5


def test_visits_hours_apart_are_two_dots_and_more_pieces_narrow_the_error() -> None:
    green = [(0.2, piece("1.000", str(tag), green=1)) for tag in range(6)]
    first = [(3.0, piece(f"0.9{tag}0", str(tag))) for tag in range(6)]
    second = [(6.0, piece("0.870", "0"))]
    points = measured_points(losses(lot(*green, *first, *second)))
    assert [round(point.day) for point in points] == [3, 6]
    assert points[0].high - points[0].low > 1.0
    # One piece: the scale's 5 g step and handling, 0.25 % together, give two standard errors.
    expected = 2.0 * 100.0 * (0.002**2 + (5.0 / 12.0**0.5 / 1000.0) ** 2) ** 0.5
    assert points[1].high - points[1].value == pytest.approx(expected)


def test_a_lot_that_was_never_weighed_has_no_point() -> None:
    assert measured_points(losses(lot())) == ()
