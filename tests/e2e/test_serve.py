"""`saltloft serve` as two real processes: where it listens, what it loads, what the worker does."""

from __future__ import annotations

import json
import os
import re
import signal
import time
from collections.abc import Callable, Iterator
from datetime import timedelta
from pathlib import Path

import pytest

from saltloft.foundation.units import mass
from saltloft.house import House
from saltloft.jobs import queue, record
from saltloft.plant.readings import PieceWeighed
from saltloft.plant.stated import Draft, Stamp
from tests.e2e import plant
from tests.e2e.harness import Server, free_port


@pytest.fixture(scope="module")
def running(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    server = Server(plant.build(tmp_path_factory.mktemp("serve") / "linnet"), free_port()).start()
    yield server
    server.stop()


def _child(server: Server, word: bytes) -> int:
    assert server.process is not None
    pid = server.process.pid
    children = Path(f"/proc/{pid}/task/{pid}/children").read_text().split()
    return next(int(own) for own in children if word in Path(f"/proc/{own}/cmdline").read_bytes())


def _until(true: Callable[[], bool], seconds: float = 60.0) -> None:
    end = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < end, "it did not come to pass"
        time.sleep(0.2)


def _settled(server: Server) -> bool:
    state = json.loads(server.get("/health")[1])
    return not (state["queue"]["waiting"] or state["queue"]["running"] or state["behind"])


def test_it_listens_on_this_machine_only(running: Server) -> None:
    """/proc/net/tcp lists the port under 127.0.0.1 and under no other address."""
    listening = [
        line.split()[1] for line in Path("/proc/net/tcp").read_text().splitlines()[1:] if " 0A " in line
    ]
    assert [own for own in listening if own.endswith(f":{running.port:04X}")] == [
        f"0100007F:{running.port:04X}"
    ]


def test_the_web_process_never_loads_the_kernel(running: Server) -> None:
    """After every page was asked for, neither numba nor its compiler is in the process's memory."""
    for path in ("/health", "/sign-in", "/docs", "/today"):
        running.get(path)
    loaded = Path(f"/proc/{_child(running, b'uvicorn')}/maps").read_text()
    assert "sqlalchemy" in loaded or "pydantic" in loaded
    assert re.findall(r"llvmlite|numba|vl_convert", loaded) == []


def test_the_worker_forecasts_draws_and_keeps_the_day(running: Server) -> None:
    _until(lambda: _settled(running))
    with House.open(running.folder) as house:
        outlook = queue.outlook(house, plant.CURING)
        assert outlook is not None
        assert len(outlook.weighings) == 2
        drawn = queue.drawing(house, queue.drawing_key(outlook.key, "curve-wide", "en"))
        assert drawn is not None
        assert "<script" not in drawn
        assert "style=" not in drawn
        day = queue.day(house, queue.newest_day(house, "en"))
        assert day is not None
        assert {lot.lot for lot in day.lots} == {plant.CURING, plant.SLICING}


def test_a_weighing_is_followed_by_a_new_forecast(running: Server) -> None:
    """Nobody asks for it: the worker reads on in the journal, also for entries made elsewhere."""
    _until(lambda: _settled(running))
    with House.open(running.folder) as house:
        before = queue.outlook(house, plant.CURING)
        assert before is not None
        at = house.now() - timedelta(minutes=1)
        said = PieceWeighed(plant.CURING, mass("0.846", "kg"), "S2", "3")
        receipt = record.enter(
            house, Stamp("maren", "console", house.now()), [Draft(house.new_id(), said, at)]
        )[0]
        assert receipt.status == "stored"

        def followed() -> bool:
            now = queue.outlook(house, plant.CURING)
            return (
                now is not None and now.key != before.key and len(now.weighings) == len(before.weighings) + 1
            )

        _until(followed)


def test_a_worker_that_dies_is_started_again(running: Server) -> None:
    first = _child(running, b"worker")
    os.kill(first, signal.SIGKILL)

    def again() -> bool:
        try:
            return _child(running, b"worker") != first
        except StopIteration:
            return False

    _until(again)
    assert running.get("/health")[0] == 200
