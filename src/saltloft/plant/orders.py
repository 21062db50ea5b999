"""What customers order, what leaves the house for them, and what comes back."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from saltloft.foundation.units import Mass

ORDER_ENDS = ("shipped", "short", "cancelled")
RETURN_DECISIONS = ("stock", "held", "waste")


@dataclass(frozen=True)
class OrderLine:
    """One line of an order.

    Args:
        product: str.
        mass: Mass.
        packs: int. 0 when ordered by weight only.
    """

    product: str
    mass: Mass
    packs: int = 0


@dataclass(frozen=True)
class OrderPlaced:
    """A customer ordered; a later statement of the same number replaces it.

    Args:
        order: str. Our number for it.
        customer: str. Id of the customer.
        lines: tuple of OrderLine.
        due: str. ISO day on which it is to leave.
        note: str.
    """

    order: str
    customer: str
    lines: tuple[OrderLine, ...]
    due: str = ""
    note: str = ""


@dataclass(frozen=True)
class OrderEnded:
    """Nothing more will leave for an order.

    Args:
        order: str.
        how: str. One of ORDER_ENDS.
        reason: str. Needed unless it was shipped whole.
    """

    order: str
    how: str
    reason: str = ""


@dataclass(frozen=True)
class ShipmentLine:
    """A weighed amount of one pack lot, lot or return in a shipment.

    Args:
        node: str. Pack lot, lot or return it is taken from.
        mass: Mass. Net.
        packs: int. 0 when not counted.
        tags: tuple of str. Single hams or pieces by their tags.
    """

    node: str
    mass: Mass
    packs: int = 0
    tags: tuple[str, ...] = ()


@dataclass(frozen=True)
class ShipmentSent:
    """Goods left the house for one customer.

    Args:
        shipment: str. Our number for it, such as 'SHIP-0417'.
        customer: str. Id of the customer.
        lines: tuple of ShipmentLine.
        order: str. The order it answers; may be empty.
        temperature_c: Decimal or None. Of the truck when loaded. [degC]
        carrier: str. Who drove; an id or a plate, no person's name.
        documents: tuple of str. Numbers or SHA-256 digests of papers that went along.
    """

    shipment: str
    customer: str
    lines: tuple[ShipmentLine, ...]
    order: str = ""
    temperature_c: Decimal | None = None
    carrier: str = ""
    documents: tuple[str, ...] = ()


@dataclass(frozen=True)
class GoodsReturned:
    """Goods of one pack lot of one shipment came back.

    Args:
        returned: str. Our number for it, such as 'RET-0007'; what comes back stands under it.
        shipment: str. The shipment it left with.
        node: str. The pack lot or lot it was sent as.
        mass: Mass. Net.
        reason: str.
        decision: str. One of RETURN_DECISIONS; 'waste' books it out at once.
        packs: int. 0 when not counted.
    """

    returned: str
    shipment: str
    node: str
    mass: Mass
    reason: str
    decision: str = "held"
    packs: int = 0
