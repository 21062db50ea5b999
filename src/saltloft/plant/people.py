"""People, devices and the house itself, as journal entries state them.

The journal holds an id and a role only; names live outside the chain so that
they can be erased by law.
"""

from __future__ import annotations

from dataclasses import dataclass

ROLES = ("room_hand", "curer", "quality", "manager", "administrator", "auditor")


@dataclass(frozen=True)
class HouseSetUp:
    """The house is opened: its name, zone, unit system and markets.

    Args:
        name: str. Name on every paper.
        zone: str. IANA time zone in which days are counted.
        units: str. 'metric' or 'us'.
        markets: tuple of str. 'us', 'ca', 'eu': whose rules its lots may meet.
        demo: int. 1 for the invented house, whose confirmations are marked so.
    """

    name: str
    zone: str
    units: str
    markets: tuple[str, ...]
    demo: int = 0


@dataclass(frozen=True)
class PersonAdded:
    """A person may record from now on.

    Args:
        person: str. Id used in entries, such as 'maren'.
        role: str. One of ROLES.
        language: str. Two-letter language of their pages.
        units: str. 'metric' or 'us'.
    """

    person: str
    role: str
    language: str = "en"
    units: str = "metric"


@dataclass(frozen=True)
class DeviceEnrolled:
    """A phone, tablet or reader may send entries.

    Args:
        device: str. Id used in entries.
        label: str. What people call it.
    """

    device: str
    label: str


@dataclass(frozen=True)
class DeviceRevoked:
    """Nothing is taken from a device any more: every token of it, and every session on it, ends.

    Args:
        device: str.
        reason: str. Lost, sold, broken; what people say.
    """

    device: str
    reason: str


@dataclass(frozen=True)
class TokenIssued:
    """A program, logger or scale was given a token of its own.

    Args:
        device: str. Id used in entries.
        label: str. What people call it.
        scope: str. What the token may do; one of `jobs.people.SCOPES`.
    """

    device: str
    label: str
    scope: str


@dataclass(frozen=True)
class EnteredOffline:
    """Entries were made on a device without a network, and came in later.

    Args:
        device: str.
        entries: tuple of str. Their ids.
        offset_ms: int. The house's clock less the device's, as the device had last measured it
            when they were made; their times are corrected by it already. [ms]
        offset_now_ms: int. The same, measured when they came in. [ms]
        session: int. 1 when a person was signed in as they came in, 0 when the token alone stood.
    """

    device: str
    entries: tuple[str, ...]
    offset_ms: int
    offset_now_ms: int
    session: int = 0


@dataclass(frozen=True)
class FactConfirmed:
    """A named person read the source of a fact row in its edition and confirms it.

    Args:
        fact: str. Key of the row.
        edition: str. The edition that was read.
        digest: str. SHA-256 of the row as confirmed; a changed row needs a new confirmation.
        demo: int. 1 in the invented house: 'edition not read'.
    """

    fact: str
    edition: str
    digest: str
    demo: int = 0
