"""A finished lot asked again: its record is kept, made again after a rebuild, part of the next key."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest
from tests.living_house import DAY, at_the_time, begin, log_rooms, weigh
from tests.small_house import MADE_AT, lot_made

from saltloft.cases.house_prior import HousePast, house_past
from saltloft.cases.lot import lot_case
from saltloft.foundation.units import mass
from saltloft.house import House
from saltloft.jobs.forecast import MODEL, forecast, prior_version
from saltloft.plant import lots

NOW = MADE_AT + 46 * DAY
OFF = MADE_AT + 40 * DAY


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> House:
    """AL-0310 was weighed to day 38 and packed on day 40; AL-0420 hangs since day 41."""
    house = begin(tmp_path_factory.mktemp("record") / "house", now=NOW)
    log_rooms(house, until=NOW)
    for day in (0.05, 4.0, 7.0, 10.0, 13.0, 19.0, 25.0, 32.0, 38.0):
        weigh(house, day)
    at_the_time(house, lots.LotYielded("AL-0310", mass("832", "kg"), "pack"), at=OFF)
    at = MADE_AT + 41 * DAY
    at_the_time(house, lot_made("AL-0420"), at=at)
    at_the_time(house, lots.LotHung("AL-0420", "F2"), at=at + timedelta(minutes=30))
    return house


def _past(house: House) -> HousePast:
    case = lot_case(house, "AL-0420", NOW)
    return house_past(house, case, literature=prior_version(house), model=MODEL)


def test_a_finished_lot_is_asked_again_on_days_seven_and_fourteen(house: House) -> None:
    """Each later visit, and no earlier one, came out; the ready day too, where the visits show it."""
    past = _past(house)
    assert past.record.lots == ("AL-0310",)
    asked = {one.asked_d for one in past.record.past}
    assert asked == {7.0, 14.0}
    leads = [one.lead_d for one in past.record.past if one.asked_d == 7.0 and one.kind == "loss"]
    assert leads == pytest.approx([3.0, 6.0, 12.0, 18.0, 25.0, 31.0], abs=0.05)
    assert all(0.0 < one.rank < 1.0 for one in past.record.past)
    assert [line.lot for line in past.lines] == ["AL-0310"]
    # The first lot of a house has no house's prior to be straightened about.
    assert past.version.startswith(prior_version(house))
    assert past.experience.product == "alder"


def test_it_is_kept_and_the_same_after_everything_kept_was_dropped(house: House) -> None:
    """Rebuilt from the records: the same record, the same version, so the same key of a forecast."""
    before = _past(house)
    assert _past(house).record == before.record
    house.store.kept.drop_all()
    again = _past(house)
    assert again.record == before.record
    assert again.version == before.version
    assert forecast(house, "AL-0420").prior == before.version


def test_a_lot_that_still_hung_then_has_no_record_yet(house: House) -> None:
    """Asked as of day 30 nothing of AL-0310's own end is known."""
    case = lot_case(house, "AL-0420", NOW)

    then = replace(case, asof=MADE_AT + 30 * DAY)
    past = house_past(house, then, literature=prior_version(house), model=MODEL)
    assert past.record.past == ()
