"""When the house was last looked after: backup, restore drill, head sent out, worker seen; one row each."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection, delete, select

from saltloft.store.database import Database
from saltloft.store.moments import from_text, to_text
from saltloft.store.tables import upkeep

BACKUP, DRILL, HEAD, WORKER, LIVE = "backup", "drill", "head", "worker", "live"


@dataclass(frozen=True)
class Looked:
    """The last time something was done.

    Args:
        at: datetime, aware.
        good: bool. Whether it went well.
        words: str. What was done, or why it failed.
    """

    at: datetime
    good: bool
    words: str


class Upkeep:
    """The record of looking after the house."""

    def __init__(self, database: Database) -> None:
        self.database = database

    def note(self, sort: str, at: datetime, words: str, *, good: bool = True) -> None:
        """Something was done, in place of the last time.

        Args:
            sort: str. BACKUP, DRILL, HEAD, WORKER or LIVE.
            at: datetime, aware.
            words: str.
            good: bool.
        """

        def work(connection: Connection) -> None:
            connection.execute(delete(upkeep).where(upkeep.c.sort == sort))
            connection.execute(upkeep.insert().values(sort=sort, at=to_text(at), good=int(good), words=words))

        self.database.write(work)

    def last(self, sort: str) -> Looked | None:
        """The last time it was done; None when it never was."""
        with self.database.reading() as connection:
            row = connection.execute(select(upkeep).where(upkeep.c.sort == sort)).first()
        return Looked(from_text(row.at), bool(row.good), row.words) if row else None
