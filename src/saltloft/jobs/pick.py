"""What stands ready to be picked on a form: the numbers and names the house has, the newest first."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, timedelta

from saltloft.cases.open_house import OpenHouse
from saltloft.store.moments import to_text

# What was packed or sent longer ago is still typed; a list of it all would hide what is wanted.
LOOKS_BACK = timedelta(days=400)
MOST = 100

Picks = tuple[tuple[str, str], ...]
"""(number or id, what to read beside it)."""


def picks(house: OpenHouse, sort: str) -> Picks:
    """What of one sort may be named, at most MOST.

    Args:
        house: OpenHouse.
        sort: str. One of 'lot', 'pack', 'shipment', 'packaging', 'order', 'customer', 'supplier', 'party',
            'product', 'room', 'instrument'; nothing is offered for another.
    """
    if sort == "lot":
        return _most((row.lot, row.product) for row in house.store.lots.summaries() if row.state != "ended")
    if sort in ("pack", "shipment"):
        return _made(house, sort)
    if sort == "packaging":
        found = [record for record in house.store.stock.all() if record.received.payload.sort == "packaging"]
        return _most((record.material_lot, record.received.payload.material) for record in reversed(found))
    if sort == "order":
        ended = {item.payload.order for item in house.store.order_ends.all() if not item.struck}
        waiting = [item for item in house.store.orders.all() if not item.struck]
        return _most(
            (item.payload.order, item.payload.due)
            for item in reversed(waiting)
            if item.payload.order not in ended
        )
    if sort in ("customer", "supplier", "party"):
        return _parties(house, "" if sort == "party" else sort)
    return _set_up(house, sort)


def _set_up(house: OpenHouse, sort: str) -> Picks:
    if sort == "product":
        return _most((one.product, one.defined.payload.title) for one in house.store.products.all())
    if sort == "room":
        return _most((one.room, one.defined.payload.role) for one in house.store.rooms.all())
    if sort == "instrument":
        return _most((one.instrument, one.defined.payload.type) for one in house.store.instruments.all())
    return ()


def _made(house: OpenHouse, sort: str) -> Picks:
    now = house.now().astimezone(UTC)
    nodes = house.store.trace.made_between(
        to_text(now - LOOKS_BACK), to_text(now + timedelta(days=1)), (sort,)
    )
    return _most((node.node, node.product or node.party) for node in reversed(nodes))


def _parties(house: OpenHouse, role: str) -> Picks:
    said = {item.payload.party: item.payload for item in house.store.parties.all() if not item.struck}
    ids = [party for party, payload in sorted(said.items()) if not role or payload.role in (role, "both")]
    cards = house.store.trace.contact_cards(ids)
    return _most((party, cards.get(party, ("", ""))[0]) for party in ids)


def _most(found: Iterable[tuple[str, str]]) -> Picks:
    return tuple(found)[:MOST]
