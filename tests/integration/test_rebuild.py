"""The reading tables follow from the journal alone: kept up, rebuilt, and from a journal of version 1."""

from __future__ import annotations

import json
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from tests import small_house
from tests.integration.databases import behind
from tests.small_house import (
    MADE_AT,
    NOW,
    correction,
    enter,
    flow_of_each,
    lot_made,
    one_of_each,
    stored,
    weighing,
    with_lot,
)

from saltloft.house import House
from saltloft.jobs import keep
from saltloft.plant.entries import KINDS
from saltloft.plant.lots import LotMoved
from saltloft.store import projection

pytestmark = pytest.mark.usefixtures("either_database")

# What each kept journal does not hold: kinds a person does not enter, and kinds that came after it.
NOT_ENTERED = frozenset({"readings.sealed/1", "readings.voided/1", "lot.released/1", "lot.dispatched/1"})
LATER = frozenset({"product.ready/1", "piece.measured/1", "lot.analysed/1", "lot.pressed_and_cut/2"})
FLOW = frozenset(
    {
        "party.added/1", "party.name_erased/1", "material.received/2", "material.counted/1",
        "material.wasted/1",
        "lot.split/1", "lots.merged/1", "rack.moved/1", "piece.rehung/1", "lot.sliced/1", "lot.sampled/1",
        "lot.wasted/1", "counter.opened/1", "pack.made/1", "order.placed/1", "order.ended/1",
        "shipment.sent/1",
        "goods.returned/1", "ham.salted/2", "recall.drilled/1", "product.numbered/1",
    }
)  # fmt: skip
WIRE = frozenset({"device.revoked/1", "token.issued/1", "offline.entered/1", "tare.weighed/1"})
SHAPED = frozenset({"product.defined/2"})
EARLIER = frozenset({"lot.pressed_and_cut/1", "material.received/1", "ham.salted/1", "product.defined/1"})
KEPT = {
    "kept_journal_1.json": NOT_ENTERED | LATER | FLOW | WIRE | SHAPED,
    "kept_journal_2.json": NOT_ENTERED | {"lot.pressed_and_cut/1"} | FLOW | WIRE | SHAPED,
    "kept_journal_3.json": NOT_ENTERED | EARLIER,
}


def rows(house: House) -> dict[str, list[tuple[Any, ...]]]:
    """Every row of every reading table."""
    with house.store.database.reading() as connection:
        return projection.rows(connection)


def test_kept_up_and_rebuilt_are_identical(tmp_path: Path) -> None:
    """After one entry of each kind, corrections and strikes, a rebuild gives row for row the same."""
    house = with_lot(tmp_path / "house")
    one_of_each(house)
    flow_of_each(house)
    moved = stored(house, LotMoved("AL-0310", "H1"), at=MADE_AT + timedelta(days=9))[0]
    stored(house, lot_made("AL-0311"), weighing("1.0", lot="AL-0311"))
    enter(house, correction(moved.entry_id, None))
    before = rows(house)
    assert {name: len(found) > 0 for name, found in before.items() if name != "batch_now"} == {
        "built": True, "lot_now": True, "lot_room": True, "lot_link": True, "node_now": True,
    }  # fmt: skip
    assert keep.rebuild(house) == keep.Rebuilt(subjects=projection_count(house), same=True)
    assert rows(house) == before


def projection_count(house: House) -> int:
    """Lots with entries, and slices."""
    return len(house.store.lots.names()) + len(house.store.slicings.all())


def test_a_damaged_reading_table_is_seen_and_put_right(tmp_path: Path) -> None:
    """A row changed behind our back makes the rebuild say so, and reads right afterwards."""
    folder = tmp_path / "house"
    with_lot(folder).close()
    with behind(folder) as raw:
        raw.execute("UPDATE lot_now SET room = 'X'")
    with House.open(folder, environment={}) as house:
        assert not keep.rebuild(house).same
        assert house.store.lots.summaries()[0].room == "D2"


def test_tables_of_another_version_are_built_anew_when_opened(tmp_path: Path) -> None:
    """An older program's reading tables, even missing columns, are dropped and built from the journal."""
    folder = tmp_path / "house"
    house = with_lot(folder)
    before = rows(house)
    house.close()
    with behind(folder) as raw:
        raw.execute("UPDATE built SET version = '0'")
        raw.execute("ALTER TABLE lot_now DROP COLUMN state")
    with House.open(folder, environment={}) as again:
        assert rows(again) == before


@pytest.mark.parametrize("name", sorted(KEPT))
def test_a_kept_journal_rebuilds(tmp_path: Path, name: str) -> None:
    """Rows kept in this folder since they were first written: never rewrite them; they must always read.

    They hold every kind of their time that a person enters; expected rows were kept with them.
    """
    kept = json.loads((Path(__file__).parent / name).read_text(encoding="utf-8"))
    folder = tmp_path / "house"
    url = small_house.new_database()
    House.create(folder, "Kept", "Europe/Dublin", set_up=False, database_url=url, clock=lambda: NOW).close()
    with behind(folder) as raw:
        for row in kept["journal"]:
            row[4] = row[4].encode()
            raw.execute(f"INSERT INTO journal VALUES ({', '.join('?' * 11)})", tuple(row))
    with House.open(folder, environment={}) as house:
        assert house.store.verify().whole
        house.store.rebuild()
        found = {name: [list(row) for row in table] for name, table in rows(house).items() if name != "built"}
        kinds = {entry.kind for entry in house.store.entries(limit=1000)}
        assert len(house.store.lots.get("AL-0310").history) == kept["history"]
    for which, table in kept["tables"].items():
        # Columns and links that came later stand behind and between those of then.
        width = len(table[0]) if table else 0
        lots = {row[0] for row in table}
        assert [row[:width] for row in found[which] if row[0] in lots] == table, which
    assert set(KINDS) - KEPT[name] <= kinds
