"""kill -9 in the middle of entries: nothing that was acknowledged is lost, nothing is half."""

from __future__ import annotations

import multiprocessing
import random
import signal
import time
from pathlib import Path

from tests.integration.killed_writer import PHONES, enter_until_killed
from tests.small_house import with_lot

from saltloft.house import House
from saltloft.store import projection

ROUNDS = 20


def one_round(folder: Path, delay: float) -> list[str]:
    """Start a writer, kill -9 it some time after its first answer, return the acknowledged ids."""
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(["tests.integration.killed_writer"])
    ours, theirs = context.Pipe(duplex=False)
    writer = context.Process(target=enter_until_killed, args=(str(folder), theirs))
    writer.start()
    theirs.close()
    answers = [ours.recv()]
    time.sleep(delay)
    writer.kill()
    writer.join()
    assert writer.exitcode == -signal.SIGKILL
    try:
        while True:
            answers.append(ours.recv())
    except (EOFError, OSError):
        pass  # the pipe ends where the process was killed, perhaps in the middle of an answer
    assert {status for _, status in answers} == {"stored"}
    return [entry for entry, _ in answers]


def test_twenty_rounds_of_entries_each_killed(tmp_path: Path) -> None:
    """Four phones enter, the process is killed at a random moment, and the house opens again each time."""
    folder = tmp_path / "house"
    with_lot(folder).close()
    draw = random.Random(20)  # the seed of the moments
    acknowledged: list[str] = []
    for _ in range(ROUNDS):
        acknowledged += one_round(folder, draw.uniform(0.0, 0.15))
        with House.open(folder, environment={}) as house:
            found = house.store.verify()
            assert found.whole, found.faults
            there = {entry.id for entry in house.store.entries(limit=1_000_000)}
        assert set(acknowledged) <= there
    with House.open(folder, environment={}) as house:
        with house.store.database.reading() as connection:
            before = projection.rows(connection)
        house.store.rebuild()
        with house.store.database.reading() as connection:
            assert projection.rows(connection) == before
    assert len(acknowledged) > ROUNDS * PHONES
