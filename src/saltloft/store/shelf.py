"""What all shelves share: read a subject's statements, keep what was read until the subject changes."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterable, Sequence
from datetime import datetime
from typing import Any, Generic, TypeVar

from sqlalchemy import Connection

from saltloft.foundation.errors import UnknownName
from saltloft.plant.stated import Stated
from saltloft.store import journal
from saltloft.store.database import Database
from saltloft.store.stating import stated

R = TypeVar("R")
_PAST_KEPT = 2000


class Shelf(Generic[R]):
    """Records of one sort, each built from everything stated about one subject.

    Args:
        database: Database.
        sort: str. What one of them is called in errors, such as 'lot'.
        kinds: tuple of str. Entry kinds that bring a record into being.
        build: callable(subject, statements) -> record or None.
    """

    def __init__(
        self,
        database: Database,
        sort: str,
        kinds: tuple[str, ...],
        build: Callable[[str, Sequence[Stated[Any]]], R | None],
    ) -> None:
        self.database = database
        self.sort = sort
        self.kinds = kinds
        self._build = build
        self._kept: dict[str, tuple[int, R | None]] = {}
        self._past: dict[tuple[str, datetime], tuple[int, R | None]] = {}
        self._lock = threading.Lock()

    def get(self, name: str, asof: datetime | None = None) -> R:
        """One record.

        Args:
            name: str.
            asof: datetime or None. As it was known at that moment; None: as known now.

        Raises:
            UnknownName: with the nearest names.
        """
        with self.database.reading() as connection:
            found = self._read(connection, [name], asof)[name]
            if found is None:
                raise UnknownName(self.sort, name, self._names(connection))
            return found

    def find(self, name: str, asof: datetime | None = None) -> R | None:
        """As `get`, but None when there is none of that name."""
        with self.database.reading() as connection:
            return self._read(connection, [name], asof)[name]

    def some(self, names: Iterable[str]) -> list[R]:
        """The records of these names, in their order; without those of which there is none."""
        with self.database.reading() as connection:
            found = self._read(connection, list(dict.fromkeys(names)), None)
        return [record for record in found.values() if record is not None]

    def find_in(self, connection: Connection, name: str) -> R | None:
        """As `find`, inside the caller's writing transaction.

        Nothing is kept from it: what is not committed yet may never be.
        """
        return self._build(name, stated(journal.of_subject(connection, name)))

    def all(self, asof: datetime | None = None) -> list[R]:
        """Every record, by first mention."""
        with self.database.reading() as connection:
            found = self._read(connection, self._names(connection), asof)
        return [record for record in found.values() if record is not None]

    def names(self) -> list[str]:
        """Every name, by first mention."""
        with self.database.reading() as connection:
            return self._names(connection)

    def _names(self, connection: Connection) -> list[str]:
        return journal.subjects_of(connection, self.kinds)

    def _stamps(self, connection: Connection, names: Sequence[str]) -> dict[str, int]:
        """What tells whether a kept record still holds: the seq of the last entry about it."""
        return journal.last_seqs(connection, names)

    def _fresh(
        self, connection: Connection, names: Sequence[str], asof: datetime | None
    ) -> dict[str, R | None]:
        """Records built from the journal."""
        known = journal.of_subjects(connection, names)
        return {name: self._build(name, stated(known[name], asof)) for name in names}

    def _read(
        self, connection: Connection, names: Sequence[str], asof: datetime | None
    ) -> dict[str, R | None]:
        last = self._stamps(connection, names)
        if asof is not None:
            return self._read_past(connection, names, asof, last)
        with self._lock:
            kept = {name: self._kept[name] for name in names if name in self._kept}
        stale = [name for name in names if name not in kept or kept[name][0] != last.get(name, 0)]
        if stale:
            built = self._fresh(connection, stale, None)
            fresh = {name: (last.get(name, 0), built[name]) for name in stale}
            kept.update(fresh)
            with self._lock:
                self._kept.update(fresh)
        return {name: kept[name][1] for name in names}

    def _read_past(
        self, connection: Connection, names: Sequence[str], asof: datetime, last: dict[str, int]
    ) -> dict[str, R | None]:
        """As known at a moment; one question asks for the same moment many times, so the last are kept."""
        with self._lock:
            kept = {name: self._past[name, asof] for name in names if (name, asof) in self._past}
        stale = [name for name in names if name not in kept or kept[name][0] != last.get(name, 0)]
        if stale:
            built = self._fresh(connection, stale, asof)
            fresh = {name: (last.get(name, 0), built[name]) for name in stale}
            kept.update(fresh)
            with self._lock:
                if len(self._past) > _PAST_KEPT:
                    self._past.clear()
                self._past.update({(name, asof): pair for name, pair in fresh.items()})
        return {name: kept[name][1] for name in names}
