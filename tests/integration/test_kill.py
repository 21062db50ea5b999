"""kill -9 in the middle of entries: nothing that was acknowledged is lost, nothing is half.

Twenty rounds on SQLite and eight on PostgreSQL in the suite; 500 rounds on SQLite and 100 on
PostgreSQL as the part `records` of the long tests.
"""

from __future__ import annotations

import multiprocessing
import random
import signal
import time
from collections.abc import Callable
from multiprocessing.connection import Connection
from pathlib import Path

import pytest
from tests.integration.killed_writer import enter_until_killed
from tests.small_house import NOW, with_lot

from saltloft.house import House
from saltloft.store import journal, projection

ROUNDS = {"sqlite": 20, "postgresql": 8}
LONG_ROUNDS = {"sqlite": 500, "postgresql": 100}
# So often the whole chain is walked in the long run; in between only what the round added.
WALK_EVERY = 25


def one_round(folder: Path, delay: float, *, from_start: bool) -> list[str]:
    """Start a writer, kill -9 it some time later, return what it acknowledged."""
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(["tests.integration.killed_writer"])
    ours, theirs = context.Pipe(duplex=False)
    writer = context.Process(target=enter_until_killed, args=(str(folder), theirs))
    writer.start()
    theirs.close()
    answers = [] if from_start else [ours.recv()]
    time.sleep(delay)
    writer.kill()
    writer.join()
    assert writer.exitcode == -signal.SIGKILL
    answers += all_answers(ours)
    assert {status for _, status in answers} <= {"stored"}
    return [entry for entry, _ in answers]


def all_answers(pipe: Connection) -> list[tuple[str, str]]:
    """What is left in the pipe, which ends where the process was killed, perhaps within an answer."""
    answers = []
    try:
        while True:
            answers.append(pipe.recv())
    except (EOFError, OSError):
        return answers


def run_rounds(folder: Path, rounds: int, walk_every: int, seed: int) -> tuple[int, int]:
    """Kill a writer so many times.

    Returns:
        (acknowledged, entries): how many entries were acknowledged, and are there.
    """
    with_lot(folder).close()
    draw = random.Random(seed)
    acknowledged = 0
    for number in range(1, rounds + 1):
        # Every fourth dies at any time after its start: while it opens, migrates or reads.
        from_start = number % 4 == 0
        ids = one_round(folder, draw.uniform(0.0, 0.6 if from_start else 0.15), from_start=from_start)
        acknowledged += len(ids)
        with House.open(folder, clock=lambda: NOW, environment={}) as house:
            with house.store.database.reading() as connection:
                there = {entry.id for entry in journal.by_ids(connection, ids)}
            assert there == set(ids), number
            if number % walk_every == 0 or number == rounds:
                found = house.store.verify()
                assert found.whole, (number, found.faults)
    return acknowledged, found.entries


def tables_are_those_of_a_rebuild(folder: Path) -> None:
    """Every row of the reading tables follows from the journal."""
    with House.open(folder, clock=lambda: NOW, environment={}) as house:
        with house.store.database.reading() as connection:
            before = projection.rows(connection)
        house.store.rebuild()
        with house.store.database.reading() as connection:
            assert projection.rows(connection) == before


def test_rounds_of_entries_each_killed(tmp_path: Path, each_database: str) -> None:
    """Four phones weigh, move, hold and make lots; killed at a random moment, the house opens again."""
    rounds = ROUNDS[each_database]
    acknowledged, entries = run_rounds(tmp_path / "house", rounds, 1, seed=20)
    tables_are_those_of_a_rebuild(tmp_path / "house")
    # Three of four rounds end after a first answer.
    assert entries >= acknowledged >= 0.75 * rounds


@pytest.mark.long
def test_hundreds_of_rounds_of_entries_each_killed(
    tmp_path: Path, each_database: str, figure: Callable[[str], None]
) -> None:
    """The same 500 times, and 100 times on PostgreSQL."""
    rounds = LONG_ROUNDS[each_database]
    acknowledged, entries = run_rounds(tmp_path / "house", rounds, WALK_EVERY, seed=500)
    tables_are_those_of_a_rebuild(tmp_path / "house")
    # Three of four rounds end after a first answer.
    assert entries >= acknowledged >= 0.75 * rounds
    figure(f"kill -9 on {each_database}: {rounds} times, {acknowledged} acknowledged, none lost")
