"""What an entry needs is kept from one to the next: a crowded lot is not read again, nothing is stale."""

from __future__ import annotations

import contextvars
import threading
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import timedelta
from decimal import Decimal
from pathlib import Path

import pytest
from sqlalchemy import Connection, event
from tests.small_house import MADE_AT, NOW, correction, enter, lot_made, stored, weighing, with_lot

from saltloft.foundation.errors import StoreError
from saltloft.foundation.units import mass
from saltloft.house import House
from saltloft.plant import orders, parties
from saltloft.plant.flow import LotsMerged, LotSplit, SplitPart
from saltloft.plant.lots import LotHeld, LotMoved, LotYielded
from saltloft.plant.readings import Corrected
from saltloft.store import journal, known, writing
from saltloft.store.journal import NewEntry

pytestmark = pytest.mark.usefixtures("either_database")
MINUTE = timedelta(minutes=1)


def rows_read(house: House, *payloads: object, at_minute: int) -> int:
    """Rows of the journal that an entry made the database give."""
    read = 0

    def count(connection: object, cursor: object, statement: str, *_: object) -> None:
        nonlocal read
        if "FROM journal" in statement and statement.startswith("SELECT journal."):
            counts = f"SELECT count(*) FROM ({statement}) AS rows"
            with house.store.database.engine.connect() as other:
                parameters = _[0]
                read += other.exec_driver_sql(counts, parameters).scalar() or 0

    event.listen(house.store.database.engine, "before_cursor_execute", count)
    try:
        stored(house, *payloads, at=MADE_AT + at_minute * MINUTE)
    finally:
        event.remove(house.store.database.engine, "before_cursor_execute", count)
    return read


def test_an_entry_on_a_crowded_lot_reads_none_of_its_weighings(tmp_path: Path) -> None:
    """Of 400 weighings, the next reads the head and its own id; a move reads what is no measurement."""
    house = with_lot(tmp_path / "house")
    for start in range(0, 400, 100):
        lines = [weighing("1.00", tag=str(number)) for number in range(start, start + 100)]
        stored(house, *lines, at=MADE_AT + MINUTE)
    assert rows_read(house, weighing("1.00", tag="7"), at_minute=2) <= 2
    assert rows_read(house, LotMoved("AL-0310", "F2"), at_minute=3) <= 20


def test_what_another_process_stated_is_known_at_once(tmp_path: Path) -> None:
    """Two programs on one house: a weight, a hold and a room that one stated count in the other."""
    house = with_lot(tmp_path / "house")
    stored(house, weighing("1.05"), at=MADE_AT + MINUTE)
    with House.open(tmp_path / "house", clock=lambda: NOW, environment={}) as other:
        stored(other, weighing("1.04"), at=MADE_AT + 2 * MINUTE)
        assert "1.04" in enter(house, weighing("9.5"), at=MADE_AT + 3 * MINUTE)[0].words
        stored(other, LotHeld("AL-0310", "meter A failed"), at=MADE_AT + 4 * MINUTE)
        stored(house, weighing("1.03"), at=MADE_AT + 5 * MINUTE)
        stored(other, lot_made("AL-0500"), at=MADE_AT + 5 * MINUTE)
        assert enter(house, lot_made("AL-0500"))[0].status == "refused"
    assert house.store.verify().whole


def test_what_another_process_stated_about_the_whole_counts_for_its_parts(tmp_path: Path) -> None:
    """Split and held by one program, a part that the other knew unheld, or not at all, does not leave."""
    house = with_lot(tmp_path / "house")
    stored(house, parties.PartyAdded("cust-1", "customer"))
    parts = tuple(SplitPart(f"AL-0310-{letter}", Decimal(1)) for letter in "AB")
    sent = orders.ShipmentSent("SHIP-1", "cust-1", (orders.ShipmentLine("AL-0310-A", mass("5", "kg")),))
    with House.open(tmp_path / "house", clock=lambda: NOW, environment={}) as other:
        assert "AL-0310-A" in enter(other, weighing("1.00", lot="AL-0310-A"), at=MADE_AT)[0].words
        stored(house, LotSplit("AL-0310", parts), at=MADE_AT + MINUTE)
        stored(other, weighing("1.00", lot="AL-0310-A"), at=MADE_AT + 2 * MINUTE)
        stored(other, LotYielded("AL-0310-A", mass("500", "kg"), "stock"), at=MADE_AT + 3 * MINUTE)
        stored(house, LotHeld("AL-0310", "meter A failed"), at=MADE_AT + 4 * MINUTE)
        receipt = enter(other, sent, at=MADE_AT + 5 * MINUTE)[0]
        assert (receipt.status, "AL-0310-A is on hold" in receipt.words) == ("refused", True), receipt
    assert house.store.verify().whole


def test_what_another_process_merged_or_struck_goes_on_in_neither(tmp_path: Path) -> None:
    """A lot that one program merged, a part whose split it struck out: the other weighs them no more."""
    house = with_lot(tmp_path / "house")
    stored(house, replace(lot_made("AL-0311"), consumed=()), replace(lot_made("AL-0312"), consumed=()))
    parts = (SplitPart("AL-0310-A", Decimal(1)), SplitPart("AL-0310-B", Decimal(2)))
    with House.open(tmp_path / "house", clock=lambda: NOW, environment={}) as other:
        stored(other, weighing("1.00", lot="AL-0311"), at=MADE_AT + MINUTE)
        merged = LotsMerged("AL-M", ("AL-0311", "AL-0312"))
        stored(house, merged, at=MADE_AT + 2 * MINUTE)
        receipt = enter(other, weighing("0.99", lot="AL-0311"), at=MADE_AT + 3 * MINUTE)[0]
        assert (receipt.status, "goes on as AL-M" in receipt.words) == ("refused", True), receipt
        split = stored(house, LotSplit("AL-0310", parts), at=MADE_AT + 4 * MINUTE)[0]
        # Refused for the scale, but the part is known to the other now.
        no_scale = replace(weighing("1.00", lot="AL-0310-A"), instrument="S9")
        assert "S9" in enter(other, no_scale, at=MADE_AT + 5 * MINUTE)[0].words
        part = other.store.known.lot("AL-0310-A")
        assert part is not None
        assert part.exists
        stored(house, Corrected(split.entry_id, "other lot", "lot.split/1"), at=MADE_AT + 6 * MINUTE)
        assert enter(other, weighing("1.00", lot="AL-0310-A"), at=MADE_AT + 7 * MINUTE)[0].status == "refused"
        stored(other, weighing("1.00", lot="AL-0310"), at=MADE_AT + 8 * MINUTE)
    assert house.store.verify().whole


def test_an_entry_that_came_late_counts_when_it_happened(tmp_path: Path) -> None:
    """A weight of yesterday, sent today, does not stand for the last one; a corrected one does no more."""
    house = with_lot(tmp_path / "house")
    stored(house, weighing("1.05"), at=MADE_AT + MINUTE)
    last = stored(house, weighing("1.03"), at=MADE_AT + 9 * MINUTE)[0]
    stored(house, weighing("1.04", kept=1), at=MADE_AT + 5 * MINUTE)
    assert "1.03" in enter(house, weighing("9.0"), at=MADE_AT + 10 * MINUTE)[0].words
    stored(house, correction(last.entry_id, weighing("1.02")), at=MADE_AT + 11 * MINUTE)
    assert "1.02" in enter(house, weighing("9.0"), at=MADE_AT + 12 * MINUTE)[0].words


def test_what_was_never_committed_is_not_known(tmp_path: Path) -> None:
    """A write that fails after its entries were taken in leaves no trace in what the next one knows."""
    house = with_lot(tmp_path / "house")
    stored(house, weighing("1.05"), at=MADE_AT + MINUTE)
    database = house.store.database

    def fail(connection: Connection) -> None:
        raise OSError("the disk went away")

    event.listen(database.engine, "commit", fail)
    with pytest.raises(OSError, match="went away"):
        enter(house, weighing("0.50", kept=1), at=MADE_AT + 2 * MINUTE)
    event.remove(database.engine, "commit", fail)
    assert "1.05" in enter(house, weighing("9.0"), at=MADE_AT + 3 * MINUTE)[0].words
    assert stored(house, weighing("1.04"), at=MADE_AT + 3 * MINUTE)


def test_a_work_that_raises_beside_others_is_not_known(tmp_path: Path) -> None:
    """An entry written by a work of the same group that was undone does not count."""
    house = with_lot(tmp_path / "house")
    stored(house, weighing("1.05"), at=MADE_AT + MINUTE)
    entry = NewEntry(
        "undone-0001", "lot.moved/1", "AL-0310", b'{"lot":"AL-0310","room":"F2"}', NOW, NOW, "ilo", "x"
    )

    def undone(connection: Connection) -> None:
        with house.store.known.during(connection):
            writing.append(connection, [entry])
            raise StoreError("on purpose")

    with pytest.raises(StoreError, match="on purpose"):
        house.store.write(undone)
    assert stored(house, weighing("1.04"), at=MADE_AT + 2 * MINUTE)
    assert house.store.entry("undone-0001") is None


def test_only_so_many_lots_are_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Beyond the bound everything is read again, with the same answers."""
    house = with_lot(tmp_path / "house")
    monkeypatch.setattr(known, "MOST_LOTS", 1)
    stored(house, lot_made("AL-0401"), weighing("1.05"), weighing("1.00", lot="AL-0401"), at=MADE_AT)
    assert "1.05" in enter(house, weighing("9.0"), at=MADE_AT + MINUTE)[0].words


def test_readings_inside_one_another_are_one_and_those_of_other_threads_are_not(tmp_path: Path) -> None:
    """A nested reading sees its outer one's moment; a stream ended by another thread leaves nothing."""
    house = with_lot(tmp_path / "house")
    database = house.store.database
    with database.reading() as outer:
        before = house.store.head()
        others = []
        writer = threading.Thread(target=lambda: others.extend(stored(house, weighing("1.05"), at=MADE_AT)))
        writer.start()
        writer.join()
        with database.reading() as inner:
            assert inner is outer
        assert others[0].status == "stored"
        assert house.store.head() == before
    assert house.store.head() != before

    def stream() -> Iterator[int]:
        with database.reading() as connection:
            for entry in journal.walk(connection):
                yield entry.seq

    seqs = stream()
    with ThreadPoolExecutor(1) as one, ThreadPoolExecutor(1) as two:
        assert one.submit(contextvars.copy_context().run, next, seqs).result() == 1
        assert two.submit(contextvars.copy_context().run, next, seqs).result() == 2
        assert one.submit(house.store.head).result() == house.store.head()
        two.submit(seqs.close).result()
        assert one.submit(house.store.head).result() == house.store.head()
