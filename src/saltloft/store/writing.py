"""The one way into the journal: append, and bring the reading tables up, in one transaction."""

from __future__ import annotations

from collections.abc import Sequence

from sqlalchemy import Connection

from saltloft.store import journal, projection
from saltloft.store.journal import Entry, NewEntry


def append(
    connection: Connection, entries: Sequence[NewEntry], *, after: tuple[int, str] | None = None
) -> list[Entry]:
    """Append checked entries and update the reading tables.

    Args:
        after: (int, str) or None. As `journal.append` takes it.

    Raises:
        StoreError: same id with other bytes, or a clash with what its author had seen.
    """
    if not entries:
        return []
    stored, written = journal.append(connection, entries, after=after)
    projection.update(connection, written)
    return stored
