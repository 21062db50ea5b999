"""Live values: minutes among the readings, the values as they came beside them, all under one seal."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from tests.integration.databases import behind
from tests.small_house import BY, MADE_AT, with_lot

from saltloft.foundation.errors import InputError, StoreError
from saltloft.house import House
from saltloft.jobs import keep
from saltloft.plant.readings import ReadingsSealed
from saltloft.store.live import by_minute

pytestmark = pytest.mark.usefixtures("either_database")
NAME = "D2/temperature_c"
START = int(MADE_AT.timestamp())


@pytest.fixture
def house(tmp_path: Path) -> House:
    """A house with one live hour: a value every 7 s, with a fault of 2 min in the middle."""
    made = with_lot(tmp_path / "house")
    times, values = hour(7)
    seal(made, "live-1", times, values)
    return made


def hour(seed: int) -> tuple[np.ndarray, np.ndarray]:
    """An hour of a logger that sends every 7 s."""
    times = START + np.arange(0, 3600, 7, dtype=np.int64)
    times = times[(times < START + 1200) | (times >= START + 1320)]
    return times, 14.0 + np.random.default_rng(seed).normal(0.0, 0.4, len(times))


def seal(house: House, batch: str, times: np.ndarray, values: np.ndarray) -> str:
    """Seal a live hour; returns the id of its entry."""
    entry = house.new_id()
    info = ReadingsSealed(batch, "live", "", 0, "", (), "", "")
    house.store.live.seal(NAME, (times, values), info, BY, entry)
    return entry


def span(house: House) -> tuple[str, str, datetime, datetime]:
    """The arguments that ask for everything."""
    return "D2", "temperature_c", MADE_AT - timedelta(hours=1), MADE_AT + timedelta(hours=2)


def test_minutes_and_values_come_back(house: House) -> None:
    """Means stand among the readings, bounds and numbers beside them, values bit for bit; by loops."""
    times, values = hour(7)
    minutes = house.store.live.minutes(*span(house))
    trace = house.store.readings.trace(*span(house))
    assert len(minutes.times) == 58
    np.testing.assert_array_equal(trace[0], minutes.times)
    np.testing.assert_array_equal(trace[1], minutes.mean)
    for place, start in enumerate(minutes.times):
        own = [float(value) for at, value in zip(times, values, strict=True) if start <= at < start + 60]
        assert minutes.count[place] == len(own)
        assert minutes.lowest[place] == min(own)
        assert minutes.highest[place] == max(own)
        assert minutes.mean[place] == pytest.approx(sum(own) / len(own), abs=1e-12)
    raw = house.store.live.raw(*span(house))
    np.testing.assert_array_equal(raw[0], times)
    np.testing.assert_array_equal(raw[1], values)


def test_a_newer_batch_counts_and_an_undone_one_does_not(house: House) -> None:
    """As for every reading; sealing again under the same id or name changes nothing."""
    times, values = hour(8)
    entry = seal(house, "live-2", times, values)
    info = ReadingsSealed("live-2", "live", "", 0, "", (), "", "")
    house.store.live.seal(NAME, (times, values), info, BY, entry)
    with pytest.raises(StoreError, match="sealed already"):
        seal(house, "live-2", times, values)
    np.testing.assert_array_equal(house.store.live.minutes(*span(house)).mean, by_minute(times, values).mean)
    house.store.readings.void("live-2", "wrong room", BY, house.new_id())
    first = by_minute(*hour(7))
    np.testing.assert_array_equal(house.store.live.minutes(*span(house)).mean, first.mean)
    np.testing.assert_array_equal(house.store.live.raw(*span(house))[1], hour(7)[1])


@pytest.mark.parametrize(
    "deed",
    [
        "UPDATE reading_minute SET highest = highest + 0.1 WHERE at = (SELECT min(at) FROM reading_minute)",
        "UPDATE reading_minute SET size = size + 1 WHERE at = (SELECT min(at) FROM reading_minute)",
        "DELETE FROM reading_minute WHERE at = (SELECT min(at) FROM reading_minute)",
        "DELETE FROM reading_block",
        "UPDATE reading_block SET size = size - 1",
        "UPDATE reading_minute SET batch = 9",
        "INSERT INTO reading_minute SELECT series, at, 9, lowest, highest, size FROM reading_minute",
    ],
)
def test_a_change_beside_the_readings_is_found(house: House, tmp_path: Path, deed: str) -> None:
    """The seal covers bounds, numbers and values as well as the means."""
    assert house.store.verify().whole
    with behind(tmp_path / "house") as raw:
        raw.free()
        raw.execute(deed)
    assert "readings" in house.store.verify().faults[0].words


def test_what_cannot_be_sealed(house: House) -> None:
    """Nothing, a moment twice, no number, more than one day."""
    day = 86_400
    for times, values, words in (
        ([], [], "no reading"),
        ([START, START], [1.0, 2.0], "comes twice"),
        ([START], [float("nan")], "not a number"),
        ([START, START + day], [1.0, 2.0], "within one day"),
    ):
        with pytest.raises(InputError, match=words):
            seal(house, "live-3", np.array(times, np.int64), np.array(values))


def test_live_values_are_in_a_backup(house: House, tmp_path: Path) -> None:
    """Restored, they are sealed as before."""
    back = keep.restore(keep.backup(house).path, tmp_path / "back")
    with House.open(back.path, clock=lambda: datetime(2026, 11, 3, 6, tzinfo=UTC), environment={}) as again:
        np.testing.assert_array_equal(again.store.live.raw(*span(again))[1], hour(7)[1])
        assert again.store.verify().readings_checked == 1
