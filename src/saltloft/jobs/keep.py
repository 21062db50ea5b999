"""Looking after the record: verify, rebuild, back up and restore."""

from __future__ import annotations

import os
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Protocol

from saltloft.foundation.errors import InputError, SaltloftError
from saltloft.plant.answers import JournalHead
from saltloft.store import backup as packing
from saltloft.store import projection
from saltloft.store.backup import BackupDone
from saltloft.store.open import Store
from saltloft.store.settings import HouseSettings
from saltloft.store.upkeep import BACKUP, HEAD
from saltloft.store.verify import Verification, read_anchor

HEADS_FILE = "saltloft-heads.txt"


class KeptHouse(Protocol):
    """The part of an opened house that looking after it needs."""

    @property
    def store(self) -> Store: ...

    @property
    def settings(self) -> HouseSettings: ...

    @property
    def folder(self) -> Path: ...

    @property
    def name(self) -> str: ...

    def now(self) -> datetime: ...


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
        anchors: sequence of str. Each a printed head ('1842-9f3c0a77b1d2'), or the path of
            a file of heads or of a backup.
        readings: bool. False leaves the readings out.

    Raises:
        InputError: an anchor that is neither.
        StoreError: a backup that is damaged.
    """
    return house.store.verify(
        [pair for anchor in anchors for pair in read_anchors(anchor)], readings=readings
    )


def read_anchors(anchor: str) -> list[tuple[int, str]]:
    """The heads an anchor names: one as printed, those of a file of heads, or every entry's of a backup."""
    path = Path(anchor)
    if path.suffix == ".zip":
        return packing.heads_in(path)
    if path.suffix == ".txt" or path.is_file():
        return heads_file(path)
    return [read_anchor(anchor)]


def heads_file(path: Path) -> list[tuple[int, str]]:
    """The heads in a file as `send_head` writes it: one a line, the second word.

    Raises:
        InputError: no such file, or a line without a head.
    """
    try:
        lines = path.read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        raise InputError("the file of heads cannot be read", got=f"{path}: {error}", key="anchor") from error
    heads = [read_anchor([*line.split(), "", ""][1]) for line in lines if line.strip()]
    if not heads:
        raise InputError("the file of heads is empty", got=str(path), key="anchor")
    return heads


def rebuild(house: KeptHouse) -> Rebuilt:
    """Build the reading tables anew from the journal, and compare them with what was there."""
    with house.store.database.reading() as connection:
        before = projection.rows(connection)
    subjects = house.store.rebuild()
    with house.store.database.reading() as connection:
        after = projection.rows(connection)
    return Rebuilt(subjects, before == after)


def backup(house: KeptHouse, into: Path | None = None) -> BackupDone:
    """Back a running house up into one verified file, send its head out, and say when it was done.

    Args:
        into: Path or None. Folder; None: the setting `backup_folder`.

    Raises:
        InputError, StoreError: as `store.backup.backup`; the failure is noted for `doctor`.
    """
    now = house.now()
    folder = into or house.settings.backups(house.folder)
    try:
        done = packing.backup(house.store.database, house.folder, folder, now)
    except SaltloftError as error:
        with suppress(SaltloftError):
            house.store.upkeep.note(BACKUP, now, error.message, good=False)
        raise
    house.store.upkeep.note(BACKUP, now, done.path.name)
    send_head(house, done.head)
    return done


def send_head(house: KeptHouse, head: JournalHead) -> None:
    """Add the head to the file of heads in the place the house chose; a place out of reach is noted."""
    place = house.settings.text("head_folder")
    if not place:
        return
    now = house.now()
    line = f"{now.isoformat(timespec='seconds')} {head.seq}-{head.hash} {house.name}\n"
    try:
        path = Path(place) / HEADS_FILE
        descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o644)
        try:
            os.write(descriptor, line.encode())
            os.fsync(descriptor)
        finally:
            os.close(descriptor)
    except OSError as error:
        house.store.upkeep.note(HEAD, now, f"{place}: {error.strerror}", good=False)
    else:
        house.store.upkeep.note(HEAD, now, str(path))


def restore(packed: Path, folder: Path) -> BackupDone:
    """Restore a backup into an empty folder, verified there before it counts."""
    return packing.restore(packed, folder)
