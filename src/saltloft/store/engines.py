"""The two databases: how connections are made, transactions begun, and errors said in words.

Everything above speaks SQLAlchemy Core to both. What differs lies here and in
`bulk.py`. A URL is shown without its password everywhere.
"""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import URL, Connection, Engine, create_engine, event, make_url
from sqlalchemy.exc import ArgumentError, DatabaseError, DataError, OperationalError

from saltloft.foundation.errors import InputError, StoreError

SQLITE, POSTGRESQL = "sqlite", "postgresql"
WRITES = {"saltloft_writes": True}
# Seconds a writer waits for the one before it, on both databases.
WAIT_S = 15
ASK_AGAIN_S = 0.001
# Pages in the write-ahead log before it is copied into the database file, which costs an entry two more
# waits for the disk. SQLite's own 1,000 come every few seconds while phones send; 4,000 are 16 MB.
CHECKPOINT_PAGES = 4000
# The one advisory lock of a PostgreSQL database that its writer holds ('salt' as a number).
WRITER_LOCK = 0x73616C74


def is_url(where: Path | str) -> bool:
    """True for a database's URL, false for the path of a file."""
    return isinstance(where, str) and "://" in where


def read_url(text: str) -> URL:
    """A PostgreSQL URL as SQLAlchemy takes it, with the driver named.

    Raises:
        InputError: no URL, or of another database; the words never show the password.
    """
    try:
        url = make_url(text)
    except (ArgumentError, ValueError):
        url = None
    if url is None or url.get_backend_name() not in ("postgresql", "postgres"):
        raise InputError(
            "the database's URL cannot be read",
            got=text.partition("://")[0] + "://…",
            allowed="postgresql://user@host:5432/database",
            do="mend database_url in house.toml or SALTLOFT_DATABASE_URL",
            key="database_url",
        )
    return url.set(drivername="postgresql+psycopg")


def shown(where: Path | str) -> str:
    """A database's name for people, logs and papers: the file's, or the URL without user and password."""
    if not is_url(where):
        return Path(where).name
    url = read_url(str(where))
    host = url.host or str(url.query.get("host", "")) or "localhost"
    return f"postgresql://{host}{f':{url.port}' if url.port else ''}/{url.database or ''}"


def engine_for(where: Path | str) -> Engine:
    """The engine of a database file or URL; every connection is durable in full.

    Raises:
        InputError: a URL that is none, or the driver for it is not installed.
    """
    return _postgresql(read_url(str(where))) if is_url(where) else _sqlite(Path(where))


def _sqlite(path: Path) -> Engine:
    engine = create_engine(f"sqlite:///{path}", pool_size=10, max_overflow=30)

    @event.listens_for(engine, "connect")
    def _settings(connection: sqlite3.Connection, _record: object) -> None:
        # Transactions are begun by us (below), never implicitly by the driver.
        connection.isolation_level = None
        for pragma in (
            "journal_mode=WAL",
            "synchronous=FULL",
            f"wal_autocheckpoint={CHECKPOINT_PAGES}",
            "foreign_keys=ON",
            f"busy_timeout={WAIT_S}000",
        ):
            connection.execute(f"PRAGMA {pragma}").close()

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        if connection.get_execution_options().get("saltloft_writes"):
            _begin_writing(connection)
        else:
            connection.exec_driver_sql("BEGIN")

    return engine


def _begin_writing(connection: Connection) -> None:
    """BEGIN IMMEDIATE, asked for every millisecond while another process writes.

    SQLite's own waiting sleeps up to a tenth of a second at a time: a phone's entry would wait out
    several writes of the worker before it is seen that none is going on.
    """
    driver: Any = connection.connection.driver_connection
    driver.execute("PRAGMA busy_timeout=0").close()
    end = time.monotonic() + WAIT_S
    try:
        while True:
            try:
                driver.execute("BEGIN IMMEDIATE").close()
                return
            except sqlite3.OperationalError as error:
                if "locked" not in str(error) or time.monotonic() > end:
                    raise
                time.sleep(ASK_AGAIN_S)
    finally:
        driver.execute(f"PRAGMA busy_timeout={WAIT_S}000").close()


def _postgresql(url: URL) -> Engine:
    arguments = {"application_name": "saltloft", "connect_timeout": 10}
    try:
        # A connection that a restart of the server cut is noticed before it is used.
        engine = create_engine(
            url,
            pool_size=10,
            max_overflow=30,
            pool_pre_ping=True,
            hide_parameters=True,
            connect_args={name: value for name, value in arguments.items() if name not in url.query},
        )
    except ImportError as error:
        raise InputError(
            "the driver of PostgreSQL is not installed",
            got=str(error.name),
            do="install saltloft[postgresql]",
            key="database_url",
        ) from error

    @event.listens_for(engine, "connect")
    def _settings(connection: Any, _record: object) -> None:
        connection.execute("SET SESSION CHARACTERISTICS AS TRANSACTION ISOLATION LEVEL READ COMMITTED")
        for setting in ("synchronous_commit = on", f"lock_timeout = '{WAIT_S}s'", "timezone = 'UTC'"):
            connection.execute(f"SET {setting}")
        connection.commit()

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        if connection.get_execution_options().get("saltloft_writes"):
            # Held until the transaction ends; each statement after it sees what the writer before left.
            connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({WRITER_LOCK})")
        else:
            connection.exec_driver_sql("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")

    return engine


def durability(connection: Connection) -> tuple[bool, str]:
    """Whether an acknowledged entry is on the disk, and the database's own words for it."""
    if connection.dialect.name == SQLITE:
        level = connection.exec_driver_sql("PRAGMA synchronous").scalar()
        return level == 2, f"synchronous {level}"
    said = {
        name: str(connection.exec_driver_sql(f"SHOW {name}").scalar())
        for name in ("synchronous_commit", "fsync")
    }
    good = said["fsync"] == "on" and said["synchronous_commit"] not in ("off", "local")
    return good, ", ".join(f"{name} {value}" for name, value in said.items())


def is_sound(connection: Connection) -> bool:
    """Whether the pages of a SQLite file hold together; PostgreSQL checks its own as it reads them."""
    return (
        connection.dialect.name != SQLITE
        or connection.exec_driver_sql("PRAGMA quick_check(1)").scalar() == "ok"
    )


@contextmanager
def told(engine: Engine, name: str) -> Iterator[None]:
    """Say what is wrong with the database in words a person can act on."""
    # The driver's own errors come through where readings are moved without SQLAlchemy.
    own: type[Exception] = engine.dialect.loaded_dbapi.Error
    try:
        yield
    except (DatabaseError, own) as error:
        raise _said(engine.dialect.name, name, error) from _without_values(error)


def _without_values(error: Exception) -> Exception:
    # SQLAlchemy repeats the statement and its values; the driver's error alone says why.
    return getattr(error, "orig", None) or error


def _said(dialect: str, name: str, error: Exception) -> StoreError:
    reason = str(_without_values(error)).strip().partition("\n")[0]
    if isinstance(error, DataError):
        return StoreError("the database cannot hold this", got=reason, do="mend the entry and send it again")
    if any(word in reason for word in ("locked", "busy", "lock timeout")):
        return StoreError(
            "another program is writing to the house", got=reason, do="wait a moment and try again"
        )
    if "full" in reason or "No space left" in reason:
        return StoreError(
            "the disk is full: nothing was written", got=reason, do="make room, then send it again"
        )
    if dialect == POSTGRESQL:
        return _said_of_server(name, error, reason)
    if isinstance(error, OperationalError | sqlite3.OperationalError):
        return StoreError(
            f"the database {name} cannot be used", got=reason, do="look at free disk space and rights"
        )
    return StoreError(
        f"the database {name} is damaged or not a database",
        got=reason,
        do="restore the last backup with 'saltloft restore'",
    )


def _said_of_server(name: str, error: Exception, reason: str) -> StoreError:
    state = str(getattr(_without_values(error), "sqlstate", "") or "")
    if state.startswith("XX"):
        return StoreError(
            f"the database {name} is damaged",
            got=reason,
            do="restore the last backup with 'saltloft restore'",
        )
    if state and state[:2] not in ("08", "57", "53", "58"):
        return StoreError(f"the database {name} cannot be used", got=reason, do="look at its log and rights")
    return StoreError(
        f"the database {name} does not answer",
        got=reason,
        do="start PostgreSQL; then send it again: what was stored already is not stored twice",
    )
