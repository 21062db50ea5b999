"""The journal on a real database: once, gapless, never changed, in the author's knowledge."""

from __future__ import annotations

import hashlib
import subprocess
import threading
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from sqlalchemy import Connection
from tests.integration.databases import behind
from tests.small_house import BY, MADE_AT, NOW, draft, enter, make_house, set_up, stored, weighing, with_lot

from saltloft.foundation.errors import StoreError
from saltloft.jobs import record
from saltloft.plant.lots import LotHung, LotMoved
from saltloft.plant.stated import Stamp
from saltloft.store import journal
from saltloft.store.journal import NewEntry

pytestmark = pytest.mark.usefixtures("either_database")


def test_resent_twice_is_recorded_once(tmp_path: Path) -> None:
    """The same id with the same bytes is harmless, in one call or another, and answered with its number."""
    house = with_lot(tmp_path / "house")
    once = draft(weighing("1.05"))
    first = record.enter(house, BY, [once, once])
    again = record.enter(house, BY, [once])
    assert [receipt.status for receipt in (*first, *again)] == ["stored", "already", "already"]
    assert {receipt.seq for receipt in (*first, *again)} == {first[0].seq}
    assert len(house.store.lots.get("AL-0310").weighings) == 1


def test_the_same_id_with_other_bytes_is_refused(tmp_path: Path) -> None:
    """An id stands for one entry; both sides are shown."""
    house = with_lot(tmp_path / "house")
    once = draft(weighing("1.05"))
    record.enter(house, BY, [once])
    other = record.enter(house, BY, [replace(once, payload=weighing("1.04"))])[0]
    assert other.status == "refused"
    assert "already bears this id" in other.words
    assert "1.05" in other.words
    assert "1.04" in other.words
    assert house.store.lots.get("AL-0310").weighings[0].payload.mass.number == "1.05"


def test_an_entry_on_something_its_author_had_not_seen_is_refused(tmp_path: Path) -> None:
    """Two people move one lot: the second, who looked before, is shown what the first stated."""
    house = with_lot(tmp_path / "house")
    seen = house.store.lots.get("AL-0310").last_seq
    maren, ilo = (Stamp(person, "tablet", NOW) for person in ("maren", "ilo"))
    first = record.enter(house, maren, [draft(LotMoved("AL-0310", "F2"), seen=seen)])[0]
    own = record.enter(house, maren, [draft(LotMoved("AL-0310", "D2"), seen=seen)])[0]
    second = record.enter(house, ilo, [draft(LotMoved("AL-0310", "H1"), seen=seen)])[0]
    assert (first.status, own.status) == ("stored", "stored")
    assert second.status == "refused"
    assert "F2" in second.words
    assert "H1" in second.words
    assert house.store.lots.get("AL-0310").room == "D2"


def test_two_clashing_entries_in_one_call(tmp_path: Path) -> None:
    """The second sees the first although neither was committed before."""
    house = with_lot(tmp_path / "house")
    seen = house.store.lots.get("AL-0310").last_seq
    drafts = [
        draft(LotMoved("AL-0310", "F2"), seen=seen, person="maren"),
        draft(LotMoved("AL-0310", "H1"), seen=seen, person="ilo"),
    ]
    assert [receipt.status for receipt in record.enter(house, BY, drafts)] == ["stored", "refused"]


def test_the_hash_is_what_the_documentation_says(tmp_path: Path) -> None:
    """Recomputed from the database by its own driver and coreutils' sha256sum, without our code."""
    house = with_lot(tmp_path / "house")
    house.close()
    with behind(tmp_path / "house") as raw:
        rows = raw.execute(
            "SELECT seq, id, kind, subject, happened_at, recorded_at, person, device, previous_hash, body,"
            " hash FROM journal ORDER BY seq"
        ).fetchall()
    previous = "0" * 64
    for row in rows[-3:]:
        parts = [
            b"saltloft-journal/1",
            *(part if isinstance(part, bytes) else str(part).encode() for part in row[:-1]),
        ]
        text = b"".join(b"%d:%s," % (len(part), part) for part in parts)
        summed = subprocess.run(["sha256sum"], input=text, capture_output=True, check=True).stdout.split()[0]
        assert summed.decode() == row[-1]
    for row in rows:
        assert row[8] == previous
        previous = row[-1]
    assert [row[0] for row in rows] == list(range(1, len(rows) + 1))
    assert hashlib.sha256(b"abc").hexdigest().startswith("ba7816bf")  # FIPS 180-2, appendix B.1


def test_the_database_itself_refuses_changes(tmp_path: Path) -> None:
    """An UPDATE or DELETE of a journal row fails in the database, whoever sends it."""
    house = with_lot(tmp_path / "house")
    house.close()
    with behind(tmp_path / "house") as raw:
        for statement in ("UPDATE journal SET person = 'x'", "DELETE FROM journal"):
            with pytest.raises(raw.error, match="never changed"):
                raw.execute(statement)
            raw.raw.rollback()


def test_twenty_writers_share_commits_and_lose_nothing(tmp_path: Path) -> None:
    """Entries that wait for each other are written together, each acknowledged, seq without a gap."""
    house = with_lot(tmp_path / "house")
    before = house.store.head()
    assert before is not None
    commits: list[int] = []
    from sqlalchemy import event

    event.listen(house.store.database.engine, "commit", lambda connection: commits.append(1))
    statuses: list[str] = []

    def work(number: int) -> None:
        for step in range(5):
            at = MADE_AT + timedelta(minutes=number * 10 + step)
            statuses.append(enter(house, weighing("1.00", tag=str(number)), at=at)[0].status)

    threads = [threading.Thread(target=work, args=(number,)) for number in range(20)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    after = house.store.head()
    assert after is not None
    assert statuses == ["stored"] * 100
    assert after.seq - before.seq == 100
    assert house.store.verify().whole
    assert len(commits) < 2 * 100  # every entry alone would need a commit of its own, and a reading one


def test_work_that_fails_leaves_nothing_and_hurts_nobody(tmp_path: Path) -> None:
    """Of works that share a commit, only the one that raised is undone."""
    house = with_lot(tmp_path / "house")
    entry = NewEntry("test-id-0001", "lot.hung/1", "X", b"{}", NOW, NOW, "ilo", "office")

    def fails(connection: Connection) -> None:
        journal.append(connection, [entry])
        raise StoreError("on purpose")

    with pytest.raises(StoreError, match="on purpose"):
        house.store.write(fails)
    assert house.store.entry("test-id-0001") is None
    assert enter(house, weighing("1.05"))[0].status == "stored"
    assert house.store.verify().whole


def test_a_lot_mid_call_and_names_defined_in_the_same_call(tmp_path: Path) -> None:
    """A long list of entries, each resting on the ones before, goes in with one call."""
    house = make_house(tmp_path / "house")
    set_up(house)
    from tests.small_house import lot_made

    receipts = enter(house, lot_made("AL-0401"), LotHung("AL-0401", "F2"), weighing("1.05", lot="AL-0401"))
    assert [receipt.status for receipt in receipts] == ["stored"] * 3
    assert stored(house, weighing("1.04", lot="AL-0401"))[0].seq == receipts[-1].seq + 1
