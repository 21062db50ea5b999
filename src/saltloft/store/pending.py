"""Live values that were taken and wait for their seal: a file of lines that is on disk before a broker is
told that it may forget them."""

from __future__ import annotations

import errno
import json
import math
import os
from pathlib import Path

from saltloft.foundation.errors import StoreError

FILE = "live-values.pending"


class Pending:
    """Values by series and moment.

    Args:
        folder: Path. Of the house.
    """

    def __init__(self, folder: Path) -> None:
        self.path = folder / FILE
        self.values: dict[str, dict[int, float]] = {}
        whole = self._load()
        if not whole:
            self.save()

    def __len__(self) -> int:
        return sum(len(own) for own in self.values.values())

    def get(self, series: str, at: int) -> float | None:
        """The value that waits for a moment; None when none does."""
        return self.values.get(series, {}).get(at)

    def add(self, series: str, at: int, value: float) -> None:
        """Keep one value; it is on disk when this returns.

        Args:
            series: str.
            at: int. [s since 1970 UTC]
            value: float. [unit of the series]

        Raises:
            StoreError: the disk is full or cannot be written to.
        """
        line = (json.dumps([series, at, value]) + "\n").encode()
        try:
            descriptor = os.open(self.path, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
            try:
                size = os.fstat(descriptor).st_size
                if os.write(descriptor, line) < len(line):
                    # Half a line would spoil the next one.
                    os.ftruncate(descriptor, size)
                    raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
                os.fsync(descriptor)
            finally:
                os.close(descriptor)
        except OSError as error:
            raise _full(error) from error
        self.values.setdefault(series, {})[at] = value

    def drop(self, series: str, moments: list[int]) -> None:
        """Forget values that were sealed or refused; `save` takes them out of the file.

        Args:
            series: str.
            moments: list of int. [s since 1970 UTC]
        """
        own = self.values.get(series, {})
        for at in moments:
            own.pop(at, None)

    def _load(self) -> bool:
        """Read the file; False when a line was cut off, whose value the broker sends again."""
        if not self.path.is_file():
            return True
        whole = True
        for line in self.path.read_bytes().splitlines(keepends=True):
            try:
                series, at, value = json.loads(line)
                good = line.endswith(b"\n") and type(at) is int and math.isfinite(value)
            except (ValueError, TypeError):
                good = False
            if good:
                self.values.setdefault(series, {})[at] = float(value)
            whole = whole and good
        return whole

    def save(self) -> None:
        """Write the file anew, whole.

        Raises:
            StoreError: the disk is full or cannot be written to; the old file stays.
        """
        aside = self.path.with_suffix(".part")
        lines = [
            json.dumps([series, at, value]) + "\n"
            for series, own in self.values.items()
            for at, value in own.items()
        ]
        try:
            descriptor = os.open(aside, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
            with os.fdopen(descriptor, "w", encoding="utf-8") as file:
                file.writelines(lines)
                file.flush()
                os.fsync(file.fileno())
            aside.replace(self.path)
        except OSError as error:
            raise _full(error) from error


def _full(error: OSError) -> StoreError:
    return StoreError("a live value cannot be kept", got=str(error.strerror), do="make room on the disk")
