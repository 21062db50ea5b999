"""When a lot is weighed and its pH read next; the intervals are the house's habit (no source)."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path

import pytest
from tests import small_house
from tests.small_house import MADE_AT, stored, weighing

from saltloft.house import House
from saltloft.plant.lot_record import LotRecord
from saltloft.plant.readings import PhRead
from saltloft.plant.rounds import floor_tasks, next_ph_at, next_weighing_at, tagged_pieces

DAY = timedelta(days=1)


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    made = small_house.with_lot(tmp_path / "house")
    for tag in ("7", "14"):
        stored(made, weighing("1.05", tag=tag, green=1))
    yield made
    made.close()


def _lot(house: House) -> LotRecord:
    return house.store.lots.get("AL-0310")


def test_young_lots_every_third_day_and_old_ones_weekly(house: House) -> None:
    assert next_weighing_at(_lot(house)) == MADE_AT + 3 * DAY
    for day, expected in ((3, 6), (15, 22)):
        for tag in ("7", "14"):
            stored(house, weighing("1.00", tag=tag, kept=1), at=MADE_AT + day * DAY)
        assert next_weighing_at(_lot(house)) == MADE_AT + expected * DAY


def test_a_round_is_over_when_every_piece_is_in(house: House) -> None:
    for tag in ("7", "14"):
        stored(house, weighing("1.01", tag=tag), at=MADE_AT + 3 * DAY)
    stored(house, weighing("0.97", tag="7"), at=MADE_AT + 6 * DAY)
    assert next_weighing_at(_lot(house)) == MADE_AT + 6 * DAY
    stored(house, weighing("0.93", tag="7"), at=MADE_AT + 9 * DAY)
    # Tag 14 missed a whole round: it is taken as gone.
    assert next_weighing_at(_lot(house)) == MADE_AT + 12 * DAY


def test_ph_is_read_until_a_whole_core_set_is_acid(house: House) -> None:
    assert next_ph_at(_lot(house)) == MADE_AT + timedelta(hours=16)
    stored(house, PhRead("AL-0310", (Decimal("5.2"), Decimal("5.4")), "core", "pH-A"), at=MADE_AT + DAY)
    assert next_ph_at(_lot(house)) == MADE_AT + DAY + timedelta(hours=10)
    stored(house, PhRead("AL-0310", (Decimal("5.1"),), "strip", "pH-A"), at=MADE_AT + 1.2 * DAY)
    assert next_ph_at(_lot(house)) == MADE_AT + DAY + timedelta(hours=10)
    stored(house, PhRead("AL-0310", (Decimal("5.2"), Decimal("5.3")), "core", "pH-A"), at=MADE_AT + 1.5 * DAY)
    assert next_ph_at(_lot(house)) is None


def test_a_task_is_due_on_its_day_and_not_before(house: House) -> None:
    before = floor_tasks(_lot(house), MADE_AT + 2 * DAY, UTC, ferments=False)
    due = floor_tasks(_lot(house), MADE_AT + 3 * DAY - timedelta(hours=8), UTC, ferments=True)
    assert before == ()
    assert [task.sort for task in due] == ["ph", "weigh"]
    assert [piece.tag for piece in due[1].pieces] == ["7", "14"]


def test_the_range_a_piece_is_expected_in_widens_with_the_days(house: House) -> None:
    first = tagged_pieces(_lot(house), MADE_AT + DAY)[0]
    later = tagged_pieces(_lot(house), datetime(2026, 3, 20, 12, 30, tzinfo=UTC))[0]
    assert first.low_kg == pytest.approx(1.05 * 0.93)
    assert first.high_kg == pytest.approx(1.05 * 1.02)
    assert later.low_kg < first.low_kg
