"""Lots on the shelf, and the quick lists from the reading tables."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime

from sqlalchemy import Connection, select

from saltloft.plant.entries import versions
from saltloft.plant.flow_story import DESCENT
from saltloft.plant.lot_record import LotLink, LotRecord, LotSummary
from saltloft.plant.lot_story import lot_record
from saltloft.store.database import Database
from saltloft.store.descent import Lines, line_records
from saltloft.store.moments import from_text
from saltloft.store.projection import NOT_MEASURING
from saltloft.store.shelf import Shelf
from saltloft.store.tables import lot_link, lot_now, lot_room

# Every kind that brings a lot into being, in every version.
MAKING_KINDS = (*versions("lot.made"), *versions("ham.salted"), *versions("fresh.made"))
_AT_ONCE = 500


class Lots(Shelf[LotRecord]):
    """Every lot of every family: dry sausage, ham groups, fresh batches."""

    def __init__(self, database: Database) -> None:
        super().__init__(database, "lot", MAKING_KINDS, lot_record)

    def find_in(self, connection: Connection, name: str) -> LotRecord | None:
        """As `find`, inside the caller's writing transaction; nothing is kept from it."""
        return Lines(connection, [name]).record(name)

    def _names(self, connection: Connection) -> list[str]:
        """Every lot that was stuffed, salted or made, then those that came of splitting and merging."""
        of_others = (
            select(lot_link.c.lot).where(lot_link.c.sort.in_(DESCENT)).distinct().order_by(lot_link.c.lot)
        )
        return [*super()._names(connection), *connection.execute(of_others).scalars()]

    def _fresh(
        self, connection: Connection, names: Sequence[str], asof: datetime | None
    ) -> dict[str, LotRecord | None]:
        return line_records(connection, names, asof)

    def _stamps(self, connection: Connection, names: Sequence[str]) -> dict[str, int]:
        """The last entry about a lot or anything of its line, by the reading tables; 0 for a struck lot."""
        found: dict[str, int] = {}
        for start in range(0, len(names), _AT_ONCE):
            chunk = names[start : start + _AT_ONCE]
            rows = connection.execute(
                select(lot_now.c.lot, lot_now.c.last_seq).where(lot_now.c.lot.in_(chunk))
            )
            found.update({row.lot: row.last_seq for row in rows})
        return found

    def of_products(self, products: Iterable[str]) -> list[LotRecord]:
        """Every lot of some products, by number."""
        query = select(lot_now.c.lot).where(lot_now.c.product.in_(sorted(products))).order_by(lot_now.c.lot)
        with self.database.reading() as connection:
            return self.some(connection.execute(query).scalars())

    def family(self, family: str, asof: datetime | None = None) -> list[LotRecord]:
        """Every lot of one family ('dry_sausage', 'ham', 'fresh_sausage'), by when it was made."""
        chosen = [record for record in self.all(asof) if record.family == family]
        return sorted(chosen, key=lambda record: (record.made_at, record.lot))

    def hanging(self, asof: datetime | None = None) -> list[LotRecord]:
        """Every lot of which a part hangs in a room, by when it was made."""
        if asof is not None:
            chosen = [record for record in self.all(asof) if record.hanging]
        else:
            with self.database.reading() as connection:
                names = connection.execute(
                    select(lot_room.c.lot).where(lot_room.c.end_at == "").distinct()
                ).scalars()
                found = self._read(connection, list(names), None)
            chosen = [record for record in found.values() if record is not None]
        return sorted(chosen, key=lambda record: (record.made_at, record.lot))

    def summaries(self, family: str | None = None) -> list[LotSummary]:
        """One line a lot, newest first, from the reading tables only."""
        query = select(lot_now).order_by(lot_now.c.made_at.desc(), lot_now.c.lot)
        if family is not None:
            query = query.where(lot_now.c.family == family)
        with self.database.reading() as connection:
            return [
                LotSummary(
                    lot=row.lot,
                    family=row.family,
                    product=row.product,
                    state=row.state,
                    room=row.room,
                    made_at=from_text(row.made_at),
                    hung_at=from_text(row.hung_at) if row.hung_at else None,
                    green_mg=row.green_mg,
                    pieces=row.pieces,
                    open_holds=row.open_holds,
                    last_seq=row.last_seq,
                )
                for row in connection.execute(query)
            ]

    def links(self, *, source: str | None = None, lot: str | None = None) -> list[LotLink]:
        """What went into a lot, or where a source went; one step."""
        query = select(lot_link).order_by(lot_link.c.lot, lot_link.c.number)
        if source is not None:
            query = query.where(lot_link.c.source == source)
        if lot is not None:
            query = query.where(lot_link.c.lot == lot)
        with self.database.reading() as connection:
            return [
                LotLink(
                    row.source, row.lot, row.ingredient, row.mg, row.entry_id, row.sort, from_text(row.at)
                )
                for row in connection.execute(query)
            ]


class LotCourses(Lots):
    """The same lots without what was measured on them, in a sixth of the time: most entries are weighings."""

    def _fresh(
        self, connection: Connection, names: Sequence[str], asof: datetime | None
    ) -> dict[str, LotRecord | None]:
        return line_records(connection, names, asof, NOT_MEASURING)
