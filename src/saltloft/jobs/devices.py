"""Devices and programs of the house: taken in by a code, given tokens, their clocks measured, shut out.

A code is shown once as a QR, works once and for ten minutes. It gives the
device a token; the token alone is not a person. Who did it stands in the
journal (DeviceEnrolled, TokenIssued, DeviceRevoked), which the pages state.
"""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Protocol

from saltloft.foundation.errors import InputError, RuleBroken
from saltloft.plant.people import DeviceRevoked, EnteredOffline, TokenIssued
from saltloft.plant.stated import Stated
from saltloft.store.devices import CodeRow, Devices, DeviceState
from saltloft.store.listing import Listing
from saltloft.store.open import Store

CODE_MINUTES = 10
MEASURED_AGAIN = timedelta(hours=1)
# The way through the network takes this long at times; a clock that far off is none the worse.
CLOCK_NOISE_MS = 2000
# What a code may make: devices that people hold, and tokens for programs.
DEVICE_SCOPE = "entries"
PROGRAM_SCOPES = ("scale", "readings", "reading")


class DeviceHouse(Protocol):
    """The part of an opened house that devices need."""

    @property
    def store(self) -> Store: ...

    def random(self, count: int, /) -> bytes: ...


@dataclass(frozen=True)
class Code:
    """An enrolment code just made.

    Args:
        code: str. 10 letters and digits; the only time it is seen.
        device: str. Id the device will bear.
        expires_at: datetime, aware.
    """

    code: str
    device: str
    expires_at: datetime


@dataclass(frozen=True)
class DeviceLine:
    """One device or program as the People page lists it.

    Args:
        device, label: str.
        scopes: tuple of str. Of its tokens that still hold; empty when it is shut out.
        since: datetime or None. Its first token; None when it never had one here.
        by: str. Who took it in; empty when no entry says so.
        revoked: Stated of DeviceRevoked or None.
        state: DeviceState. Its clock and when it was last seen.
    """

    device: str
    label: str
    scopes: tuple[str, ...]
    since: datetime | None
    by: str
    revoked: Stated[DeviceRevoked] | None
    state: DeviceState

    @property
    def open(self) -> bool:
        """True while something is still taken from it."""
        return bool(self.scopes)


def device_id(label: str, random: bytes) -> str:
    """An id for a device from what people call it, with random digits so that none is twice.

    Args:
        label: str.
        random: bytes. Two or more.
    """
    word = re.sub(r"[^a-z0-9]+", "-", label.strip().lower()).strip("-")[:30] or "device"
    return f"{word}-{random[:2].hex()}"


def make_code(house: DeviceHouse, person: str, label: str, now: datetime) -> Code:
    """A one-time code by which a phone or tablet becomes a device of the house.

    Raises:
        InputError: no label.
    """
    if not label.strip():
        raise InputError("the device needs a name", do="say what people call it: tablet by D1", key="label")
    code = base64.b32encode(house.random(10)).decode().lower()[:10]
    device = device_id(label, house.random(2))
    expires_at = now + timedelta(minutes=CODE_MINUTES)
    row = CodeRow(device, label.strip()[:60], DEVICE_SCOPE, person, expires_at)
    Devices(house.store.database).add_code(_digest(code), row, now)
    return Code(code, device, expires_at)


def look_at_code(house: DeviceHouse, code: str, now: datetime) -> CodeRow | None:
    """What a code would do; None when it can't be used (any more)."""
    return Devices(house.store.database).code(_digest(code.strip().lower()), now)


def use_code(house: DeviceHouse, code: str, now: datetime) -> CodeRow:
    """Use a code up; the caller gives the device its token and states it.

    Raises:
        RuleBroken: unknown, used or expired.
    """
    found = Devices(house.store.database).use_code(_digest(code.strip().lower()), now)
    if found is None:
        raise RuleBroken(
            "this code is not valid any more",
            do="make a new one: each works once, for ten minutes",
            key="code",
        )
    return found


def listed(house: DeviceHouse) -> tuple[DeviceLine, ...]:
    """Every device and program there ever was, those still open first, the newest first."""
    database = house.store.database
    found = Devices(database)
    states, tokens = found.states(), found.tokens()
    enrolled = {said.payload.device: said for said in house.store.devices.all()}
    issued = {said.payload.device: said for said in Listing(database, ("token.issued/1",), TokenIssued).all()}
    revoked = {
        said.payload.device: said for said in Listing(database, ("device.revoked/1",), DeviceRevoked).all()
    }
    lines = []
    for device in dict.fromkeys((*enrolled, *issued, *(token.device for token in tokens))):
        said = enrolled.get(device) or issued.get(device)
        own = [token for token in tokens if token.device == device]
        lines.append(
            DeviceLine(
                device,
                said.payload.label if said else device,
                tuple(dict.fromkeys(token.scope for token in own if token.revoked_at is None)),
                own[0].made_at if own else None,
                said.person if said else "",
                revoked.get(device),
                states.get(device, DeviceState()),
            )
        )
    lines.reverse()
    return tuple(sorted(lines, key=lambda line: not line.open))


def labels(house: DeviceHouse) -> dict[str, str]:
    """What people call each device, by its id."""
    return {line.device: line.label for line in listed(house)}


def measure_clock(house: DeviceHouse, device: str, phone_clock: datetime, now: datetime) -> int:
    """How far a device's clock is from the house's; kept when it changed, or was not measured for an hour.

    Args:
        house: DeviceHouse.
        device: str.
        phone_clock: datetime, aware. The device's clock as it sent.
        now: datetime, aware. The house's.

    Returns:
        int. The house's clock less the device's. [ms]
    """
    offset_ms = round((now - phone_clock).total_seconds() * 1000)
    known = Devices(house.store.database)
    state = known.state(device)
    old = state.offset_at is None or not timedelta(0) <= now - state.offset_at < MEASURED_AGAIN
    if old or abs(offset_ms - state.offset_ms) > CLOCK_NOISE_MS:
        known.keep_clock(device, offset_ms, now)
    return offset_ms


def offline_mark(
    house: DeviceHouse,
    device: str,
    entries: Sequence[str],
    offset_ms: int,
    offset_now_ms: int,
    *,
    session: bool,
) -> EnteredOffline | None:
    """What is stated beside entries that a device kept while it had no network.

    Args:
        house: DeviceHouse.
        device: str.
        entries: sequence of str. Ids that are being handed in now.
        offset_ms, offset_now_ms: int. As in EnteredOffline. [ms]
        session: bool. Whether a person is signed in on the device now.

    Returns:
        EnteredOffline or None. None when every one of them is in the journal already.
    """
    known = Devices(house.store.database).in_journal(entries)
    fresh = tuple(one for one in entries if one not in known)
    return EnteredOffline(device, fresh, offset_ms, offset_now_ms, int(session)) if fresh else None


def mark_id(first: str, mark: EnteredOffline) -> str:
    """The id of a mark: as old as the first entry it names, and the same when it is stated again."""
    digest = hashlib.sha256("\n".join(mark.entries).encode()).hexdigest()
    return f"{first[:19]}-{digest[:16]}"


def offline_marks(house: DeviceHouse, entries: Sequence[str]) -> dict[str, EnteredOffline]:
    """Which of these entries came from a device without a network, with what was stated beside them.

    Args:
        house: DeviceHouse.
        entries: sequence of str. Ids.
    """
    wanted = set(entries)
    found: dict[str, EnteredOffline] = {}
    for mark in Devices(house.store.database).marks_beside(entries):
        found.update({one: mark for one in mark.entries if one in wanted})
    return found


def _digest(code: str) -> str:
    return hashlib.sha256(b"enrol:" + code.encode()).hexdigest()
