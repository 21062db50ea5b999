"""A lot's forecast from records and its room's log: kept, traced, widened by a hole, moved by weighings."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest
from tests.living_house import DAY, MADE_AT, TODAY, at_the_time, begin, lived, log_rooms, weigh

from saltloft.cases.kept_outlook import to_bytes
from saltloft.cases.lot import lot_case
from saltloft.cases.lot_folder import lot_folder
from saltloft.foundation.errors import InputError, UnknownName
from saltloft.house import House
from saltloft.jobs import forecast, judge
from saltloft.plant.answers import LotOutlook
from saltloft.plant.sentences import loss_at, ready_words
from saltloft.plant.stated import Stamp


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> House:
    return lived(tmp_path_factory.mktemp("forecast") / "house")


@pytest.fixture(scope="module")
def outlook(house: House) -> LotOutlook:
    return forecast.forecast(house, "AL-0310")


def test_it_learns_from_the_weighings_and_covers_them(outlook: LotOutlook) -> None:
    assert len(outlook.weighings) == 6
    for point in outlook.weighings:
        band = outlook.result.bands["weight_loss_pct"]
        low, high = (
            float(np.interp(point.day, outlook.result.time_d, curve)) for curve in (band.p05, band.p95)
        )
        assert low - 0.8 <= point.value <= high + 0.8
    assert outlook.promise
    assert "AL-0310 is at 35 % around" in ready_words(outlook)


def test_it_rests_on_named_records_and_batches_only(house: House, outlook: LotOutlook) -> None:
    assert outlook.air.batches
    for entry in outlook.used_entries:
        assert house.store.entry(entry) is not None, entry
    weighed = list(house.store.lots.get("AL-0310").weighings)
    assert {item.entry_id for item in weighed} <= set(outlook.used_entries)
    assert outlook.prior.startswith("literature/")
    assert outlook.result.from_log_until_d == pytest.approx(20.0, abs=0.05)


def test_the_same_question_is_answered_from_what_is_kept(house: House, outlook: LotOutlook) -> None:
    kept = house.store.kept.get(outlook.key)
    assert kept is not None
    again = forecast.forecast(house, "AL-0310")
    assert again.key == outlook.key
    assert house.store.kept.get(outlook.key) == kept


def test_another_weighing_or_a_voided_batch_makes_another_forecast(tmp_path: Path) -> None:
    made = begin(tmp_path / "house", now=MADE_AT + 9 * DAY)
    log_rooms(made, until=MADE_AT + 9 * DAY)
    first = forecast.forecast(made, "AL-0310")
    weigh(made, 0.05)
    weigh(made, 7.0)
    second = forecast.forecast(made, "AL-0310")
    assert first.key != second.key

    def width(of: LotOutlook) -> float:
        band = loss_at(of, 8.9)
        assert band.p05 is not None
        assert band.p95 is not None
        return band.p95 - band.p05

    assert width(second) < width(first)
    batch = second.air.batches[-1]
    made.store.readings.void(batch, "wrong room", Stamp("ilo", "office", MADE_AT + 9 * DAY), "v" * 12)
    third = forecast.forecast(made, "AL-0310")
    assert third.key != second.key
    assert batch not in third.air.batches


def test_only_what_was_recorded_by_then_is_used(house: House) -> None:
    early = forecast.forecast(house, "AL-0310", MADE_AT + 8 * DAY)
    # The logs were sealed on day 20 only: on day 8 nothing of the air had been read.
    assert [round(point.day) for point in early.weighings] == [4, 7]
    assert early.air.time_d == ()
    held_back = lot_case(house, "AL-0310", TODAY, weighed_until_d=7.5)
    assert max(reading.day for reading in held_back.readings) < 7.5


def test_without_log_and_weighing_no_date_is_promised(tmp_path: Path) -> None:
    made = begin(tmp_path / "house", now=MADE_AT + 4 * DAY)
    found = forecast.forecast(made, "AL-0310")
    assert not found.promise
    assert "no date before its room's log or a weighing is in" in ready_words(found)
    assert "set_points_only" in [flag.code for flag in found.result.flags]


def test_a_hole_of_a_day_is_named_filled_and_widens_the_answer(tmp_path: Path) -> None:
    whole, broken = begin(tmp_path / "a"), begin(tmp_path / "b")
    log_rooms(whole)
    log_rooms(broken, hole_h=96.0)
    one, other = forecast.forecast(whole, "AL-0310"), forecast.forecast(broken, "AL-0310")
    assert one.air.gaps == ()
    (gap,) = other.air.gaps
    assert (gap.end_d - gap.start_d) * 24.0 == pytest.approx(96.0, abs=1.0)
    assert "D2: taken as set" in gap.words
    assert "air_not_read" in [flag.code for flag in other.result.flags]

    def width(of: LotOutlook) -> float:
        band = loss_at(of, 19.9)
        assert band.p05 is not None
        assert band.p95 is not None
        return band.p95 - band.p05

    assert width(other) > width(one)


def test_a_second_logger_fills_the_hole_of_the_first(tmp_path: Path) -> None:
    made = begin(tmp_path / "house")
    log_rooms(made, hole_h=96.0)
    times = np.arange(
        int((MADE_AT + 9 * DAY).timestamp()), int((MADE_AT + 15 * DAY).timestamp()), 600, dtype=np.int64
    )
    columns = {
        "D2/temperature_c/D2-b": (times, np.full(times.size, 14.2)),
        "D2/rh_pct/D2-b": (times, np.full(times.size, 79.0) + np.sin(times / 900.0)),
    }
    from saltloft.plant.readings import ReadingsSealed

    info = ReadingsSealed("second-logger", "D2-b.csv", "1" * 64, 0, "", (), "", "")
    made.store.readings.seal(columns, info, Stamp("ilo", "office", TODAY), "second-logger")
    case = lot_case(made, "AL-0310", TODAY)
    assert case.air.holes == ()
    assert "second-logger" in case.air.batches


def test_a_slip_of_the_decimal_mark_is_named_and_not_believed(tmp_path: Path) -> None:
    from saltloft.foundation.units import mass
    from saltloft.plant.readings import PieceWeighed

    made = begin(tmp_path / "house", now=MADE_AT + 9 * DAY)
    log_rooms(made, until=MADE_AT + 9 * DAY)
    weigh(made, 0.05)
    slip = PieceWeighed("AL-0310", mass("9.10", "kg", division_mg=5000), "S1", "14", kept=1)
    at_the_time(made, slip, at=MADE_AT + 5 * DAY, person="besnik")
    found = forecast.forecast(made, "AL-0310")
    (flag,) = [flag for flag in found.result.flags if flag.code == "slipped_decimal"]
    assert "piece 14" in flag.words


def test_a_lot_that_left_the_racks_is_told_as_past(tmp_path: Path) -> None:
    from saltloft.foundation.units import mass
    from saltloft.plant.lots import LotYielded

    made = lived(tmp_path / "house")
    at_the_time(made, LotYielded("AL-0310", mass("900", "kg"), "pack"), at=TODAY - timedelta(hours=5))
    record = made.store.lots.get("AL-0310")
    if record.hanging:
        pytest.fail("taking the whole lot off the racks leaves it hanging")
    found = forecast.forecast(made, "AL-0310")
    assert "came off the racks on" in ready_words(found)


def test_hams_and_unknown_lots_are_refused_by_name(house: House) -> None:
    with pytest.raises(InputError, match="no forecast in this version"):
        forecast.forecast(house, "OK-0316")
    with pytest.raises(UnknownName, match="AL-0310"):
        forecast.forecast(house, "AL-0301")


def test_the_morning_forecasts_every_hanging_lot_of_dry_sausage(house: House, outlook: LotOutlook) -> None:
    seen: list[str] = []
    found = forecast.morning(house, tell=lambda lot, done, of: seen.append(f"{lot} {done}/{of}"))
    assert set(found) == {"AL-0310"}
    assert seen == ["AL-0310 1/1"]
    assert found["AL-0310"].key == outlook.key


def test_the_folder_says_what_is_next_and_who_measured_with_what(house: House, outlook: LotOutlook) -> None:
    judgement = judge.judge(house, "AL-0310")
    folder = lot_folder(house, "AL-0310", TODAY, outlook, judgement)
    assert folder.next_step == "weigh 6 pieces Mon 6 Apr" or folder.next_step.startswith("weigh 6 pieces")
    uses = {use.instrument: use for use in folder.instruments}
    assert uses["S1"].uses == 42
    assert uses["pH-A"].out_of_check == 0
    assert folder.people["besnik"].endswith("room hand")
    assert folder.nitrite_mg_kg == {} or set(folder.nitrite_mg_kg) == {"meat", "batter"}


def test_the_next_day_goes_on_from_kept_states_and_says_the_same(house: House) -> None:
    """A day later the members go on from where they stood; from nothing the answer has the same bytes."""
    earlier = TODAY - timedelta(days=1)
    forecast.forecast(house, "AL-0310", earlier)
    assert house.store.member_states.get("AL-0310") is not None
    went_on = forecast.forecast(house, "AL-0310", TODAY + timedelta(hours=1))
    house.store.kept.drop_all()
    house.store.member_states.keep_only(())
    assert house.store.member_states.get("AL-0310") is None
    assert to_bytes(forecast.forecast(house, "AL-0310", TODAY + timedelta(hours=1))) == to_bytes(went_on)
