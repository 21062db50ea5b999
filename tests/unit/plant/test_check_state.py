"""Whether a reading may count, by the checks of its instrument: the demo house's stuck Alder."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import pytest

from saltloft.plant.entries import kind_of
from saltloft.plant.house_record import InstrumentRecord
from saltloft.plant.instruments import InstrumentChecked, InstrumentDefined
from saltloft.plant.stated import Stated


def said(at: datetime, payload: Any, number: int) -> Stated[Any]:
    """A statement."""
    return Stated(f"e-{number}", number, kind_of(payload), at, at, "ilo", "office", payload, payload)


def day(number: int, hour: int = 6) -> datetime:
    """A moment in March 2026."""
    return datetime(2026, 3, number, hour, tzinfo=UTC)


METER_A = InstrumentRecord(
    "pH-A",
    said(day(1), InstrumentDefined("pH-A", "ph_meter", "0.01", check_every_days=10), 1),
    (
        said(day(3), InstrumentChecked("pH-A", 1, "slope 168 mV", "150 to 177 mV"), 2),
        said(day(13, 16), InstrumentChecked("pH-A", 0, "slope 148 mV", "150 to 177 mV"), 3),
        said(day(16), InstrumentChecked("pH-A", 1, "slope 169 mV", "150 to 177 mV"), 4),
    ),
    (),
)


@pytest.mark.parametrize(
    ("moment", "why"),
    [
        (day(2), "never_checked"),
        (day(11), "failed_later"),  # between the last good check and the one that failed
        (day(14), "failed"),
        (day(20), "in_check"),
        (day(26, 6), "in_check"),  # the tenth day, to the hour
        (day(26, 7), "check_overdue"),
    ],
)
def test_a_failed_check_throws_everything_since_the_last_good_one_into_doubt(
    moment: datetime, why: str
) -> None:
    """Readings between Tue 3 March and the failed check of Fri 13 March do not count."""
    state = METER_A.check_state(moment)
    assert state.why == why
    assert state.in_check == (why == "in_check") == METER_A.in_check_at(moment)


def test_the_doubt_names_both_checks() -> None:
    """The page can say since when, and which check failed."""
    state = METER_A.check_state(day(11))
    assert state.last_good is not None
    assert state.failed is not None
    assert (state.last_good.entry_id, state.failed.entry_id) == ("e-2", "e-3")


def test_when_the_next_check_is_due() -> None:
    """Ten days after the last one."""
    assert METER_A.due_at() == day(26)
