"""The rooms now: air, setting, load, the lots in each, where readings lack, and whether all is as set."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from saltloft.cases.kept_outlook import SORT, from_bytes
from saltloft.cases.open_house import OpenHouse, known_at
from saltloft.cases.rooms_now import rooms_now
from saltloft.plant.answers import LotOutlook, RoomNow


def rooms(
    house: OpenHouse, at: datetime | None = None, outlooks: Mapping[str, LotOutlook] | None = None
) -> tuple[RoomNow, ...]:
    """Every room at a moment.

    Args:
        house: OpenHouse.
        at: datetime or None. None: now.
        outlooks: mapping of lot to LotOutlook, or None: the kept forecasts, computing nothing.
    """
    moment = at or house.now()
    lots = house.store.lots.hanging(known_at(house, moment))
    if outlooks is None:
        kept = {lot.lot: house.store.kept.latest(SORT, lot.lot) for lot in lots}
        outlooks = {lot: from_bytes(found.body) for lot, found in kept.items() if found is not None}
    return rooms_now(house, moment, lots, outlooks)


def names(house: OpenHouse) -> tuple[str, ...]:
    """Every room of the house by name."""
    return tuple(sorted(record.room for record in house.store.rooms.all()))
