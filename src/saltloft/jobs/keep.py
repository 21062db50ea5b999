"""Looking after the record: verify, rebuild, back up, restore, and the state of everything at a glance."""

from __future__ import annotations

import shutil
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Protocol

from saltloft.foundation.words import say, say_many
from saltloft.plant.answers import JournalHead
from saltloft.store import backup as packing
from saltloft.store import migrate, projection
from saltloft.store.backup import BackupDone
from saltloft.store.engines import durability
from saltloft.store.open import Store
from saltloft.store.settings import HouseSettings
from saltloft.store.verify import Verification, read_anchor

BACKUP_DUE = timedelta(days=2)
LEAST_FREE = 2 * 1024**3
# A series is late when its newest reading is older than this.
LATE = timedelta(hours=6)


class KeptHouse(Protocol):
    """The part of an opened house that looking after it needs."""

    @property
    def store(self) -> Store: ...

    @property
    def settings(self) -> HouseSettings: ...

    @property
    def folder(self) -> Path: ...

    @property
    def demo(self) -> bool: ...

    def now(self) -> datetime: ...


@dataclass(frozen=True)
class Finding:
    """One line of `saltloft doctor`.

    Args:
        name: str. What was looked at.
        good: bool. False when somebody should do something.
        words: str. What was found.
        do: str. What to do; empty when good.
    """

    name: str
    good: bool
    words: str
    do: str = ""


@dataclass(frozen=True)
class Rebuilt:
    """What a rebuild did.

    Args:
        subjects: int. Lots and batches whose rows were built.
        same: bool. Whether the rows are those that were there before.
    """

    subjects: int
    same: bool


def verify(house: KeptHouse, anchors: Sequence[str] = (), *, readings: bool = True) -> Verification:
    """Walk the journal and the sealed readings, and hold them against heads kept elsewhere.

    Args:
        anchors: sequence of str. Each a printed head ('1842-9f3c0a77b1d2') or the path of a backup file.
        readings: bool. False leaves the readings out.

    Raises:
        InputError: an anchor that is neither.
        StoreError: a backup that is damaged.
    """
    return house.store.verify(
        [pair for anchor in anchors for pair in read_anchors(anchor)], readings=readings
    )


def read_anchors(anchor: str) -> list[tuple[int, str]]:
    """The heads an anchor names: one as printed, or every entry's of a backup file."""
    path = Path(anchor)
    return packing.heads_in(path) if path.suffix == ".zip" else [read_anchor(anchor)]


def rebuild(house: KeptHouse) -> Rebuilt:
    """Build the reading tables anew from the journal, and compare them with what was there."""
    with house.store.database.reading() as connection:
        before = projection.rows(connection)
    subjects = house.store.rebuild()
    with house.store.database.reading() as connection:
        after = projection.rows(connection)
    return Rebuilt(subjects, before == after)


def backup(house: KeptHouse, into: Path | None = None) -> BackupDone:
    """Back a running house up into one verified file, named by its head.

    Args:
        into: Path or None. Folder; None: the setting `backup_folder`.
    """
    folder = into or backup_folder(house)
    return packing.backup(house.store.database, house.folder, folder, house.now())


def backup_folder(house: KeptHouse) -> Path:
    """Where backups go unless another folder is named."""
    return house.folder / house.settings.text("backup_folder")


def restore(packed: Path, folder: Path) -> BackupDone:
    """Restore a backup into an empty folder, verified there before it counts."""
    return packing.restore(packed, folder)


def doctor(house: KeptHouse) -> list[Finding]:
    """The state of everything a house keeps, one finding a line."""
    found = house.store.verify()
    return [
        _database(house),
        _chain(found),
        _backup(house, found.head),
        _disk(house.folder),
        _work(house),
        _series(house),
        _people(house),
    ]


def _database(house: KeptHouse) -> Finding:
    with house.store.database.reading() as connection:
        revision = migrate.revision_of(connection)
        durable, level = durability(connection)
    good = revision == migrate.REVISIONS[-1] and durable
    words = say(
        "{name}, revision {revision}, {level}",
        name=house.store.database.name,
        revision=revision,
        level=level,
    )
    return Finding("database", good, words, "" if good else say("restart the program"))


def _chain(found: Verification) -> Finding:
    if found.whole:
        words = say(
            "{entries} entries and {batches} batches of readings are whole",
            entries=found.entries,
            batches=found.readings_checked,
        )
        return Finding("journal", True, words)
    return Finding("journal", False, found.faults[0].words, say("stop entering; restore the last backup"))


def _backup(house: KeptHouse, head: JournalHead | None) -> Finding:
    files = sorted(backup_folder(house).glob("saltloft-*.zip"), key=lambda path: path.stat().st_mtime)
    if not files:
        return Finding("backup", False, say("there is no backup yet"), say("run 'saltloft backup'"))
    behind = (head.seq if head else 0) - int(files[-1].name.split("-")[1])
    age = house.now().timestamp() - files[-1].stat().st_mtime
    # The invented house's clock stands still, so a backup's age says nothing there.
    good = house.demo or age < BACKUP_DUE.total_seconds() or behind == 0
    words = say("the last one, {name}, is {behind} entries behind", name=files[-1].name, behind=behind)
    return Finding("backup", good, words, "" if good else say("run 'saltloft backup'"))


def _disk(folder: Path) -> Finding:
    free = shutil.disk_usage(folder).free
    good = free >= LEAST_FREE
    words = say("{free} GB free", free=f"{free / 1024**3:.1f}")
    return Finding("disk", good, words, "" if good else say("make room: entries are refused when it is full"))


def _work(house: KeptHouse) -> Finding:
    counts = house.store.work.counts()
    failed, waiting = counts.get("failed", 0), counts.get("waiting", 0)
    words = say("{waiting} waiting, {failed} given up", waiting=waiting, failed=failed)
    return Finding("worker", not failed, words, say("look at the worker's log") if failed else "")


def _series(house: KeptHouse) -> Finding:
    now = house.now()
    late = []
    for name in house.store.readings.series_names():
        room, quantity, *logger = name.split("/")
        last = house.store.readings.latest(room, quantity, now, logger=logger[0] if logger else "")
        if last is None or now - last[0] > LATE:
            late.append(name)
    if not late:
        return Finding("loggers", True, say("every series has a reading of the last six hours"))
    return Finding(
        "loggers",
        False,
        say("no reading of the last six hours: {names}", names=", ".join(late)),
        say("import the loggers' files, or look at the loggers"),
    )


def _people(house: KeptHouse) -> Finding:
    people = house.store.people.all()
    signers = [person.person for person in people if person.role == "quality"]
    words = say_many(
        "{count} person, {signers} may sign lots out",
        "{count} people, {signers} may sign lots out",
        len(people),
        signers=len(signers),
    )
    return Finding("people", bool(signers), words, "" if signers else say("add a person of the role quality"))
