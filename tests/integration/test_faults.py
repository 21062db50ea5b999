"""Faults, really done: power cut, full disk, clock moved back, damaged page, the server gone midway."""

from __future__ import annotations

import hashlib
import json
import random
import shutil
import subprocess
import sys
import threading
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import text
from tests.integration.databases import Server
from tests.integration.power_cut import Acknowledged, entries_after, frame_borders, left_by_the_cut
from tests.small_house import (
    BY,
    MADE_AT,
    NOW,
    draft,
    enter,
    lot_made,
    one_of_each,
    set_up,
    stored,
    weighing,
    with_lot,
)

from saltloft.foundation.errors import StoreError
from saltloft.foundation.units import mass
from saltloft.house import House
from saltloft.jobs import doctor, keep, record
from saltloft.plant.lots import LotMoved
from saltloft.plant.readings import CheckDone
from saltloft.plant.stock import MaterialReceived
from saltloft.store import journal, writing
from saltloft.store.database import Database
from saltloft.store.journal import NewEntry
from saltloft.store.open import Store

TORN = 200


@pytest.fixture(scope="module")
def cut(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, bytes, list[Acknowledged]]:
    """A house's main file, its -wal, and what was acknowledged at which length of it."""
    folder = tmp_path_factory.mktemp("cut") / "house"
    house = with_lot(folder)
    with house.store.database.engine.connect() as connection:
        connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
    wal = folder / "house.db-wal"
    said = []
    for step in range(8):
        more = [LotMoved("AL-0310", "F2" if step % 2 else "D2")] if step in (2, 5) else []
        receipts = stored(house, weighing("1.00", tag="7"), *more, at=MADE_AT + timedelta(minutes=step))
        said.append(Acknowledged(receipts[-1].seq, wal.stat().st_size))
    copy = folder.parent / "main.db"
    shutil.copy(folder / "house.db", copy)
    content = wal.read_bytes()
    house.close()
    return copy, content, said


def must_be_there(said: list[Acknowledged], length: int) -> int:
    """The last entry acknowledged before the -wal was longer than this."""
    return max((one.seq for one in said if one.wal_bytes <= length), default=0)


def test_a_power_cut_at_every_frame_border(
    cut: tuple[Path, bytes, list[Acknowledged]], tmp_path: Path
) -> None:
    """The -wal ends after any of its frames: all that was acknowledged by then is there, nothing half."""
    main, wal, said = cut
    borders = frame_borders(wal)
    assert len(borders) > 40
    for number, border in enumerate(borders):
        found = entries_after(left_by_the_cut(main, wal[:border], tmp_path / str(number)))
        assert found >= must_be_there(said, border), (number, border)
        shutil.rmtree(tmp_path / str(number))
    assert entries_after(left_by_the_cut(main, wal, tmp_path / "all")) == said[-1].seq


def test_a_power_cut_at_any_byte_and_torn_pages(
    cut: tuple[Path, bytes, list[Acknowledged]], tmp_path: Path
) -> None:
    """200 random bytes: half of them the end of the file, half the start of rubbish, as torn writes leave."""
    main, wal, said = cut
    draw = random.Random(4)  # the seed of places and rubbish
    for number in range(TORN):
        place = draw.randrange(len(wal))
        left = wal[:place]
        if number % 2:
            rubbish = draw.randbytes(min(draw.choice((1, 8, 512, 4096)), len(wal) - place))
            left = wal[:place] + rubbish + wal[place + len(rubbish) :]
        found = entries_after(left_by_the_cut(main, left, tmp_path / str(number)))
        assert found >= must_be_there(said, place), (number, place)
        shutil.rmtree(tmp_path / str(number))


def small_disk(folder: Path) -> bool:
    """A file system of 3 MB of its own, where this may be mounted."""
    folder.mkdir()
    words = ["mount", "-t", "tmpfs", "-o", "size=3m", "tmpfs", str(folder)]
    return subprocess.run(words, capture_output=True, check=False).returncode == 0


def write_until_full(folder: Path, most: int) -> dict[str, Any]:
    """What `full_disk_writer` saw."""
    words = [sys.executable, "-m", "tests.integration.full_disk_writer", str(folder), str(most)]
    done = subprocess.run(words, capture_output=True, text=True, check=True)
    return dict(json.loads(done.stdout))


def test_a_full_disk_refuses_and_loses_nothing(tmp_path: Path) -> None:
    """A process that may write no more: the entry is refused with words, and taken once there is room."""
    folder = tmp_path / "house"
    with_lot(folder).close()
    seen = write_until_full(folder, (folder / "house.db").stat().st_size + 300_000)
    assert len(seen["acknowledged"]) > 10
    assert "room" in seen["words"] or "free disk space" in seen["words"]
    assert seen["after"] == "stored"
    nothing_lost(folder, [*seen["acknowledged"], seen["refused"]])


def test_a_full_file_system_refuses_and_loses_nothing(tmp_path: Path) -> None:
    """The same on a full file system of 3 MB; where none may be mounted, on a bound of 3 MB for each file."""
    disk = tmp_path / "disk"
    mounted = small_disk(disk)
    try:
        with_lot(disk / "house").close()
        seen = write_until_full(disk / "house", 0 if mounted else 3 * 1024**2)
        assert len(seen["acknowledged"]) > 10
        assert "room" in seen["words"] or "free disk space" in seen["words"]
        shutil.copytree(disk / "house", tmp_path / "rescued")
    finally:
        if mounted:
            subprocess.run(["umount", "-l", str(disk)], check=True)
    nothing_lost(tmp_path / "rescued", seen["acknowledged"])


def nothing_lost(folder: Path, acknowledged: list[str]) -> None:
    """The house opens whole, holds every one of them, and takes the next entry."""
    with House.open(folder, clock=lambda: NOW, environment={}) as house:
        assert house.store.verify().whole
        there = {entry.id for entry in house.store.entries(limit=100_000)}
        assert set(acknowledged) <= there
        assert keep.rebuild(house).same
        stored(house, weighing("1.00", tag="7"), at=MADE_AT + timedelta(days=1))


@pytest.mark.usefixtures("each_database")
def test_a_clock_moved_back_keeps_the_order_and_is_named(tmp_path: Path) -> None:
    """Entries go on with the next number; what is ahead of the clock is refused; the doctor says why."""
    folder = tmp_path / "house"
    house = with_lot(folder)
    stored(house, weighing("1.05"), at=NOW)
    last = house.store.head()
    house.close()
    assert last is not None
    yesterday = NOW - timedelta(days=1)
    with House.open(folder, clock=lambda: yesterday, environment={}) as back:
        by = replace(BY, recorded_at=yesterday)
        receipt = record.enter(back, by, [draft(weighing("1.04"), yesterday)])[0]
        assert (receipt.status, receipt.seq) == ("stored", last.seq + 1)
        ahead = record.enter(back, by, [draft(weighing("1.04"), NOW)])[0]
        assert ahead.status == "refused"
        assert "future" in ahead.words
        assert back.store.verify().whole
    with House.open(folder, clock=lambda: NOW - timedelta(days=9), environment={}) as further:
        named = {one.name: one for one in doctor.doctor(further)}
    assert not named["clocks"].good
    assert "moved back" in named["clocks"].words


def test_a_damaged_page_is_refused_said_and_restored_from_the_backup(tmp_path: Path) -> None:
    """Rubbish over any one page: opening or verifying says so; the backup of before comes back whole."""
    folder = tmp_path / "house"
    house = with_lot(folder)
    one_of_each(house)
    packed = keep.backup(house)
    house.close()
    content = (folder / "house.db").read_bytes()
    draw = random.Random(7)
    unseen = 0
    for number in range(1, len(content) // 4096):
        damaged = tmp_path / f"d{number}"
        shutil.copytree(folder, damaged)
        place = number * 4096
        bytes_now = content[:place] + draw.randbytes(4096) + content[place + 4096 :]
        (damaged / "house.db").write_bytes(bytes_now)
        unseen += not seen_as_damaged(damaged)
        shutil.rmtree(damaged)
    # Only pages that hold neither journal nor readings: tables built from them, or empty ones.
    assert unseen < 0.8 * len(content) / 4096
    restored = keep.restore(packed.path, tmp_path / "back")
    with House.open(restored.path, clock=lambda: NOW, environment={}) as again:
        assert again.store.head() == packed.head
        stored(again, weighing("1.00"), at=MADE_AT)


def seen_as_damaged(folder: Path) -> bool:
    """Whether opening and looking at everything says that the file is damaged."""
    try:
        with House.open(folder, clock=lambda: NOW, environment={}) as house:
            return not (house.store.verify().whole and house.store.database.sound())
    except StoreError as error:
        return "restore the last backup" in error.message


def test_postgresql_restarted_in_the_middle(tmp_path: Path, postgresql: Server) -> None:
    """The server dies twice while four phones enter and send again: each entry once, the chain whole."""
    house = make_house_on(postgresql, tmp_path / "house")
    statuses: list[str] = []
    failures: list[str] = []
    stop = threading.Event()

    def phone(number: int) -> None:
        step = 0
        while not stop.is_set():
            step += 1
            one = draft(weighing("1.00", tag=str(number)), MADE_AT + timedelta(seconds=step))
            while True:
                try:
                    statuses.append(record.enter(house, BY, [one])[0].status)
                    break
                except StoreError as error:
                    failures.append(error.message)

    threads = [threading.Thread(target=phone, args=(number,)) for number in range(4)]
    for thread in threads:
        thread.start()
    for _ in range(2):
        threading.Event().wait(0.4)
        postgresql.restart()
    threading.Event().wait(0.4)
    stop.set()
    for thread in threads:
        thread.join()
    assert failures
    assert all("does not answer" in words and "send it again" in words for words in failures), failures[:3]
    assert set(statuses) <= {"stored", "already"}
    weighed = house.store.kind_counts()["piece.weighed/1"]
    assert weighed == len(statuses) > 40
    assert house.store.verify().whole
    assert keep.rebuild(house).same
    house.close()


def make_house_on(server: Server, folder: Path) -> House:
    """A house with a lot on a database of the server."""
    house = House.create(
        folder,
        "Test house",
        "Europe/Dublin",
        markets=("us",),
        database_url=server.migrated(),
        clock=lambda: NOW,
    )
    set_up(house)
    stored(house, lot_made(), LotMoved("AL-0310", "D2"))
    return house


def test_every_postgresql_connection_waits_for_the_disk(tmp_path: Path, postgresql: Server) -> None:
    """synchronous_commit and fsync are on for every connection, also where the server's default is off."""
    url = postgresql.empty()
    name = url.partition("?")[0].rpartition("/")[2]
    postgresql.sql(f"ALTER DATABASE {name} SET synchronous_commit = off")
    database = Database(url)
    connections = [database.engine.connect() for _ in range(12)]
    seen = {
        tuple(one.execute(text(f"SHOW {what}")).scalar() for what in ("synchronous_commit", "fsync"))
        for one in connections
    }
    for one in connections:
        one.close()
    database.close()
    assert seen == {("on", "on")}


@pytest.mark.usefixtures("each_database")
def test_nul_and_huge_masses_are_refused_with_words_and_large_ones_kept(tmp_path: Path) -> None:
    """Text with NUL, in a payload or a device's name; 200 t; but 99 t, which need 64 bits, are kept."""
    house = with_lot(tmp_path / "house")
    head = house.store.head()
    assert "NUL" in enter(house, CheckDone("round\0", 1, room="D2"))[0].words
    assert "NUL" in enter(house, weighing("1.05"), by=replace(BY, device="tab\0let"))[0].words
    assert house.store.head() == head
    huge = MaterialReceived("LT-8", "lean trim", "s-01", mass("200000", "kg"))
    assert "100 t" in enter(house, huge)[0].words
    large = MaterialReceived("LT-9", "lean trim", "s-01", mass("99000", "kg"))
    assert stored(house, large)
    assert house.store.stock.get("LT-9").received.payload.mass.mg == 99_000_000_000 > 2**32
    assert keep.rebuild(house).same


def test_a_journal_is_the_same_bytes_on_both_databases(both_databases: Store) -> None:
    """The head is the one computed here from docs/records.md alone, whichever database keeps the entries."""
    bodies = ('{"ok":1,"what":"é"}', '{"ok":1,"what":"\\"\\\\\\u0001"}', "{}")
    entries = [
        NewEntry(f"same-{number:04d}", "check.done/1", "D2", body.encode(), MADE_AT, NOW, "ilo", "büro")
        for number, body in enumerate(bodies)
    ]
    written = both_databases.write(lambda connection: writing.append(connection, entries))
    with both_databases.database.reading() as connection:
        assert list(journal.walk(connection)) == written
    previous = "0" * 64
    moments = ("2026-03-10T12:30:00.000Z", "2026-11-03T06:00:00.000Z")
    for number, body in enumerate(bodies):
        parts = (
            "saltloft-journal/1", str(number + 1), f"same-{number:04d}", "check.done/1", "D2", *moments,
            "ilo", "büro", previous, body,
        )  # fmt: skip
        summed = hashlib.sha256()
        for part in (one.encode() for one in parts):
            summed.update(f"{len(part)}:".encode() + part + b",")
        previous = summed.hexdigest()
    assert written[-1].hash == previous
