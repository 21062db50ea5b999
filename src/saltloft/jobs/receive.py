"""What a delivery is asked: who delivers, what comes, under which number it stands, what came today."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime

from saltloft.cases.open_house import OpenHouse
from saltloft.plant.house_record import MaterialRecord

_LAST_NUMBER = re.compile(r"^(.*?)(\d+)(\D*)$")
_DAY_NUMBER = re.compile(r"^(.*?)(\d{4})$")
MOST_MATERIALS = 16


@dataclass(frozen=True)
class Offered:
    """A material as it came last.

    Args:
        material: str.
        sort: str. As stated last; empty when nobody did.
        supplier: str.
        number: str. What the next lot of it may be called.
        last_at: datetime, aware.
    """

    material: str
    sort: str
    supplier: str
    number: str
    last_at: datetime


@dataclass(frozen=True)
class Came:
    """A delivery of the day."""

    material_lot: str
    material: str
    mg: int
    decision: str


@dataclass(frozen=True)
class Receiving:
    """Everything one screen of receiving needs.

    Args:
        materials: tuple of Offered. The ones that came last first.
        suppliers: tuple of (id, shown name).
        today: tuple of Came. Newest first.
    """

    materials: tuple[Offered, ...]
    suppliers: tuple[tuple[str, str], ...]
    today: tuple[Came, ...]


def receiving(house: OpenHouse) -> Receiving:
    """What the receiving page shows.

    Args:
        house: OpenHouse.
    """
    records = house.store.stock.all()
    newest = sorted(records, key=lambda record: record.received.at, reverse=True)
    offered: dict[str, Offered] = {}
    taken = {record.material_lot for record in records}
    for record in newest:
        material = record.received.payload.material
        if material not in offered and len(offered) < MOST_MATERIALS:
            offered[material] = _offered(house, record, taken)
    day = house.now().astimezone(house.zone).date()
    today = tuple(
        Came(one.material_lot, said.material, said.mass.mg, said.decision)
        for one in newest
        if one.received.at.astimezone(house.zone).date() == day and (said := one.received.payload)
    )
    names = house.store.secrets.contacts()
    parties = {
        item.payload.party: item.payload
        for item in house.store.parties.all()
        if item.payload.role != "customer"
    }
    listed = sorted(parties or {record.received.payload.supplier for record in records} - {""})
    return Receiving(
        tuple(offered.values()), tuple((party, names.get(party, party)) for party in listed), today
    )


def _offered(house: OpenHouse, record: MaterialRecord, taken: set[str]) -> Offered:
    said = record.received.payload
    number = next_number(record.material_lot, record.received.at, house.now(), taken, house)
    return Offered(said.material, said.sort, said.supplier, number, record.received.at)


def next_number(last: str, last_at: datetime, now: datetime, taken: set[str], house: OpenHouse) -> str:
    """The number that follows a material's last one: today's day where it bore its day, else one more.

    Args:
        last: str. Such as 'LT-1102' received on 2 November, or 'FEN-118'.
        last_at: datetime, aware. When that came.
        now: datetime, aware.
        taken: set of str. Numbers that stand already.
        house: OpenHouse. For its zone.

    Returns:
        str. Empty when the last one has no number in it.
    """
    by_day = _DAY_NUMBER.match(last)
    if by_day and by_day[2] == f"{last_at.astimezone(house.zone):%m%d}":
        name = f"{by_day[1]}{now.astimezone(house.zone):%m%d}"
        return name if name not in taken else _free(f"{name}-2", taken)
    counted = _LAST_NUMBER.match(last)
    if counted is None:
        return ""
    width = len(counted[2])
    return _free(f"{counted[1]}{int(counted[2]) + 1:0{width}d}{counted[3]}", taken)


def _free(name: str, taken: set[str]) -> str:
    while name in taken:
        counted = _LAST_NUMBER.match(name)
        if counted is None:
            return ""
        name = f"{counted[1]}{int(counted[2]) + 1:0{len(counted[2])}d}{counted[3]}"
    return name
