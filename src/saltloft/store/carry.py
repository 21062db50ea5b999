"""A house carried as plain lines: journal entries as stored, batches in their order, names when asked."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from sqlalchemy import Connection, select

from saltloft.foundation.errors import StoreError
from saltloft.store import journal
from saltloft.store.bulk import Times, Values
from saltloft.store.database import Database
from saltloft.store.journal import NO_HASH, Entry, entry_hash
from saltloft.store.readings import put_batch, rows_of_number
from saltloft.store.tables import batch_number, contact
from saltloft.store.tables import journal as journal_table

_AT_ONCE = 1000


@dataclass(frozen=True)
class Contact:
    """Name and address behind the id of a customer or supplier."""

    contact: str
    role: str
    name: str
    address: str


def entries(database: Database) -> Iterator[Entry]:
    """Every entry as stored, by seq."""
    with database.reading() as connection:
        yield from journal.walk(connection)


def put_entries(connection: Connection, found: Iterable[Entry]) -> int:
    """Put entries into an empty journal as they were, after proving that they are one whole chain.

    Returns:
        int. How many.

    Raises:
        StoreError: the journal is not empty, or an entry is not the next of its chain.
    """
    if journal.head(connection) is not None:
        raise StoreError("a house is imported into an empty one only", do="make an empty folder")
    previous, seq, waiting = NO_HASH, 0, []
    for entry in found:
        seq += 1
        if (entry.seq, entry.previous_hash, entry.hash) != (seq, previous, entry_hash(entry)):
            raise StoreError(
                "the lines are not a whole chain",
                got=f"entry {entry.seq} of {entry.recorded_at}",
                do="export the house again; nothing was imported",
            )
        previous = entry.hash
        waiting.append(vars_of(entry))
        if len(waiting) >= _AT_ONCE:
            connection.execute(journal_table.insert(), waiting)
            waiting = []
    if waiting:
        connection.execute(journal_table.insert(), waiting)
    return seq


def vars_of(entry: Entry) -> dict[str, object]:
    """An entry as the columns of its table."""
    return {column.name: getattr(entry, column.name) for column in journal_table.columns}


def batches(database: Database) -> Iterator[tuple[str, dict[str, tuple[Times, Values]]]]:
    """Every batch of readings with its rows by series, in the order in which they came."""
    with database.reading() as connection:
        known = list(connection.execute(select(batch_number).order_by(batch_number.c.number)))
        for row in known:
            yield row.batch, rows_of_number(connection, row.number, None)


def put_batches(connection: Connection, found: Iterable[tuple[str, dict[str, tuple[Times, Values]]]]) -> int:
    """Put batches back in the same order.

    Returns:
        int. How many.
    """
    count = 0
    for batch, columns in found:
        put_batch(connection, batch, columns)
        count += 1
    return count


def contacts(database: Database) -> list[Contact]:
    """Names and addresses of customers and suppliers."""
    with database.reading() as connection:
        rows = connection.execute(select(contact).order_by(contact.c.contact))
        return [Contact(row.contact, row.role, row.name, row.address) for row in rows]
