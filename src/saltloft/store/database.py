"""A house's database, a SQLite file or a PostgreSQL URL: reading and writing transactions.

Writing is done by one work at a time. Works that wait for each other share one
commit: one caller leads, runs all that queued up meanwhile, each in a savepoint
of its own, commits once, hands the lead to the first who came since, and gives
every caller of its own group its answer; none of them waits for the next group.
Between processes the database's own lock does the same (BEGIN IMMEDIATE, or an
advisory lock), so `seq` has no gap on either.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from pathlib import Path
from typing import Any, Generic, TypeVar

from sqlalchemy import Connection
from sqlalchemy.exc import DataError, IntegrityError

from saltloft.foundation.errors import SaltloftError, StoreError
from saltloft.store.engines import WRITES, engine_for, is_sound, is_url, shown, told

T = TypeVar("T")

# More would make the first of a group wait too long for its answer.
LARGEST_GROUP = 200


class _Waiting(Generic[T]):
    """One piece of work in the queue; woken with its answer after the commit, or without, to lead."""

    def __init__(self, work: Callable[[Connection], T]) -> None:
        self.work = work
        self.woken = threading.Event()
        self.done = False
        self.answer: T | None = None
        self.error: BaseException | None = None


class Database:
    """A house's database.

    Args:
        where: Path or str. A SQLite file, made when it does not exist, or 'postgresql://…'.

    Raises:
        InputError: a URL that is none, or its driver is not installed.
    """

    def __init__(self, where: Path | str) -> None:
        self.path = None if is_url(where) else Path(where)
        self.name = shown(where)
        self.engine = engine_for(where)
        # Guards the queue and who leads; held for an instant only, never over a transaction.
        self._guard = threading.Lock()
        self._led = False
        self._queue: deque[_Waiting[Any]] = deque()

    @property
    def dialect(self) -> str:
        """'sqlite' or 'postgresql'."""
        return self.engine.dialect.name

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """A connection inside one reading transaction: everything read belongs together.

        Inside another reading of the same call it is the same transaction.
        """
        outer = _OPEN.get()
        if outer is not None and outer[0] is self and not outer[1].closed:
            yield outer[1]
            return
        with told(self.engine, self.name), self.engine.connect() as connection, connection.begin():
            _OPEN.set((self, connection))
            try:
                yield connection
            finally:
                # Not by a token: what reads piece by piece may be ended by another thread.
                _OPEN.set(outer)

    def write(self, work: Callable[[Connection], T]) -> T:
        """Run `work` inside a writing transaction and return its answer after the commit.

        Raises:
            StoreError: when the database cannot take it; and whatever `work` raises, with
                nothing of that work written.
        """
        waiting = _Waiting(work)
        with self._guard:
            self._queue.append(waiting)
            leads, self._led = not self._led, True
        if not leads:
            waiting.woken.wait()
        if not waiting.done:
            self._lead()
        if waiting.error is not None:
            raise waiting.error
        return waiting.answer  # type: ignore[return-value]  # T may itself be None

    def _lead(self) -> None:
        group: list[_Waiting[Any]] = []
        try:
            self._run_group(group)
        finally:
            with self._guard:
                following = self._queue[0] if self._queue else None
                self._led = following is not None
            # First of all: the next commit can begin while the answers of this one go out.
            if following is not None:
                following.woken.set()
            for waiting in group:
                waiting.done = True
                waiting.woken.set()

    def _run_group(self, group: list[_Waiting[Any]]) -> None:
        try:
            with told(self.engine, self.name), self.engine.connect() as raw:
                connection = raw.execution_options(**WRITES)
                with connection.begin():
                    # Taken only now: what queued up while another process wrote shares this commit.
                    while self._queue and len(group) < LARGEST_GROUP:
                        group.append(self._queue.popleft())
                        self._run_one(connection, group[-1])
        except BaseException as error:
            if not group:
                # Not even begun: nobody who waits can be written.
                with self._guard:
                    group.extend(self._queue)
                    self._queue.clear()
            for waiting in group:
                waiting.error = waiting.error or _for_others(error)
            if not isinstance(error, SaltloftError):
                raise

    def _run_one(self, connection: Connection, waiting: _Waiting[Any]) -> None:
        try:
            with connection.begin_nested():
                waiting.answer = waiting.work(connection)
        except IntegrityError as error:
            waiting.error = StoreError("the record contradicts one that is there", got=str(error.orig))
        except DataError as error:
            waiting.error = StoreError("the database cannot hold this", got=str(error.orig), do="mend it")
        except (SaltloftError, ArithmeticError, AttributeError, LookupError, TypeError, ValueError) as error:
            waiting.error = error

    def sound(self) -> bool:
        """Whether every page of the database holds together.

        Raises:
            StoreError: when it cannot even be read.
        """
        with self.reading() as connection:
            return is_sound(connection)

    def close(self) -> None:
        """Close every connection."""
        self.engine.dispose()


# The reading that the running call is inside of. A thread that works for another request has its own.
_OPEN: ContextVar[tuple[Database, Connection] | None] = ContextVar("reading", default=None)


def _for_others(error: BaseException) -> BaseException:
    """What the other callers of a group that failed as a whole are told."""
    if isinstance(error, Exception):
        return error
    return StoreError("the entry was not written: the program was stopped", do="send it again")
