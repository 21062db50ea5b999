"""Instruments on the shelf, with their checks."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from saltloft.plant.house_record import InstrumentRecord
from saltloft.plant.instruments import InstrumentChecked, InstrumentDefined
from saltloft.plant.stated import Stated, counting
from saltloft.store.database import Database
from saltloft.store.shelf import Shelf


def _instrument(name: str, statements: Sequence[Stated[Any]]) -> InstrumentRecord | None:
    defined = counting(statements, InstrumentDefined)
    if not defined:
        return None
    return InstrumentRecord(name, defined[-1], counting(statements, InstrumentChecked), tuple(statements))


def instruments_shelf(database: Database) -> Shelf[InstrumentRecord]:
    """Every instrument with its checks."""
    return Shelf(database, "instrument", ("instrument.defined/1",), _instrument)
