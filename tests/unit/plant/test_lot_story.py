"""From statements to a lot's record: rooms and racks, holds, what is struck."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

from tests.small_house import lot_made, weighing

from saltloft.foundation.units import mass
from saltloft.plant.entries import kind_of
from saltloft.plant.lot_story import lot_record, room_stays
from saltloft.plant.lots import HoldLifted, LotHeld, LotHung, LotMoved, LotYielded
from saltloft.plant.stated import Correction, Stated

START = datetime(2026, 3, 10, 12, tzinfo=UTC)


def said(hour: float, payload: Any, number: int, *, struck: bool = False) -> Stated[Any]:
    """A statement at an hour after START."""
    at = START + timedelta(hours=hour)
    by = Correction(f"c-{number}", 1000 + number, at, "ilo", "wrong", True)
    return Stated(
        f"e-{number}",
        number,
        kind_of(payload),
        at,
        at,
        "maren",
        "tablet",
        payload,
        payload,
        (by,) if struck else (),
    )


def test_a_lot_split_over_two_rooms_and_merged_again() -> None:
    """60 : 40 by racks over two rooms, then together: shares and times come out rack by rack."""
    racks = tuple("12345")
    stays = room_stays(
        [
            said(0, LotHung("A", "F2", racks), 1),
            said(10, LotMoved("A", "D1", racks[:3]), 2),
            said(10, LotMoved("A", "D2", racks[3:]), 3),
            said(50, LotMoved("A", "D1", racks[3:]), 4),
        ]
    )
    seen = [
        (stay.room, stay.racks, stay.share, (stay.start - START).total_seconds() / 3600) for stay in stays
    ]
    assert seen == [
        ("F2", racks, 1.0, 0.0),
        ("D1", racks[:3], 0.6, 10.0),
        ("D2", racks[3:], 0.4, 10.0),
        ("D1", racks[3:], 0.4, 50.0),
    ]
    assert [stay.end is None for stay in stays] == [False, True, False, True]


def test_two_racks_hung_in_two_rooms_from_the_start() -> None:
    """The second hanging leaves the first racks where they are."""
    stays = room_stays([said(0, LotHung("A", "F1", ("1",)), 1), said(1, LotHung("A", "F2", ("2",)), 2)])
    assert [(stay.room, stay.end) for stay in stays] == [("F1", None), ("F2", None)]


def test_a_move_without_racks_moves_everything() -> None:
    """Most houses name no racks: the whole lot goes."""
    stays = room_stays([said(0, LotHung("A", "F2"), 1), said(70, LotMoved("A", "D2"), 2)])
    assert [(stay.room, stay.share) for stay in stays] == [("F2", 1.0), ("D2", 1.0)]
    assert stays[0].end == stays[1].start


def test_the_finished_weight_ends_the_hanging_and_a_sample_does_not() -> None:
    """Off the racks into a pack: nothing hangs any more; a sample or the first part changes nothing."""
    hung = [said(0, lot_made("A"), 1), said(1, LotHung("A", "D2"), 2)]
    sample = said(100, LotYielded("A", mass("2", "kg"), "sample"), 3)
    part = said(200, LotYielded("A", mass("300", "kg"), "pack", last=0), 4)
    rest = said(300, LotYielded("A", mass("500", "kg"), "pack"), 5)
    for statements, state in (([*hung, sample, part], "hanging"), ([*hung, sample, part, rest], "off_racks")):
        record = lot_record("A", statements)
        assert record is not None
        assert record.state == state
    assert record.out_mg == 802_000_000


def test_a_struck_entry_counts_no_more_and_stays_in_the_history() -> None:
    """A weighing struck out is not among the weighings, but the lot's page can show it."""
    record = lot_record("A", [said(0, lot_made("A"), 1), said(9, weighing("1.0", lot="A"), 2, struck=True)])
    assert record is not None
    assert record.weighings == ()
    assert [item.struck for item in record.history] == [False, True]
    assert record.last_seq == 1002


def test_a_hold_is_open_until_it_is_lifted() -> None:
    """Only the entry that names the hold lifts it."""
    entries = [said(0, lot_made("A"), 1), said(1, LotHeld("A", "x"), 2), said(2, LotHeld("A", "y"), 3)]
    entries.append(said(3, HoldLifted("A", "e-2", "done"), 4))
    record = lot_record("A", entries)
    assert record is not None
    assert [hold.held.payload.reason for hold in record.open_holds] == ["y"]
    assert record.state == "held"


def test_a_lot_whose_making_was_struck_is_no_lot() -> None:
    """Nothing that counts made it."""
    assert lot_record("A", [said(0, lot_made("A"), 1, struck=True)]) is None
