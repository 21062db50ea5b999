"""One SQLite file: how connections are opened, how reading and writing transactions begin.

Writing is done by one work at a time. Works that wait for each other share one
commit: whoever holds the lock runs all that queued up meanwhile, each in a
savepoint of its own, commits once, and only then hands every caller its answer.
"""

from __future__ import annotations

import sqlite3
import threading
from collections import deque
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Generic, TypeVar

from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.exc import DatabaseError, IntegrityError, OperationalError

from saltloft.foundation.errors import SaltloftError, StoreError

T = TypeVar("T")

WRITES = {"saltloft_writes": True}

# More would make the first of a group wait too long for its answer.
LARGEST_GROUP = 200


class _Waiting(Generic[T]):
    """One piece of work in the queue and, after the commit, its answer."""

    def __init__(self, work: Callable[[Connection], T]) -> None:
        self.work = work
        self.done = False
        self.answer: T | None = None
        self.error: BaseException | None = None


class Database:
    """A house's database file.

    Args:
        path: Path. The file; made when it does not exist.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self.engine = _engine(path)
        self._lock = threading.Lock()
        self._queue: deque[_Waiting[Any]] = deque()

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """A connection inside one reading transaction: everything read belongs together."""
        with _told(self.path), self.engine.connect() as connection, connection.begin():
            yield connection

    def write(self, work: Callable[[Connection], T]) -> T:
        """Run `work` inside a writing transaction and return its answer after the commit.

        Raises:
            StoreError: when the database cannot take it; and whatever `work` raises, with
                nothing of that work written.
        """
        waiting = _Waiting(work)
        self._queue.append(waiting)
        with self._lock:
            if not waiting.done:
                self._run_queue()
        if waiting.error is not None:
            raise waiting.error
        return waiting.answer  # type: ignore[return-value]  # T may itself be None

    def _run_queue(self) -> None:
        group: list[_Waiting[Any]] = []
        try:
            with _told(self.path), self.engine.connect() as raw:
                connection = raw.execution_options(**WRITES)
                with connection.begin():
                    # Taken only now: what queued up while another process wrote shares this commit.
                    while self._queue and len(group) < LARGEST_GROUP:
                        group.append(self._queue.popleft())
                        self._run_one(connection, group[-1])
        except BaseException as error:
            for waiting in group or self._drain():
                waiting.error = waiting.error or _for_others(error)
            if not isinstance(error, SaltloftError):
                raise
        finally:
            for waiting in group:
                waiting.done = True

    def _run_one(self, connection: Connection, waiting: _Waiting[Any]) -> None:
        try:
            with connection.begin_nested():
                waiting.answer = waiting.work(connection)
        except IntegrityError as error:
            waiting.error = StoreError("the record contradicts one that is there", got=str(error.orig))
        except (SaltloftError, ArithmeticError, AttributeError, LookupError, TypeError, ValueError) as error:
            waiting.error = error

    def _drain(self) -> list[_Waiting[Any]]:
        waiting = list(self._queue)
        self._queue.clear()
        for item in waiting:
            item.done = True
        return waiting

    def close(self) -> None:
        """Close every connection."""
        self.engine.dispose()


def _for_others(error: BaseException) -> BaseException:
    """What the other callers of a group that failed as a whole are told."""
    if isinstance(error, Exception):
        return error
    return StoreError("the entry was not written: the program was stopped", do="send it again")


def _engine(path: Path) -> Engine:
    engine = create_engine(f"sqlite:///{path}", pool_size=10, max_overflow=30)

    @event.listens_for(engine, "connect")
    def _settings(connection: sqlite3.Connection, _record: object) -> None:
        # Transactions are begun by us (below), never implicitly by the driver.
        connection.isolation_level = None
        for pragma in ("journal_mode=WAL", "synchronous=FULL", "foreign_keys=ON", "busy_timeout=15000"):
            connection.execute(f"PRAGMA {pragma}").close()

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        writes = connection.get_execution_options().get("saltloft_writes")
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    return engine


@contextmanager
def _told(path: Path) -> Iterator[None]:
    """Say what is wrong with the file in words a person can act on."""
    try:
        yield
    except OperationalError as error:
        reason = str(error.orig)
        if "locked" in reason or "busy" in reason:
            raise StoreError(
                "another program is writing to the house", got=reason, do="wait a moment and try again"
            ) from error
        raise StoreError(
            f"the database {path.name} cannot be used", got=reason, do="look at free disk space and rights"
        ) from error
    except (DatabaseError, sqlite3.DatabaseError) as error:
        # The driver's own error comes through where readings are fetched without SQLAlchemy.
        raise StoreError(
            f"the database {path.name} is damaged or not a database",
            got=str(getattr(error, "orig", error)),
            do="restore the last backup with 'saltloft restore'",
        ) from error
