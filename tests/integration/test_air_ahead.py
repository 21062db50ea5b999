"""The air ahead of a lot: its plan as its room kept to it for this lot and the ones before."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from tests import living_house
from tests.living_house import DAY, MADE_AT, MOVED_AT, at_the_time, begin, log_rooms
from tests.small_house import lot_made

from saltloft.cases.lot import lot_case, plan_of
from saltloft.cases.lot_ahead import ahead_flag
from saltloft.house import House
from saltloft.jobs import forecast
from saltloft.plant import lots
from saltloft.plant.stated import Stamp
from saltloft.process.ahead import habit_of

SECOND = MADE_AT + 12 * DAY
NOW = SECOND + DAY


@pytest.fixture
def house(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> House:
    """AL-0310 hangs in D2, whose log reads four points over the plan; AL-0322 ferments in F2."""
    monkeypatch.setitem(living_house.STEADY, "D2", (14.0, 84.0))
    made = begin(tmp_path / "house", now=NOW)
    log_rooms(made, until=NOW)
    at_the_time(made, replace(lot_made("AL-0322"), consumed=()), at=SECOND)
    at_the_time(made, lots.LotHung("AL-0322", "F2"), at=SECOND + timedelta(minutes=30))
    return made


def test_a_lot_that_ferments_is_told_by_the_room_of_the_lot_before(house: House) -> None:
    case = lot_case(house, "AL-0322", NOW)
    assert case.told.lots == ("AL-0310",)
    days = (NOW - MOVED_AT) / DAY
    assert case.told.habit.wetter == pytest.approx(habit_of([(0.04, days)]).wetter, abs=5e-4)
    drying = case.drying.programme.stages[-1]
    assert drying.name == "drying"
    assert drying.relative_humidity.mean == pytest.approx(0.80 + case.told.habit.wetter, abs=1e-9)
    assert 0.83 < drying.relative_humidity.mean < 0.84
    # Its own day of log is of the fermenting room and counts for nothing.
    assert case.told.since_d > case.drying.programme.start_d


def test_a_lot_in_its_room_is_told_by_its_own_log_since_it_came(house: House) -> None:
    case = lot_case(house, "AL-0310", NOW)
    assert case.told.lots == ()
    assert case.told.since_d == pytest.approx((MOVED_AT - MADE_AT) / DAY, abs=1e-6)
    (rest,) = case.drying.programme.stages
    assert 0.83 < rest.relative_humidity.mean < 0.84
    assert rest.measured


def test_the_forecast_says_what_it_took_for_the_air_ahead(house: House) -> None:
    flags = {flag.code: flag.words for flag in forecast.forecast(house, "AL-0322").result.flags}
    assert "points of humidity wetter than planned" in flags["air_ahead"]
    assert "and 1 before it" in flags["air_ahead"]
    case = lot_case(house, "AL-0322", NOW)
    assert ahead_flag(plan_of(case.product, 0.0), None, case.told) is None


def test_another_lots_log_makes_another_forecast(house: House) -> None:
    """The drying room's batch is none of the fermenting lot's own, and moves its forecast all the same."""
    first = forecast.forecast(house, "AL-0322")
    drying_room = lot_case(house, "AL-0310", NOW).air.batches[-1]
    assert drying_room not in first.air.batches
    house.store.readings.void(drying_room, "wrong room", Stamp("ilo", "office", NOW), "v" * 12)
    second = forecast.forecast(house, "AL-0322")
    assert second.air.batches == first.air.batches
    assert second.key != first.key
    assert lot_case(house, "AL-0322", NOW).told.lots == ()
