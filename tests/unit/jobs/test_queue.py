"""The queue: what an entry calls for, once each, and what becomes of an item that fails."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import timedelta
from pathlib import Path

import pytest
from tests import small_house
from tests.small_house import NOW, stored, weighing

from saltloft.cases.open_house import OpenHouse
from saltloft.foundation.errors import InputError
from saltloft.house import House
from saltloft.jobs import judge, queue
from saltloft.jobs.today import day_sheet
from saltloft.plant.rooms import RoomSet
from saltloft.plant.stock import MaterialReceived


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    made = small_house.with_lot(tmp_path / "house")
    yield made
    made.close()


def _waiting(house: House) -> list[tuple[str, str]]:
    """Does everything that waits and says what it was."""
    done: list[tuple[str, str]] = []

    def note(sort: str) -> queue.Handler:
        def handler(_: OpenHouse, subject: str, __: Mapping[str, str]) -> None:
            done.append((sort, subject))

        return handler

    handlers = {sort: note(sort) for sort in (queue.FORECAST, queue.DAY, queue.DRAW)}
    while queue.work_once(house, handlers, NOW):
        pass
    return done


def test_a_new_queue_asks_for_every_hanging_lot_and_the_day(house: House) -> None:
    queue.notice(house, NOW)
    assert _waiting(house) == [("day", "house"), ("forecast", "AL-0310")]
    assert queue.notice(house, NOW) == 0


def test_only_what_an_entry_touches_is_computed_again(house: House) -> None:
    queue.notice(house, NOW)
    _waiting(house)
    stored(house, MaterialReceived("LT-2", "lean trim", "s-01", small_house.mass("10", "kg")))
    queue.notice(house, NOW)
    assert _waiting(house) == [("day", "house")]
    stored(house, weighing("1.05", green=1))
    queue.notice(house, NOW)
    assert _waiting(house) == [("forecast", "AL-0310"), ("day", "house")]


def test_a_room_set_anew_touches_the_lots_that_hung_there(house: House) -> None:
    queue.notice(house, NOW)
    _waiting(house)
    setting = RoomSet("D2", *(small_house.Decimal(value) for value in ("15", "80", "0.2")))
    stored(house, setting)
    queue.notice(house, NOW)
    assert ("forecast", "AL-0310") in _waiting(house)
    stored(house, RoomSet("F2", *(small_house.Decimal(value) for value in ("22", "92", "0.2"))))
    queue.notice(house, NOW)
    assert _waiting(house) == [("day", "house")]


def test_a_refusal_fails_the_item_and_a_fault_leaves_it_to_be_taken_again(house: House) -> None:
    def refuse(*_: object) -> None:
        raise InputError("no forecast in this version")

    def stumble(*_: object) -> None:
        raise ZeroDivisionError

    queue.ask(house, queue.FORECAST, "AL-0310", NOW)
    queue.work_once(house, {queue.FORECAST: refuse}, NOW)
    assert queue.state(house).failed == 1
    queue.ask(house, queue.DRAW, "AL-0310", NOW)
    for _ in range(3):
        with pytest.raises(ZeroDivisionError):
            queue.work_once(house, {queue.DRAW: stumble}, NOW)
    assert queue.work_once(house, {queue.DRAW: stumble}, NOW) is None
    assert queue.state(house).failed == 2


def test_what_a_dead_worker_had_taken_is_put_back(house: House) -> None:
    queue.ask(house, queue.FORECAST, "AL-0310", NOW)
    assert house.store.work.take(NOW) is not None
    assert house.store.work.take(NOW + timedelta(minutes=1)) is None
    assert queue.recover(house) == 1
    assert house.store.work.take(NOW + timedelta(minutes=1)) is not None


def test_a_kept_day_is_read_back_the_same(house: House) -> None:
    sheet = day_sheet(house, NOW, {}, judge.judge_many(house, ["AL-0310"]))
    queue.keep_day(house, "en", sheet, NOW)
    assert queue.day(house, queue.newest_day(house, "en")) == sheet
    assert queue.newest_day(house, "de") == ""
    assert queue.day(house, "no such key") is None
