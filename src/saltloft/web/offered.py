"""What a form offers to pick: known lots, packs, customers and orders, a calendar, a line to go by."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime

from saltloft.foundation.errors import InputError
from saltloft.foundation.words import say
from saltloft.house import House
from saltloft.jobs import pick
from saltloft.web.payload_forms import FormField

# What a field names; a field that gives a new thing its number is left free.
NAMED = {
    "lot": "lot",
    "customer": "customer",
    "supplier": "supplier",
    "party": "party",
    "order": "order",
    "shipment": "shipment",
    "node": "pack",
    "packaging_lot": "packaging",
    "product": "product",
    "room": "room",
    "instrument": "instrument",
}
NEW = frozenset(
    {"lot.made.lot", "ham.salted.lot", "fresh.made.lot", "lots.merged.lot", "order.placed.order"}
    | {"shipment.sent.shipment", "party.added.party", "product.defined.product", "room.defined.room"}
    | {"instrument.defined.instrument"}
)
# Lines of a list, by kind and field: what the first part names, and the rest of a line to go by.
LINES = {
    "pack.made.sources": ("lot", "slices; 12.5 kg"),
    "order.placed.lines": ("product", "12.5 kg; 25"),
    "shipment.sent.lines": ("pack", "12.5 kg; 25"),
}
DAYS = frozenset(("due", "use_by", "best_before"))
MOMENTS = frozenset(("start", "end"))


def offered(house: House, kind: str, fields: Sequence[FormField]) -> list[FormField]:
    """The fields of a new entry with what can be picked for each.

    Args:
        house: House.
        kind: str. With version.
        fields: sequence of FormField.
    """
    return [_offered(house, f"{kind.partition('/')[0]}.{field.name}", field) for field in fields]


def _offered(house: House, path: str, field: FormField) -> FormField:
    if field.choices:
        return field
    if path in LINES:
        sort, rest = LINES[path]
        known = pick.picks(house, sort)
        return replace(field, lines=True, picks=known, example=f"{known[0][0]}; {rest}" if known else "")
    if field.name in NAMED and path not in NEW:
        return replace(field, picks=pick.picks(house, NAMED[field.name]))
    if field.name in DAYS:
        return replace(field, sort="date")
    if field.name in MOMENTS:
        return replace(field, sort="datetime-local")
    return field


def with_zone(house: House, typed: Mapping[str, str]) -> dict[str, str]:
    """The texts of a form whose moments, as a calendar gives them, have the house's zone.

    Raises:
        InputError: a moment that is none, with its field.
    """
    found = dict(typed)
    for name in MOMENTS & found.keys():
        if found[name].strip():
            found[name] = _moment(house, name, found[name].strip())
    return found


def _moment(house: House, name: str, text: str) -> str:
    try:
        at = datetime.fromisoformat(text)
    except ValueError:
        raise InputError(
            say("the time cannot be read"), got=text, allowed=say("such as 2026-11-03T05:45"), key=name
        ) from None
    return (at if at.tzinfo else at.replace(tzinfo=house.zone)).isoformat()
