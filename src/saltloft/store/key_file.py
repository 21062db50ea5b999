"""The house's key: 32 random bytes in a file only its owner may read, outside database and backups."""

from __future__ import annotations

import os
from pathlib import Path

from saltloft.foundation.errors import StoreError

FILE = "house.key"
LENGTH = 32


def read_key(folder: Path, fresh: bytes) -> bytes:
    """The key of a house folder; `fresh` becomes it when there is none yet.

    Args:
        folder: Path.
        fresh: bytes, 32. Random.

    Raises:
        StoreError: the file may be read by others, or is not a key.
    """
    path = folder / FILE
    if path.is_file():
        return _read(path)
    # Written aside and linked: two programs starting at once end up with one whole key.
    aside = folder / f".{FILE}.{os.getpid()}"
    descriptor = os.open(aside, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    try:
        os.write(descriptor, fresh)
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
    try:
        os.link(aside, path)
    except FileExistsError:
        pass
    finally:
        aside.unlink()
    return _read(path)


def _read(path: Path) -> bytes:
    mode = path.stat().st_mode & 0o777
    if mode & 0o077:
        raise StoreError(
            f"{path.name} can be read by others",
            got=f"mode {mode:o}",
            allowed="mode 600",
            do=f"run: chmod 600 {path.name}, then have every PIN set anew",
        )
    key = path.read_bytes()
    if len(key) != LENGTH:
        raise StoreError(f"{path.name} is not a key", got=f"{len(key)} bytes", allowed=f"{LENGTH} bytes")
    return key
