"""Everything that is kept, copied from one database into an empty other one, row for row.

Carries a house between SQLite and PostgreSQL, and a PostgreSQL house into the
file of a backup. The journal's bytes are copied, not written anew, so both
sides end in the same hash.
"""

from __future__ import annotations

from collections.abc import Iterator

from sqlalchemy import Connection, Table, func, inspect, select

from saltloft.foundation.errors import InputError, StoreError
from saltloft.plant.answers import JournalHead
from saltloft.store import journal, projection
from saltloft.store.bulk import add_readings, readings_between
from saltloft.store.database import Database
from saltloft.store.migrate import bring_up
from saltloft.store.tables import KEPT, reading

_ROWS_AT_ONCE = 2000
_READINGS_AT_ONCE = 100_000


def copy_into(source: Database, target: Database) -> JournalHead:
    """Copy journal, readings, secrets and attachment rows into an empty database, and build its tables.

    Args:
        source: Database. May be in use: what is copied belongs together.
        target: Database. Without any table, or with a house's empty ones.

    Returns:
        JournalHead. The end of the chain in both.

    Raises:
        InputError: the target is not empty.
        StoreError: the source has no entry, or a database fails; the target then holds nothing.
    """
    bring_up(target)

    def work(into: Connection) -> JournalHead:
        if any(
            into.execute(select(func.count()).select_from(table)).scalar() for table in KEPT.sorted_tables
        ):
            raise InputError(
                "a house is copied into an empty database only",
                got=target.name,
                do="name one that holds nothing",
            )
        with source.reading() as out:
            last = journal.head(out)
            if last is None:
                raise StoreError("there is nothing to copy: the journal is empty", got=source.name)
            # A house of an older revision lacks the tables that were added since.
            there = set(inspect(out).get_table_names())
            for table in (one for one in KEPT.sorted_tables if one.name in there):
                if table is reading:
                    _copy_readings(out, into)
                else:
                    _copy_rows(out, into, table)
        projection.rebuild(into)
        return last

    return target.write(work)


def _copy_rows(out: Connection, into: Connection, table: Table) -> None:
    order = list(table.primary_key.columns)
    rows = out.execute(select(table).order_by(*order), execution_options={"yield_per": _ROWS_AT_ONCE})
    for part in rows.partitions():
        into.execute(table.insert(), [dict(row._mapping) for row in part])


def _copy_readings(out: Connection, into: Connection) -> None:
    for number in out.execute(select(reading.c.series).distinct().order_by(reading.c.series)).scalars().all():
        for first, last in _spans(out, number):
            rows = readings_between(out, number, first, last)
            for batch in sorted({int(one) for one in rows["batch"]}):
                own = rows[rows["batch"] == batch]
                add_readings(into, number, batch, own["at"], own["value"])


def _spans(out: Connection, series: int) -> Iterator[tuple[int, int]]:
    """Spans of time that hold about so many rows each, one after the other, without a gap."""
    own = reading.c.series == series
    first, end = out.execute(select(func.min(reading.c.at), func.max(reading.c.at)).where(own)).one()
    while first <= end:
        beyond = out.execute(
            select(reading.c.at)
            .where(own, reading.c.at > first)
            .order_by(reading.c.at)
            .offset(_READINGS_AT_ONCE)
            .limit(1)
        ).scalar()
        last = end if beyond is None else beyond - 1
        yield first, last
        first = last + 1
