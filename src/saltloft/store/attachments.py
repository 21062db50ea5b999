"""Attached files by their SHA-256: kept once, under `files/`, never changed.

A photo is freed of its position before its digest is taken (`store.photos`).
"""

from __future__ import annotations

import hashlib
import os
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from sqlalchemy import Connection, select

from saltloft.foundation.errors import InputError, StoreError, UnknownName
from saltloft.store.database import Database
from saltloft.store.moments import to_text
from saltloft.store.photos import without_traces
from saltloft.store.tables import attachment

LARGEST = 20 * 1024 * 1024


@dataclass(frozen=True)
class Attachment:
    """An attached file.

    Args:
        digest: str. SHA-256, hexadecimal.
        file_name: str. As it was called when it came in.
        media_type: str.
        bytes: int. Size. [byte]
    """

    digest: str
    file_name: str
    media_type: str
    bytes: int


class Attachments:
    """Attached files of one house.

    Args:
        database: Database.
        folder: Path. The house's `files/`.
    """

    def __init__(self, database: Database, folder: Path) -> None:
        self.database = database
        self.folder = folder

    def put(self, content: bytes, file_name: str, media_type: str, now: datetime) -> Attachment:
        """Keep a file that somebody attaches, a photo without its position; the same bytes are kept once.

        Raises:
            InputError: empty, larger than 20 MB, or a picture whose position cannot be taken out.
        """
        _refuse_size(content, file_name)
        return self.put_back(without_traces(content), file_name, media_type, now)

    def put_back(self, content: bytes, file_name: str, media_type: str, now: datetime) -> Attachment:
        """Keep a file byte for byte, as it lay in the house it was exported from.

        Raises:
            InputError: empty, or larger than 20 MB.
        """
        _refuse_size(content, file_name)
        kept = Attachment(hashlib.sha256(content).hexdigest(), Path(file_name).name, media_type, len(content))
        self._write(kept.digest, content)

        def work(connection: Connection) -> None:
            known = select(attachment.c.digest).where(attachment.c.digest == kept.digest)
            if connection.execute(known).first() is None:
                connection.execute(
                    attachment.insert().values(
                        digest=kept.digest,
                        file_name=kept.file_name,
                        media_type=media_type,
                        bytes=kept.bytes,
                        added_at=to_text(now),
                    )
                )

        self.database.write(work)
        return kept

    def get(self, digest: str) -> tuple[Attachment, bytes]:
        """A file and its bytes.

        Raises:
            UnknownName: no such file.
            StoreError: its bytes are not what was attached.
        """
        with self.database.reading() as connection:
            row = connection.execute(select(attachment).where(attachment.c.digest == digest)).first()
        if row is None:
            raise UnknownName("attached file", digest, [])
        path = self.path_of(digest)
        content = path.read_bytes() if path.is_file() else b""
        if hashlib.sha256(content).hexdigest() != digest:
            raise StoreError(
                f"the attached file {row.file_name} is missing or was changed",
                got=digest[:12],
                do="restore it from a backup",
            )
        return Attachment(row.digest, row.file_name, row.media_type, row.bytes), content

    def all(self) -> list[Attachment]:
        """Every attached file, by digest."""
        with self.database.reading() as connection:
            rows = connection.execute(select(attachment).order_by(attachment.c.digest))
            return [Attachment(row.digest, row.file_name, row.media_type, row.bytes) for row in rows]

    def path_of(self, digest: str) -> Path:
        """Where the bytes of a digest lie."""
        return self.folder / digest[:2] / digest

    def _write(self, digest: str, content: bytes) -> None:
        path = self.path_of(digest)
        if path.is_file():
            return
        path.parent.mkdir(parents=True, exist_ok=True)
        # Written aside and renamed, so that a half-written file never bears the digest of a whole one.
        aside = path.with_name(f"{digest}.part")
        descriptor = os.open(aside, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o640)
        with os.fdopen(descriptor, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(descriptor)
        aside.rename(path)


def _refuse_size(content: bytes, file_name: str) -> None:
    if not content or len(content) > LARGEST:
        raise InputError(
            f"the file {file_name} cannot be attached",
            got=f"{len(content)} bytes",
            allowed=f"1 byte to {LARGEST // 1024 // 1024} MB",
        )
