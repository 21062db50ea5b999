"""Moments as the database keeps them: UTC text to the millisecond, which sorts as time."""

from __future__ import annotations

from datetime import UTC, datetime

from saltloft.foundation.errors import InputError


def to_text(moment: datetime) -> str:
    """A moment as '2026-03-10T12:30:00.000Z'.

    Raises:
        InputError: for a moment without a zone.
    """
    if moment.tzinfo is None:
        raise InputError("a moment needs its time zone", got=moment.isoformat(), do="give the zone")
    utc = moment.astimezone(UTC)
    return f"{utc:%Y-%m-%dT%H:%M:%S}.{utc.microsecond // 1000:03d}Z"


def from_text(text: str) -> datetime:
    """The moment behind `to_text`, aware, in UTC."""
    return datetime.fromisoformat(text)
