"""Signing in: one-time links, sessions, PINs to sign, and devices that may send.

Tokens are random and kept as SHA-256 only. A PIN is mixed with the house's key
(a file outside the database) before argon2, so that a copied database alone
does not give PINs away; after a restore, which brings no key, PINs are set anew.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Protocol

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

from saltloft.foundation.errors import InputError, RuleBroken
from saltloft.store.devices import Devices
from saltloft.store.key_file import LENGTH, read_key
from saltloft.store.open import Store
from saltloft.store.secrets import SessionRow
from saltloft.store.settings import HouseSettings

LINK_HOURS = 24
MOST_TRIES = 5
LOCKED_FOR = timedelta(minutes=5)
LONGEST_LOCK = timedelta(hours=12)
# Whoever holds a device may guess at everybody's PIN in turn; so a device has a limit of its own,
# which a right PIN in between does not lift.
MOST_DEVICE_TRIES = 10
DEVICE_WINDOW = timedelta(minutes=15)
PIN_DIGITS = range(4, 13)
SCOPES = ("entries", "readings", "reading", "scale")


class PeopleHouse(Protocol):
    """The part of an opened house that signing in needs."""

    @property
    def store(self) -> Store: ...

    @property
    def settings(self) -> HouseSettings: ...

    @property
    def folder(self) -> Path: ...

    def random(self, count: int, /) -> bytes: ...


@dataclass(frozen=True)
class SignedIn:
    """A session just opened.

    Args:
        token: str. For the cookie; only its hash is kept.
        person, device, csrf: str.
        expires_at: datetime, aware.
    """

    token: str
    person: str
    device: str
    csrf: str
    expires_at: datetime


def make_link(house: PeopleHouse, person: str, now: datetime, hours: int = LINK_HOURS) -> str:
    """A one-time code that signs a person in once, within some hours.

    Args:
        person: str.
        now: datetime, aware.
        hours: int. [h]

    Returns:
        str. 24 letters and digits; the only time it is seen.

    Raises:
        UnknownName: no such person.
    """
    house.store.people.get(person)
    code = base64.b32encode(house.random(15)).decode().lower()
    house.store.secrets.add_link(_digest(code), person, now, now + timedelta(hours=hours))
    return code


def use_link(house: PeopleHouse, code: str, device: str, now: datetime) -> SignedIn:
    """Sign in by a one-time code; a second use is refused.

    Raises:
        RuleBroken: unknown, used or expired.
    """
    person = house.store.secrets.use_link(_digest(code.strip().lower()), now)
    if person is None:
        raise RuleBroken(
            "this sign-in link is not valid any more",
            do="ask for a new one: each works once and for one day",
            key="link",
        )
    return open_session(house, person, device, now)


def open_session(house: PeopleHouse, person: str, device: str, now: datetime) -> SignedIn:
    """Open a session for a person who has shown who they are (link or PIN)."""
    token, csrf = _token(house), _token(house)
    expires_at = now + timedelta(hours=house.settings.number("session_hours"))
    house.store.secrets.add_session(_digest(token), SessionRow(person, device, csrf, expires_at), now)
    return SignedIn(token, person, device, csrf, expires_at)


def session_of(house: PeopleHouse, token: str, now: datetime) -> SessionRow | None:
    """The session behind a cookie; None when it ended, expired or never was."""
    return house.store.secrets.session(_digest(token), now) if token else None


def end_session(house: PeopleHouse, token: str, now: datetime) -> None:
    """Sign out."""
    house.store.secrets.end_session(_digest(token), now)


def set_name(house: PeopleHouse, person: str, name: str) -> None:
    """Give a person's shown name, kept outside the chain; an empty one erases it.

    Raises:
        UnknownName: no such person.
        InputError: longer than 80 characters.
    """
    house.store.people.get(person)
    if len(name) > 80:
        raise InputError(
            "the name is too long", got=f"{len(name)} characters", allowed="up to 80", key="name"
        )
    house.store.secrets.set_name(person, name.strip())


def set_pin(house: PeopleHouse, person: str, pin: str) -> None:
    """Set the PIN a person signs with.

    Raises:
        UnknownName: no such person.
        InputError: not 4 to 12 digits, or all the same.
    """
    house.store.people.get(person)
    if not pin.isdecimal() or not pin.isascii() or len(pin) not in PIN_DIGITS or len(set(pin)) == 1:
        raise InputError("the PIN cannot be", allowed="4 to 12 digits, not all the same", key="pin")
    house.store.secrets.set_pin(person, _hasher().hash(_peppered(house, person, pin)))


def drop_pin(house: PeopleHouse, person: str) -> None:
    """Forget a person's PIN, so that they set a new one after signing in by a link.

    Raises:
        UnknownName: no such person.
    """
    house.store.people.get(person)
    house.store.secrets.set_pin(person, "")


def has_pin(house: PeopleHouse, person: str) -> bool:
    """Whether a person has set a PIN."""
    return bool(house.store.secrets.pin_state(person).pin_hash)


def check_pin(house: PeopleHouse, person: str, pin: str, now: datetime, device: str = "") -> None:
    """Do nothing when the PIN is right; wrong tries are counted for the person and for the device.

    Args:
        house: PeopleHouse.
        person, pin: str.
        now: datetime, aware. The computer's clock.
        device: str. Where it was typed; empty: not counted for a device.

    Raises:
        RuleBroken: wrong, none set, or locked for now: a person's PIN for five minutes after five
            wrong tries and twice as long after each further one, a device for the rest of a
            quarter of an hour after ten.
    """
    state = house.store.secrets.pin_state(person)
    if not state.pin_hash:
        raise RuleBroken(f"{person} has no PIN yet", do="set one on your own page", key="pin")
    if state.locked_until is not None and now < state.locked_until:
        raise _too_many(state.locked_until - now)
    # Counted before it is looked at: tries sent at once cannot all slip by the counter.
    _count_on_device(house, device, now, 1)
    tries = state.tries + 1
    house.store.secrets.count_try(person, tries, now + _lock(tries) if tries >= MOST_TRIES else None)
    try:
        _hasher().verify(state.pin_hash, _peppered(house, person, pin))
    except (VerificationError, InvalidHashError):
        raise RuleBroken("the PIN is wrong", do="try again", key="pin") from None
    house.store.secrets.count_try(person, 0, None)
    _count_on_device(house, device, now, -1)


def _lock(tries: int) -> timedelta:
    return min(LOCKED_FOR * (1 << min(tries - MOST_TRIES, 16)), LONGEST_LOCK)


def _too_many(left: timedelta) -> RuleBroken:
    minutes = max(1, round(left.total_seconds() / 60))
    return RuleBroken("too many wrong tries", do=f"wait {minutes} minutes", key="pin")


def _count_on_device(house: PeopleHouse, device: str, now: datetime, more: int) -> None:
    if not device:
        return
    devices = Devices(house.store.database)
    state = devices.state(device)
    since = state.tries_since
    if since is None or not since <= now < since + DEVICE_WINDOW:
        tries, since = 0, now
    else:
        tries = state.tries
    if more > 0 and tries >= MOST_DEVICE_TRIES:
        raise _too_many(since + DEVICE_WINDOW - now)
    devices.keep_tries(device, max(tries + more, 0), since)


def enrol_device(house: PeopleHouse, device: str, scope: str, now: datetime) -> str:
    """A token by which a device sends entries or readings; shown once, revocable.

    Args:
        device: str. Enrolled by an entry (DeviceEnrolled) beside this.
        scope: str. One of SCOPES.
        now: datetime, aware.
    """
    if scope not in SCOPES:
        raise InputError("the scope is not known", got=scope, allowed=", ".join(SCOPES), key="scope")
    token = _token(house)
    house.store.secrets.add_device(_digest(token), device, scope, now)
    return token


def device_of(house: PeopleHouse, token: str) -> tuple[str, str] | None:
    """(device, scope) of a token; None when it is unknown or revoked."""
    return house.store.secrets.device(_digest(token)) if token else None


def revoke_device(house: PeopleHouse, device: str, now: datetime) -> None:
    """Take no more on any token of a device, and end every session on it."""
    house.store.secrets.revoke_device(device, now)
    Devices(house.store.database).end_sessions(device, now)


def _token(house: PeopleHouse) -> str:
    return base64.urlsafe_b64encode(house.random(24)).decode()


def _digest(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()


def _hasher() -> PasswordHasher:
    # RFC 9106, section 4, second recommended choice (64 MiB, three rounds), with one lane.
    return PasswordHasher(time_cost=3, memory_cost=64 * 1024, parallelism=1)


def _peppered(house: PeopleHouse, person: str, pin: str) -> str:
    key = read_key(house.folder, house.random(LENGTH))
    return hmac.new(key, f"{person}:{pin}".encode(), hashlib.sha256).hexdigest()
