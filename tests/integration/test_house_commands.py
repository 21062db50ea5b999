"""The commands that look after a house, as typed at the shell (in this process, which is quicker)."""

from __future__ import annotations

import contextlib
import io
import json
import os
import sqlite3
from dataclasses import dataclass
from pathlib import Path
from unittest import mock

import pytest

from saltloft.cli.main import main
from saltloft.house import House
from saltloft.jobs import people
from saltloft.store.settings import SETTINGS


@dataclass(frozen=True)
class Done:
    """What a command left: its exit code and what it printed."""

    returncode: int
    stdout: str
    stderr: str


def run(*words: str | Path, folder: Path | None = None, **environment: str) -> Done:
    """One command, with the current folder and the environment given."""
    out, errors = io.StringIO(), io.StringIO()
    clean = {key: value for key, value in os.environ.items() if not key.startswith("SALTLOFT_")}
    code = 0
    with (
        mock.patch("sys.argv", ["saltloft", *map(str, words)]),
        mock.patch.dict(os.environ, clean | environment, clear=True),
        contextlib.chdir(folder or Path.cwd()),
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(errors),
    ):
        try:
            main()
        except SystemExit as ended:
            code = int(ended.code or 0)
    return Done(code, out.getvalue(), errors.getvalue())


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A house made by the command."""
    made = tmp_path_factory.mktemp("commands") / "house"
    done = run("new", made, "--name", "Test house", "--zone", "Europe/Dublin", "--units", "metric")
    assert done.returncode == 0, done.stderr
    code = done.stdout.split("one day: ")[1].split()[0]
    with House.open(made, environment={}) as house:
        assert people.use_link(house, code, "browser", house.now()).person == "administrator"
    return made


def test_the_three_ways_to_name_a_house(folder: Path, tmp_path: Path) -> None:
    """--house, SALTLOFT_HOUSE, or the current folder; none of them is wrong use: 2, naming the three."""
    assert run("verify", "--house", folder, folder=tmp_path).returncode == 0
    assert run("verify", folder=tmp_path, SALTLOFT_HOUSE=str(folder)).returncode == 0
    assert run("verify", folder=folder).returncode == 0
    wrong = run("verify", folder=tmp_path)
    assert wrong.returncode == 2
    for way in ("--house", "SALTLOFT_HOUSE", "house.toml"):
        assert way in wrong.stderr


def test_verify_backup_restore_and_an_anchor(folder: Path, tmp_path: Path) -> None:
    """A backup is made, restored, verified against the house's own head; a cut tail ends with 1."""
    said = json.loads(run("verify", "--json", folder=folder).stdout)
    assert (said["schema"], said["whole"], said["entries"], said["anchored"]) == ("verify/1", True, 2, False)
    assert "cut off" in said["cannot_see"]
    done = run("backup", "--to", tmp_path, folder=folder)
    packed = done.stdout.splitlines()[0]
    assert said["head"] in packed
    assert run("restore", packed, tmp_path / "back").returncode == 0
    assert run("verify", "--anchor", said["head"], folder=tmp_path / "back").returncode == 0
    again = run("restore", packed, tmp_path / "back")
    assert again.returncode == 1
    assert "empty folder" in again.stderr
    raw = sqlite3.connect(tmp_path / "back" / "house.db")
    raw.executescript("DROP TRIGGER journal_no_delete; DELETE FROM journal WHERE seq = 2;")
    raw.close()
    assert run("verify", folder=tmp_path / "back").returncode == 0
    for anchor in (said["head"], packed):
        cut = run("verify", "--anchor", anchor, folder=tmp_path / "back")
        assert cut.returncode == 1
        assert "first entry that differs is 2" in cut.stdout


def test_rebuild_config_and_doctor(folder: Path) -> None:
    """Rebuild says the rows are the same; config lists every setting; doctor says what to do, ends with 1."""
    assert "the same rows" in run("rebuild", folder=folder).stdout
    settings = json.loads(run("config", "--json", folder=folder, SALTLOFT_PORT="9000").stdout)["settings"]
    assert [row["name"] for row in settings] == [setting.name for setting in SETTINGS]
    assert {"name": "port", "value": 9000, "origin": "SALTLOFT_PORT"}.items() <= next(
        row for row in settings if row["name"] == "port"
    ).items()
    assert "house.toml" in run("config", folder=folder).stdout
    doctor = run("doctor", "--json", folder=folder)
    findings = {one["name"]: one for one in json.loads(doctor.stdout)["findings"]}
    assert findings["journal"]["good"]
    assert findings["database"]["good"]
    assert not findings["people"]["good"]
    assert doctor.returncode == 1


def test_what_cannot_be_done_is_said_without_a_traceback(folder: Path, tmp_path: Path) -> None:
    """A folder in use, an unknown zone, a file that is no backup, an anchor that is none."""
    (tmp_path / "text.zip").write_text("no")
    for words in (
        ("new", folder, "--name", "X", "--zone", "UTC", "--units", "metric"),
        ("new", tmp_path / "n", "--name", "X", "--zone", "Europe/Corrowmere", "--units", "metric"),
        ("restore", tmp_path / "text.zip", tmp_path / "r"),
        ("restore", tmp_path / "none.zip", tmp_path / "r"),
        ("verify", "--anchor", "x", "--house", folder),
        ("verify", "--house", tmp_path),
    ):
        done = run(*words)
        assert done.returncode == 1, (words, done.stdout, done.stderr)
        assert done.stderr
        assert "Traceback" not in done.stderr
