"""The state of everything at a glance: `saltloft doctor`, `/health`, and one file for whoever helps."""

from __future__ import annotations

import json
import platform
import shutil
import zipfile
from dataclasses import asdict, dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any, Protocol

from saltloft import __version__
from saltloft.cases.judgement import confirmed_keys
from saltloft.cases.open_house import OpenHouse
from saltloft.cases.rule_keys import rule_keys
from saltloft.foundation.words import say, say_many
from saltloft.plant.answers import JournalHead
from saltloft.plant.live_status import LiveStatus
from saltloft.store import migrate
from saltloft.store.devices import Devices
from saltloft.store.engines import durability
from saltloft.store.retention import backups_in
from saltloft.store.settings import HouseSettings
from saltloft.store.upkeep import BACKUP, DRILL, HEAD, LIVE, WORKER, Looked
from saltloft.store.verify import Verification

BACKUP_DUE = timedelta(days=2)
LEAST_FREE = 2 * 1024**3
# A series is late when its newest reading is older than this.
LATE = timedelta(hours=6)
# A device's or logger's clock that is off by more is worth a look; entries bear the offset anyway.
CLOCK_OFF = timedelta(minutes=2)
WORKER_GONE = timedelta(minutes=5)
OWN_MACHINE = ("127.0.0.1", "localhost", "::1")


class DoctoredHouse(OpenHouse, Protocol):
    """The part of an opened house that is looked at."""

    @property
    def settings(self) -> HouseSettings: ...

    @property
    def folder(self) -> Path: ...


@dataclass(frozen=True)
class Finding:
    """One line of `saltloft doctor`.

    Args:
        name: str. What was looked at.
        good: bool. False when somebody should do something.
        words: str. What was found.
        do: str. What to do; empty when good.
    """

    name: str
    good: bool
    words: str
    do: str = ""


def doctor(house: DoctoredHouse) -> list[Finding]:
    """The state of everything a house keeps, one finding a line; walks the whole journal."""
    found = house.store.verify()
    return [
        Finding("version", True, __version__),
        _database(house),
        _chain(found),
        _backup(house, found.head),
        _drill(house),
        _head_sent(house),
        _disk(house.folder),
        _worker(house),
        _clocks(house, found.head),
        _series(house),
        *_live(house),
        _facts(house),
        _people(house),
    ]


def health(house: DoctoredHouse) -> dict[str, Any]:
    """What a watcher asks every minute: quick, without walking the journal, without names.

    Returns:
        dict. `good` and one entry each for database, journal, backup, drill, disk, worker,
            loggers and live values (null without a broker); ages in seconds, null where it never happened.
    """
    now, head, store = house.now(), house.store.head(), house.store
    with store.database.reading() as connection:
        durable, level = durability(connection)
    done = {sort: store.upkeep.last(sort) for sort in (BACKUP, DRILL, WORKER)}
    ages = _series_ages(house)
    free = shutil.disk_usage(house.folder).free
    counts = store.work.counts()
    late = sum(age is None or age > LATE for age in ages.values())
    answer: dict[str, Any] = {
        "version": __version__,
        "demo": house.demo,
        "database": {"kind": store.database.dialect, "durable": durable, "level": level},
        "journal": {
            "entries": head.seq if head else 0,
            "head": f"{head.seq}-{head.hash[:12]}" if head else "",
            "last_entry_age_s": _seconds(now, head.recorded_at) if head else None,
        },
        "backup": _looked(done[BACKUP], now),
        "drill": _looked(done[DRILL], now),
        "disk_free_bytes": free,
        "worker": {
            **_looked(done[WORKER], now),
            "waiting": counts.get("waiting", 0),
            "given_up": counts.get("failed", 0),
        },
        "loggers": {
            "series": len(ages),
            "late": late,
            "oldest_s": max((age.total_seconds() for age in ages.values() if age is not None), default=None),
        },
    }
    answer["live"] = _live_health(house)
    answer["good"] = (
        durable and free >= LEAST_FREE and (house.demo or (_backup(house, head).good and _worker(house).good))
    )
    return answer


def bundle(house: DoctoredHouse, into: Path) -> Path:
    """One file to send to whoever helps: findings, settings and counts; no names, payloads or secrets.

    Args:
        into: Path. Folder; made when missing.

    Returns:
        Path. The zip file.
    """
    into.mkdir(parents=True, exist_ok=True)
    path = into / f"saltloft-help-{house.now():%Y%m%dT%H%M%S}.zip"
    secret = {"name", "head_folder", "backup_folder", "database", "database_url", "lan_names", "address"}
    secret |= {row.setting.name for row in house.settings.rows() if row.setting.name.startswith("mqtt_")}
    settings = {
        row.setting.name: "(left out)" if row.setting.name in secret and row.value else row.shown
        for row in house.settings.rows()
    }
    parts = {
        "findings.json": [asdict(one) for one in _redacted(house, doctor(house))],
        "health.json": health(house),
        "settings.json": settings,
        "machine.json": {"python": platform.python_version(), "system": platform.platform()},
        "counts.json": house.store.kind_counts(),
    }
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in parts.items():
            archive.writestr(name, json.dumps(content, indent=1, sort_keys=True, ensure_ascii=False))
    return path


def _redacted(house: DoctoredHouse, findings: list[Finding]) -> list[Finding]:
    """The findings without the house's folder, rooms, devices and people."""
    rooms = [record.room for record in house.store.rooms.all()]
    words = [str(house.folder), house.face().name, *rooms, *house.store.people.names()]
    words += Devices(house.store.database).states()
    words += [house.settings.text("mqtt_host"), house.settings.text("mqtt_user")]
    found = []
    for one in findings:
        text = one.words
        if one.name == "live values":
            # What was refused is somebody else's text.
            text = text.partition(say("the last refused: {what}", what=""))[0]
        for number, word in enumerate(sorted(filter(None, words), key=len, reverse=True)):
            text = text.replace(word, f"({number})")
        found.append(Finding(one.name, one.good, text, one.do))
    return found


def _seconds(now: datetime, at: datetime) -> float:
    return (now - at).total_seconds()


def _looked(last: Looked | None, now: datetime) -> dict[str, Any]:
    if last is None:
        return {"age_s": None, "good": False}
    return {"age_s": _seconds(now, last.at), "good": last.good}


def _database(house: DoctoredHouse) -> Finding:
    with house.store.database.reading() as connection:
        revision = migrate.revision_of(connection)
        durable, level = durability(connection)
    if not house.store.database.sound():
        words = say("{name} has damaged pages", name=house.store.database.name)
        return Finding("database", False, words, say("stop entering; restore the last backup"))
    good = revision == migrate.REVISIONS[-1] and durable
    words = say(
        "{name}, revision {revision}, {level}",
        name=house.store.database.name,
        revision=revision,
        level=level,
    )
    do = "" if good else say("what is acknowledged may be lost: have fsync and synchronous_commit turned on")
    return Finding("database", good, words, do)


def _chain(found: Verification) -> Finding:
    if found.whole:
        words = say(
            "{entries} entries and {batches} batches of readings are whole",
            entries=found.entries,
            batches=found.readings_checked,
        )
        return Finding("journal", True, words)
    return Finding("journal", False, found.faults[0].words, say("stop entering; restore the last backup"))


def _backup(house: DoctoredHouse, head: JournalHead | None) -> Finding:
    files = backups_in(house.settings.backups(house.folder))
    last = house.store.upkeep.last(BACKUP)
    if last is not None and not last.good:
        return Finding("backup", False, say("the last one failed: {why}", why=last.words), last.words)
    if not files and last is None:
        return Finding("backup", False, say("there is no backup yet"), say("run 'saltloft backup'"))
    name = files[-1].path.name if files else last.words if last else ""
    behind = (head.seq if head else 0) - (files[-1].seq if files else 0)
    at = last.at if last is not None else files[-1].at
    # The invented house's clock stands still, so a backup's age says nothing there.
    good = house.demo or house.now() - at < BACKUP_DUE or (bool(files) and behind == 0)
    words = say("the last one, {name}, is {behind} entries behind", name=name, behind=behind)
    return Finding("backup", good, words, "" if good else say("run 'saltloft backup'"))


def _drill(house: DoctoredHouse) -> Finding:
    last = house.store.upkeep.last(DRILL)
    days = house.settings.number("drill_days")
    if last is None:
        good = house.demo or days == 0
        do = "" if good else say("run 'saltloft drill'")
        return Finding("restore drill", good, say("no backup was ever restored to try it"), do)
    good = last.good and (days == 0 or house.now() - last.at < timedelta(days=2 * days))
    words = say("{day}: {words}", day=last.at.astimezone(house.zone).date(), words=last.words)
    return Finding("restore drill", good, words, "" if good else say("run 'saltloft drill'"))


def _head_sent(house: DoctoredHouse) -> Finding:
    place, last = house.settings.text("head_folder"), house.store.upkeep.last(HEAD)
    if not place:
        words = say("the journal's head is sent nowhere: only papers and backups bear it")
        return Finding("head", True, words)
    if last is None or not last.good:
        words = last.words if last else say("it was not sent yet")
        return Finding("head", False, words, say("see that the place named by head_folder can be written to"))
    return Finding("head", True, say("sent {day}", day=last.at.astimezone(house.zone).date()))


def _disk(folder: Path) -> Finding:
    free = shutil.disk_usage(folder).free
    good = free >= LEAST_FREE
    words = say("{free} GB free", free=f"{free / 1024**3:.1f}")
    return Finding("disk", good, words, "" if good else say("make room: entries are refused when it is full"))


def _worker(house: DoctoredHouse) -> Finding:
    counts, last = house.store.work.counts(), house.store.upkeep.last(WORKER)
    failed, waiting = counts.get("failed", 0), counts.get("waiting", 0)
    words = say("{waiting} waiting, {failed} given up", waiting=waiting, failed=failed)
    gone = not house.demo and last is not None and house.now() - last.at > WORKER_GONE
    if gone and last is not None:
        words = say(
            "{words}; it was last seen {when}",
            words=words,
            when=last.at.astimezone(house.zone).isoformat(" ", "minutes"),
        )
        return Finding("worker", False, words, say("start 'saltloft serve'"))
    return Finding("worker", not failed, words, say("look at the worker's log") if failed else "")


def _clocks(house: DoctoredHouse, head: JournalHead | None) -> Finding:
    now = house.now()
    if head is not None and not house.demo and head.recorded_at > now + CLOCK_OFF:
        words = say(
            "the last entry was recorded at {then}, later than now: this computer's clock was moved back",
            then=head.recorded_at.astimezone(house.zone).isoformat(" ", "minutes"),
        )
        return Finding("clocks", False, words, say("set the clock; entries keep their order by number"))
    off = [
        say("{device} {seconds} s", device=device, seconds=round(state.offset_ms / 1000))
        for device, state in sorted(Devices(house.store.database).states().items())
        if state.offset_at is not None and abs(state.offset_ms) > CLOCK_OFF.total_seconds() * 1000
    ]
    for batch in house.store.readings.newest(20):
        seconds = batch.sealed.payload.clock_offset_seconds
        if batch.counts and abs(seconds) > CLOCK_OFF.total_seconds():
            off.append(say("{device} {seconds} s", device=batch.sealed.payload.file_name, seconds=seconds))
    if not off:
        return Finding("clocks", True, say("no phone or logger is known to be off by more than two minutes"))
    words = say("off by: {list}", list=", ".join(off))
    return Finding("clocks", False, words, say("set these clocks; what they sent bears the offset"))


def _series_ages(house: DoctoredHouse) -> dict[str, timedelta | None]:
    now, ages = house.now(), {}
    for name in house.store.readings.series_names():
        room, quantity, *logger = name.split("/")
        last = house.store.readings.latest(room, quantity, now, logger=logger[0] if logger else "")
        ages[name] = now - last[0] if last is not None else None
    return ages


def _series(house: DoctoredHouse) -> Finding:
    late = [
        say("{name} ({hours} h)", name=name, hours=round(age.total_seconds() / 3600)) if age else name
        for name, age in _series_ages(house).items()
        if age is None or age > LATE
    ]
    if not late:
        return Finding("loggers", True, say("every series has a reading of the last six hours"))
    return Finding(
        "loggers",
        False,
        say("no reading of the last six hours: {names}", names=", ".join(late)),
        say("import the loggers' files, or look at the loggers"),
    )


def _live_status(house: DoctoredHouse) -> LiveStatus | None:
    last = house.store.upkeep.last(LIVE)
    return LiveStatus.from_text(last.words) if last is not None else None


def _live(house: DoctoredHouse) -> list[Finding]:
    """How the listening for live values stands; nothing when no broker is set."""
    host = house.settings.text("mqtt_host")
    if not host:
        return []
    found = []
    if not house.settings.flag("mqtt_tls") and host not in OWN_MACHINE:
        found.append(
            Finding(
                "live values in the clear",
                False,
                say("who is on the network reads the broker's password, and can send values in its name"),
                say("set mqtt_tls = true and a port that speaks TLS"),
            )
        )
    status, now = _live_status(house), house.now()
    if status is None:
        words = say("nobody listened yet")
        return [Finding("live values", house.demo, words, say("start 'saltloft serve'")), *found]
    good = status.live(now) and not status.refused
    do = ""
    if not status.live(now):
        do = say("look at the broker, and at the mqtt_ settings")
    elif status.refused:
        do = say("look at the sensors that send what is refused, and at mqtt_topics")
    return [Finding("live values", good, status.words(now, house.zone), do), *found]


def _live_health(house: DoctoredHouse) -> dict[str, Any] | None:
    if not house.settings.text("mqtt_host"):
        return None
    status, now = _live_status(house), house.now()
    if status is None:
        return {"connected": False, "since_s": None, "taken": 0, "waiting": 0, "refused": {}}
    return {
        "connected": status.live(now),
        "since_s": _seconds(now, status.since if status.connected == status.live(now) else status.heard),
        "taken": status.taken,
        "waiting": status.waiting,
        "refused": dict(status.refused),
    }


def _facts(house: DoctoredHouse) -> Finding:
    used = dict.fromkeys(rule_keys(house)) if house.store.set_up.all() else {}
    known = confirmed_keys(house, house.now())
    open_rows = [key for key in used if key not in known]
    if not open_rows:
        return Finding("facts", True, say("every row the house's rules rest on is confirmed"))
    words = say_many(
        "{count} row in use is confirmed by nobody: no release rests on it",
        "{count} rows in use are confirmed by nobody: no release rests on them",
        len(open_rows),
    )
    # Not a fault: a rule whose rows are open gives its outcome and releases nothing.
    return Finding("facts", True, words)


def _people(house: DoctoredHouse) -> Finding:
    people = house.store.people.all()
    signers = [person.person for person in people if person.role == "quality"]
    words = say_many(
        "{count} person, {signers} may sign lots out",
        "{count} people, {signers} may sign lots out",
        len(people),
        signers=len(signers),
    )
    return Finding("people", bool(signers), words, "" if signers else say("add a person of the role quality"))
