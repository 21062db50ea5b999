"""A product that says its section and its fans: the forecasts of its lots follow, round ones stay."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from decimal import Decimal

import pytest
from tests.living_house import DAY, MADE_AT, at_the_time, begin, log_rooms

from saltloft.house import House
from saltloft.jobs import forecast
from saltloft.plant.recipes import ProductDefined

NOW = MADE_AT + 6 * DAY


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> House:
    made = begin(tmp_path_factory.mktemp("shape") / "house", now=NOW)
    log_rooms(made, until=NOW)
    return made


def _middle_day(house: House) -> float:
    outlook = forecast.forecast(house, "AL-0310")
    day = outlook.result.targets[outlook.target_name].mean.p50
    assert day is not None
    return day


def _say(house: House, product: ProductDefined, hours: int) -> None:
    at_the_time(house, product, at=MADE_AT - timedelta(hours=12 - hours))


def test_pressed_pieces_are_ready_sooner_and_resting_fans_later(house: House) -> None:
    """Equal section, shorter way out: sooner. Still air for two thirds of the time: later."""
    as_made = house.store.products.get("alder").defined.payload
    round_day = _middle_day(house)
    _say(house, replace(as_made, shape="pressed", width_mm=Decimal("81"), thickness_mm=Decimal("46")), 1)
    pressed = _middle_day(house)
    assert float(house.store.products.get("alder").defined.payload.round_mm) == pytest.approx(65.0, abs=1.0)
    assert pressed < 0.93 * round_day
    drying = replace(as_made.stages[1], fans_on_h=Decimal(2), fans_off_h=Decimal(4))
    _say(house, replace(as_made, stages=(as_made.stages[0], drying)), 2)
    assert _middle_day(house) > 1.02 * round_day
    _say(house, as_made, 3)
    assert _middle_day(house) == pytest.approx(round_day)
