"""Files handed in on a page, held in memory while their sender answers questions about them."""

from __future__ import annotations

import secrets
import threading
from collections import OrderedDict
from dataclasses import dataclass

MOST_BYTES = 64 * 1024 * 1024


@dataclass(frozen=True)
class Upload:
    """One file as it came.

    Args:
        name: str. Its name on the sender's device.
        data: bytes.
        person: str. Who sent it; nobody else gets it back.
    """

    name: str
    data: bytes
    person: str


class UploadShelf:
    """The last files; the oldest go when all together are above their limit. Nothing is written to disk.

    Args:
        most_bytes: int. [bytes]
    """

    def __init__(self, most_bytes: int = MOST_BYTES) -> None:
        self.most_bytes = most_bytes
        self._held: OrderedDict[str, Upload] = OrderedDict()
        self._lock = threading.Lock()

    def put(self, upload: Upload) -> str:
        """Hold a file and return the token under which its sender gets it back."""
        token = secrets.token_urlsafe(12)
        with self._lock:
            self._held[token] = upload
            while len(self._held) > 1 and sum(len(one.data) for one in self._held.values()) > self.most_bytes:
                self._held.popitem(last=False)
        return token

    def get(self, token: str, person: str) -> Upload | None:
        """The file behind a token; None when it is gone or another person's."""
        with self._lock:
            found = self._held.get(token)
        return found if found is not None and found.person == person else None

    def drop(self, token: str) -> None:
        """Hold a file no longer."""
        with self._lock:
            self._held.pop(token, None)
