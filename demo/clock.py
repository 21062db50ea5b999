"""The demo year's times: its zone, its first and last moment, and the step grid of the truth."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

ZONE_NAME = "Europe/Brussels"
ZONE = ZoneInfo(ZONE_NAME)
FIRST_DAY = date(2025, 11, 4)
TODAY = datetime(2026, 11, 3, 6, 0, tzinfo=ZONE).astimezone(UTC)
"""The moment that counts as now in the demo house."""

START = datetime.combine(FIRST_DAY, time(0, 0), ZONE).astimezone(UTC)
END = datetime(2027, 2, 20, tzinfo=UTC)
"""The truth runs on past today, so that lots that still hang have a true ready day."""

STEP_SECONDS = 600
STEPS = int((END - START).total_seconds()) // STEP_SECONDS
TODAY_STEP = int((TODAY - START).total_seconds()) // STEP_SECONDS


def local(day: date, clock: str) -> datetime:
    """The UTC moment of a wall-clock time such as '13:30' on a day of the house."""
    hour, minute = (int(part) for part in clock.split(":"))
    return datetime.combine(day, time(hour, minute), ZONE).astimezone(UTC)


def step_of(moment: datetime) -> int:
    """Index of the 10-minute truth step that holds a UTC moment."""
    return int((moment - START).total_seconds()) // STEP_SECONDS


def moment_of(step: int) -> datetime:
    """UTC moment at which a 10-minute truth step begins."""
    return START + timedelta(seconds=STEP_SECONDS * step)


def day_of(moment: datetime) -> date:
    """Day of the house that holds a UTC moment."""
    return moment.astimezone(ZONE).date()


def text_of(moment: datetime) -> str:
    """A UTC moment as ISO text with a Z."""
    return moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
