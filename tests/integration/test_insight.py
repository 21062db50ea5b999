"""Why a ready day moved, what taught what, what to weigh next: from a house that lived."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from tests.living_house import DAY, MADE_AT, TODAY, at_the_time, begin, lived, log_rooms, weigh
from tests.small_house import bytes_for_test
from tests.web_client import client_of

from saltloft.cases.kept_insight import from_bytes, to_bytes
from saltloft.foundation.units import mass
from saltloft.house import House
from saltloft.jobs import forecast, insight
from saltloft.plant.answers import LotOutlook
from saltloft.plant.canonical import canonical_bytes
from saltloft.plant.entries import encode, entry_id
from saltloft.plant.insight import Insight
from saltloft.plant.insight_words import advice_words, moved_words, taught_row
from saltloft.plant.readings import Corrected, ReadingsSealed
from saltloft.plant.stated import Stamp

WALL = datetime(2026, 5, 1, tzinfo=UTC)
Known = tuple[House, LotOutlook, Insight]


@pytest.fixture(scope="module")
def known(tmp_path_factory: pytest.TempPathFactory) -> Known:
    house = lived(tmp_path_factory.mktemp("insight") / "house")
    outlook = forecast.forecast(house, "AL-0310")
    return house, outlook, insight.update(house, outlook, WALL)


def test_the_course_begins_at_hanging_and_ends_with_the_kept_forecast(known: Known) -> None:
    _, outlook, found = known
    band = outlook.result.targets["weight_loss_pct"].mean
    assert (found.points[-1].early_d, found.points[-1].middle_d, found.points[-1].late_d) == (
        band.p05,
        band.p50,
        band.p95,
    )
    assert [point.replayed for point in found.points] == [True] * (len(found.points) - 1) + [False]
    assert len(found.points) >= 4
    assert [point.at for point in found.points] == sorted(point.at for point in found.points)


def test_the_steps_add_up_to_the_whole_move(known: Known) -> None:
    _, _, found = known
    assert found.before is not None
    assert found.before.middle_d is not None
    total = (found.points[-1].middle_d or 0.0) - found.before.middle_d
    # Kept numbers have six figures; what is not named moved less than five thousandths.
    assert sum(move.days or 0.0 for move in found.moves) == pytest.approx(total, abs=0.02)


def test_every_visit_taught_something_and_all_of_them_what_is_known_now(known: Known) -> None:
    _, outlook, found = known
    assert found.teaching is not None
    taught = found.teaching.taught
    assert [round(one.day) for one in taught] == [4, 7, 10, 13, 16, 19]
    assert {one.pieces for one in taught} == {6}
    assert all(one.after_d <= one.before_d + 1e-9 for one in taught)
    assert taught[0].before_d == pytest.approx(found.teaching.prior_d)
    assert taught[-1].after_d == pytest.approx(found.teaching.now_d)
    assert taught_row(taught[0], found, outlook)[1] == "weighing, 6 pieces"
    # The straight line and the members agree on how wide it is now.
    if not found.teaching.of_loss:
        assert found.half_d is not None
        assert 1.645 * found.teaching.now_d == pytest.approx(found.half_d, rel=0.5)


def test_it_is_kept_and_reads_back_the_same(known: Known) -> None:
    house, outlook, found = known
    assert from_bytes(to_bytes(found)) == found
    assert insight.kept_insight(house, "AL-0310") == found
    assert insight.update(house, outlook, WALL) == found


def test_the_page_says_what_moved_it_and_what_to_weigh(known: Known) -> None:
    house, outlook, found = known
    client = client_of(house, "maren")
    page = client.get("/lots/AL-0310").text
    assert "Why this day, and what would narrow it" in page
    plain = page.replace("&#39;", "'")
    assert moved_words(found, outlook) in plain
    assert advice_words(found, outlook) in plain
    assert "Which reading taught what" in page
    assert 'class="course"' in page
    assert len(page.encode()) < 300_000
    for text in ("Inside the piece", 'class="section-map"', "The slice as a table", 'class="aw-scale"'):
        assert text in page
    assert page.count('class="slice"') == 4
    assert 'style="' not in page
    inches = client.get("/lots/AL-0310?units=us").text
    assert "calibre, in" in inches
    assert "calibre, mm" not in inches


def test_a_new_weighing_a_corrected_one_and_the_air_each_have_their_days(tmp_path: Path) -> None:
    house = begin(tmp_path / "house", now=TODAY + 3 * DAY)
    log_rooms(house)
    for day in (0.05, 4.0, 10.0, 16.0):
        weigh(house, day)
    first = insight.update(house, forecast.forecast(house, "AL-0310", TODAY), WALL)
    wrong = next(item for item in house.store.lots.get("AL-0310").weighings if item.at > MADE_AT + 15 * DAY)
    # 10 g of a misread display: wrong, and yet too little for the reading to count as wild.
    later, more = TODAY + DAY, f"{wrong.payload.mass.kg + 0.010:.3f}"
    heavier = replace(wrong.payload, mass=mass(more, "kg", division_mg=5000))
    right = canonical_bytes(encode(heavier)).decode()
    at_the_time(house, Corrected(wrong.entry_id, "misread", wrong.kind, right), at=later)
    _log(house, TODAY, later, rh_pct=88.0)
    weigh(house, (later - MADE_AT) / DAY)
    outlook = forecast.forecast(house, "AL-0310", later + 0.1 * DAY)
    found = insight.update(house, outlook, WALL)
    assert found.points[:-1] == first.points
    moves = {move.cause: move for move in found.moves}
    assert {"corrected", "air", "weighed"} <= set(moves)
    assert moves["air"].air is not None
    assert moves["air"].air.read_rh == pytest.approx(0.88, abs=0.01)
    assert moves["corrected"].days is not None
    assert moves["corrected"].days > 0.0
    assert (moves["weighed"].pieces, round(moves["weighed"].day or 0.0)) == (6, 21)
    total = (found.points[-1].middle_d or 0.0) - (first.points[-1].middle_d or 0.0)
    assert sum(move.days or 0.0 for move in found.moves) == pytest.approx(total, abs=0.03)


def _log(house: House, start: datetime, end: datetime, *, rh_pct: float) -> None:
    times = np.arange(int(start.timestamp()) + 300, int(end.timestamp()) + 1, 300, dtype=np.int64)
    columns = {
        "D2/temperature_c": (times, np.full(times.size, 14.0)),
        "D2/rh_pct": (times, rh_pct + np.sin(times / 1800.0)),
    }
    batch = entry_id(end, bytes_for_test(10))
    info = ReadingsSealed(batch, "D2-more.csv", "2" * 64, 0, "", (), "", "")
    house.store.readings.seal(columns, info, Stamp("ilo", "office", end), batch)


def test_without_log_and_weighing_the_page_marks_it_as_set_points_only(tmp_path: Path) -> None:
    house = begin(tmp_path / "house", now=MADE_AT + 4 * DAY)
    outlook = forecast.forecast(house, "AL-0310")
    found = insight.update(house, outlook, WALL)
    page = client_of(house, "maren").get("/lots/AL-0310").text
    assert "set points only" in page
    assert "no date is promised" in page
    assert found.teaching is not None
    assert found.teaching.taught == ()
    assert {one.quantity for one in found.teaching.options} >= {"weight_loss", "water_activity_mean"}
