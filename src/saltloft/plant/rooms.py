"""Rooms: what they are for, what they were set to, how far they can go."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

ROOM_ROLES = (
    "fermenting",
    "drying",
    "ageing",
    "salting",
    "resting",
    "ham_drying",
    "cellar",
    "packing",
    "store",
)


@dataclass(frozen=True)
class RoomDefined:
    """A room exists.

    Args:
        room: str. Its name on the door, such as 'D2'.
        role: str. One of ROOM_ROLES.
        capacity_kg: int. Green weight it can carry, 0 when not known. [kg]
        volume_m3: Decimal. Air volume. [m3]
        highest_temperature_c: Decimal. The highest temperature it can reach. [degC]
    """

    room: str
    role: str
    capacity_kg: int
    volume_m3: Decimal
    highest_temperature_c: Decimal


@dataclass(frozen=True)
class RoomSet:
    """Someone set the room to new values from this moment.

    Args:
        room: str.
        temperature_c: Decimal. [degC]
        rh_pct: Decimal. [%RH]
        air_m_s: Decimal. Air speed at the pieces. [m/s]
    """

    room: str
    temperature_c: Decimal
    rh_pct: Decimal
    air_m_s: Decimal
