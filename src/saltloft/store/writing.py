"""The one way into the journal: append, and bring the reading tables up, in one transaction."""

from __future__ import annotations

from collections.abc import Sequence

from sqlalchemy import Connection

from saltloft.store import journal, projection
from saltloft.store.journal import Entry, NewEntry


def append(connection: Connection, entries: Sequence[NewEntry]) -> list[Entry]:
    """Append checked entries and update the reading tables.

    Raises:
        StoreError: same id with other bytes, or a clash with what its author had seen.
    """
    before = journal.head(connection)
    first = before.seq if before else 0
    stored = journal.append(connection, entries)
    projection.update(connection, [entry for entry in stored if entry.seq > first])
    return stored
