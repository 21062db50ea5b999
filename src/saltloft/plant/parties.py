"""Suppliers and customers as the journal knows them: an id and a role; names live outside the chain."""

from __future__ import annotations

from dataclasses import dataclass

PARTY_ROLES = ("supplier", "customer", "both")


@dataclass(frozen=True)
class PartyAdded:
    """A supplier or customer may be named in entries from now on; a later statement replaces it.

    Args:
        party: str. Id used in entries, such as 'sup-03'.
        role: str. One of PARTY_ROLES.
        market: str. Where a customer sells: one of lots.MARKETS; empty when any release will do.
        approved: int. 1 when a supplier is approved to deliver, 0 when not (any more).
        note: str.
    """

    party: str
    role: str
    market: str = ""
    approved: int = 1
    note: str = ""


@dataclass(frozen=True)
class PartyNameErased:
    """Name and address of a party were erased outside the chain, as the law asks; the id stays.

    Args:
        party: str.
        reason: str.
    """

    party: str
    reason: str
