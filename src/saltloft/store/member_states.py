"""Where the members of each lot's last forecast stood: a file a lot, no record, made anew when missing."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Collection
from contextlib import suppress
from pathlib import Path


class MemberStates:
    """Kept member states of one house, beside its database and in no backup.

    Args:
        folder: Path. Made when the first is kept.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def get(self, lot: str) -> bytes | None:
        """What was kept for a lot; None when nothing is."""
        try:
            return self._path(lot).read_bytes()
        except OSError:
            return None

    def put(self, lot: str, body: bytes) -> bool:
        """Keep a lot's states in place of the ones before: whole, or not at all.

        Returns:
            bool. False when the disk does not take them; then the next forecast starts from nothing.
        """
        path = self._path(lot)
        partial = path.with_suffix(f".{os.getpid()}.part")
        try:
            self.folder.mkdir(exist_ok=True)
            partial.write_bytes(body)
            partial.replace(path)
        except OSError:
            with suppress(OSError):
                partial.unlink()
            return False
        return True

    def keep_only(self, lots: Collection[str]) -> None:
        """Forget the states of all other lots."""
        wanted = {self._path(lot).name for lot in lots}
        for path in self.folder.glob("*.states"):
            if path.name not in wanted:
                path.unlink(missing_ok=True)

    def _path(self, lot: str) -> Path:
        """A name may hold anything, so its digest names the file."""
        return self.folder / f"{hashlib.sha256(lot.encode()).hexdigest()[:32]}.states"
