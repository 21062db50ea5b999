"""Looking lots up: lists, one lot's record, one entry with its corrections, names of people."""

from __future__ import annotations

from saltloft.cases.open_house import OpenHouse
from saltloft.foundation.errors import UnknownName
from saltloft.plant.house_record import PersonRecord, ProductRecord
from saltloft.plant.lot_record import LotRecord, LotSummary
from saltloft.plant.stated import Stated


def summaries(house: OpenHouse, family: str = "dry_sausage") -> tuple[LotSummary, ...]:
    """One line a lot of a family, newest first."""
    return tuple(house.store.lots.summaries(family))


def one(house: OpenHouse, lot: str) -> LotRecord:
    """A lot's record.

    Raises:
        UnknownName: with the nearest names.
    """
    return house.store.lots.get(lot)


def products(house: OpenHouse) -> dict[str, ProductRecord]:
    """Every product by key."""
    return {record.product: record for record in house.store.products.all()}


def names(house: OpenHouse) -> dict[str, str]:
    """Shown name of every person by id."""
    return {record.person: record.name for record in house.store.people.all()}


def person(house: OpenHouse, person_id: str) -> PersonRecord:
    """A person as the journal knows them, with the shown name.

    Raises:
        UnknownName: with the nearest names.
    """
    return house.store.people.get(person_id)


def everybody(house: OpenHouse) -> tuple[PersonRecord, ...]:
    """Everyone who may record, by shown name."""
    return tuple(sorted(house.store.people.all(), key=lambda record: record.name.casefold()))


def entry(house: OpenHouse, entry_id: str) -> Stated[object]:
    """One entry with its corrections.

    Raises:
        UnknownName: there is none of that id.
    """
    found = house.store.entry(entry_id)
    if found is None:
        raise UnknownName("entry", entry_id, ())
    return found


def last_seq(house: OpenHouse) -> int:
    """Number of the journal's last entry; 0 for an empty journal."""
    head = house.store.head()
    return 0 if head is None else head.seq
