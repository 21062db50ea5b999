"""The one way into the journal: append, and bring the reading tables up, in one transaction."""

from __future__ import annotations

from collections.abc import Sequence

from sqlalchemy import Connection

from saltloft.store import journal, projection
from saltloft.store.journal import Entry, NewEntry


def append(connection: Connection, entries: Sequence[NewEntry], *, fresh: bool = False) -> list[Entry]:
    """Append checked entries and update the reading tables.

    Args:
        fresh: bool. True when the caller looked in this transaction and found none of their ids.

    Raises:
        StoreError: same id with other bytes, or a clash with what its author had seen.
    """
    if not entries:
        return []
    stored, written = journal.append(connection, entries, fresh=fresh)
    projection.update(connection, written)
    return stored
