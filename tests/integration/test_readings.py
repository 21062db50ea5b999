"""Sealed readings: what counts at an instant, what undo does, what cannot be slipped in."""

from __future__ import annotations

import hashlib
import struct
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from tests.integration.databases import behind
from tests.small_house import BY, MADE_AT, NOW, with_lot

from saltloft.foundation.errors import InputError, StoreError, UnknownName
from saltloft.house import House
from saltloft.plant.readings import ReadingsSealed
from saltloft.plant.stated import Stamp
from saltloft.store.readings import Columns, batch_digest

pytestmark = pytest.mark.usefixtures("either_database")

START = int(MADE_AT.timestamp())
BEFORE, AFTER = MADE_AT - timedelta(days=9), MADE_AT + timedelta(days=9)


@pytest.fixture
def house(tmp_path: Path) -> House:
    """A house without readings."""
    return with_lot(tmp_path / "house")


def info(batch: str, digest: str = "f" * 64) -> ReadingsSealed:
    """What an import knows of a file."""
    return ReadingsSealed(batch, f"{batch}.csv", digest, 0, "", (), "", "", ("degrees Celsius",))


def columns(first: int, values: list[float], name: str = "D2/temperature_c") -> Columns:
    """One value a minute from minute `first` on."""
    times = START + 60 * np.arange(first, first + len(values), dtype=np.int64)
    return {name: (times, np.array(values))}


def seal(house: House, batch: str, rows: Columns, by: Stamp = BY, digest: str = "f" * 64) -> str:
    """Seal a batch; returns the id of its entry."""
    entry = house.new_id()
    house.store.readings.seal(rows, info(batch, digest), by, entry)
    return entry


def counting(house: House, asof: datetime | None = None) -> list[tuple[int, float]]:
    """(minute, value) of what counts."""
    times, values = house.store.readings.trace("D2", "temperature_c", BEFORE, AFTER, asof=asof)
    return [((int(time) - START) // 60, float(value)) for time, value in zip(times, values, strict=True)]


def test_the_newest_batch_counts_and_a_voided_one_does_not(house: House) -> None:
    """Overlapping batches: at each minute the newest that is not voided; undoing brings the older back."""
    seal(house, "b-1", columns(0, [14.0, 14.1, 14.2]))
    seal(house, "b-2", columns(2, [15.2, 15.3]))
    assert counting(house) == [(0, 14.0), (1, 14.1), (2, 15.2), (3, 15.3)]
    assert house.store.readings.sources("D2", "temperature_c", BEFORE, AFTER) == ("b-1", "b-2")
    house.store.readings.void("b-2", "wrong room", BY, house.new_id())
    assert counting(house) == [(0, 14.0), (1, 14.1), (2, 14.2)]
    assert house.store.readings.sources("D2", "temperature_c", BEFORE, AFTER) == ("b-1",)
    record = house.store.readings.get("b-2")
    assert not record.counts
    assert record.voided is not None
    assert record.voided.payload.reason == "wrong room"
    with pytest.raises(StoreError, match="undone already"):
        house.store.readings.void("b-2", "again", BY, house.new_id())
    with pytest.raises(UnknownName, match="b-1"):
        house.store.readings.void("b-9", "x", BY, house.new_id())


def test_what_was_imported_or_undone_later_is_unknown_before(house: House) -> None:
    """A forecast as of a day sees the batches of that day only."""
    monday, friday = MADE_AT, MADE_AT + timedelta(days=4)
    seal(house, "b-1", columns(0, [14.0]), Stamp("administrator", "console", monday))
    seal(house, "b-2", columns(0, [15.0]), Stamp("administrator", "console", friday))
    house.store.readings.void("b-2", "x", Stamp("administrator", "console", NOW), house.new_id())
    assert counting(house, monday) == [(0, 14.0)]
    assert counting(house, friday) == [(0, 15.0)]
    assert counting(house) == [(0, 14.0)]


def test_sealing_again_under_the_same_id_changes_nothing(house: House) -> None:
    """An import that is resent after a lost answer adds no row and no entry."""
    rows, entry = columns(0, [14.0, 14.1]), house.new_id()
    first = house.store.readings.seal(rows, info("b-1"), BY, entry)
    assert house.store.readings.seal(rows, info("b-1"), BY, entry) == first
    assert first.sealed.payload.rows == 2
    with pytest.raises(StoreError, match="already bears this id"):
        house.store.readings.seal(columns(0, [14.0, 14.2]), info("b-1"), BY, entry)
    assert house.store.verify().readings_checked == 1


def test_a_batch_name_is_never_used_for_other_rows(house: House) -> None:
    """A second seal of a batch under another id is refused, and nothing is written."""
    seal(house, "b-1", columns(0, [14.0]))
    before = house.store.head()
    with pytest.raises(StoreError, match="sealed already"):
        house.store.readings.seal(columns(5, [20.0]), info("b-1"), BY, house.new_id())
    assert house.store.head() == before
    assert house.store.verify().whole


def test_a_file_is_found_again_by_its_digest(house: House) -> None:
    """The import asks before storing: the same bytes were here; once undone they may come again."""
    seal(house, "b-1", columns(0, [14.0]), digest="a" * 64)
    found = house.store.readings.by_file("a" * 64)
    assert found is not None
    assert found.batch == "b-1"
    assert house.store.readings.by_file("b" * 64) is None
    house.store.readings.void("b-1", "x", BY, house.new_id())
    assert house.store.readings.by_file("a" * 64) is None


@pytest.mark.parametrize(
    ("times", "values", "words"),
    [
        ([], [], "no reading"),
        ([1, 1], [1.0, 2.0], "comes twice"),
        ([1, 2], [1.0], "differ in number"),
        ([1, 2], [1.0, float("nan")], "not a number"),
        ([1, 2], [1.0, float("inf")], "not a number"),
    ],
)
def test_a_batch_that_cannot_be_sealed(
    house: House, times: list[int], values: list[float], words: str
) -> None:
    """Empty, a moment twice, unequal columns, values that are no numbers: refused, nothing written."""
    before = house.store.head()
    rows = {"D2/rh_pct": (np.array(times, dtype=np.int64), np.array(values))}
    with pytest.raises(InputError, match=words):
        house.store.readings.seal(rows, info("b-1"), BY, house.new_id())
    assert house.store.head() == before


def test_the_latest_reading(house: House) -> None:
    """At or before a moment, of the room's own logger or a second one."""
    seal(house, "b-1", columns(0, [14.0, 14.1]))
    seal(house, "b-2", columns(0, [13.5], "D2/temperature_c/D2-b"))
    readings = house.store.readings
    assert readings.latest("D2", "temperature_c", MADE_AT) == (MADE_AT, 14.0, "b-1")
    assert readings.latest("D2", "temperature_c", NOW) == (MADE_AT + timedelta(minutes=1), 14.1, "b-1")
    assert readings.latest("D2", "temperature_c", NOW, logger="D2-b") == (MADE_AT, 13.5, "b-2")
    assert readings.latest("D2", "temperature_c", MADE_AT - timedelta(seconds=1)) is None
    assert readings.series_names() == ["D2/temperature_c", "D2/temperature_c/D2-b"]


def test_the_digest_is_what_the_documentation_says() -> None:
    """SHA-256 over name, count, int64 times and float64 values, written with struct."""
    rows = columns(0, [14.0, 14.5])
    text = b"D2/temperature_c:2\n" + struct.pack("<2q", START, START + 60) + struct.pack("<2d", 14.0, 14.5)
    assert batch_digest(rows) == hashlib.sha256(text).hexdigest()


@pytest.mark.parametrize(
    "deed",
    [
        "UPDATE reading SET value = value + 0.1 WHERE at = (SELECT min(at) FROM reading)",
        "DELETE FROM reading WHERE at = (SELECT min(at) FROM reading)",
        "INSERT INTO reading SELECT series, at + 1, batch, value FROM reading LIMIT 1",
        "INSERT INTO reading SELECT series, at + 99999999, batch, value FROM reading LIMIT 1",
        "INSERT INTO reading SELECT series + 7, at, batch, value FROM reading LIMIT 1",
        "INSERT INTO batch_number VALUES (9, 'b-9')",
    ],
)
def test_a_changed_deleted_or_added_reading_is_found(house: House, tmp_path: Path, deed: str) -> None:
    """verify counts and hashes every sealed batch again, and misses no row that was slipped in."""
    seal(house, "b-1", columns(0, [14.0, 14.1, 14.2]))
    assert house.store.verify().whole
    with behind(tmp_path / "house") as raw:
        raw.free()
        raw.execute(deed)
    found = house.store.verify()
    assert not found.whole
    assert "reading" in found.faults[0].words


def test_rows_come_back_as_they_were_sealed(house: House) -> None:
    """In any order given, bit for bit, by series."""
    rng = np.random.default_rng(7)
    values = rng.normal(14, 3, 1000)
    order = rng.permutation(1000)
    name = "D2/temperature_c"
    given = columns(0, values.tolist())
    seal(house, "b-1", {name: (given[name][0][order], given[name][1][order])})
    found = house.store.readings.rows_of("b-1")
    np.testing.assert_array_equal(found[name][0], given[name][0])
    np.testing.assert_array_equal(found[name][1], values)
    with pytest.raises(UnknownName):
        house.store.readings.rows_of("b-2")
    assert datetime.fromtimestamp(START, UTC) == MADE_AT
