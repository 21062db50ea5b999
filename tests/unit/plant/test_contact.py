"""Contacts: who ran where while a piece lay open, and what shared a line and a day."""

from __future__ import annotations

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from saltloft.plant.contact import (
    AFTER,
    BEFORE,
    COUNTER,
    MAKING,
    OPEN_PIECE,
    PACKING,
    SAME_DAY,
    SLICING,
    TOUCHED_IT,
    Run,
    contacts_of,
)

ZONE = ZoneInfo("Europe/Dublin")
NOW = datetime(2026, 9, 4, 18, tzinfo=UTC)


def at(hour: int, minute: int = 0, day: int = 4) -> datetime:
    """A moment of that September."""
    return datetime(2026, 9, day, hour, minute, tzinfo=UTC)


def whys(scope: set[str], runs: list[Run]) -> dict[str, str]:
    """What was met, and why."""
    return {contact.run.node: contact.why for contact in contacts_of(scope, runs, ZONE, NOW)}


def test_what_ran_while_a_piece_lay_open_touched_it() -> None:
    """A ham lay open on slicer 2 from 9:00 to 11:30: what ran there meanwhile is a contact."""
    runs = [
        Run("OK-1", COUNTER, "slicer 2", at(9), at(11, 30), "e1", tag="14"),
        Run("RO-1", SLICING, "slicer 2", at(10), at(10, 20), "e2"),
        Run("RO-2", SLICING, "slicer 3", at(10), at(10, 20), "e3"),
        Run("RO-3", SLICING, "slicer 2", at(13), at(13, 20), "e4"),
        Run("RO-4", SLICING, "slicer 2", at(8), at(8, 20), "e5"),
        Run("RO-5", SLICING, "slicer 2", at(10, day=3), at(11, day=3), "e6"),
    ]
    assert whys({"OK-1"}, runs) == {"RO-1": OPEN_PIECE, "RO-3": AFTER, "RO-4": BEFORE}


def test_a_traced_lot_that_ran_past_an_open_piece_touched_that_piece() -> None:
    """The other way round: the open piece is the contact."""
    runs = [
        Run("OK-1", COUNTER, "slicer 2", at(9), at(11, 30), "e1"),
        Run("RO-1", SLICING, "slicer 2", at(10), at(10, 20), "e2"),
    ]
    assert whys({"RO-1"}, runs) == {"OK-1": TOUCHED_IT}


def test_a_piece_that_still_lies_open_touches_until_now() -> None:
    """No end was stated: it lies there still, also over days."""
    runs = [
        Run("OK-1", COUNTER, "slicer 2", at(9, day=2), None, "e1"),
        Run("RO-1", SLICING, "slicer 2", at(10), at(10, 20), "e2"),
    ]
    assert whys({"OK-1"}, runs) == {"RO-1": OPEN_PIECE}


def test_the_day_is_the_house_s() -> None:
    """23:30 UTC in September is the next day in Dublin: not the same day as that morning."""
    runs = [
        Run("RO-1", PACKING, "P1", at(9), at(10), "e1"),
        Run("RO-2", PACKING, "P1", at(23, 30), at(23, 50), "e2"),
        Run("RO-3", PACKING, "P1", at(22, 30), at(22, 50), "e3"),
    ]
    assert whys({"RO-1"}, runs) == {"RO-3": AFTER}


def test_batches_of_one_day_share_machines_nobody_wrote_down() -> None:
    """Making names no line: what was made on the same day is the weakest contact."""
    runs = [
        Run("RO-1", MAKING, "", at(7), None, "e1"),
        Run("AL-1", MAKING, "", at(11), None, "e2"),
        Run("AL-2", MAKING, "", at(11, day=5), None, "e3"),
    ]
    assert whys({"RO-1"}, runs) == {"AL-1": SAME_DAY}


def test_what_is_in_scope_is_no_contact() -> None:
    """The pack lot of a traced lot is traced already; by what came of a run as well as by what ran."""
    runs = [
        Run("RO-1", PACKING, "P1", at(9), at(10), "e1", made="PK-1"),
        Run("RO-2", PACKING, "P1", at(10), at(11), "e2", made="PK-2"),
    ]
    assert whys({"PK-1", "RO-2"}, runs) == {}
