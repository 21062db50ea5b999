"""Material lots on the shelf, with how much of each went into lots."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, func, select

from saltloft.plant.entries import versions
from saltloft.plant.flow import MaterialCounted
from saltloft.plant.house_record import MaterialRecord
from saltloft.plant.stated import Stated, counting
from saltloft.plant.stock import MaterialReceived
from saltloft.store.database import Database
from saltloft.store.moments import to_text
from saltloft.store.shelf import Shelf
from saltloft.store.tables import lot_link

_AT_ONCE = 500


def _material(name: str, statements: Sequence[Stated[Any]]) -> MaterialRecord | None:
    received = counting(statements, MaterialReceived)
    if not received:
        return None
    counted = counting(statements, MaterialCounted)
    return MaterialRecord(name, received[-1], 0, tuple(statements), counted[-1] if counted else None)


class Stock(Shelf[MaterialRecord]):
    """Every material lot; what was used of it is what went until now, whatever `asof` says."""

    def __init__(self, database: Database) -> None:
        super().__init__(database, "material lot", versions("material.received"), _material)

    def _read(
        self, connection: Connection, names: Sequence[str], asof: datetime | None
    ) -> dict[str, MaterialRecord | None]:
        found = super()._read(connection, names, asof)
        used = _used(connection, names)
        since = {
            name: _used(connection, [name], record.counted.at).get(name, 0)
            for name, record in found.items()
            if record is not None and record.counted is not None
        }
        return {
            name: record
            and replace(record, used_mg=used.get(name, 0), used_since_mg=since.get(name, used.get(name, 0)))
            for name, record in found.items()
        }


def _used(connection: Connection, names: Sequence[str], after: datetime | None = None) -> dict[str, int]:
    """What went out of some material lots. [mg]"""
    found: dict[str, int] = {}
    for start in range(0, len(names), _AT_ONCE):
        query = (
            select(lot_link.c.source, func.sum(lot_link.c.mg).label("mg"))
            .where(lot_link.c.source.in_(names[start : start + _AT_ONCE]))
            .group_by(lot_link.c.source)
        )
        if after is not None:
            query = query.where(lot_link.c.at > to_text(after))
        found.update({row.source: int(row.mg) for row in connection.execute(query)})
    return found
