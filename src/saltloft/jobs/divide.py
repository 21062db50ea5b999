"""Moving, splitting and merging: where a lot hangs, which lots may become one with it, names for parts."""

from __future__ import annotations

from dataclasses import dataclass

from saltloft.cases.open_house import OpenHouse
from saltloft.plant.lot_record import LotRecord

_LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ"


@dataclass(frozen=True)
class Dividing:
    """What the page of one lot shows.

    Args:
        record: LotRecord.
        rooms: tuple of str.
        parts: tuple of str. Two names that are free.
        like: tuple of LotRecord. Lots of the same product and recipe that hang.
        merged: str. A free name for a merged lot.
    """

    record: LotRecord
    rooms: tuple[str, ...]
    parts: tuple[str, ...]
    like: tuple[LotRecord, ...]
    merged: str


def dividing(house: OpenHouse, lot: str) -> Dividing:
    """Everything the page needs.

    Args:
        house: OpenHouse.
        lot: str.

    Raises:
        UnknownName: no such lot.
    """
    record = house.store.lots.get(lot)
    names = set(house.store.lots.names())
    free = [f"{lot}-{letter}" for letter in _LETTERS if f"{lot}-{letter}" not in names]
    like = [
        other
        for other in house.store.lots.hanging()
        if other.lot != lot and (other.product, other.recipe) == (record.product, record.recipe)
    ]
    # A part that comes back to its other half goes on under the next letter of the whole.
    root = record.line[-1] if record.line else lot
    back = [f"{root}-{letter}" for letter in _LETTERS if f"{root}-{letter}" not in names]
    return Dividing(
        record=record,
        rooms=tuple(room.room for room in house.store.rooms.all()),
        parts=tuple(free[:2]),
        like=tuple(sorted(like, key=lambda other: (record.lot not in other.line, other.lot))),
        merged=(back or free)[0],
    )
