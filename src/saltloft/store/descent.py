"""Records of lots along their line of descent: parts of a split carry on what was stated about the whole."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, Row, select

from saltloft.plant.descent import ended_by_merge, merged_record, part_record
from saltloft.plant.flow import LotsMerged
from saltloft.plant.flow_story import DESCENT
from saltloft.plant.lot_record import LotRecord
from saltloft.plant.lot_story import lot_record
from saltloft.plant.stated import Stated
from saltloft.store import journal
from saltloft.store.flow_projection import ancestors
from saltloft.store.stating import stated
from saltloft.store.tables import lot_link

_AT_ONCE = 400


class Lines:
    """Some lots with everything they came of, read in few queries.

    Args:
        connection: Connection.
        names: iterable of str.
        asof: datetime or None. Leave out what was recorded later.
        kinds: sequence of str. Read entries of these kinds only; empty: all.
    """

    def __init__(
        self,
        connection: Connection,
        names: Iterable[str],
        asof: datetime | None = None,
        kinds: Sequence[str] = (),
    ) -> None:
        wanted = list(names)
        above = ancestors(connection, wanted)
        self.names = [*wanted, *sorted(above - set(wanted))]
        self._up = _links(connection, self.names, lot_link.c.lot)
        self._down = _links(connection, self.names, lot_link.c.source)
        merged = {row.lot for rows in self._down.values() for row in rows if row.sort == "merge"}
        known = journal.of_subjects(connection, [*self.names, *sorted(merged - set(self.names))], kinds)
        self.last = {name: found[-1].seq if found else 0 for name, found in known.items()}
        self._said = {name: stated(found, asof) for name, found in known.items()}
        self._built: dict[str, LotRecord | None] = {}

    def said(self, subject: str) -> list[Stated[Any]]:
        """What was stated about one of them itself."""
        return self._said.get(subject, [])

    def record(self, lot: str) -> LotRecord | None:
        """One lot of those asked for, or of their lines; None when nothing that counts made it."""
        if lot not in self._built:
            self._built[lot] = self._ended(lot, self._record(lot))
        return self._built[lot]

    def _record(self, lot: str) -> LotRecord | None:
        own = self._said.get(lot, [])
        up = self._up.get(lot, [])
        if not up:
            return lot_record(lot, own)
        if up[0].sort == "split":
            whole = self._before(up[0].source)
            split = self._entry(up[0].source, up[0].entry_id)
            return part_record(whole, split, lot, up[0].mg, own) if whole and split else None
        merge = self._entry(lot, up[0].entry_id)
        sources = [(record, row.mg) for row in up if (record := self._before(row.source)) is not None]
        return merged_record(sources, merge, own) if merge and sources else None

    def _before(self, lot: str) -> LotRecord | None:
        """A lot of the line as it was told without its own end."""
        return self._record(lot) if lot in self._said else None

    def _ended(self, lot: str, record: LotRecord | None) -> LotRecord | None:
        for row in self._down.get(lot, []):
            merge = self._entry(row.lot, row.entry_id) if row.sort == "merge" else None
            if record is not None and merge is not None and isinstance(merge.payload, LotsMerged):
                return ended_by_merge(record, merge)
        return record

    def _entry(self, subject: str, entry_id: str) -> Stated[Any] | None:
        said = self._said.get(subject, [])
        return next((item for item in said if item.entry_id == entry_id and not item.struck), None)


def _links(connection: Connection, names: Sequence[str], side: Any) -> dict[str, list[Row[Any]]]:
    found: dict[str, list[Row[Any]]] = {}
    for start in range(0, len(names), _AT_ONCE):
        query = (
            select(lot_link)
            .where(side.in_(names[start : start + _AT_ONCE]), lot_link.c.sort.in_(DESCENT))
            .order_by(lot_link.c.lot, lot_link.c.number)
        )
        for row in connection.execute(query):
            found.setdefault(getattr(row, side.name), []).append(row)
    return found


def line_records(
    connection: Connection,
    names: Sequence[str],
    asof: datetime | None = None,
    kinds: Sequence[str] = (),
) -> dict[str, LotRecord | None]:
    """The records of some lots, each along its line of descent; `asof` and `kinds` as for `Lines`."""
    lines = Lines(connection, names, asof, kinds)
    return {name: lines.record(name) for name in names}
