"""Looking through the journal: by subject or words, kind, person, device and day, newest first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, Select, Text, cast, func, or_, select

from saltloft.plant.readings import Corrected
from saltloft.plant.stated import Stated
from saltloft.store.database import Database
from saltloft.store.journal import CORRECTION, Entry, as_entry
from saltloft.store.moments import to_text
from saltloft.store.stating import payload_of, stated
from saltloft.store.tables import journal

# One look goes through this many entries at most, so that a page stays quick in a long journal.
SPAN = 50_000


@dataclass(frozen=True)
class Wanted:
    """What is looked for; empty fields ask nothing.

    Args:
        words: str. A lot, tag, number or word: in the subject or anywhere in what was stated.
        kind: str. Without its version, such as 'piece.weighed'.
        person, device: str.
        start, end: datetime or None. Recorded from start to before end.
    """

    words: str = ""
    kind: str = ""
    person: str = ""
    device: str = ""
    start: datetime | None = None
    end: datetime | None = None


@dataclass(frozen=True)
class Page:
    """One look.

    Args:
        entries: tuple of (Entry, Stated or None). Newest first; a correction has no Stated of its own.
        back_to: int. The look went back to this seq; the next one begins before it. 0: nothing is left.
    """

    entries: tuple[tuple[Entry, Stated[Any] | None], ...]
    back_to: int


class Records:
    """Reads the journal as a list."""

    def __init__(self, database: Database) -> None:
        self.database = database

    def look(self, wanted: Wanted, before: int, limit: int) -> Page:
        """The newest entries that fit, before a seq.

        Args:
            wanted: Wanted.
            before: int. 0: from the end.
            limit: int.
        """
        with self.database.reading() as connection:
            last = connection.execute(select(func.max(journal.c.seq))).scalar() or 0
            top = min(before or last + 1, last + 1)
            floor = max(top - SPAN, 1)
            query = self._query(wanted).where(journal.c.seq < top, journal.c.seq >= floor)
            rows = connection.execute(query.order_by(journal.c.seq.desc()).limit(limit))
            found = [as_entry(row) for row in rows]
            known = {item.entry_id: item for item in stated(self._with_corrections(connection, found))}
        full = len(found) == limit
        back_to = found[-1].seq if full else floor
        return Page(tuple((entry, known.get(entry.id)) for entry in found), back_to if back_to > 1 else 0)

    def kinds(self) -> list[str]:
        """Every kind that was ever stated, without its version."""
        with self.database.reading() as connection:
            found = connection.execute(select(journal.c.kind).distinct()).scalars()
            return sorted({kind.partition("/")[0] for kind in found})

    def _query(self, wanted: Wanted) -> Select[Any]:
        query = select(journal)
        if wanted.words:
            query = query.where(
                or_(journal.c.subject == wanted.words, self._body().contains(wanted.words, autoescape=True))
            )
        if wanted.kind:
            query = query.where(journal.c.kind.startswith(f"{wanted.kind}/", autoescape=True))
        if wanted.person:
            query = query.where(journal.c.person == wanted.person)
        if wanted.device:
            query = query.where(journal.c.device == wanted.device)
        if wanted.start is not None:
            query = query.where(journal.c.recorded_at >= to_text(wanted.start))
        if wanted.end is not None:
            query = query.where(journal.c.recorded_at < to_text(wanted.end))
        return query

    def _body(self) -> Any:
        """The stated bytes as text, in either database's way."""
        if self.database.engine.dialect.name == "postgresql":
            return func.convert_from(journal.c.body, "UTF8")
        return cast(journal.c.body, Text)

    @staticmethod
    def _with_corrections(connection: Connection, found: Sequence[Entry]) -> list[Entry]:
        subjects = list({entry.subject for entry in found})
        rows = connection.execute(
            select(journal)
            .where(journal.c.kind == CORRECTION, journal.c.subject.in_(subjects))
            .order_by(journal.c.seq)
        )
        kept = {entry.seq: entry for entry in found}
        ids = {entry.id for entry in found}
        for row in rows:
            entry = as_entry(row)
            said: Corrected = payload_of(entry)
            if said.entry in ids:
                kept[entry.seq] = entry
        return [kept[seq] for seq in sorted(kept)]
