"""Which backups stay: checked against a loop over a year of them, and by hand for a few."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

from saltloft.store.retention import KeptBackup, backups_in, outdated

ZONE = ZoneInfo("Europe/Dublin")


def made(at: datetime, seq: int = 1) -> KeptBackup:
    """A backup of a moment."""
    return KeptBackup(Path(f"saltloft-{seq}-{at:%Y%m%dT%H%M%SZ}.zip"), seq, "0" * 12, at)


def staying(backups: list[KeptBackup], **rule: int) -> list[datetime]:
    """Moments of those that stay, oldest first."""
    gone = outdated(backups, ZONE, **{"daily": 7, "weekly": 5, "monthly": 12, **rule})
    return [one.at for one in backups if one not in gone]


def test_a_year_of_daily_backups_leaves_days_weeks_and_months() -> None:
    """7 days, then the last of each week, then of each month; all that stay are the last of their kind."""
    first = datetime(2026, 1, 1, 2, tzinfo=UTC)
    backups = [made(first + timedelta(days=day)) for day in range(365)]
    stay = staying(backups)
    last = backups[-1].at
    assert stay[-7:] == [last - timedelta(days=day) for day in range(6, -1, -1)]
    sundays = [at for at in stay if at.isoweekday() == 7]
    assert len(sundays) >= 4
    month_ends = [at for at in stay if (at + timedelta(days=1)).month != at.month]
    assert [at.month for at in month_ends] == list(range(1, 13))
    assert len(stay) <= 7 + 5 + 12


def test_applied_every_day_it_comes_to_the_same() -> None:
    """Deleting day by day keeps what deleting once at the end keeps: nothing is needed that went before."""
    first = datetime(2026, 1, 1, 2, tzinfo=UTC)
    kept: list[KeptBackup] = []
    for day in range(365):
        kept.append(made(first + timedelta(days=day)))
        gone = outdated(kept, ZONE, daily=7, weekly=5, monthly=12)
        kept = [one for one in kept if one not in gone]
    everything = [made(first + timedelta(days=day)) for day in range(365)]
    assert [one.at for one in kept] == staying(everything)


def test_the_newest_stays_whatever_the_rule_says_and_days_are_those_of_the_house() -> None:
    """Zero of each leaves one; 23:30 and 00:30 in Dublin's summer are two days though one in UTC."""
    evening = datetime(2026, 6, 1, 22, 30, tzinfo=UTC)
    two = [made(evening), made(evening + timedelta(hours=1))]
    assert staying(two, daily=0, weekly=0, monthly=0) == [two[1].at]
    assert staying(two, daily=2, weekly=0, monthly=0) == [one.at for one in two]
    assert outdated([], ZONE, daily=1, weekly=1, monthly=1) == []


def test_only_files_named_as_backups_are_backups(tmp_path: Path) -> None:
    """Others are never deleted."""
    for name in (
        "saltloft-12-0123456789ab-20261103T060000Z.zip",
        "saltloft-9-0123456789ab-20261102T060000Z.zip",
        "saltloft-mine.zip",
        "photos.zip",
        "saltloft-12-0123456789ab-20261103T060000Z.zip.part",
    ):
        (tmp_path / name).write_bytes(b"")
    assert [(one.seq, one.hash) for one in backups_in(tmp_path)] == [
        (9, "0123456789ab"),
        (12, "0123456789ab"),
    ]
