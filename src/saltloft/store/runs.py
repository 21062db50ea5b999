"""What ran on which line from when to when, and which lots an instrument, a room or a line saw in a time."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import or_, select

from saltloft.plant.contact import COUNTER, MAKING, PACKING, SLICING, Run
from saltloft.plant.entries import versions
from saltloft.plant.flow import CounterOpened, LotSliced, PackMade
from saltloft.plant.lots import FreshMade, LotMade
from saltloft.plant.readings import PhRead, PieceWeighed, WaterActivityRead
from saltloft.plant.stated import Stated
from saltloft.store.database import Database
from saltloft.store.listing import Listing
from saltloft.store.moments import to_text
from saltloft.store.tables import lot_room

# A run is entered when it is over, at the latest; a piece may have lain open for days before.
LONGEST = timedelta(days=21)


class Runs:
    """Runs by time, and what was near in a suspect time.

    Args:
        database: Database.
    """

    def __init__(self, database: Database) -> None:
        self.database = database
        self.sliced = Listing(database, versions("lot.sliced"), LotSliced)
        self.packed = Listing(database, versions("pack.made"), PackMade)
        self.counters = Listing(database, versions("counter.opened"), CounterOpened)
        self.made = Listing(database, versions("lot.made"), LotMade)
        self.fresh = Listing(database, versions("fresh.made"), FreshMade)
        self.weighed = Listing(database, versions("piece.weighed"), PieceWeighed)
        self.ph = Listing(database, versions("ph.read"), PhRead)
        self.water_activity = Listing(database, versions("water_activity.read"), WaterActivityRead)

    def between(self, start: datetime, end: datetime) -> list[Run]:
        """Every run that touches a stretch of time.

        Args:
            start, end: datetime, aware.
        """
        found = [*self._lines(start, end), *self._making(start, end)]
        return [run for run in found if run.start < end and (run.end is None or run.end >= start)]

    def _lines(self, start: datetime, end: datetime) -> Iterator[Run]:
        first, last = start - LONGEST, end + LONGEST
        for sliced in self.sliced.all(start=first, end=last):
            log = sliced.payload
            begun, over = _moments(log.start, log.end, sliced)
            yield Run(log.lot, SLICING, log.line, begun, over, sliced.entry_id, log.sliced)
        for packed in self.packed.all(start=first, end=last):
            pack = packed.payload
            begun, over = _moments(pack.start, pack.end, packed)
            for line in pack.sources:
                yield Run(line.material_lot, PACKING, pack.line, begun, over, packed.entry_id, pack.pack)
        for lay in self.counters.all(start=first, end=last):
            piece = lay.payload
            begun, _ = _moments(piece.start, "", lay)
            until = datetime.fromisoformat(piece.end) if piece.end else None
            yield Run(piece.lot, COUNTER, piece.line, begun, until, lay.entry_id, "", piece.tag)

    def _making(self, start: datetime, end: datetime) -> Iterator[Run]:
        for listing in (self.made, self.fresh):
            for said in listing.all(start=start, end=end):
                lot: Any = said.payload
                yield Run(lot.lot, MAKING, "", said.at, said.at, said.entry_id)

    def by_instrument(self, instrument: str, start: datetime, end: datetime) -> list[str]:
        """Lots that were read with an instrument in a time, by name."""
        listings: tuple[Listing[Any], ...] = (self.weighed, self.ph, self.water_activity)
        said = [item.payload for listing in listings for item in listing.all(start=start, end=end)]
        return sorted({payload.lot for payload in said if payload.instrument == instrument})

    def in_room(self, room: str, start: datetime, end: datetime) -> list[str]:
        """Lots of which a part hung in a room in a time, by name."""
        query = (
            select(lot_room.c.lot)
            .where(lot_room.c.room == room, lot_room.c.start_at < to_text(end))
            .where(or_(lot_room.c.end_at == "", lot_room.c.end_at >= to_text(start)))
            .distinct()
            .order_by(lot_room.c.lot)
        )
        with self.database.reading() as connection:
            return list(connection.execute(query).scalars())

    def on_line(self, line: str, start: datetime, end: datetime) -> list[str]:
        """What ran on a line in a time and what came of it, by name."""
        runs = [run for run in self.between(start, end) if run.line == line]
        return sorted({run.made or run.node for run in runs})


def _moments(start: str, end: str, said: Stated[Any]) -> tuple[datetime, datetime]:
    """Start and end as stated, else when the entry says it happened."""
    begun = datetime.fromisoformat(start) if start else said.at
    return begun, datetime.fromisoformat(end) if end else max(said.at, begun)
