"""Everything out of a house and into an empty one: the same bytes, the same head; tables without formulas."""

from __future__ import annotations

import csv
import json
from datetime import timedelta
from pathlib import Path

import pytest
from python_calamine import CalamineWorkbook
from tests.small_house import MADE_AT, NOW, one_of_each, stored, with_lot

from saltloft.cli.main import app, register_all
from saltloft.foundation.errors import InputError, StoreError
from saltloft.foundation.units import mass
from saltloft.house import House
from saltloft.jobs import exchange, tables_out
from saltloft.plant import flow, parties, stock
from saltloft.plant.readings import ReadingsSealed
from saltloft.plant.stated import Stamp
from saltloft.store import carry, projection


@pytest.fixture
def house(tmp_path: Path) -> House:
    """A house with every kind of entry, readings, an attached file, names, and a wicked word."""
    import numpy as np

    found = with_lot(tmp_path / "house")
    one_of_each(found)
    at = np.arange(1_772_000_000, 1_772_000_000 + 900 * 12_000, 900, dtype=np.int64)
    columns = {"D2/temperature_c": (at, 14 + np.sin(at / 7.0)), "D2/rh_pct": (at, 80 + np.cos(at / 3.0))}
    info = ReadingsSealed("batch-1", "log.csv", "0" * 64, 0, "", tuple(sorted(columns)), "", "")
    found.store.readings.seal(columns, info, Stamp("maren", "tablet", NOW), found.new_id())
    found.store.attachments.put(b"%PDF-1.4 report", "report.pdf", "application/pdf", NOW)
    found.store.secrets.set_name("maren", "Maren")
    found.store.secrets.set_contact("s-01", "supplier", "A farm", "A lane 1")
    stored(
        found,
        parties.PartyAdded("s-01", "supplier"),
        stock.MaterialReceived(
            "SP-1", "=1+2", "s-01", mass("25", "kg"), note="@SUM(A1)", best_before="2027-01-01"
        ),
        flow.MaterialWasted("SP-1", mass("1", "kg"), "-2+3"),
        at=MADE_AT + timedelta(days=5),
    )  # fmt: skip
    return found


def test_the_same_bytes_and_the_same_head_in_an_empty_house(house: House, tmp_path: Path) -> None:
    """Journal rows, readings, files and reading tables are equal; the chain is whole; no name went along."""
    done = exchange.export_lines(house, tmp_path / "out")
    assert not done.names
    assert not (tmp_path / "out" / exchange.PEOPLE).exists()
    made = exchange.carried_house(tmp_path / "out")
    with House.create(
        tmp_path / "again", made.name, made.zone, made.units, set_up=False, clock=lambda: NOW
    ) as again:
        exchange.import_lines(again, tmp_path / "out")
        assert again.store.head() == house.store.head()
        assert list(carry.entries(again.store.database)) == list(carry.entries(house.store.database))
        assert again.store.verify().whole
        for batch, columns in carry.batches(house.store.database):
            other = again.store.readings.rows_of(batch)
            for series, (times, values) in columns.items():
                assert (times.tobytes(), values.tobytes()) == (
                    other[series][0].tobytes(), other[series][1].tobytes(),
                )  # fmt: skip
        with house.store.database.reading() as one, again.store.database.reading() as two:
            assert projection.rows(one) == projection.rows(two)
        assert again.store.attachments.all() == house.store.attachments.all()
        assert again.store.secrets.names() == {}
        # A second import finds the house not empty.
        with pytest.raises(StoreError, match="into an empty one"):
            exchange.import_lines(again, tmp_path / "out")


def test_names_go_along_when_asked(house: House, tmp_path: Path) -> None:
    """Names and addresses are outside the chain: the head is the same with and without them."""
    exchange.export_lines(house, tmp_path / "out", names=True)
    with House.create(tmp_path / "again", "x", "UTC", set_up=False, clock=lambda: NOW) as again:
        exchange.import_lines(again, tmp_path / "out")
        assert again.store.secrets.names()["maren"] == "Maren"
        assert [one.address for one in carry.contacts(again.store.database)] == ["A lane 1"]
        assert again.store.head() == house.store.head()


@pytest.mark.parametrize("name", [exchange.JOURNAL, exchange.READINGS])
def test_a_changed_line_is_refused_and_nothing_comes_in(house: House, tmp_path: Path, name: str) -> None:
    """By its digest; and with the digest forged too, the chain of the journal still says no."""
    out = tmp_path / "out"
    exchange.export_lines(house, out)
    text = (out / name).read_text(encoding="utf-8")
    (out / name).write_text(text.replace("1", "2", 1), encoding="utf-8")
    with House.create(tmp_path / "again", "x", "UTC", set_up=False, clock=lambda: NOW) as again:
        with pytest.raises(InputError, match="missing or was changed"):
            exchange.import_lines(again, out)
        manifest = json.loads((out / exchange.MANIFEST).read_text(encoding="utf-8"))
        manifest["sha256"][name] = exchange.digest_of(out / name)
        (out / exchange.MANIFEST).write_text(json.dumps(manifest), encoding="utf-8")
        if name == exchange.JOURNAL:
            with pytest.raises(StoreError, match="not a whole chain"):
                exchange.import_lines(again, out)
            assert again.store.head() is None
        else:
            exchange.import_lines(again, out)
            assert not again.store.verify().whole


def test_no_formula_reaches_a_spreadsheet(house: House, tmp_path: Path) -> None:
    """'=1+2' and '@SUM' come as text, read back by another library; numbers stay numbers."""
    folder = exchange.empty_folder(tmp_path / "csv")
    tables_out.export_tables(house, folder, "csv")
    with (folder / "material.received.csv").open(encoding="utf-8", newline="") as file:
        rows = {row["material_lot"]: row for row in csv.DictReader(file)}
    assert (rows["SP-1"]["material"], rows["SP-1"]["note"]) == ("'=1+2", "'@SUM(A1)")
    assert (rows["SP-1"]["mass"], rows["SP-1"]["best_before"]) == ("25.0", "2027-01-01")
    with (folder / "readings.csv").open(encoding="utf-8") as file:
        assert sum(1 for _ in file) == 24_001
    (book,) = (
        path
        for path in tables_out.export_tables(house, exchange.empty_folder(tmp_path / "x"), "xlsx")
        if path.suffix == ".xlsx"
    )
    read = CalamineWorkbook.from_path(str(book))
    sheet = read.get_sheet_by_name("material.received").to_python()
    column = sheet[0].index("material")
    assert "=1+2" in [row[column] for row in sheet[1:]]
    assert "links" in read.sheet_names
    assert "contacts" not in read.sheet_names
    assert tables_out.harmless("-1.5") == "-1.5"


def test_from_the_command_line(house: House, tmp_path: Path) -> None:
    """Export, then import; the same head is printed by both."""
    from typer.testing import CliRunner

    house.close()
    register_all()
    run = CliRunner().invoke
    out = run(app, ["export", str(tmp_path / "out"), "--house", str(tmp_path / "house")])
    back = run(app, ["import-house", str(tmp_path / "out"), str(tmp_path / "again")])
    assert (out.exit_code, back.exit_code) == (0, 0), (out.output, back.output)
    heads = [[line for line in one.output.splitlines() if line.startswith("Head: ")] for one in (out, back)]
    assert heads[0] == heads[1] != []
