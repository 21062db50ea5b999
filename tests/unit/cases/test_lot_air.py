"""The air a lot hung in: its path through the rooms, stuck sensors and the filling of holes."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from decimal import Decimal

import numpy as np
import pytest

from saltloft.cases import lot_air
from saltloft.foundation.units import mass
from saltloft.plant.house_record import RoomRecord
from saltloft.plant.lot_story import lot_record
from saltloft.plant.lots import LotHung, LotMade, LotMoved
from saltloft.plant.rooms import RoomDefined, RoomSet
from saltloft.plant.stated import Stated

MADE = datetime(2026, 3, 10, 12, 0, tzinfo=UTC)


def said(seq: int, kind: str, payload: object, day: float) -> Stated:
    at = MADE + timedelta(days=day)
    return Stated(f"e{seq}", seq, kind, at, at, "maren", "tablet", payload, payload)


def test_the_path_follows_the_lot_and_ends_at_the_moment_asked() -> None:
    record = lot_record(
        "AL-0310",
        [
            said(1, "lot.made/1", LotMade("AL-0310", "alder", "alder-3", (), mass("1280", "kg"), 1280), 0.0),
            said(2, "lot.hung/1", LotHung("AL-0310", "F2"), 0.1),
            said(3, "lot.moved/1", LotMoved("AL-0310", "D2"), 3.0),
        ],
    )
    assert record is not None
    stays = lot_air.stays_of(record, MADE + timedelta(days=10))
    assert [stay.room for stay in stays] == ["F2", "D2"]
    assert stays[0].end_s == stays[1].start_s
    assert stays[1].end_s == int((MADE + timedelta(days=10)).timestamp())
    assert [stay.room for stay in lot_air.stays_of(record, MADE + timedelta(days=2))] == ["F2"]


def test_a_sensor_stuck_at_the_top_for_six_hours_is_no_reading() -> None:
    times = np.arange(0, 24 * 3600, 300, dtype=np.int64)
    values = 80.0 + np.sin(times / 4000.0)
    stuck = (times >= 8 * 3600) & (times < 14 * 3600)
    values[stuck] = 99.9
    kept, read = lot_air.without_stuck(times, values)
    assert not np.isin(times[stuck], kept).any()
    assert kept.size == times.size - stuck.sum()
    assert read.max() < 82.0


def test_an_hour_of_wet_air_is_kept() -> None:
    times = np.arange(0, 24 * 3600, 300, dtype=np.int64)
    values = np.full(times.size, 85.0) + np.sin(times)
    values[(times >= 8 * 3600) & (times < 9 * 3600)] = 100.0
    assert lot_air.without_stuck(times, values)[0].size == times.size


@pytest.fixture
def room() -> RoomRecord:
    setting = RoomSet("D2", Decimal(14), Decimal(80), Decimal("0.15"))
    defined = RoomDefined("D2", "drying", 7000, Decimal(180), Decimal(30))
    return RoomRecord(
        "D2", said(1, "room.defined/1", defined, -9.0), (said(2, "room.set/1", setting, -9.0),), ()
    )


def test_a_short_hole_is_bridged_and_a_long_one_taken_as_set(room: RoomRecord) -> None:
    start = int(MADE.timestamp()) // lot_air.BIN_S * lot_air.BIN_S
    at_s = start + np.arange(48, dtype=np.int64) * lot_air.BIN_S
    values = np.full(48, 84.0)
    values[10:12] = np.nan
    values[20:40] = np.nan
    filled, measured, sets = lot_air._filled(values, at_s, room, "rh_pct")
    assert filled[10] == pytest.approx(84.0)
    assert measured[10]
    assert filled[30] == pytest.approx(80.0)
    assert not measured[30]
    assert sets == ("e2",)


def test_without_any_setting_a_long_hole_takes_its_neighbours_and_still_counts_as_a_hole() -> None:
    start = int(MADE.timestamp()) // lot_air.BIN_S * lot_air.BIN_S
    at_s = start + np.arange(20, dtype=np.int64) * lot_air.BIN_S
    values = np.full(20, 82.0)
    values[5:15] = np.nan
    filled, measured, sets = lot_air._filled(values, at_s, None, "rh_pct")
    assert filled[10] == pytest.approx(82.0)
    assert measured.sum() == 10
    assert sets == ()


def test_half_hour_means_are_means() -> None:
    at_s = np.array([0, 1800], dtype=np.int64)
    times = np.array([0, 600, 1200, 1800], dtype=np.int64)
    means = lot_air._means(times, np.array([1.0, 2.0, 3.0, 7.0]), at_s)
    assert means == pytest.approx([2.0, 7.0])
