"""Reading moments: cells to calendar parts, before the order of day and month is known.

Cells are grouped by layout (digits replaced by '0'), so one decision serves
every cell that looks alike and the digits are read for all of them at once.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from saltloft.store.loggers.headers import plain

# How the three date numbers stand. Fixed orders are known from the layout alone.
NONE, YMD, DMY, LAST_YEAR, SHORT, SHORT_DASHED, SERIAL, UNIX = range(8)

_MONTH_NAMES = (
    "jan january januar gennaio gen enero ene janner",
    "feb february februar febbraio febrero feber",
    "mar march marz marzo mrz maerz",
    "apr april aprile abril abr",
    "may mai mag maggio mayo",
    "jun june juni giugno giu junio",
    "jul july juli luglio lug julio",
    "aug august agosto ago",
    "sep sept september settembre set septiembre",
    "oct october oktober okt ottobre ott octubre",
    "nov november novembre noviembre",
    "dec december dezember dez dicembre dic diciembre",
)
_MONTHS = {name: month for month, names in enumerate(_MONTH_NAMES, start=1) for name in names.split()}

# Zones written after a time, as whole minutes east of Greenwich. [min]
_NAMED_OFFSETS = {"z": 0, "utc": 0, "gmt": 0, "wet": 0, "west": 60, "cet": 60, "cest": 120, "mez": 60}
_NAMED_OFFSETS |= {"mesz": 120, "eet": 120, "eest": 180, "bst": 60}

_TIME = (
    r"(?P<H>00?)(?:[:.h](?P<M>00)(?:[:.](?P<S>00)(?:[.,](?P<frac>0+))?)?)?\s*(?P<ap>[ap]\.?\s?m\.?)?"
    r"(?:\s*(?P<zone>z|[a-z]{3,4})?\s*(?:(?P<sign>[+-])(?P<oh>00?):?(?P<om>00)?)?)"
)
_DATES = (
    r"(?P<y>0000)(?P<s1>[-/.])(?P<m>00?)(?P=s1)(?P<d>00?)",
    r"(?P<a>00?)(?P<s2>[-/.])(?P<b>00?)(?P=s2)(?P<c>0000|00)",
    r"(?P<d2>00?)(?:[\s./-]+|\.\s*)(?P<mon>[a-z]{3,10})\.?[\s,./-]+(?P<y2>0000|00)",
    r"(?P<mon2>[a-z]{3,10})\.?\s+(?P<d3>00?)(?:st|nd|rd|th)?,?\s+(?P<y3>0000)",
    r"(?P<packed>00000000)",
)
_DAY_NAME = r"(?:[a-z]{2,10}\.?,?\s+)?"
_DATE_TIME = tuple(re.compile(rf"^\s*{_DAY_NAME}{date}(?:(?:[t,]|\s|,\s)\s*{_TIME})?\s*$") for date in _DATES)
_TIME_ALONE = re.compile(rf"^\s*{_TIME}\s*$")
_PACKED_ALL = re.compile(r"^\s*(?P<packed>00000000)[t ]?(?P<hms>0000(?:00)?)(?P<z>z)?\s*$")
_SERIAL_CELL = re.compile(r"^\d{5}(?:[.,]\d+)?$|^\d{2},\d{3}\.\d+$|^\d{2}\.\d{3},\d+$")
_UNIX_CELL = re.compile(r"^\d{10}(?:\d{3})?(?:[.,]0*)?$")

FIELDS = ("kind", "one", "two", "three", "second", "offset", "timed")
NO_OFFSET = -(2**31)
_Rows = npt.NDArray[np.intp]
_Codes = npt.NDArray[np.uint32]
_Span = tuple[int, int]


@dataclass
class Parts:
    """Calendar parts of n cells, not yet a moment.

    Args:
        kind: int8 array (n,). NONE where there is no date, else how the three numbers stand.
        one, two, three: int16 arrays (n,). The three numbers as they stand (YMD: year, month, day).
        second: float64 array (n,). Seconds of the day; for SERIAL the serial day number, for UNIX
            seconds since 1970. [s]
        offset: int32 array (n,). Written offset from UTC; NO_OFFSET when none is written. [s]
        timed: bool array (n,). True where a time of day was read.
    """

    kind: npt.NDArray[np.int8]
    one: npt.NDArray[np.int16]
    two: npt.NDArray[np.int16]
    three: npt.NDArray[np.int16]
    second: npt.NDArray[np.float64]
    offset: npt.NDArray[np.int32]
    timed: npt.NDArray[np.bool_]

    @staticmethod
    def empty(count: int) -> Parts:
        """Parts in which nothing has been read yet."""
        return Parts(
            np.zeros(count, np.int8),
            np.zeros(count, np.int16),
            np.zeros(count, np.int16),
            np.zeros(count, np.int16),
            np.zeros(count, np.float64),
            np.full(count, NO_OFFSET, np.int32),
            np.zeros(count, np.bool_),
        )

    def take(self, rows: _Rows | npt.NDArray[np.bool_] | slice) -> Parts:
        """The same for some of the cells."""
        return Parts(*(getattr(self, name)[rows] for name in FIELDS))


@dataclass(frozen=True)
class _Layout:
    kind: int
    numbers: tuple[_Span | int, ...]  # three: (start, end) of digits, or a value from a name
    clock: tuple[_Span | None, ...]  # hour, minute, second, fraction
    half: int  # -1 none, 0 a.m., 12 p.m.
    offset: int | None  # [s] when the name says it all
    offset_sign: int
    offset_at: tuple[_Span | None, ...]


def read_stamps(cells: Sequence[str], time_only: bool = False) -> Parts:
    """Cells that hold a date, a date and time, or a time of day.

    Args:
        cells: sequence of str (n,).
        time_only: bool. True for a column beside a date column: '10.15.00' is then a time of day.

    Returns:
        Parts (n,). Cells that are none of these keep kind NONE and timed False.
    """
    parts = Parts.empty(len(cells))
    if not cells:
        return parts
    text = np.array(cells, dtype=np.str_)
    if text.dtype.itemsize > 4 * 64:
        text = text.astype("U64")
    width = text.dtype.itemsize // 4
    if width == 0:
        return parts
    codes = np.ascontiguousarray(text).view(np.uint32).reshape(len(cells), width)
    shape = np.where((codes >= 48) & (codes <= 57), np.uint32(48), codes)
    left = np.arange(len(cells))
    for _ in range(24):
        if not left.size:
            return parts
        alike = (shape[left] == shape[left[0]]).all(axis=1)
        _read_alike(parts, left[alike], str(text[left[0]]), codes, time_only)
        left = left[~alike]
    groups: dict[str, list[int]] = {}
    for row in left.tolist():
        groups.setdefault(re.sub(r"\d", "0", str(text[row])), []).append(row)
    for members in groups.values():
        _read_alike(parts, np.array(members), str(text[members[0]]), codes, time_only)
    return parts


def _read_alike(parts: Parts, rows: _Rows, sample: str, codes: _Codes, time_only: bool) -> None:
    block = codes if rows.size == len(codes) else codes[rows]
    if not time_only and (_SERIAL_CELL.match(sample.strip()) or _UNIX_CELL.match(sample.strip())):
        unix = bool(_UNIX_CELL.match(sample.strip()))
        cells = ("".join(map(chr, letters)).rstrip("\x00") for letters in block.tolist())
        parts.second[rows] = [_serial_or_unix(cell, unix) for cell in cells]
        parts.kind[rows] = UNIX if unix else SERIAL
        parts.timed[rows] = True
        return
    layout = _layout(re.sub(r"\d", "0", sample), time_only)
    if layout is None:
        return
    parts.kind[rows] = layout.kind
    for target, where in zip((parts.one, parts.two, parts.three), layout.numbers, strict=True):
        target[rows] = where if isinstance(where, int) else _digits(block, where)
    if layout.clock[0] is not None:
        parts.timed[rows] = True
        parts.second[rows] = _seconds_of_day(layout, block)
    if layout.offset is not None:
        parts.offset[rows] = layout.offset
    elif layout.offset_at[0] is not None:
        written = _digits(block, layout.offset_at[0]) * 3600
        if layout.offset_at[1] is not None:
            written = written + _digits(block, layout.offset_at[1]) * 60
        parts.offset[rows] = layout.offset_sign * written


def _serial_or_unix(cell: str, unix: bool) -> float:
    if unix:
        value = float(cell.replace(",", "."))
        return value / 1000.0 if value > 1e11 else value
    if "," in cell and "." in cell:
        grouping = "," if cell.rfind(".") > cell.rfind(",") else "."
        cell = cell.replace(grouping, "")
    return float(cell.replace(",", "."))


def _seconds_of_day(layout: _Layout, block: _Codes) -> npt.NDArray[np.float64]:
    hour_at, minute_at, second_at, fraction_at = layout.clock
    assert hour_at is not None
    hour = _digits(block, hour_at)
    minute = _digits(block, minute_at) if minute_at else np.zeros_like(hour)
    bad = minute > 59
    if layout.half >= 0:
        bad |= (hour > 12) | (hour < 1)
        hour = np.where(hour == 12, 0, hour) + layout.half
    total = hour * 3600.0 + minute * 60.0
    if second_at:
        second = _digits(block, second_at)
        bad |= second > 60
        total += second
    if fraction_at:
        digits = min(fraction_at[1] - fraction_at[0], 9)
        total += _digits(block, (fraction_at[0], fraction_at[0] + digits)) / 10.0**digits
    # 24:00 is midnight at the end of the day (ISO 8601:2004); nothing beyond it exists.
    total[bad | (total > 86400.0)] = np.nan
    return total


def _digits(block: _Codes, where: tuple[int, int]) -> npt.NDArray[np.int64]:
    value = np.zeros(len(block), np.int64)
    for column in range(*where):
        value *= 10
        value += block[:, column]
        value -= 48
    return value


@lru_cache(maxsize=4096)
def _layout(shape: str, time_only: bool) -> _Layout | None:
    flat = plain(shape)
    if len(flat) != len(shape):  # a ligature changed the length: positions would be wrong
        return None
    flat = flat.replace("\u202f", " ").replace("\u00a0", " ")
    packed = _PACKED_ALL.match(flat)
    if packed:
        at, then = packed.span("packed")[0], packed.span("hms")[0]
        seconds = (then + 4, then + 6) if len(packed["hms"]) == 6 else None
        clock: tuple[_Span | None, ...] = ((then, then + 2), (then + 2, then + 4), seconds, None)
        packed_date = ((at, at + 4), (at + 4, at + 6), (at + 6, at + 8))
        return _Layout(YMD, packed_date, clock, -1, 0 if packed["z"] else None, 1, (None, None))
    alone = _TIME_ALONE.match(flat)
    if time_only and alone and alone["M"]:
        return _with_clock(alone, NONE, (0, 0, 0))
    for pattern in _DATE_TIME:
        found = pattern.match(flat)
        if found:
            numbers = _date_numbers(found)
            return _with_clock(found, *numbers) if numbers else None
    return _with_clock(alone, NONE, (0, 0, 0)) if alone and alone["M"] else None


def _date_numbers(found: re.Match[str]) -> tuple[int, tuple[_Span | int, ...]] | None:
    names = found.groupdict()
    if names.get("y"):
        return YMD, (found.span("y"), found.span("m"), found.span("d"))
    if names.get("a"):
        short = SHORT_DASHED if found["s2"] == "-" else SHORT
        kind = LAST_YEAR if len(found["c"]) == 4 else short
        return kind, (found.span("a"), found.span("b"), found.span("c"))
    if names.get("packed"):
        start = found.start("packed")
        return YMD, ((start, start + 4), (start + 4, start + 6), (start + 6, start + 8))
    name, day, year = ("mon", "d2", "y2") if names.get("mon") else ("mon2", "d3", "y3")
    month = _MONTHS.get(found[name])
    return (DMY, (found.span(day), month, found.span(year))) if month else None


def _with_clock(found: re.Match[str], kind: int, numbers: tuple[_Span | int, ...]) -> _Layout | None:
    zone, sign = found["zone"], found["sign"]
    if zone and zone not in _NAMED_OFFSETS:
        return None

    def at(name: str) -> _Span | None:
        return found.span(name) if found[name] else None

    half = -1 if not found["ap"] else 12 if found["ap"].startswith("p") else 0
    named = _NAMED_OFFSETS[zone] * 60 if zone and not sign else None
    if sign and zone not in (None, "z", "utc", "gmt"):
        return None
    return _Layout(
        kind,
        numbers,
        (at("H"), at("M"), at("S"), at("frac")),
        half,
        named,
        -1 if sign == "-" else 1,
        (at("oh"), at("om")),
    )
