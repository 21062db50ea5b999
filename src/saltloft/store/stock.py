"""Material lots on the shelf, with how much of each went into lots."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, func, select

from saltloft.plant.entries import versions
from saltloft.plant.house_record import MaterialRecord
from saltloft.plant.stated import Stated, counting
from saltloft.plant.stock import MaterialReceived
from saltloft.store.database import Database
from saltloft.store.shelf import Shelf
from saltloft.store.tables import lot_link


def _material(name: str, statements: Sequence[Stated[Any]]) -> MaterialRecord | None:
    received = counting(statements, MaterialReceived)
    return MaterialRecord(name, received[-1], 0, tuple(statements)) if received else None


class Stock(Shelf[MaterialRecord]):
    """Every material lot; `used_mg` is what lots took of it until now, whatever `asof` says."""

    def __init__(self, database: Database) -> None:
        super().__init__(database, "material lot", versions("material.received"), _material)

    def _read(
        self, connection: Connection, names: Sequence[str], asof: datetime | None
    ) -> dict[str, MaterialRecord | None]:
        found = super()._read(connection, names, asof)
        sums = select(lot_link.c.source, func.sum(lot_link.c.mg).label("mg")).group_by(lot_link.c.source)
        used = {row.source: row.mg for row in connection.execute(sums)}
        return {name: record and replace(record, used_mg=used.get(name, 0)) for name, record in found.items()}
