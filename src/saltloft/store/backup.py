"""Backup while running, and restore into an empty folder; both are verified before they count.

A backup is one zip file: house.toml, the database as one SQLite file (SQLite's
own backup of a file, a copy row for row of PostgreSQL), the attached files, and
manifest.json with every file's SHA-256 and the head. The key that protects PINs
and the place of the database stay behind: a restored house is a file in its
folder, and PINs are set anew.
"""

from __future__ import annotations

import hashlib
import json
import shutil
import sqlite3
import tempfile
import zipfile
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path, PurePosixPath

from saltloft.foundation.errors import InputError, StoreError
from saltloft.plant.answers import JournalHead
from saltloft.store import journal, projection
from saltloft.store.copying import copy_into
from saltloft.store.database import Database
from saltloft.store.engines import SQLITE
from saltloft.store.migrate import bring_up
from saltloft.store.moments import from_text, to_text
from saltloft.store.verify import verify

FORMAT = "saltloft-backup/1"
SETTINGS_FILE = "house.toml"
DATABASE_FILE = "house.db"
MANIFEST = "manifest.json"


@dataclass(frozen=True)
class BackupDone:
    """A backup that was made and verified, or restored and verified.

    Args:
        path: Path. The zip file, or the folder restored into.
        head: JournalHead. End of the chain in it.
        files: int. Attached files in it.
    """

    path: Path
    head: JournalHead
    files: int


def backup(database: Database, folder: Path, into: Path, now: datetime) -> BackupDone:
    """Copy a running house into one file in `into`, named by its head.

    Args:
        database: Database. The house's, open.
        folder: Path. The house folder.
        into: Path. Folder for the backup; made when missing.
        now: datetime, aware.

    Raises:
        InputError: no folder can be made there.
        StoreError: when the copy does not verify; no backup is left then.
    """
    try:
        into.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(
            "the backup needs a folder",
            got=f"{into}: {error.strerror}",
            do="name a folder with --to",
            key="to",
        ) from error
    with tempfile.TemporaryDirectory(dir=into, prefix=".backup-") as aside:
        copy = Path(aside) / DATABASE_FILE
        _copy_database(database, copy)
        head = _verified(copy)
        files = sorted(path for path in (folder / "files").rglob("*") if path.is_file() and path.suffix == "")
        packed = Path(aside) / "backup.zip"
        _pack(
            packed,
            {SETTINGS_FILE: _settings_to_pack(folder, Path(aside)), DATABASE_FILE: copy},
            folder,
            files,
            head=head,
            now=now,
        )
        _check_sums(packed)
        name = f"saltloft-{head.seq}-{head.hash[:12]}-{now.astimezone(UTC):%Y%m%dT%H%M%SZ}.zip"
        packed.rename(into / name)
    return BackupDone(into / name, head, len(files))


def restore(packed: Path, folder: Path) -> BackupDone:
    """Unpack a backup into an empty or missing folder, bring it up to this program and verify it there.

    Raises:
        InputError: the folder is not empty, or the file is no backup.
        StoreError: the backup is damaged; the folder is left empty.
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise InputError(
            "a backup is restored into an empty folder only",
            got=str(folder),
            do="name a folder that does not exist yet",
        )
    manifest = _check_sums(packed)
    folder.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=folder.parent, prefix=".restore-") as aside:
        house = Path(aside) / "house"
        with zipfile.ZipFile(packed) as archive:
            for name in manifest.sums:
                _unpack(archive, name, house)
        head = _verified(house / DATABASE_FILE, upgrade=True)
        if (head.seq, head.hash) != (manifest.head.seq, manifest.head.hash):
            raise StoreError(
                "the restored journal does not end where the backup says", got=f"entry {head.seq}"
            )
        (house / "files").mkdir(exist_ok=True)
        if folder.exists():
            folder.rmdir()
        shutil.move(house, folder)
    return BackupDone(folder, head, len(manifest.sums) - 2)


def heads_in(packed: Path) -> list[tuple[int, str]]:
    """Seq and hash of every entry in a backup: the closest anchor there is.

    Raises:
        InputError, StoreError: as for `restore`.
    """
    _check_sums(packed)
    with tempfile.TemporaryDirectory(prefix="saltloft-anchor-") as aside:
        with zipfile.ZipFile(packed) as archive:
            _unpack(archive, DATABASE_FILE, Path(aside))
        database = Database(Path(aside) / DATABASE_FILE)
        try:
            with database.reading() as connection:
                return [(entry.seq, entry.hash) for entry in journal.walk(connection)]
        finally:
            database.close()


@dataclass(frozen=True)
class _Manifest:
    sums: dict[str, str]
    head: JournalHead


def _settings_to_pack(folder: Path, aside: Path) -> Path:
    """house.toml without the place of the database, which may hold a password."""
    packed = aside / SETTINGS_FILE
    lines = (folder / SETTINGS_FILE).read_text(encoding="utf-8").splitlines(keepends=True)
    kept = [line for line in lines if line.partition("=")[0].strip() not in ("database", "database_url")]
    packed.write_text("".join(kept), encoding="utf-8")
    return packed


def _copy_database(database: Database, copy: Path) -> None:
    if database.dialect != SQLITE:
        other = Database(copy)
        try:
            copy_into(database, other)
        finally:
            other.close()
        return
    target = sqlite3.connect(copy)
    try:
        with database.reading() as connection:
            source = connection.connection.driver_connection
            if source is None:
                raise StoreError("the database connection was lost", do="try again")
            source.backup(target, pages=4096)
    finally:
        target.close()


def _verified(file: Path, *, upgrade: bool = False) -> JournalHead:
    database = Database(file)
    try:
        if upgrade and bring_up(database, upgrade=True):
            # A backup of an older program is brought up to this one; its entries stay as they are.
            database.write(projection.rebuild)
        found = verify(database)
    finally:
        database.close()
    if not found.whole or found.head is None:
        words = found.faults[0].words if found.faults else "the journal is empty"
        raise StoreError("the copy does not verify", got=words, do="run 'saltloft verify' on the house")
    return found.head


def _pack(
    packed: Path, fixed: dict[str, Path], folder: Path, files: list[Path], *, head: JournalHead, now: datetime
) -> None:
    members = dict(fixed)
    members.update({path.relative_to(folder).as_posix(): path for path in files})
    sums: dict[str, str] = {}
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as archive:
        for name, path in members.items():
            archive.write(path, name)
            sums[name] = _sum_of(path)
        manifest = {
            "format": FORMAT,
            "made_at": to_text(now),
            "head": {"seq": head.seq, "hash": head.hash, "recorded_at": to_text(head.recorded_at)},
            "files": sums,
        }
        archive.writestr(MANIFEST, json.dumps(manifest, indent=1, sort_keys=True))


def _sum_of(path: Path) -> str:
    digest = hashlib.sha256()
    with path.open("rb") as stream:
        while block := stream.read(1 << 20):
            digest.update(block)
    return digest.hexdigest()


def _check_sums(packed: Path) -> _Manifest:
    """Read the manifest and hold every file against it, without unpacking to disk."""
    try:
        with zipfile.ZipFile(packed) as archive:
            manifest = json.loads(archive.read(MANIFEST))
            if manifest.get("format") != FORMAT:
                raise InputError("the backup is of another format", got=str(manifest.get("format")))
            for name, expected in manifest["files"].items():
                digest = hashlib.sha256()
                with archive.open(name) as stream:
                    while block := stream.read(1 << 20):
                        digest.update(block)
                if digest.hexdigest() != expected:
                    raise StoreError(f"{name} in the backup is damaged", do="take another backup")
            head = manifest["head"]
            return _Manifest(
                manifest["files"], JournalHead(head["seq"], head["hash"], from_text(head["recorded_at"]))
            )
    except FileNotFoundError as error:
        raise InputError("there is no such backup file", got=str(packed)) from error
    except (zipfile.BadZipFile, KeyError, ValueError, OSError) as error:
        if isinstance(error, InputError):
            raise
        raise StoreError(
            "the file is no backup, or a damaged one", got=str(packed), do="take another"
        ) from error


def _unpack(archive: zipfile.ZipFile, name: str, folder: Path) -> None:
    parts = PurePosixPath(name).parts
    if name not in (SETTINGS_FILE, DATABASE_FILE) and (
        parts[:1] != ("files",) or ".." in parts or len(parts) != 3
    ):
        raise StoreError("the backup holds a file that does not belong there", got=name)
    target = folder.joinpath(*parts)
    target.parent.mkdir(parents=True, exist_ok=True)
    with archive.open(name) as source, target.open("wb") as stream:
        shutil.copyfileobj(source, stream, 1 << 20)
