"""Statements that are read as a list, not by subject: checks, documents, confirmations, people, devices."""

from __future__ import annotations

from datetime import datetime
from typing import Generic, TypeVar

from saltloft.plant.stated import Stated, counting
from saltloft.store import journal
from saltloft.store.database import Database
from saltloft.store.moments import to_text
from saltloft.store.stating import stated

T = TypeVar("T")


class Listing(Generic[T]):
    """Every statement of one payload class.

    Args:
        database: Database.
        kinds: tuple of str. The kinds under which the class is journaled.
        sort: type. The payload class.
    """

    def __init__(self, database: Database, kinds: tuple[str, ...], sort: type[T]) -> None:
        self.database = database
        self.kinds = kinds
        self.sort = sort

    def all(
        self,
        asof: datetime | None = None,
        *,
        start: datetime | None = None,
        end: datetime | None = None,
    ) -> list[Stated[T]]:
        """What counts, by when it happened.

        Args:
            asof: datetime or None. Leave out what was recorded later.
            start, end: datetime or None. Only what happened from start to before end.
        """
        with self.database.reading() as connection:
            by_subject = journal.of_kinds(
                connection,
                self.kinds,
                to_text(start) if start else "",
                to_text(end) if end else "9999",
            )
        found = [item for known in by_subject.values() for item in counting(stated(known, asof), self.sort)]
        return sorted(found, key=lambda item: (item.at, item.seq))
