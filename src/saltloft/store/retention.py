"""Which backups stay: the newest of each day, week and month, as many as the house says."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

_NAME = re.compile(r"^saltloft-(\d+)-([0-9a-f]{12})-(\d{8}T\d{6}Z)\.zip$")


@dataclass(frozen=True)
class KeptBackup:
    """A backup by its name.

    Args:
        path: Path.
        seq: int. Number of the last entry in it.
        hash: str. The first twelve digits of that entry's hash.
        at: datetime, aware. When it was made.
    """

    path: Path
    seq: int
    hash: str
    at: datetime


def backups_in(folder: Path) -> list[KeptBackup]:
    """The backups in a folder, oldest first; files of other names are none."""
    found = []
    for path in folder.glob("saltloft-*.zip"):
        if name := _NAME.match(path.name):
            at = datetime.strptime(name[3], "%Y%m%dT%H%M%SZ").replace(tzinfo=UTC)
            found.append(KeptBackup(path, int(name[1]), name[2], at))
    return sorted(found, key=lambda backup: (backup.at, backup.seq))


def outdated(
    backups: Iterable[KeptBackup], zone: ZoneInfo, *, daily: int, weekly: int, monthly: int
) -> list[KeptBackup]:
    """The backups that may go.

    Args:
        backups: iterable of KeptBackup.
        zone: ZoneInfo. In which the house counts its days.
        daily, weekly, monthly: int. Of so many of the last days, ISO weeks and months that have
            one, the newest stays; the newest of all stays in any case.
    """
    newest_first = sorted(backups, key=lambda backup: (backup.at, backup.seq), reverse=True)
    stay = set(newest_first[:1])
    for count, form in ((daily, "%Y-%m-%d"), (weekly, "%G-W%V"), (monthly, "%Y-%m")):
        newest: dict[str, KeptBackup] = {}
        for backup in newest_first:
            newest.setdefault(backup.at.astimezone(zone).strftime(form), backup)
        stay.update(list(newest.values())[: max(count, 0)])
    return [backup for backup in reversed(newest_first) if backup not in stay]
