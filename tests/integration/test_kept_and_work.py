"""Kept results and the worker's queue: found by digest, dropped freely, taken once, given up in the end."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest
from tests.small_house import NOW, make_house

from saltloft.store.kept import KeptResult

pytestmark = pytest.mark.usefixtures("either_database")


def test_kept_results(tmp_path: Path) -> None:
    """Found by key, the newest by subject; only the last three of a subject stay; a rebuild drops them."""
    house = make_house(tmp_path / "house")
    kept = house.store.kept
    for number in range(5):
        kept.put(
            KeptResult(f"k{number}", "forecast", "AL-0310", NOW + timedelta(minutes=number), b"%d" % number)
        )
    kept.put(KeptResult("other", "chart", "AL-0310", NOW, b"<svg>"))
    kept.put(KeptResult("k4", "forecast", "AL-0310", NOW + timedelta(minutes=9), b"again"))
    latest = kept.latest("forecast", "AL-0310")
    assert latest is not None
    assert (latest.key, latest.body) == ("k4", b"again")
    assert [kept.get(f"k{number}") is not None for number in range(5)] == [False, False, True, True, True]
    assert kept.latest("forecast", "AL-0311") is None
    house.store.rebuild()
    assert kept.get("other") is None


def test_work_is_taken_once_in_order_and_asked_for_once(tmp_path: Path) -> None:
    """Waiting twice for one thing is waiting once; while one runs, a new one may wait."""
    work = make_house(tmp_path / "house").store.work
    first = work.add("forecast", "AL-0310", NOW)
    assert work.add("forecast", "AL-0310", NOW) == first
    second = work.add("forecast", "AL-0311", NOW, {"why": "weighing"})
    taken = work.take(NOW)
    assert taken is not None
    assert (taken.number, taken.subject, taken.tries) == (first, "AL-0310", 1)
    assert work.add("forecast", "AL-0310", NOW) not in (first, second)
    other = work.take(NOW)
    assert other is not None
    assert (other.number, dict(other.body)) == (second, {"why": "weighing"})
    work.done(first, NOW)
    work.fail(second, NOW, "no weighings")
    assert work.open_for("forecast", "AL-0310")
    assert not work.open_for("forecast", "AL-0311")
    assert work.counts() == {"done": 1, "failed": 1, "waiting": 1}


def test_what_a_dead_worker_left_is_taken_again_three_times(tmp_path: Path) -> None:
    """An item whose worker died is taken again after ten minutes; after three tries it is given up."""
    work = make_house(tmp_path / "house").store.work
    number = work.add("forecast", "AL-0310", NOW)
    now = NOW
    for tries in (1, 2, 3):
        taken = work.take(now)
        assert taken is not None
        assert (taken.number, taken.tries) == (number, tries)
        assert work.take(now + timedelta(minutes=9)) is None
        now += timedelta(minutes=11)
    assert work.take(now) is None
    assert work.counts() == {"failed": 1}
    again = work.add("forecast", "AL-0310", now)
    taken = work.take(now)
    assert taken is not None
    work.release(again)
    assert work.counts() == {"failed": 1, "waiting": 1}


def test_member_states_are_whole_files_that_may_go(tmp_path: Path) -> None:
    """One a lot, the last put; any name; others forgotten; a rebuild drops them; a full disk is no error."""
    house = make_house(tmp_path / "house")
    states = house.store.member_states
    assert states.get("AL-0310") is None
    assert states.put("AL-0310", b"one")
    assert states.put("AL-0310", b"two")
    assert states.put("../AL/0311", b"three")
    assert states.get("AL-0310") == b"two"
    assert sorted(path.suffix for path in states.folder.iterdir()) == [".states", ".states"]
    states.keep_only(["AL-0310"])
    assert states.get("../AL/0311") is None
    house.store.rebuild()
    assert states.get("AL-0310") is None
    states.folder.rmdir()
    states.folder.write_bytes(b"")  # no folder can be there
    assert not states.put("AL-0310", b"one")
