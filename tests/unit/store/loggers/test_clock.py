"""Local times to UTC, held against the zone rules of Python's own `zoneinfo` (IANA tz database)."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from saltloft.store.loggers import clock

ZONES = (
    "Europe/Vienna",
    "Europe/Dublin",
    "America/New_York",
    "Australia/Lord_Howe",  # its summer time is half an hour
    "America/Sao_Paulo",
    "Asia/Kolkata",
    "UTC",
)
# Hourly readings leave one of them alone in Lord Howe's half hour, where nothing tells its pass.
HOURLY = tuple(zone for zone in ZONES if zone != "Australia/Lord_Howe")


def _naive_seconds(moment: datetime) -> float:
    return moment.replace(tzinfo=UTC).timestamp()


@pytest.mark.parametrize(
    ("zone", "minutes"), [(zone, 10) for zone in ZONES] + [(zone, 60) for zone in HOURLY]
)
def test_a_whole_year_comes_back_to_its_moments(zone: str, minutes: int) -> None:
    """What a following clock shows through a year, in order, is put back without a gap or an hour lost."""
    start = datetime(2026, 1, 1, tzinfo=UTC)
    moments = [start + timedelta(minutes=minutes * step) for step in range(366 * 1440 // minutes)]
    shown = np.array([_naive_seconds(moment.astimezone(ZoneInfo(zone))) for moment in moments])
    utc, _ = clock.to_utc(shown, zone, clock.FOLLOWS)
    assert utc.tolist() == [moment.timestamp() for moment in moments]


@pytest.mark.parametrize("zone", ["Europe/Vienna", "America/New_York", "Australia/Lord_Howe", "UTC"])
def test_a_standard_clock_is_one_fixed_offset(zone: str) -> None:
    """The offset is that of the zone's standard time by `datetime.dst`, in July as in January."""
    probe = next(
        moment.astimezone(ZoneInfo(zone))
        for month in (1, 7)
        if not (moment := datetime(2026, month, 1, tzinfo=UTC)).astimezone(ZoneInfo(zone)).dst()
    )
    offset = (probe.utcoffset() or timedelta()).total_seconds()
    for month in (1, 7):
        shown = np.array([_naive_seconds(datetime(2026, month, 1, 12, tzinfo=UTC))])
        utc, _ = clock.to_utc(shown, zone, clock.STANDARD)
        assert utc[0] == shown[0] - offset


def test_changes_are_those_of_the_law() -> None:
    """Directive 2000/84/EC, articles 2 and 3: last Sundays of March and October at 01:00 UTC."""
    first, last = datetime(2026, 1, 1, tzinfo=UTC), datetime(2026, 12, 31, tzinfo=UTC)
    _, found = clock.changes("Europe/Vienna", int(first.timestamp()), int(last.timestamp()))
    assert [datetime.fromtimestamp(change.at_s, UTC) for change in found] == [
        datetime(2026, 3, 29, 1, tzinfo=UTC),
        datetime(2026, 10, 25, 1, tzinfo=UTC),
    ]
    assert [change.forward for change in found] == [True, False]


@pytest.mark.parametrize(
    ("stamps", "expected"),
    [
        (["01:30", "02:00"], "2026-10-25T00:00"),  # the first pass: contiguous with what is before it
        (["02:30", "03:00"], "2026-10-25T01:30"),  # the second pass: contiguous with what follows
    ],
)
def test_half_of_the_autumn_hour_is_placed_by_its_neighbours(stamps: list[str], expected: str) -> None:
    """A file that begins or ends inside the hour shown twice."""
    shown = np.array([_naive_seconds(datetime.fromisoformat(f"2026-10-25T{stamp}")) for stamp in stamps])
    utc, _ = clock.to_utc(shown, "Europe/Vienna", clock.FOLLOWS)
    inside = utc[1] if stamps[0] == "01:30" else utc[0]
    assert inside == _naive_seconds(datetime.fromisoformat(expected))


def test_an_autumn_hour_without_neighbours_is_not_guessed() -> None:
    """One lone reading at 02:30 on that morning can be either: it is left out."""
    shown = np.array([_naive_seconds(datetime(2026, 10, 25, hour, 30, tzinfo=UTC)) for hour in (2, 9)])
    utc, _ = clock.to_utc(shown, "Europe/Vienna", clock.FOLLOWS)
    assert np.isnan(utc[0])
    assert np.isfinite(utc[1])
