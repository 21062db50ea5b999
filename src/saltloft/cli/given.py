"""What a person gave with an option: a day, a moment, a file to write.

A day or moment that cannot be is wrong use of the command, exit code 2.
"""

from __future__ import annotations

from datetime import date, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from saltloft.foundation.errors import InputError
from saltloft.foundation.words import say

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

EARLIEST = date(1990, 1, 1)
# A sheet may be looked at some days ahead; further on, nothing of it rests on a reading.
AHEAD = timedelta(days=31)


def given_day(text: str, now: datetime) -> date | None:
    """The day of `--date`; None when none was given.

    Args:
        text: str. As typed.
        now: datetime, aware. The house's now, in its zone.
    """
    if not text:
        return None
    try:
        day = date.fromisoformat(text)
    except ValueError:
        raise _wrong("--date", text, say("a day such as 2026-11-03")) from None
    _within("--date", text, day, now)
    return day


def given_moment(text: str, now: datetime, zone: ZoneInfo) -> datetime | None:
    """The moment of `--at`; one without an offset is in the house's zone. None when none was given.

    Args:
        text: str. As typed.
        now: datetime, aware. The house's now, in its zone.
        zone: ZoneInfo. The house's.
    """
    if not text:
        return None
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        raise _wrong("--at", text, say("a moment such as 2026-03-13T16:00+01:00")) from None
    _within("--at", text, moment.date(), now)
    return moment if moment.tzinfo else moment.replace(tzinfo=zone)


def _within(option: str, text: str, day: date, now: datetime) -> None:
    last = (now + AHEAD).date()
    if not EARLIEST <= day <= last:
        raise _wrong(option, text, say("{first} to {last}", first=EARLIEST, last=last))


def _wrong(option: str, text: str, allowed: str) -> typer.BadParameter:
    return typer.BadParameter(
        say("got '{given}'; allowed: {allowed}", given=text, allowed=allowed), param_hint=option
    )


def refuse_unwritable(path: Path | None) -> None:
    """Say before the work, not after it, that a file cannot be written there.

    Raises:
        InputError: a folder, or a folder that does not exist.
    """
    if path is None:
        return
    if path.is_dir():
        raise InputError(
            say("a folder has that name"), got=str(path), allowed=say("the name of a file to write")
        )
    if not path.parent.is_dir():
        raise InputError(
            say("the file cannot be written"),
            got=str(path),
            allowed=say("a file in a folder that exists"),
            do=say("make the folder {folder} first", folder=path.parent),
        )


def write_file(path: Path, data: bytes) -> None:
    """Write an answer into a file.

    Raises:
        InputError: the disk refuses it.
    """
    try:
        path.write_bytes(data)
    except OSError as error:
        raise InputError(
            say("the file cannot be written"), got=f"{path}: {error.strerror or error}"
        ) from error
