"""Writers that wait for each other share commits: who is answered when, and what if none can be."""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from sqlalchemy import Connection, event, text

from saltloft.foundation.errors import StoreError
from saltloft.store import engines
from saltloft.store.database import Database

PATIENCE_S = 20.0


@pytest.fixture
def numbers(tmp_path: Path) -> Iterator[Database]:
    """A database with one table of numbers."""
    database = Database(tmp_path / "numbers.db")
    database.write(lambda connection: connection.execute(text("CREATE TABLE written (number INTEGER)")))
    yield database
    database.close()


def put(number: int) -> Callable[[Connection], int]:
    """A work that writes a number."""

    def work(connection: Connection) -> int:
        connection.execute(text("INSERT INTO written VALUES (:number)"), {"number": number})
        return number

    return work


def written(database: Database) -> list[int]:
    """The numbers on the disk."""
    with database.reading() as connection:
        return list(connection.execute(text("SELECT number FROM written ORDER BY number")).scalars())


def waiting(database: Database, count: int) -> bool:
    """True once so many works wait in the queue; false after patience ends."""
    pause = threading.Event()
    return any(len(database._queue) >= count or pause.wait(0.005) for _ in range(int(PATIENCE_S / 0.005)))


def test_nobody_waits_for_the_commit_after_his_own(numbers: Database) -> None:
    """While the next group is being written, every caller of the one before has his answer."""
    commits: list[int] = []
    answered = threading.Event()

    def first(connection: Connection) -> int:
        # The group is closed by its second work only, so both share one commit.
        assert waiting(numbers, 1)
        return put(1)(connection)

    def third(connection: Connection) -> bool:
        return answered.wait(PATIENCE_S)

    with ThreadPoolExecutor(3) as threads:
        later = []

        def before_commit(_connection: Connection) -> None:
            commits.append(len(commits))
            if len(commits) == 1:
                later.append(threads.submit(numbers.write, third))
                assert waiting(numbers, 1)

        event.listen(numbers.engine, "commit", before_commit)
        both = [threads.submit(numbers.write, first)]
        both.append(threads.submit(numbers.write, put(2)))
        assert sorted(one.result(PATIENCE_S) for one in both) == [1, 2]
        answered.set()
        assert later[0].result(PATIENCE_S)
    assert len(commits) == 2
    assert written(numbers) == [1, 2]


def test_many_writers_lose_and_double_nothing(numbers: Database) -> None:
    """Twenty threads, 400 works, one in ten refused: what was answered is there, once, and nothing else."""

    def one(number: int) -> int:
        def work(connection: Connection) -> int:
            put(number)(connection)
            if number % 10 == 0:
                raise ValueError(f"not {number}")
            return number

        try:
            return numbers.write(work)
        except ValueError as error:
            return -1 if str(error) == f"not {number}" else number

    with ThreadPoolExecutor(20) as threads:
        answered = [number for number in threads.map(one, range(400)) if number >= 0]
    assert written(numbers) == sorted(answered)
    assert len(answered) == 360


def test_everybody_who_waited_is_told_when_the_database_is_held(
    numbers: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Another program keeps the write lock: no caller hangs, nothing is written; the next one is served."""
    monkeypatch.setattr(engines, "WAIT_S", 0)
    other = sqlite3.connect(numbers.path or "", isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    with ThreadPoolExecutor(6) as threads:
        told = [threads.submit(numbers.write, put(number)) for number in range(6)]
        for one in told:
            with pytest.raises(StoreError, match="another program is writing"):
                one.result(PATIENCE_S)
    other.execute("ROLLBACK")
    other.close()
    assert written(numbers) == []
    assert numbers.write(put(7)) == 7
    assert written(numbers) == [7]


def test_the_log_is_copied_back_every_so_many_pages(numbers: Database) -> None:
    """The write-ahead log does not grow without end: after many commits it is near the set size.

    SQLite, 'Write-Ahead Logging': a checkpoint runs at the commit that makes the log that long,
    and the next writer begins the log anew.
    """
    page = 4096
    for number in range(60):
        content = f"no. {number:05d}" * 100_000
        numbers.write(
            lambda connection, content=content: connection.execute(
                text("INSERT INTO written VALUES (:content)"), {"content": content}
            )
        )
    assert numbers.path is not None
    log = numbers.path.with_name(numbers.path.name + "-wal")
    assert log.stat().st_size < (engines.CHECKPOINT_PAGES + 1000) * page
    assert numbers.path.stat().st_size > engines.CHECKPOINT_PAGES * page / 2
