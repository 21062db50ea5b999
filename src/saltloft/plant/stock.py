"""What comes in: meat, casings, spice, cure, culture, packaging, with what was measured at the door."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from saltloft.foundation.units import Mass

MATERIAL_SORTS = ("meat", "casing", "spice", "cure", "culture", "packaging", "other")


@dataclass(frozen=True)
class MaterialReceived:
    """A delivery was accepted, downgraded or refused at the door.

    Args:
        material_lot: str. Our number for it, such as 'FEN-118'.
        material: str. What it is, such as 'lean trim', 'backfat', 'leg', 'fennel'.
        supplier: str. Id of the supplier (the name lives outside the chain).
        mass: Mass.
        decision: str. 'accepted', 'downgraded' or 'refused'.
        core_temperature_c: Decimal or None. [degC]
        ph: Decimal or None. pH at 24 h or later, mean of what was probed.
        supplier_lot: str. Their number; may be empty.
        pieces: int. Legs or bags counted; 0 when not counted.
        note: str.
        sort: str. One of MATERIAL_SORTS; empty when nobody said.
        best_before: str. ISO day; may be empty.
        truck_temperature_c: Decimal or None. Of the truck's air. [degC]
        documents: tuple of str. Numbers or SHA-256 digests of papers that came along.
    """

    material_lot: str
    material: str
    supplier: str
    mass: Mass
    decision: str = "accepted"
    core_temperature_c: Decimal | None = None
    ph: Decimal | None = None
    supplier_lot: str = ""
    pieces: int = 0
    note: str = ""
    sort: str = ""
    best_before: str = ""
    truck_temperature_c: Decimal | None = None
    documents: tuple[str, ...] = ()
