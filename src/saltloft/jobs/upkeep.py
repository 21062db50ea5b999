"""Looking after the house by itself: when backups are due, which may go, and whether the newest restores."""

from __future__ import annotations

import tempfile
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Protocol
from zoneinfo import ZoneInfo

from saltloft.foundation.errors import SaltloftError, StoreError
from saltloft.store import backup as packing
from saltloft.store import projection
from saltloft.store.backup import BackupDone
from saltloft.store.open import Store
from saltloft.store.retention import backups_in, outdated
from saltloft.store.settings import HouseSettings
from saltloft.store.upkeep import BACKUP, DRILL, WORKER

# A failed one is tried again after this long.
AGAIN = timedelta(hours=1)


class KeptHouse(Protocol):
    """The part of an opened house that looking after it needs."""

    @property
    def store(self) -> Store: ...

    @property
    def settings(self) -> HouseSettings: ...

    @property
    def folder(self) -> Path: ...

    @property
    def zone(self) -> ZoneInfo: ...

    @property
    def demo(self) -> bool: ...

    def now(self) -> datetime: ...


def drop_outdated(house: KeptHouse) -> list[Path]:
    """Delete the backups the house's rule does not keep.

    Returns:
        list of Path. What is gone.
    """
    settings = house.settings
    gone = outdated(
        backups_in(settings.backups(house.folder)),
        house.zone,
        daily=settings.number("keep_daily"),
        weekly=settings.number("keep_weekly"),
        monthly=settings.number("keep_monthly"),
    )
    for backup in gone:
        backup.path.unlink(missing_ok=True)
    return [backup.path for backup in gone]


def drill(house: KeptHouse) -> BackupDone:
    """Restore the newest backup into a temporary folder, verify it, and hold its tables against a rebuild.

    Raises:
        StoreError: there is no backup, or it does not restore; noted for `doctor`.
    """
    now = house.now()
    try:
        done = _restored(house)
    except SaltloftError as error:
        with suppress(SaltloftError):
            house.store.upkeep.note(DRILL, now, error.message, good=False)
        raise
    house.store.upkeep.note(DRILL, now, done.path.name)
    return done


def _restored(house: KeptHouse) -> BackupDone:
    folder = house.settings.backups(house.folder)
    backups = backups_in(folder)
    if not backups:
        raise StoreError("there is no backup to try", do="run 'saltloft backup'")
    newest = backups[-1].path
    with tempfile.TemporaryDirectory(dir=folder, prefix=".drill-") as aside:
        done = packing.restore(newest, Path(aside) / "house")
        store = Store.open(done.path / packing.DATABASE_FILE, done.path / "files")
        try:
            with store.database.reading() as connection:
                before = projection.rows(connection)
            store.rebuild()
            with store.database.reading() as connection:
                same = projection.rows(connection) == before
        finally:
            store.close()
    if not same:
        raise StoreError("the tables of the backup are not those of its journal", got=newest.name)
    return BackupDone(newest, done.head, done.files)


def seen(house: KeptHouse, now: datetime) -> None:
    """The worker lives."""
    house.store.upkeep.note(WORKER, now, "")


@dataclass(frozen=True)
class Due:
    """What the worker should do now.

    Args:
        backup: bool.
        drill: bool. A restore of the newest backup.
    """

    backup: bool = False
    drill: bool = False


def due(house: KeptHouse, now: datetime) -> Due:
    """What the worker should do now; nothing in the invented house.

    Args:
        now: datetime, aware.
    """
    if house.demo:
        return Due()
    hours, days = house.settings.number("backup_hours"), house.settings.number("drill_days")
    made = house.store.upkeep.last(BACKUP)
    return Due(
        backup=hours > 0 and _is_due(house, BACKUP, now, timedelta(hours=hours)),
        drill=days > 0
        and made is not None
        and made.good
        and _is_due(house, DRILL, now, timedelta(days=days)),
    )


def _is_due(house: KeptHouse, sort: str, now: datetime, every: timedelta) -> bool:
    last = house.store.upkeep.last(sort)
    if last is None:
        return True
    # A clock that was moved back must not stop backups for ever.
    return now - last.at >= (every if last.good else min(every, AGAIN)) or now < last.at - every
