"""Lots: made, hung, moved, held, released, sent out."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from saltloft.foundation.units import Mass

YIELD_USES = ("pack", "ends", "sample", "waste", "stock")
MARKETS = ("us", "ca", "eu", "home")


@dataclass(frozen=True)
class Consumed:
    """A weighed amount of a material lot that went into a batch.

    Args:
        material_lot: str. Material lot, or a lot whose ends are worked in again.
        ingredient: str. Name of the recipe line it stands for.
        mass: Mass.
    """

    material_lot: str
    ingredient: str
    mass: Mass


@dataclass(frozen=True)
class LotMade:
    """A lot was ground, mixed and stuffed.

    Args:
        lot: str. Line and stuffing day, such as 'AL-0310'.
        product: str.
        recipe: str. The recipe version used.
        consumed: tuple of Consumed. By weighed amount.
        green_mass: Mass. Stuffed mass hung.
        pieces: int. Pieces stuffed.
        batter_ph: Decimal or None. pH of the mince at stuffing.
        batter_temperature_c: Decimal or None. [degC]
        fat_pct: Decimal or None. Analysed fat of the batter. [%]
        casing_lot: str. May be empty.
        culture_lot: str. May be empty.
    """

    lot: str
    product: str
    recipe: str
    consumed: tuple[Consumed, ...]
    green_mass: Mass
    pieces: int
    batter_ph: Decimal | None = None
    batter_temperature_c: Decimal | None = None
    fat_pct: Decimal | None = None
    casing_lot: str = ""
    culture_lot: str = ""


@dataclass(frozen=True)
class LotHung:
    """A lot was hung in a room; the first hanging starts its days.

    Args:
        lot: str.
        room: str.
        racks: tuple of str.
    """

    lot: str
    room: str
    racks: tuple[str, ...] = ()


@dataclass(frozen=True)
class LotMoved:
    """A lot went from one room to another.

    Args:
        lot: str.
        room: str. Where it hangs from now on.
        racks: tuple of str.
    """

    lot: str
    room: str
    racks: tuple[str, ...] = ()


@dataclass(frozen=True)
class LotHeld:
    """A lot is blocked until a named person lifts the hold.

    Args:
        lot: str.
        reason: str.
        until: str. What has to be measured or decided first.
    """

    lot: str
    reason: str
    until: str = ""


@dataclass(frozen=True)
class HoldLifted:
    """A hold is lifted by a person with that right.

    Args:
        lot: str.
        hold: str. Entry id of the LotHeld.
        reason: str.
    """

    lot: str
    hold: str
    reason: str


@dataclass(frozen=True)
class LotReleased:
    """A quality person signed the lot out; refused while a hazard is open.

    Args:
        lot: str.
        market: str. 'us', 'ca', 'eu' or 'home'.
        verdict_digest: str. SHA-256 of the verdicts that were shown when signing.
    """

    lot: str
    market: str
    verdict_digest: str


@dataclass(frozen=True)
class LotDispatched:
    """Finished product left the house.

    Args:
        lot: str.
        mass: Mass.
        customer: str. Id of the customer (the name lives outside the chain).
    """

    lot: str
    mass: Mass
    customer: str = ""


@dataclass(frozen=True)
class LotYielded:
    """Finished weight of a lot, or of a part of it, came off the racks.

    Args:
        lot: str.
        mass: Mass.
        into: str. One of YIELD_USES.
        last: int. 1 when nothing of the lot hangs after it; counts for 'pack' and 'stock' only.
    """

    lot: str
    mass: Mass
    into: str
    last: int = 1


@dataclass(frozen=True)
class FreshMade:
    """A batch of fresh sausage was made.

    Args:
        lot: str. Such as 'BR-1102'.
        product: str.
        recipe: str.
        consumed: tuple of Consumed.
        mass: Mass.
    """

    lot: str
    product: str
    recipe: str
    consumed: tuple[Consumed, ...]
    mass: Mass


@dataclass(frozen=True)
class FreshChilled:
    """The fresh batch's core was read in the cold store.

    Args:
        lot: str.
        core_temperature_c: Decimal. [degC]
        room: str.
        instrument: str.
    """

    lot: str
    core_temperature_c: Decimal
    room: str = ""
    instrument: str = ""


@dataclass(frozen=True)
class FreshPacked:
    """The fresh batch was packed, with the use-by a person entered.

    Args:
        lot: str.
        mass: Mass.
        packs: int.
        use_by: str. ISO day.
    """

    lot: str
    mass: Mass
    packs: int
    use_by: str
