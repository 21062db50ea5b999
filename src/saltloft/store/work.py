"""Work items for the worker: what has to be computed again, in order, each at least once."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import Connection, func, or_, select, update

from saltloft.store.database import Database
from saltloft.store.moments import to_text
from saltloft.store.tables import work_item

# An item taken longer ago than this belonged to a worker that died.
TAKEN_FOR = timedelta(minutes=10)
MOST_TRIES = 3


@dataclass(frozen=True)
class WorkItem:
    """One thing to compute.

    Args:
        number: int.
        sort: str. Such as 'forecast'.
        subject: str.
        body: mapping of str to str.
        tries: int. How often it was taken, this time included.
    """

    number: int
    sort: str
    subject: str
    body: Mapping[str, str]
    tries: int


class Work:
    """The queue in the database; items are idempotent, so one that was lost is simply taken again."""

    def __init__(self, database: Database) -> None:
        self.database = database

    def add(self, sort: str, subject: str, now: datetime, body: Mapping[str, str] | None = None) -> int:
        """Queue an item; one that waits already for the same thing stands for both.

        Returns:
            int. The item's number.
        """
        text = json.dumps(dict(body or {}), sort_keys=True)
        return self.database.write(lambda connection: _add(connection, sort, subject, now, text))

    def add_all(self, items: Sequence[tuple[str, str]], now: datetime) -> None:
        """Queue several items, (sort, subject) each, in one commit: phones wait for each of the worker."""
        if items:
            self.database.write(
                lambda connection: [_add(connection, sort, subject, now, "{}") for sort, subject in items]
            )

    def take(self, now: datetime) -> WorkItem | None:
        """The oldest item that waits, or that a dead worker left; None when there is nothing to do."""
        stale = to_text(now - TAKEN_FOR)
        ready = or_(
            work_item.c.state == "waiting",
            (work_item.c.state == "running") & (work_item.c.taken_at < stale),
        )

        def work(connection: Connection) -> WorkItem | None:
            connection.execute(
                update(work_item)
                .where(ready, work_item.c.tries >= MOST_TRIES)
                .values(state="failed", ended_at=to_text(now), words="given up after three tries")
            )
            row = connection.execute(
                select(work_item).where(ready).order_by(work_item.c.number).limit(1)
            ).first()
            if row is None:
                return None
            connection.execute(
                update(work_item)
                .where(work_item.c.number == row.number)
                .values(state="running", taken_at=to_text(now), tries=row.tries + 1)
            )
            return WorkItem(row.number, row.sort, row.subject, json.loads(row.body), row.tries + 1)

        with self.database.reading() as connection:
            if connection.execute(select(work_item.c.number).where(ready).limit(1)).first() is None:
                return None
        return self.database.write(work)

    def done(self, number: int, now: datetime) -> None:
        """The item is finished."""
        self._end(number, "done", now, "")

    def fail(self, number: int, now: datetime, words: str) -> None:
        """The item cannot be done; `words` say why and stay with it."""
        self._end(number, "failed", now, words)

    def release(self, number: int) -> None:
        """Put a taken item back, to be taken again."""
        self.database.write(
            lambda connection: connection.execute(
                update(work_item).where(work_item.c.number == number).values(state="waiting")
            )
        )

    def recover(self) -> int:
        """Put back everything that runs; for the start of the one worker a house has.

        Returns:
            int. How many items a worker that died had left.
        """

        def work(connection: Connection) -> int:
            left = update(work_item).where(work_item.c.state == "running").values(state="waiting")
            return int(connection.execute(left).rowcount)

        return self.database.write(work)

    def open_for(self, sort: str, subject: str) -> bool:
        """True while an item for this waits or runs ('being recomputed')."""
        with self.database.reading() as connection:
            found = connection.execute(
                select(work_item.c.number)
                .where(work_item.c.sort == sort, work_item.c.subject == subject)
                .where(work_item.c.state.in_(("waiting", "running")))
                .limit(1)
            ).first()
        return found is not None

    def counts(self) -> dict[str, int]:
        """How many items are in each state."""
        with self.database.reading() as connection:
            counts = select(work_item.c.state, func.count().label("items")).group_by(work_item.c.state)
            return {row.state: row.items for row in connection.execute(counts)}

    def _end(self, number: int, state: str, now: datetime, words: str) -> None:
        self.database.write(
            lambda connection: connection.execute(
                update(work_item)
                .where(work_item.c.number == number)
                .values(state=state, ended_at=to_text(now), words=words)
            )
        )


def _add(connection: Connection, sort: str, subject: str, now: datetime, body: str) -> int:
    waiting = connection.execute(
        select(work_item.c.number)
        .where(work_item.c.state == "waiting", work_item.c.sort == sort)
        .where(work_item.c.subject == subject, work_item.c.body == body)
    ).scalar()
    if waiting is not None:
        return int(waiting)
    number = int(connection.execute(select(func.max(work_item.c.number))).scalar() or 0) + 1
    connection.execute(
        work_item.insert().values(
            number=number, sort=sort, subject=subject, body=body, state="waiting", made_at=to_text(now)
        )
    )
    return number
