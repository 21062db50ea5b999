"""Every entry and every link as tables for people: CSV files or a spreadsheet, formulas made harmless."""

from __future__ import annotations

import csv
import json
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

import xlsxwriter

from saltloft.cases.open_house import OpenHouse
from saltloft.foundation.errors import InputError
from saltloft.plant import entries as kinds
from saltloft.store import carry
from saltloft.store.stating import payload_of

FORMS = ("csv", "xlsx")
_NUMBER = re.compile(r"^[+-]?\d+([.]\d+)?$")
# What a spreadsheet program takes for the beginning of a formula or of something to run.
_FORMULA = ("=", "+", "-", "@", "\t", "\r")
_ENTRY = ("seq", "id", "happened_at", "recorded_at", "person", "device", "subject")
# Rows of one sheet of a spreadsheet.
MOST_ROWS = 1_048_576


@dataclass(frozen=True)
class Table:
    """One table.

    Args:
        name: str. Of its file or sheet.
        header: tuple of str.
        rows: iterator of sequences of text and numbers.
    """

    name: str
    header: tuple[str, ...]
    rows: Iterator[Sequence[str | int | float]]


def export_tables(house: OpenHouse, folder: Path, form: str, *, names: bool = False) -> list[Path]:
    """Everything as tables: one for each kind of entry, links, things, readings; names only when asked.

    Args:
        house: OpenHouse.
        folder: Path. Exists and is empty.
        form: str. 'csv' or 'xlsx'; readings are CSV in both.
        names: bool. Names and addresses of people, customers and suppliers too.

    Raises:
        InputError: no such form.
    """
    if form not in FORMS:
        raise InputError("no such form", got=form, allowed=", ".join(FORMS), key="form")
    tables = [*_entry_tables(house), _links(house), _nodes(house), *(_names(house) if names else ())]
    readings = _csv(folder, _readings(house))
    if form == "csv":
        return [*(_csv(folder, table) for table in tables), readings]
    return [_workbook(folder / "house.xlsx", tables), readings]


def harmless(value: str) -> str:
    """Text that no spreadsheet program runs: what begins like a formula gets an apostrophe in front.

    Args:
        value: str. A plain number stays as it is.
    """
    if value.startswith(_FORMULA) and not _NUMBER.match(value):
        return f"'{value}"
    return value


def _csv(folder: Path, table: Table) -> Path:
    path = folder / f"{table.name}.csv"
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(table.header)
        for row in table.rows:
            writer.writerow([harmless(cell) if isinstance(cell, str) else cell for cell in row])
    return path


def _workbook(path: Path, tables: Sequence[Table]) -> Path:
    # Texts are written as texts, so that none becomes a formula or a link.
    options = {"constant_memory": True, "strings_to_formulas": False, "strings_to_urls": False}
    with xlsxwriter.Workbook(path, options) as book:
        for table in tables:
            sheet = book.add_worksheet(table.name[:31])
            sheet.write_row(0, 0, table.header)
            for number, row in enumerate(table.rows, start=1):
                if number >= MOST_ROWS:
                    raise InputError(
                        "a sheet holds no more rows", got=table.name, do="export as csv", key="form"
                    )
                for column, cell in enumerate(row):
                    if isinstance(cell, str):
                        sheet.write_string(number, column, cell[:32767])
                    else:
                        sheet.write_number(number, column, cell)
    return path


def _entry_tables(house: OpenHouse) -> list[Table]:
    rows: dict[str, list[dict[str, str | int | float]]] = {}
    headers: dict[str, dict[str, None]] = {}
    corrected = {
        payload_of(entry).entry
        for entry in carry.entries(house.store.database)
        if entry.kind.startswith("entry.corrected")
    }
    for entry in carry.entries(house.store.database):
        plain = kinds.encode(payload_of(entry))
        cells: dict[str, str | int | float] = {name: getattr(entry, name) for name in _ENTRY}
        cells["corrected"] = int(entry.id in corrected)
        cells |= {name: _cell(value) for name, value in plain.items()}
        cells["hash"] = entry.hash
        name = entry.kind.partition("/")[0]
        rows.setdefault(name, []).append(cells)
        headers.setdefault(name, {}).update(dict.fromkeys(cells))
    return [
        Table(name, tuple(headers[name]), _in_order(found, tuple(headers[name])))
        for name, found in sorted(rows.items())
    ]


def _in_order(
    rows: Sequence[Mapping[str, str | int | float]], header: Sequence[str]
) -> Iterator[Sequence[str | int | float]]:
    for row in rows:
        yield [row.get(name, "") for name in header]


def _cell(value: Any) -> str | int | float:
    """A mass in kilograms; lists and what is nested as JSON."""
    if isinstance(value, dict) and "mg" in value:
        return float(Decimal(value["mg"]).scaleb(-6))
    if isinstance(value, str | int):
        return value
    return json.dumps(value, ensure_ascii=False, sort_keys=True)


def _links(house: OpenHouse) -> Table:
    rows = (
        (link.source, link.lot, link.sort, link.ingredient, link.mg / 1e6, link.at.isoformat(), link.entry_id)
        for link in house.store.flow.links()
    )
    return Table("links", ("from", "into", "sort", "as", "kg", "at", "entry"), iter(rows))


def _nodes(house: OpenHouse) -> Table:
    left = house.store.flow.left_mg(("material", "pack", "sink"))
    rows = (
        (
            node.node,
            node.sort,
            node.product,
            node.booked_mg / 1e6,
            left.get(node.node, 0) / 1e6 if node.sort != "lot" else "",
            node.made_at.isoformat(),
            node.party,
            node.state,
        )
        for node in house.store.flow.nodes()
    )
    header = ("number", "sort", "product", "booked_kg", "left_kg", "made_at", "party", "state")
    return Table("things", header, iter(rows))


def _readings(house: OpenHouse) -> Table:
    def rows() -> Iterator[Sequence[str | int | float]]:
        for batch, columns in carry.batches(house.store.database):
            for series, (times, values) in sorted(columns.items()):
                for at, value in zip(times.tolist(), values.tolist(), strict=True):
                    yield batch, series, f"{datetime.fromtimestamp(at, UTC):%Y-%m-%dT%H:%M:%SZ}", value

    return Table("readings", ("batch", "series", "at", "value"), rows())


def _names(house: OpenHouse) -> list[Table]:
    people = iter(sorted(house.store.secrets.names().items()))
    found = carry.contacts(house.store.database)
    return [
        Table("people", ("person", "name"), people),
        Table(
            "contacts",
            ("party", "role", "name", "address"),
            iter([(one.contact, one.role, one.name, one.address) for one in found]),
        ),
    ]
