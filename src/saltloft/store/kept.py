"""Kept results: computed once, found again by the digest of everything they rest on; no record."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection, delete, select

from saltloft.store.database import Database
from saltloft.store.moments import from_text, to_text
from saltloft.store.tables import kept_result

# Older results of the same sort and subject than these are dropped: pages show the last one only.
KEEP_OF_EACH = 3


@dataclass(frozen=True)
class KeptResult:
    """A result as it was kept.

    Args:
        key: str. Digest of what it rests on.
        sort: str. Such as 'forecast' or 'chart'.
        subject: str.
        made_at: datetime, aware.
        body: bytes.
    """

    key: str
    sort: str
    subject: str
    made_at: datetime
    body: bytes


class Kept:
    """The shelf of kept results."""

    def __init__(self, database: Database) -> None:
        self.database = database

    def get(self, key: str) -> KeptResult | None:
        """The result under a key; None when it is not kept."""
        with self.database.reading() as connection:
            row = connection.execute(select(kept_result).where(kept_result.c.key == key)).first()
        return KeptResult(row.key, row.sort, row.subject, from_text(row.made_at), row.body) if row else None

    def latest(self, sort: str, subject: str) -> KeptResult | None:
        """The newest result of a sort about a subject, whatever it rested on; None when there is none."""
        with self.database.reading() as connection:
            row = connection.execute(
                select(kept_result)
                .where(kept_result.c.sort == sort, kept_result.c.subject == subject)
                .order_by(kept_result.c.made_at.desc())
                .limit(1)
            ).first()
        return KeptResult(row.key, row.sort, row.subject, from_text(row.made_at), row.body) if row else None

    def put(self, result: KeptResult) -> None:
        """Keep a result; the oldest of the same sort and subject go."""

        def work(connection: Connection) -> None:
            connection.execute(delete(kept_result).where(kept_result.c.key == result.key))
            connection.execute(
                kept_result.insert().values(
                    key=result.key,
                    sort=result.sort,
                    subject=result.subject,
                    made_at=to_text(result.made_at),
                    body=result.body,
                )
            )
            newest = (
                select(kept_result.c.key)
                .where(kept_result.c.sort == result.sort, kept_result.c.subject == result.subject)
                .order_by(kept_result.c.made_at.desc())
                .limit(KEEP_OF_EACH)
            )
            connection.execute(
                delete(kept_result)
                .where(kept_result.c.sort == result.sort, kept_result.c.subject == result.subject)
                .where(kept_result.c.key.not_in(newest))
            )

        self.database.write(work)

    def drop_all(self) -> None:
        """Forget every kept result."""
        self.database.write(lambda connection: connection.execute(delete(kept_result)))
