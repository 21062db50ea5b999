"""Where the table is in a file: separator, heading rows, notes before it, columns."""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from saltloft.foundation.errors import InputError
from saltloft.foundation.words import say
from saltloft.store.loggers import numbers
from saltloft.store.loggers.headers import Heading, plain, understand, unit_of, unit_of_cell
from saltloft.store.loggers.stamps import NONE, SERIAL, UNIX, read_stamps

LOOKED_AT = 400
FIXED_WIDTH = "  "
SEPARATORS = (";", "\t", "|", ",", FIXED_WIDTH)
_DATE_LIKE = re.compile(
    r"\d{1,4}\s*[-/.]\s*(\d{1,2}|[^\W\d]{3,10}\.?)\s*[-/.]\s*\d{2,4}|\d{1,2}\.? +[^\W\d]{3,10}\.? +\d{2,4}"
)


@dataclass(frozen=True)
class Table:
    """The table of one file.

    Args:
        separator: str. One of SEPARATORS.
        decimal: str. '.' or ','.
        first_line: int. Line of the first data row, from 1.
        width: int. Usual number of fields in a row.
        headings: tuple of Heading. One per field.
        notes: tuple of (str, str). Key and value of the lines before the table.
        header_line: int. Line of the heading; 0 when the table has none.
    """

    separator: str
    decimal: str
    first_line: int
    width: int
    headings: tuple[Heading, ...]
    notes: tuple[tuple[str, str], ...]
    header_line: int

    def columns(self, role: str) -> tuple[int, ...]:
        """Positions of the columns with one role."""
        return tuple(place for place, heading in enumerate(self.headings) if heading.role == role)


def split_lines(lines: Sequence[str], separator: str) -> list[list[str]]:
    """Each line as its fields; quotes are undone, and never run over a line's end.

    Args:
        lines: sequence of str (n,).
        separator: str. One of SEPARATORS.

    Returns:
        list of n lists of str; a blank line gives an empty list.
    """
    if separator == FIXED_WIDTH:
        return [re.split(r"\s{2,}|\t", line.strip()) if line.strip() else [] for line in lines]
    try:
        rows = list(csv.reader(lines, delimiter=separator, skipinitialspace=True))
    except csv.Error:
        rows = []
    if len(rows) == len(lines):
        return rows
    return [_split_one(line, separator) for line in lines]


def _split_one(line: str, separator: str) -> list[str]:
    try:
        return next(csv.reader([line], delimiter=separator, skipinitialspace=True), [])
    except csv.Error:
        return line.replace('"', "").split(separator)


def find_table(lines: Sequence[str]) -> Table:
    """Find the table from the first lines of a file.

    Args:
        lines: sequence of str. At least the first LOOKED_AT lines, or all of a shorter file.

    Raises:
        InputError: when no separator gives rows with a date and a number.
    """
    head = list(lines[:LOOKED_AT])
    scored = [(_score(head, separator), -rank, separator) for rank, separator in enumerate(SEPARATORS)]
    (count, _, first), _, separator = max(scored)
    if not count:
        raise InputError(
            say("no table of readings was found in the first {lines} lines", lines=len(head)),
            allowed=say("rows with a date and time and at least one number, separated by ; , tab or |"),
            do=say("export the readings from the logger's program as CSV"),
            line=1,
        )
    rows = split_lines(head, separator)
    width = Counter(len(row) for row in rows[first:] if len(row) > 1).most_common(1)[0][0]
    header, units, above = _heading_rows(rows, first, width)
    if separator == "," and header is not None:
        _refuse_double_comma(rows, header, first, width)
    headings = _headings(rows, header, units, above, width)
    lowest = max((row for row in (header, units) if row is not None), default=first - 1)
    header_top = min((row for row in (header, units, above) if row is not None), default=first)
    table = Table(
        separator,
        ".",
        lowest + 2,
        width,
        headings,
        _notes(head[:header_top]),
        0 if header is None else header + 1,
    )
    decimal = _decimal(table, rows[first:])
    return Table(separator, decimal, table.first_line, width, headings, table.notes, table.header_line)


def _refuse_double_comma(rows: Sequence[Sequence[str]], header: int, first: int, width: int) -> None:
    """Rows with more filled fields than the heading names hold decimal commas nobody can tell apart."""
    named = len(rows[header])
    longer = [row for row in rows[first:] if len(row) == width and all(cell.strip() for cell in row[named:])]
    if width > named and len(longer) > 0.5 * len(rows[first:]):
        raise InputError(
            say("the comma is both the separator and the decimal mark"),
            got=say("{count} fields where the heading has {most}", count=width, most=named),
            allowed=say("semicolons between fields, or numbers in quotes"),
            do=say("set the logger's program to semicolons and export again"),
            line=first + 1,
        )


def _score(lines: Sequence[str], separator: str) -> tuple[int, int, int]:
    """(data rows of the commonest width, that width, first such row)."""
    rows = split_lines(lines, separator)
    # Rows of one shape are alike: each shape is looked at once.
    shapes = [re.sub(r"\d", "0", line) for line in lines]
    alike = {shape: row for shape, row in zip(shapes, rows, strict=True) if len(row) > 1}
    data_shapes = {shape for shape, row in alike.items() if _is_data(row)}
    like = [index for index, shape in enumerate(shapes) if shape in data_shapes]
    if not like:
        return 0, 0, 0
    width, count = Counter(len(rows[index]) for index in like).most_common(1)[0]
    return count, width, like[0]


def _is_data(row: Sequence[str]) -> bool:
    numeric = [numbers.number(cell, ".") for cell in row]
    numeric_comma = [numbers.number(cell, ",") for cell in row]
    stamped = read_stamps([cell.strip() for cell in row[:8]]).kind
    for place, kind in enumerate(stamped.tolist()):
        if kind == NONE:
            continue
        others = [
            value
            for index in range(len(row))
            if index != place
            for value in (numeric[index], numeric_comma[index])
            if abs(value) < 1e12
        ]
        # A bare five-digit number is a date only where nothing else in the row could be.
        if others and (kind not in (SERIAL, UNIX) or max(numeric[place], numeric_comma[place]) > 30000):
            return True
    return False


def _heading_rows(
    rows: Sequence[Sequence[str]], first: int, width: int
) -> tuple[int | None, int | None, int | None]:
    """(heading row, row of units under it, row of merged cells above it) before the first data row."""
    above = [index for index in range(first) if len(rows[index]) > 1 and _may_head(rows[index])]
    header = units = None
    for index in reversed(above[-4:]):
        cells = [cell.strip() for cell in rows[index]]
        if abs(len(cells) - width) > 1 and _filled(cells) < 2:
            break
        if units is None and header is None and _all_units(cells):
            units = index
        elif _known(cells) >= 2 or (_known(cells) >= 1 and abs(len(cells) - width) <= 1):
            header = index
            break
    if header is None:
        return None, units, None
    merged = None
    labels = [plain(cell) for cell in rows[header] if cell.strip()]
    before = [index for index in above if index < header]
    if before and len(labels) > len(set(labels)):
        upper = rows[before[-1]]
        if abs(len(upper) - width) <= 1 and _filled(upper) < _filled(rows[header]):
            merged = before[-1]
    return header, units, merged


def _may_head(cells: Sequence[str]) -> bool:
    """A heading has words in it and no moment: a row with one is an event."""
    return (
        any(cell.strip() for cell in cells)
        and not read_stamps([cell.strip() for cell in cells[:8]]).kind.any()
    )


def _filled(cells: Sequence[str]) -> int:
    return sum(bool(cell.strip()) for cell in cells)


def _all_units(cells: Sequence[str]) -> bool:
    named = [cell for cell in cells if cell]
    short = re.compile(r"^[\[(]?\s*[^\s\w]*\s*[\w.%°º/\ufffd:-]{0,12}\s*[\])]?$")
    return any(unit_of(cell) for cell in named) and all(
        short.match(cell) and (unit_of_cell(cell) or not understand(cell).role) for cell in named
    )


def _known(cells: Sequence[str]) -> int:
    return sum(bool(cell and understand(cell).role) for cell in cells)


def _headings(
    rows: Sequence[Sequence[str]], header: int | None, units: int | None, merged: int | None, width: int
) -> tuple[Heading, ...]:
    if header is None:
        return tuple(Heading(f"column {place}", "") for place in range(1, width + 1))
    over = ""
    found = []
    for place in range(max(width, len(rows[header]))):
        label = _cell(rows, header, place)
        if merged is not None:
            over = _cell(rows, merged, place) or over
            label = f"{over} {label}".strip() if understand(label).role == "quantity" else label
        found.append(understand(label or f"column {place + 1}", _cell(rows, units, place)))
    return tuple(found)


def _cell(rows: Sequence[Sequence[str]], row: int | None, place: int) -> str:
    if row is None or place >= len(rows[row]):
        return ""
    return rows[row][place].strip()


def _notes(lines: Sequence[str]) -> tuple[tuple[str, str], ...]:
    found = []
    for line in lines:
        cells = [cell.strip(" \"'\t") for cell in re.split(r"[;\t|]|,(?!\d)|:(?=\s)|:$|=", line)]
        cells = [cell for cell in cells if cell]
        if len(cells) >= 2:
            found.append((cells[0], " ".join(cells[1:])))
        elif cells:
            found.append(("", cells[0]))
    return tuple(found)


def _decimal(table: Table, rows: Sequence[Sequence[str]]) -> str:
    if table.separator == ",":
        quoted = _votes(table, rows)
        return "," if quoted[0] > quoted[1] else "."
    comma, point = _votes(table, rows)
    if comma == point:
        return "," if table.separator == ";" and comma else "."
    return "," if comma > point else "."


def _votes(table: Table, rows: Sequence[Sequence[str]]) -> tuple[int, int]:
    measured = table.columns("quantity") + table.columns("value")
    if not measured:
        measured = tuple(range(1, table.width))
    cells = [row[place] for row in rows for place in measured if place < len(row)]
    return numbers.decimal_votes([cell for cell in cells if not _DATE_LIKE.search(cell)])
