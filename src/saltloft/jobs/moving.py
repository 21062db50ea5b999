"""Bringing a house up to a newer program, and carrying it from one database to another."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from saltloft.foundation.errors import InputError, StoreError
from saltloft.plant.answers import JournalHead
from saltloft.store import migrate, projection
from saltloft.store.backup import BackupDone, backup
from saltloft.store.copying import copy_into
from saltloft.store.database import Database
from saltloft.store.engines import is_url, shown
from saltloft.store.settings import read_settings, set_place
from saltloft.store.verify import Verification, verify


@dataclass(frozen=True)
class Upgraded:
    """What an upgrade did.

    Args:
        before, after: str. Revisions of the kept tables.
        backup: BackupDone or None. None when there was nothing to do.
        entries: int. Entries verified afterwards.
        head: JournalHead.
    """

    before: str
    after: str
    backup: BackupDone | None
    entries: int
    head: JournalHead


@dataclass(frozen=True)
class Moved:
    """What carrying a house did.

    Args:
        before, after: str. The databases, as shown to people.
        entries: int. Entries verified on either side.
        batches: int. Sealed batches of readings verified on either side.
        head: JournalHead. The same on both.
    """

    before: str
    after: str
    entries: int
    batches: int
    head: JournalHead


def upgrade(folder: Path, environment: Mapping[str, str], now: datetime) -> Upgraded:
    """Back a house up, migrate its kept tables, build the others anew, and verify.

    Args:
        folder: Path. Of the house.
        environment: mapping of str to str.
        now: datetime, aware.

    Raises:
        InputError: no house there.
        StoreError: written by a newer program (nothing is changed); the chain is not whole.
    """
    settings = read_settings(folder, environment)
    database = Database(settings.place(folder))
    try:
        with database.reading() as connection:
            before = migrate.revision_of(connection)
        after = migrate.REVISIONS[-1]
        packed = None
        if before in migrate.REVISIONS[:-1]:
            packed = backup(database, folder, settings.backups(folder), now)
        if migrate.bring_up(database, upgrade=True) or packed is not None:
            database.write(projection.rebuild)
        found = _whole(database)
    finally:
        database.close()
    return Upgraded(before, after, packed, found.entries, _head(found))


def move_house(folder: Path, to: str, environment: Mapping[str, str]) -> Moved:
    """Copy a house's database into an empty other one, verify both, and let the house open there.

    The house must not be served meanwhile: what is entered while it moves stays behind, and is
    then refused here. The old database is left as it was.

    Args:
        folder: Path. Of the house.
        to: str. 'postgresql://…', or the name of a SQLite file in the house folder.
        environment: mapping of str to str.

    Raises:
        InputError: it is there already, or the target is not empty.
        StoreError: a side is not whole, or they do not end in the same hash.
    """
    if "SALTLOFT_DATABASE_URL" in environment or "SALTLOFT_DATABASE" in environment:
        raise InputError(
            "the environment says where the database is, and would go on saying so",
            got="SALTLOFT_DATABASE_URL or SALTLOFT_DATABASE",
            do="take it out of the environment; house.toml will name the new place",
        )
    place: Path | str = read_settings(folder, environment).place(folder)
    target: Path | str = to if is_url(to) else folder / to
    if str(place) == str(target):
        raise InputError("the house is there already", got=shown(target), key="to")
    source, other = Database(place), Database(target)
    try:
        before = _whole(source)
        head = copy_into(source, other)
        after = _whole(other)
        again = _whole(source)
    finally:
        source.close()
        other.close()
    if not _head(before) == _head(again) == head == _head(after):
        raise StoreError(
            "the two sides do not end alike: something was entered while the house moved",
            got=f"{_head(again).seq} and {_head(after).seq}",
            do="stop 'saltloft serve', empty the new database, and move again; the house opens where it was",
        )
    set_place(folder, to)
    return Moved(shown(place), shown(target), after.entries, after.readings_checked, head)


def _whole(database: Database) -> Verification:
    found = verify(database)
    if not found.whole:
        raise StoreError(
            f"the journal in {database.name} is not whole",
            got=found.faults[0].words,
            do="run 'saltloft verify', and restore the last backup",
        )
    return found


def _head(found: Verification) -> JournalHead:
    if found.head is None:
        raise StoreError("the journal is empty")
    return found.head
