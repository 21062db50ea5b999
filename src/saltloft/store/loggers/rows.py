"""All rows of a table as arrays: moments in parts, values per column, odd rows set aside."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from saltloft.foundation.errors import InputError
from saltloft.foundation.words import say
from saltloft.store.loggers.columns import Columns
from saltloft.store.loggers.model import Refused, Values
from saltloft.store.loggers.numbers import NOT_A_NUMBER, NumberReader
from saltloft.store.loggers.stamps import FIELDS, NONE, SERIAL, Parts, read_stamps
from saltloft.store.loggers.table import Table, split_lines

_Mask = npt.NDArray[np.bool_]
MOST_LISTED = 200
MOST_GROUPS = 500
_BEGINS_NUMBER = re.compile(r"\s*['\"]?\s*[-+]?[.,]?\d")
SHOWN = 5
_BAD_QUALITY = frozenset(
    ("bad", "error", "invalid", "fault", "fail", "failed", "schlecht", "fehler", "ungültig", "errore", "malo")
)


@dataclass
class OddRows:
    """What was not taken as a reading, counted, with the first of each listed.

    Args:
        refused: list of Refused. At most MOST_LISTED.
        refused_count: int.
        events: int. Rows that state an event or a note.
        missing: int. Values with a missing or fault code.
    """

    refused: list[Refused] = field(default_factory=list)
    refused_count: int = 0
    events: int = 0
    missing: int = 0

    def refuse(self, line: int, reason: str, raw: str) -> None:
        """Count one refusal and keep it when there is room."""
        self.refused_count += 1
        if len(self.refused) < MOST_LISTED:
            self.refused.append(Refused(line, reason, raw[:200]))


@dataclass(frozen=True)
class _Piece:
    rows: list[list[str]]
    lines: Sequence[str]
    at: npt.NDArray[np.int32]
    first_line: int

    def raw(self, row: int) -> str:
        return self.lines[int(self.at[row]) - self.first_line]


@dataclass
class RawRows:
    """Every row that has a moment and at least one number.

    Args:
        parts: Parts (n,).
        lines: int32 array (n,). Line in the file, from 1.
        group: int32 array (n,). Which of `groups` a row belongs to.
        groups: list of tuple of str. The cells of the key columns.
        values: list of float64 arrays (n,), one per value column; NaN where missing. [unit of the file]
        first: list of (int, str). Line and text of the first rows.
        odd: OddRows.
    """

    parts: Parts
    lines: npt.NDArray[np.int32]
    group: npt.NDArray[np.int32]
    groups: list[tuple[str, ...]]
    values: list[Values]
    first: list[tuple[int, str]]
    odd: OddRows


class RowReader:
    """Reads pieces of lines, one after the other, into RawRows."""

    def __init__(self, table: Table, columns: Columns) -> None:
        self._table = table
        self._columns = columns
        self._numbers = NumberReader(table.decimal)
        self._groups: dict[tuple[str, ...], int] = {}
        self._pieces: list[tuple[Parts, npt.NDArray[np.int32], npt.NDArray[np.int32], list[Values]]] = []
        self._first: list[tuple[int, str]] = []
        self._odd = OddRows()
        used = [columns.stamp, columns.time, columns.half, columns.quality, *columns.keys, *columns.values]
        self._needed = max(place for place in used if place is not None) + 1

    def read(self, pieces: Iterable[Sequence[str]]) -> RawRows:
        """All pieces of lines of the file, from its first line.

        Args:
            pieces: iterable of sequences of str.
        """
        line = 1
        for piece in pieces:
            skip = max(0, self._table.first_line - line)
            if skip < len(piece):
                self._read_piece(piece[skip:], line + skip)
            line += len(piece)
        return self._joined()

    def _read_piece(self, lines: Sequence[str], first_line: int) -> None:
        rows = split_lines(lines, self._table.separator)
        numbers_of_lines = np.arange(first_line, first_line + len(lines), dtype=np.int32)
        rows, kept = self._even(rows, lines, first_line)
        if not rows:
            return
        at = numbers_of_lines if kept is None else numbers_of_lines[kept]
        piece = _Piece(rows, lines, at, first_line)
        parts = self._moments(rows)
        values = [self._numbers.column([row[place] for row in rows]) for place in self._columns.values]
        stamped = (parts.kind != NONE) & np.isfinite(parts.second)
        stack = np.array(values)
        finite = np.isfinite(stack)
        good = stamped & finite.any(axis=0)
        text = stack == NOT_A_NUMBER
        if not good.all() or text.any():
            self._odd_rows(piece, stamped, finite, text)
        self._odd.missing += int(np.isnan(stack[:, stamped]).sum())
        if self._columns.quality is not None:
            good &= self._quality(piece)
        self._show(lines, at[good], first_line)
        group = self._group(rows)
        stack[~finite] = np.nan
        if good.all():
            self._pieces.append((parts, at, group, [column.copy() for column in stack]))
        else:
            self._pieces.append((parts.take(good), at[good], group[good], [column[good] for column in stack]))

    def _even(
        self, rows: list[list[str]], lines: Sequence[str], first_line: int
    ) -> tuple[list[list[str]], npt.NDArray[np.intp] | None]:
        """Rows long enough to read; shorter ones filled up, blank ones dropped, over-long ones refused."""
        widths = set(map(len, rows))
        most = len(self._table.headings)
        if widths and min(widths) >= self._needed and max(widths) <= most:
            return rows, None
        kept = []
        for index, row in enumerate(rows):
            if len(row) <= 1:
                self._odd.events += bool(row and row[0].strip())
                continue
            if len(row) > most and any(cell.strip() for cell in row[most:]):
                reason = say("{count} fields where the heading has {most}", count=len(row), most=most)
                self._odd.refuse(first_line + index, reason, lines[index])
                continue
            if len(row) < self._needed:
                row.extend([""] * (self._needed - len(row)))
            kept.append(index)
        return [rows[index] for index in kept], np.array(kept, dtype=np.intp)

    def _moments(self, rows: Sequence[Sequence[str]]) -> Parts:
        columns = self._columns
        cells = [row[columns.stamp] for row in rows]
        if columns.half is not None and columns.time is None:
            cells = [f"{row[columns.stamp].strip()} {row[columns.half].strip()}" for row in rows]
        parts = read_stamps(cells)
        if columns.time is None:
            parts.second[~parts.timed & (parts.kind != NONE)] = 0.0
            return parts
        times = [row[columns.time] for row in rows]
        if columns.half is not None:
            times = [f"{row[columns.time].strip()} {row[columns.half].strip()}" for row in rows]
        clock = read_stamps(times, time_only=True)
        serial = parts.kind == SERIAL
        parts.second[serial] += clock.second[serial] / 86400.0
        parts.second[~serial] = clock.second[~serial]
        parts.second[~clock.timed] = np.nan
        parts.offset = clock.offset
        return parts

    def _group(self, rows: Sequence[Sequence[str]]) -> npt.NDArray[np.int32]:
        keys = self._columns.keys
        if not keys:
            self._groups.setdefault((), 0)
            return np.zeros(len(rows), np.int32)
        columns = ([row[place] for row in rows] for place in keys)
        groups = self._groups
        return np.fromiter(
            (groups.setdefault(key, len(groups)) for key in zip(*columns, strict=True)), np.int32, len(rows)
        )

    def _odd_rows(self, piece: _Piece, stamped: _Mask, finite: _Mask, text: _Mask) -> None:
        valued: _Mask = np.asarray(finite.any(axis=0))
        odd = ~(stamped & valued) | text.any(axis=0)
        for row in np.flatnonzero(odd).tolist():
            line, raw = int(piece.at[row]), piece.raw(row)
            stamp = piece.rows[row][self._columns.stamp]
            if not valued[row]:
                self._without_values(piece, row, bool(stamped[row]), np.flatnonzero(text[:, row]).tolist())
            elif not stamped[row]:
                if any(letter.isdigit() for letter in stamp):
                    self._odd.refuse(line, say("'{cell}' is no date and time", cell=stamp.strip()), raw)
                else:
                    self._odd.events += 1
            else:
                self._no_numbers(piece, row, np.flatnonzero(text[:, row]).tolist())

    def _without_values(self, piece: _Piece, row: int, stamped: bool, text: Sequence[int]) -> None:
        """A row with no number in it: a spoilt reading if a cell begins like one, else an event or empty."""
        spoilt = [
            place for place in text if _BEGINS_NUMBER.match(piece.rows[row][self._columns.values[place]])
        ]
        if stamped and spoilt:
            self._no_numbers(piece, row, spoilt)
        elif piece.raw(row).strip(" ;,|\t") and not (stamped and not text):
            self._odd.events += 1

    def _no_numbers(self, piece: _Piece, row: int, columns: Sequence[int]) -> None:
        for column in columns:
            place = self._columns.values[column]
            reason = say(
                "'{cell}' in column '{column}' is no number",
                cell=piece.rows[row][place].strip(),
                column=self._table.headings[place].label,
            )
            self._odd.refuse(int(piece.at[row]), reason, piece.raw(row))

    def _quality(self, piece: _Piece) -> _Mask:
        place = self._columns.quality
        assert place is not None
        cells = [row[place] for row in piece.rows]
        bad = {cell for cell in set(cells) if cell.strip().casefold() in _BAD_QUALITY}
        good = np.ones(len(cells), np.bool_)
        for row, cell in enumerate(cells) if bad else ():
            if cell in bad:
                good[row] = False
                reason = say("marked '{cell}' by the logger", cell=cell.strip())
                self._odd.refuse(int(piece.at[row]), reason, piece.raw(row))
        return good

    def _show(self, lines: Sequence[str], at: npt.NDArray[np.int32], first_line: int) -> None:
        for line in at[: SHOWN - len(self._first)].tolist():
            self._first.append((line, lines[line - first_line]))

    def _joined(self) -> RawRows:
        count = len(self._columns.values)
        if not self._pieces:
            nothing = np.zeros(0, np.int32)
            values = [np.zeros(0) for _ in range(count)]
            return RawRows(Parts.empty(0), nothing, nothing, list(self._groups), values, [], self._odd)
        if len(self._groups) > MOST_GROUPS:
            raise InputError(
                say("the file names more devices and channels than a house has"),
                got=str(len(self._groups)),
                allowed=say("at most {most}", most=MOST_GROUPS),
                do=say("check which column holds the device and which the value"),
                key="column",
            )
        # Each column is joined and its pieces let go before the next: a long file would else be here twice.
        stores = self._columns_of_pieces()
        joined = [_join(pieces) for pieces in stores]
        parts, (lines, group), values = joined[: -2 - count], joined[-2 - count : -count], joined[-count:]
        return RawRows(Parts(*parts), lines, group, list(self._groups), values, self._first, self._odd)

    def _columns_of_pieces(self) -> list[list[npt.NDArray[Any]]]:
        pieces, self._pieces = self._pieces, []
        columns: list[list[npt.NDArray[Any]]] = [[] for _ in range(len(FIELDS) + 2 + len(pieces[0][3]))]
        for parts, lines, group, values in pieces:
            whole = [*(getattr(parts, name) for name in FIELDS), lines, group, *values]
            for column, piece in zip(columns, whole, strict=True):
                column.append(piece)
        return columns


def _join(pieces: list[npt.NDArray[Any]]) -> npt.NDArray[Any]:
    joined = np.concatenate(pieces)
    pieces.clear()
    return joined
