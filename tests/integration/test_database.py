"""The database file: full durability on every connection, one set of tables, foreign files refused."""

from __future__ import annotations

import sqlite3
from importlib.resources import files
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import inspect, text
from tests.small_house import NOW, make_house, with_lot

from saltloft.foundation.errors import InputError, StoreError
from saltloft.house import House
from saltloft.store.database import WRITES
from saltloft.store.migrate import REVISIONS
from saltloft.store.open import Store
from saltloft.store.tables import BUILT, KEPT, SCRATCH


def test_every_connection_writes_through_to_the_disk(tmp_path: Path) -> None:
    """PRAGMA synchronous is FULL (2) and the journal mode WAL, on reading and writing connections alike."""
    database = with_lot(tmp_path / "house").store.database
    seen = []
    connections = [database.engine.connect() for _ in range(15)]
    for number, connection in enumerate(connections):
        one = connection.execution_options(**(WRITES if number == 7 else {}))
        seen.append(
            (
                one.execute(text("PRAGMA synchronous")).scalar(),
                one.execute(text("PRAGMA journal_mode")).scalar(),
            )
        )
    for connection in connections:
        connection.close()
    assert set(seen) == {(2, "wal")}


def test_migrations_make_the_tables_the_program_knows(both_databases: Store) -> None:
    """The migrated tables and their definitions do not differ, and the last revision is the program's."""
    database = both_databases.database
    with database.reading() as connection:
        context = MigrationContext.configure(connection)
        ours = {*KEPT.tables, *BUILT.tables, *SCRATCH.tables}
        context.opts["include_object"] = lambda thing, name, sort, reflected, other: (
            sort != "table" or name in KEPT.tables
        )
        assert compare_metadata(context, KEPT) == []
        found = set(inspect(connection).get_table_names())
    assert found - {"alembic_version"} == ours
    config = Config()
    config.set_main_option("script_location", str(files("saltloft.store") / "migrations"))
    script = ScriptDirectory.from_config(config)
    assert script.get_current_head() == REVISIONS[-1]
    assert tuple(one.revision for one in reversed(list(script.walk_revisions()))) == REVISIONS


def test_a_house_of_a_newer_program_is_refused_untouched(tmp_path: Path) -> None:
    """It names both revisions and changes nothing."""
    make_house(tmp_path / "house").close()
    raw = sqlite3.connect(tmp_path / "house" / "house.db")
    raw.execute("UPDATE alembic_version SET version_num = '0099'")
    raw.commit()
    raw.close()
    with pytest.raises(StoreError, match="newer Saltloft") as caught:
        House.open(tmp_path / "house", environment={})
    assert "0099" in caught.value.got


def test_a_file_that_is_no_house_is_refused(tmp_path: Path) -> None:
    """Text, another program's database, an empty folder, a broken house.toml: each says what to do."""
    folder = tmp_path / "house"
    folder.mkdir()
    with pytest.raises(InputError, match="no house"):
        House.open(folder, environment={})
    (folder / "house.toml").write_text("name = 'x'\n")
    (folder / "house.db").write_bytes(b"not a database" * 100)
    with pytest.raises(StoreError, match="damaged or not a database"):
        House.open(folder, environment={})
    (folder / "house.db").unlink()
    raw = sqlite3.connect(folder / "house.db")
    raw.execute("CREATE TABLE songs (title)")
    raw.commit()
    raw.close()
    with pytest.raises(StoreError, match="not a Saltloft house"):
        House.open(folder, environment={})
    (folder / "house.toml").write_text("nam = 'x'\n")
    with pytest.raises(InputError, match="name"):
        House.open(folder, environment={})
    (folder / "house.toml").write_text("port = 'x'\n")
    with pytest.raises(InputError, match="whole number"):
        House.open(folder, environment={})
    (folder / "house.toml").write_bytes(b"\xff\xfe")
    with pytest.raises(InputError, match="cannot be read"):
        House.open(folder, environment={})


def test_a_damaged_page_is_said_so(tmp_path: Path) -> None:
    """Zeros over the middle of the file: refused with what to do, or found by verify."""
    folder = tmp_path / "house"
    with_lot(folder).close()
    file = folder / "house.db"
    content = bytearray(file.read_bytes())
    for start in range(4096, len(content), 4096):
        content[start : start + 512] = b"\0" * 512
    file.write_bytes(content)
    with (
        pytest.raises(StoreError, match="restore the last backup"),
        House.open(folder, environment={}) as house,
    ):
        house.store.verify()


def test_settings_say_where_they_come_from(tmp_path: Path) -> None:
    """Default, file, environment: the environment goes first, and a wrong value there is refused."""
    make_house(tmp_path / "house").close()
    environment = {"SALTLOFT_PORT": "9000", "SALTLOFT_ALLOW_PLAIN_HTTP": "true"}
    with House.open(tmp_path / "house", environment=environment) as house:
        origins = {row.setting.name: (row.value, row.origin) for row in house.settings.rows()}
    assert origins["port"] == (9000, "SALTLOFT_PORT")
    assert origins["allow_plain_http"] == (True, "SALTLOFT_ALLOW_PLAIN_HTTP")
    assert origins["name"] == ("Test house", "house.toml")
    assert origins["address"] == ("127.0.0.1", "default")
    for wrong in ({"SALTLOFT_PORT": "many"}, {"SALTLOFT_ALLOW_PLAIN_HTTP": "maybe"}):
        with pytest.raises(InputError, match="wrong sort"):
            House.open(tmp_path / "house", environment=wrong)


def test_making_a_house_that_cannot_be(tmp_path: Path) -> None:
    """Unknown zone, units or market, no name, a folder in use, a fixed moment: nothing is left behind."""
    folder = tmp_path / "house"
    for arguments, more, words in (
        (("X", "Europe/Corrowmere"), {}, "time zone"),
        (("X", "UTC", "stone"), {}, "units"),
        (("X", "UTC"), {"markets": ("moon",)}, "markets"),
        ((" ", "UTC"), {}, "name"),
        (("X", "UTC"), {"demo_now": "2026-11-03T06:00:00+00:00"}, "invented house"),
        (("X", "UTC"), {"demo": True, "demo_now": "tomorrow"}, "cannot be read"),
    ):
        with pytest.raises(InputError, match=words):
            House.create(folder, *arguments, clock=lambda: NOW, **more)
        assert not (folder / "house.toml").exists()
        assert not list(folder.glob("house.db*"))
    (folder).mkdir(exist_ok=True)
    (folder / "mine.txt").write_text("x")
    with pytest.raises(InputError, match="empty folder"):
        House.create(folder, "X", "UTC")


def test_the_demo_house_takes_its_moment_as_now(tmp_path: Path) -> None:
    """Every command and page asks the house for now; the invented house always answers the same."""
    moment = "2026-11-03T06:00:00+00:00"
    with House.create(tmp_path / "h", "X", "Europe/Dublin", demo=True, demo_now=moment) as house:
        assert house.now().isoformat() == moment
        assert house.demo
        assert house.face().demo
    with House.open(tmp_path / "h", environment={}) as again:
        assert again.now().isoformat() == moment
    make_house(tmp_path / "real").close()
    with pytest.raises(InputError, match="only an invented house"):
        House.open(tmp_path / "real", environment={"SALTLOFT_DEMO_NOW": moment})
