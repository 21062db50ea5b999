"""Bring a database to the tables this program knows, or refuse it."""

from __future__ import annotations

from importlib.resources import files

from sqlalchemy import Connection, inspect, text

from saltloft.foundation.errors import StoreError
from saltloft.store.database import Database
from saltloft.store.engines import POSTGRESQL
from saltloft.store.tables import BUILT, BUILT_VERSION, KEPT, SCRATCH, built

# Every revision ever released, oldest first; the last is what this program writes.
REVISIONS = ("0001", "0002", "0003", "0004")


def revision_of(connection: Connection) -> str:
    """The revision of the kept tables; empty for an empty database.

    Raises:
        StoreError: when the tables there are of something else.
    """
    tables = inspect(connection).get_table_names()
    if "alembic_version" in tables:
        return str(connection.execute(text("SELECT version_num FROM alembic_version")).scalar() or "")
    if tables:
        raise StoreError("the database is not a Saltloft house", got=", ".join(sorted(tables)[:5]))
    return ""


def bring_up(database: Database, *, upgrade: bool = False) -> bool:
    """Make the kept tables in an empty database; migrate older ones when told so, refuse newer ones.

    Args:
        upgrade: bool. False refuses an older database: 'saltloft upgrade' backs it up first.

    Returns:
        bool. True when the reading tables are missing or of another version and must be rebuilt.

    Raises:
        StoreError: for a database written by a newer program, or by an older one without `upgrade`.
    """
    with database.reading() as connection:
        revision = revision_of(connection)
    if revision and revision not in REVISIONS:
        raise StoreError(
            "the house was written by a newer Saltloft",
            got=f"revision {revision}",
            allowed=f"up to {REVISIONS[-1]}",
            do="install the newer program; this one changed nothing",
        )
    if revision and revision != REVISIONS[-1] and not upgrade:
        raise StoreError(
            "the house was written by an older Saltloft",
            got=f"revision {revision}",
            allowed=REVISIONS[-1],
            do="run 'saltloft upgrade': it makes a backup first",
        )
    if revision != REVISIONS[-1]:
        database.write(_upgrade)
    return not _built_fits(database)


def _upgrade(connection: Connection) -> None:
    # Alembic takes a third of a second to import; most starts need nothing of it.
    from alembic import command  # noqa: PLC0415
    from alembic.config import Config  # noqa: PLC0415

    config = Config()
    folder = str(files("saltloft.store") / "migrations")
    config.set_main_option("script_location", folder.replace("%", "%%"))
    config.attributes["connection"] = connection
    command.upgrade(config, "head")


def _built_fits(database: Database) -> bool:
    with database.reading() as connection:
        if not inspect(connection).has_table("built"):
            return False
        return connection.execute(built.select()).scalars().all() == [BUILT_VERSION]


def make_empty_built(connection: Connection) -> None:
    """Drop and make anew every table that is built from the journal; keep scratch tables."""
    BUILT.drop_all(connection)
    BUILT.create_all(connection)
    SCRATCH.create_all(connection)
    connection.execute(built.insert().values(version=BUILT_VERSION))


def drop_everything(connection: Connection) -> None:
    """Drop every table of this program; for a house that could not be made."""
    for tables in (SCRATCH, BUILT, KEPT):
        tables.drop_all(connection)
    connection.execute(text("DROP TABLE IF EXISTS alembic_version"))
    if connection.dialect.name == POSTGRESQL:
        connection.execute(text("DROP FUNCTION IF EXISTS never_changed()"))
