"""Suppliers and customers: an id in the journal, name and address outside of it, erased when the law asks."""

from __future__ import annotations

from saltloft.cases.open_house import OpenHouse
from saltloft.foundation.errors import InputError, UnknownName
from saltloft.plant.parties import PartyAdded


def named(house: OpenHouse, party: str) -> PartyAdded:
    """What was last stated about a party.

    Args:
        house: OpenHouse.
        party: str.

    Raises:
        UnknownName: with the nearest ids.
    """
    known = {item.payload.party: item.payload for item in house.store.parties.all()}
    if party not in known:
        raise UnknownName("party", party, known, key="party")
    return known[party]


def keep_name(house: OpenHouse, party: str, name: str, address: str = "") -> None:
    """Keep the name and address behind an id, outside the chain.

    Args:
        house: OpenHouse.
        party: str. Stated already.
        name, address: str.

    Raises:
        UnknownName: nobody stated this party.
        InputError: no name.
    """
    if not name.strip():
        raise InputError(
            "a party's name cannot be empty", do="state its erasure, with the reason", key="name"
        )
    house.store.secrets.set_contact(party, named(house, party).role, name.strip(), address.strip())
