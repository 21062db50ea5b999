"""`saltloft import` at the shell: exit codes, JSON, and what a person sees."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

LOG = "Timestamp;Temp (°C);RH (%)\n2026-11-03 09:00;14,2;80,0\n2026-11-03 09:05;14,3;81,0\n"
MAIN = "from saltloft.cli import main; main()"


def _run(*arguments: str, folder: Path) -> subprocess.CompletedProcess[str]:
    """The command in a folder that is no house, with no house in the environment."""
    environment = {key: value for key, value in os.environ.items() if key != "SALTLOFT_HOUSE"}
    return subprocess.run(
        [sys.executable, "-c", MAIN, "import", *arguments],
        cwd=folder,
        env=environment,
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )


@pytest.fixture
def log(tmp_path: Path) -> Path:
    path = tmp_path / "D2.csv"
    path.write_bytes(LOG.encode("cp1252"))
    return path


def test_a_dry_run_needs_no_house_and_says_what_it_understood(log: Path) -> None:
    """Sentences, the first rows raw and parsed, and that nothing was stored."""
    done = _run(str(log), "--dry-run", "--zone", "Europe/Vienna", "--room", "D2", folder=log.parent)
    assert done.returncode == 0, done.stderr
    assert "decimals have a comma" in done.stdout
    assert "2026-11-03 09:00;14,2;80,0" in done.stdout
    assert "D2/temperature_c 2026-11-03 09:00:00+01:00 14.2" in done.stdout
    assert "Nothing was stored: 4 readings would be." in done.stdout


def test_the_json_answer_holds_series_questions_and_refusals(log: Path) -> None:
    """One object 'import/1'; a file that can't be read stands beside the others with its error."""
    bad = log.parent / "empty.csv"
    bad.touch()
    done = _run(str(log), str(bad), "--dry-run", "--room", "D2", "--json", folder=log.parent)
    assert done.returncode == 1
    answer = json.loads(done.stdout)
    assert answer["schema"] == "import/1"
    first, second = answer["files"]
    assert [question["key"] for question in first["questions"]] == ["zone"]
    assert [(one["name"], one["count"]) for one in first["series"]] == [
        ("D2/temperature_c", 2),
        ("D2/rh_pct", 2),
    ]
    assert second["status"] == "refused"
    assert "empty" in second["error"]["message"]


def test_without_a_house_storing_is_wrong_use_with_the_three_ways(log: Path) -> None:
    """Exit code 2 names --house, SALTLOFT_HOUSE and the folder."""
    done = _run(str(log), folder=log.parent)
    assert done.returncode == 2
    for way in ("--house", "SALTLOFT_HOUSE", "house.toml"):
        assert way in done.stderr


@pytest.mark.parametrize("arguments", [(), ("--answer", "date_order")])
def test_wrong_use_ends_with_two(log: Path, arguments: tuple[str, ...]) -> None:
    """No file at all, or an answer that is no KEY=VALUE."""
    files = (str(log), "--dry-run") if arguments else ()
    assert _run(*files, *arguments, folder=log.parent).returncode == 2


def test_files_are_stored_found_again_and_undone(log: Path, tmp_path: Path) -> None:
    """Stored once, nothing new the second time, undone with a reason."""
    from datetime import UTC, datetime
    from decimal import Decimal

    from saltloft.house import House
    from saltloft.jobs import record
    from saltloft.plant.rooms import RoomDefined
    from saltloft.plant.stated import Draft, Stamp

    now = datetime(2026, 11, 3, 18, tzinfo=UTC)
    folder = tmp_path / "house"
    with House.create(
        folder, "Test", "Europe/Vienna", demo=True, demo_now="2026-11-03T18:00:00+00:00", clock=lambda: now
    ) as house:
        room = RoomDefined("D2", "drying", 7000, Decimal(400), Decimal(30))
        record.enter(house, Stamp("administrator", "console", now), [Draft(house.new_id(), room, now)])
    where = ("--house", str(folder), "--json")
    stored = _run(str(log), *where, folder=tmp_path)
    assert stored.returncode == 0, stored.stderr
    taken = json.loads(stored.stdout)["files"][0]
    assert (taken["status"], taken["added"]) == ("stored", 4)
    again = json.loads(_run(str(log), *where, folder=tmp_path).stdout)["files"][0]
    assert (again["status"], again["known"]) == ("nothing new", 4)
    refused = _run("--undo", taken["batch"], "--house", str(folder), folder=tmp_path)
    assert refused.returncode == 1
    assert "needs a reason" in refused.stderr
    undone = _run("--undo", taken["batch"], "--reason", "wrong room", "--house", str(folder), folder=tmp_path)
    assert undone.returncode == 0, undone.stderr
    assert "counts no more" in undone.stdout
