"""Logger files on their way into a house: once, twice, overlapping, undone, asked."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path

import pytest

from saltloft.foundation.errors import InputError, StoreError, UnknownName
from saltloft.house import House
from saltloft.jobs import record, watch
from saltloft.jobs.watch import Said
from saltloft.plant.instruments import InstrumentDefined
from saltloft.plant.rooms import RoomDefined
from saltloft.plant.stated import Draft, Stamp

NOW = datetime(2026, 11, 3, 18, 0, tzinfo=UTC)
BY = Stamp("administrator", "console", NOW)


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    made = House.create(tmp_path / "house", "Test house", "Europe/Vienna", clock=lambda: NOW)
    payloads = [
        RoomDefined("D1", "drying", 7000, Decimal(400), Decimal(30)),
        RoomDefined("D2", "drying", 7000, Decimal(400), Decimal(30)),
        RoomDefined("K1", "store", 2500, Decimal(120), Decimal(30)),
        InstrumentDefined("L-07", "logger", "0.1", room="D2"),
    ]
    receipts = record.enter(made, BY, [Draft(made.new_id(), payload, NOW) for payload in payloads])
    assert [receipt.status for receipt in receipts] == ["stored"] * 4, receipts
    yield made
    made.close()


def _file(start: datetime, rows: int, first_value: float = 14.0) -> bytes:
    """A wide file of D2, every 5 minutes in Vienna's winter time (UTC+1)."""
    lines = ["Timestamp;Temp (°C);RH (%)"]
    for row in range(rows):
        local = start + timedelta(hours=1, minutes=5 * row)
        value = f"{first_value + row / 10:.1f}".replace(".", ",")
        lines.append(f"{local:%Y-%m-%d %H:%M};{value};{80 + row % 3},0")
    return "\n".join(lines).encode("cp1252")


def _bring(house: House, data: bytes, said: Said | None = None, name: str = "D2.csv") -> watch.FileTaken:
    return watch.import_file(house, BY, name, data, said or Said(room="D2"), entry_id=house.new_id())


def _trace(house: House, room: str = "D2") -> list[tuple[datetime, float]]:
    day = timedelta(days=2)
    times, values = house.store.readings.trace(room, "temperature_c", NOW - day, NOW + day)
    return [
        (datetime.fromtimestamp(int(at), UTC), float(value)) for at, value in zip(times, values, strict=True)
    ]


START = datetime(2026, 11, 3, 8, 0, tzinfo=UTC)


def test_a_file_is_stored_as_one_sealed_batch_in_the_journal(house: House) -> None:
    """Readings stand under ROOM/quantity at UTC moments; the seal carries count, digest and sentences."""
    taken = _bring(house, _file(START, 3))
    assert (taken.status, taken.added) == ("stored", 6)
    assert _trace(house) == [
        (START, 14.0),
        (START + timedelta(minutes=5), 14.1),
        (START + timedelta(minutes=10), 14.2),
    ]
    sealed = house.store.readings.get(taken.batch).sealed.payload
    assert sealed.rows == 6
    assert sealed.series == ("D2/rh_pct", "D2/temperature_c")
    assert (sealed.first_at, sealed.last_at) == ("2026-11-03T08:00:00Z", "2026-11-03T08:10:00Z")
    assert any("decimals have a comma" in sentence for sentence in sealed.understood)


def test_the_same_file_twice_changes_nothing(house: House) -> None:
    """Neither rows nor journal grow, whatever the file is called."""
    first = _bring(house, _file(START, 3))
    head = house.store.head()
    again = _bring(house, _file(START, 3), name="copy of D2.csv")
    assert again.status == "nothing new"
    assert first.batch in again.words
    assert house.store.head() == head


def test_the_same_readings_in_another_layout_change_nothing(house: House) -> None:
    """Identity is series, moment and value, not the bytes of a file."""
    _bring(house, _file(START, 2))
    other = b"device,timestamp,channel,value,unit\n"
    other += b"L-07,2026-11-03T08:00:00Z,temp,57.2,F\nL-07,2026-11-03T08:05:00Z,rh,81,%\n"
    taken = _bring(house, other, Said())
    assert (taken.status, taken.known) == ("nothing new", 2)


def test_an_overlapping_download_adds_only_its_new_rows(house: House) -> None:
    """The second batch holds what the first did not."""
    _bring(house, _file(START, 3))
    taken = _bring(house, _file(START, 5))
    assert (taken.status, taken.added, taken.known) == ("stored", 4, 6)
    assert house.store.readings.get(taken.batch).sealed.payload.rows == 4
    assert len(_trace(house)) == 5


def test_late_values_of_an_earlier_time_make_a_batch_of_their_own(house: House) -> None:
    """A gap filled later is a new batch; the first stays as it was sealed."""
    first = _bring(house, _file(START + timedelta(minutes=20), 2))
    digest = house.store.readings.get(first.batch).sealed.payload.digest
    late = _bring(house, _file(START, 2))
    assert late.status == "stored"
    assert len(_trace(house)) == 4
    assert house.store.readings.get(first.batch).sealed.payload.digest == digest
    verified = house.store.verify()
    assert (verified.faults, verified.readings_checked) == ((), 2)


def test_undo_is_an_entry_and_the_file_can_come_again(house: House) -> None:
    """The batch counts no more, its rows stay; bringing the file in again makes a new batch."""
    first = _bring(house, _file(START, 3))
    head = house.store.head()
    assert head is not None
    watch.undo(house, BY, first.batch, "wrong room", house.new_id())
    after = house.store.head()
    assert after is not None
    assert after.seq == head.seq + 1
    assert _trace(house) == []
    assert len(house.store.readings.rows_of(first.batch)["D2/temperature_c"][0]) == 3
    again = _bring(house, _file(START, 3))
    assert (again.status, again.added) == ("stored", 6)
    with pytest.raises(StoreError, match="undone already"):
        watch.undo(house, BY, first.batch, "once more", house.new_id())
    with pytest.raises(InputError, match="needs a reason"):
        watch.undo(house, BY, again.batch, " ", house.new_id())


def test_undoing_the_first_of_two_overlapping_files_can_be_made_good(house: House) -> None:
    """The second file, brought in again, gives back the rows it shared with the undone one."""
    first = _bring(house, _file(START, 3))
    _bring(house, _file(START, 5))
    watch.undo(house, BY, first.batch, "clock was wrong", house.new_id())
    assert len(_trace(house)) == 2
    again = _bring(house, _file(START, 5))
    assert (again.status, again.added) == ("stored", 6)
    assert len(_trace(house)) == 5


def test_other_values_for_the_same_moments_are_asked_about(house: House) -> None:
    """Nothing is stored until a person says replace, keep, or a second logger."""
    _bring(house, _file(START, 3))
    head = house.store.head()
    other = _file(START, 4, first_value=15.0)
    asked = _bring(house, other)
    assert (asked.status, asked.changed) == ("asked", 3)
    assert [question.key for question in asked.reading.questions] == ["changed_values"]
    assert house.store.head() == head
    kept = watch.look(
        "x.csv", other, Said(room="D2", answers={"changed_values": "keep_stored"}), now=NOW, house=house
    )
    assert kept.added == 2
    replaced = _bring(house, other, Said(room="D2", answers={"changed_values": "replace"}))
    assert replaced.added == 5
    assert [value for _, value in _trace(house)] == [15.0, 15.1, 15.2, 15.3]


def test_a_second_logger_of_a_room_is_kept_apart(house: House) -> None:
    """ROOM/LOGGER names a series of its own; nothing is asked."""
    _bring(house, _file(START, 3))
    second = _bring(house, _file(START, 3, first_value=15.0), Said(room="D2/D2-b"))
    assert second.status == "stored"
    day = timedelta(days=1)
    _, values = house.store.readings.trace("D2", "temperature_c", NOW - day, NOW + day, logger="D2-b")
    assert values.tolist() == [15.0, 15.1, 15.2]
    assert [value for _, value in _trace(house)] == [14.0, 14.1, 14.2]


def test_an_unknown_room_is_refused_with_the_nearest_names(house: House) -> None:
    """By --room and by a channel of the file; the journal does not move."""
    head = house.store.head()
    with pytest.raises(UnknownName) as caught:
        _bring(house, _file(START, 3), Said(room="D3"))
    assert set(caught.value.nearest) >= {"D1", "D2"}
    wide = b"Timestamp,Room D7 T,Room D1 T\n2026-11-03 08:00,14.0,15.0\n"
    with pytest.raises(UnknownName) as caught:
        _bring(house, wide, Said())
    assert caught.value.key == "room.D7"
    assert "--answer 'room.D7=ROOM'" in caught.value.message
    assert house.store.head() == head
    taken = _bring(house, wide, Said(answers={"room.D7": "D2"}))
    assert taken.status == "stored"


def test_a_file_brought_in_for_another_room_is_refused(house: House) -> None:
    """The same bytes can't stand for two rooms until the first import is undone."""
    first = _bring(house, _file(START, 3))
    with pytest.raises(InputError, match="brought in before") as caught:
        _bring(house, _file(START, 3), Said(room="D1"))
    assert first.batch in caught.value.message


def test_the_room_role_of_the_house_decides_a_missing_unit(house: House) -> None:
    """57.2 without a unit can only be Fahrenheit in a drying room; 20 in a store may be either: asked."""
    drying = _bring(house, b"time,Temp\n2026-11-03 09:00,57.2\n2026-11-03 09:05,59.0\n")
    assert [value for _, value in _trace(house)] == [14.0, 15.0]
    assert drying.status == "stored"
    cold = _bring(house, b"time,Temp\n2026-11-03 09:00,20.0\n2026-11-03 09:05,20.5\n", Said(room="K1"))
    assert [question.key for question in cold.reading.questions] == ["unit.Temp"]
    assert _trace(house, "K1") == []
    answered = Said(room="K1", answers={"unit.Temp": "F"})
    _bring(house, b"time,Temp\n2026-11-03 09:00,14.0\n2026-11-03 09:05,23.0\n", answered)
    assert [value for _, value in _trace(house, "K1")] == [-10.0, -5.0]


def test_readings_after_the_moment_of_import_are_refused(house: House) -> None:
    """A clock set to next month is told with its line."""
    data = _file(START, 3) + b"\n2026-12-24 10:00;14,0;80,0"
    taken = _bring(house, data)
    assert [refused.line for refused in taken.reading.refused] == [5]
    assert "after the moment of reading" in taken.reading.refused[0].reason
    assert taken.added == 6


def test_a_dry_run_stores_nothing_and_counts_what_would_come(house: House) -> None:
    """With a house it knows what is held already; without one it needs none."""
    _bring(house, _file(START, 3))
    head = house.store.head()
    with_house = watch.look("D2.csv", _file(START, 5), Said(room="D2"), now=NOW, house=house)
    assert (with_house.status, with_house.added, with_house.known) == ("dry run", 4, 6)
    assert house.store.head() == head
    alone = watch.look("D2.csv", _file(START, 5), Said(room="D2", zone="Europe/Vienna"), now=NOW)
    assert alone.added == 10


def test_a_house_without_rooms_takes_no_file(tmp_path: Path) -> None:
    """There is nothing to store readings under."""
    with (
        House.create(tmp_path / "empty", "Empty", "Europe/Vienna", clock=lambda: NOW) as empty,
        pytest.raises(InputError, match="no room yet"),
    ):
        _bring(empty, _file(START, 3))
