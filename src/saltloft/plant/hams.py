"""Ham groups: salted, rested, moved, weighed. Forecasts come with a later version."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from saltloft.foundation.units import Mass
from saltloft.plant.lots import Consumed


@dataclass(frozen=True)
class HamGroupSalted:
    """A group of legs went into salt.

    Args:
        lot: str. Such as 'OK-0127'.
        product: str.
        legs: int.
        green_mass: Mass. All legs together, trimmed.
        material_lots: tuple of str.
        salt_mass: Mass or None. Salt put on.
        room: str.
        planned_days: int. Days in salt the curer means. [d]
        leg_ph: Decimal or None. Mean.
        consumed: tuple of Consumed. Legs by weighed amount; a lot of `material_lots` that is not
            among them is booked by number only.
        tags: tuple of str. Tag of each leg, where they bear one.
    """

    lot: str
    product: str
    legs: int
    green_mass: Mass
    material_lots: tuple[str, ...]
    salt_mass: Mass | None
    room: str
    planned_days: int
    leg_ph: Decimal | None = None
    consumed: tuple[Consumed, ...] = ()
    tags: tuple[str, ...] = ()


@dataclass(frozen=True)
class HamGroupSaltedOut:
    """The group came out of salt.

    Args:
        lot: str.
        mass: Mass. All legs after brushing.
        room: str. Where they rest now.
    """

    lot: str
    mass: Mass
    room: str


@dataclass(frozen=True)
class HamGroupWeighed:
    """The group, or some of its hams, was weighed.

    Args:
        lot: str.
        mass: Mass.
        legs: int. How many were on the scale.
        instrument: str.
    """

    lot: str
    mass: Mass
    legs: int
    instrument: str = ""
