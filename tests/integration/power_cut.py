"""A database file as a power cut leaves it: the main file, and a -wal that ends or is torn anywhere.

The layout of a -wal is that of SQLite's file format description, section 4: a head of 32 bytes, then
frames of 24 bytes and a page each.
"""

from __future__ import annotations

import shutil
import struct
from dataclasses import dataclass
from pathlib import Path

from saltloft.store import journal, projection
from saltloft.store.database import Database
from saltloft.store.verify import verify

WAL_HEAD, FRAME_HEAD = 32, 24


@dataclass(frozen=True)
class Acknowledged:
    """An entry and how long the -wal was when it was acknowledged.

    Args:
        seq: int.
        wal_bytes: int.
    """

    seq: int
    wal_bytes: int


def frame_borders(wal: bytes) -> list[int]:
    """Every byte at which a frame of the -wal ends."""
    page = struct.unpack(">I", wal[8:12])[0]
    return list(range(WAL_HEAD, len(wal) + 1, FRAME_HEAD + page))


def left_by_the_cut(main: Path, wal: bytes, folder: Path) -> Path:
    """A folder with the main file and such a -wal; no -shm, which lives in memory."""
    folder.mkdir()
    shutil.copy(main, folder / "house.db")
    (folder / "house.db-wal").write_bytes(wal)
    return folder / "house.db"


def entries_after(file: Path) -> int:
    """Open what a cut left: how many entries are there, whole, with tables that are those of a rebuild.

    Raises:
        AssertionError: the chain is broken, or an entry is there whose table rows are not.
    """
    database = Database(file)
    try:
        found = verify(database, readings=False)
        assert found.whole, found.faults
        with database.reading() as connection:
            before = projection.rows(connection)
        database.write(projection.rebuild)
        with database.reading() as connection:
            assert projection.rows(connection) == before
            assert [entry.seq for entry in journal.walk(connection)] == list(range(1, found.entries + 1))
    finally:
        database.close()
    return found.entries
