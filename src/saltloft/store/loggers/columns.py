"""Which columns carry the moment, the place and the values, whatever the layout."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from saltloft.foundation.errors import InputError
from saltloft.foundation.words import say
from saltloft.store.loggers.headers import Heading, understand
from saltloft.store.loggers.model import HUMIDITY, TEMPERATURE, Question, ReadOptions
from saltloft.store.loggers.stamps import read_stamps
from saltloft.store.loggers.table import Table

WIDE, LONG = "wide", "long"
_COLUMN_ANSWERS = ("temperature", "humidity", "stamp", "date", "time", "skip")


@dataclass(frozen=True)
class Columns:
    """The columns of a table that are read.

    Args:
        layout: str. 'wide' (a column per quantity) or 'long' (a row per value).
        stamp: int. Column of the moment, or of the date when `time` is set.
        time: int or None. Column of the time of day, when it stands apart.
        half: int or None. Column that says a.m. or p.m.
        keys: tuple of int. Columns that say what a row belongs to (device, channel, unit).
        values: tuple of int. Columns of values.
        quality: int or None. Column that says whether a value is good.
        unused: tuple of str. Labels of columns that hold something else.
        questions: tuple of Question. Columns nobody can tell the meaning of.
    """

    layout: str
    stamp: int
    time: int | None
    half: int | None
    keys: tuple[int, ...]
    values: tuple[int, ...]
    quality: int | None
    unused: tuple[str, ...]
    questions: tuple[Question, ...] = ()


def choose_columns(
    table: Table, rows: Sequence[Sequence[str]], options: ReadOptions
) -> tuple[Table, Columns]:
    """Decide which columns are read, from the headings and the first rows.

    Args:
        table: Table.
        rows: sequence of rows of str. Some data rows.
        options: ReadOptions. Its answers may say what a column is.

    Returns:
        (Table with answered headings, Columns).

    Raises:
        InputError: no column of moments, or none of temperature or humidity.
    """
    table = replace(table, headings=_answered(table.headings, options))
    stamp, time = _moment(table, rows)
    half = next(iter(table.columns("ampm")), None)
    value = table.columns("value")
    keys = table.columns("device") + table.columns("channel") + table.columns("unit")
    quality = next(iter(table.columns("quality")), None)
    long = len(value) == 1 and bool(table.columns("channel") or table.columns("unit"))
    if long and not table.columns("quantity"):
        columns = Columns(LONG, stamp, time, half, keys, value, quality, ())
        return table, replace(columns, unused=_unused(table, columns))
    values = _means_only(table, table.columns("quantity"))
    columns = Columns(WIDE, stamp, time, half, table.columns("device"), values, None, ())
    if not values:
        return table, replace(columns, questions=_ask_columns(table, rows, columns))
    return table, replace(columns, unused=_unused(table, columns))


def _answered(headings: Sequence[Heading], options: ReadOptions) -> tuple[Heading, ...]:
    found = []
    for place, heading in enumerate(headings, start=1):
        answer = options.answers.get(f"column.{place}", "").casefold()
        if answer and answer not in _COLUMN_ANSWERS:
            raise InputError(
                say("column {place} can't be that", place=place),
                got=f"'{answer}'",
                allowed=", ".join(_COLUMN_ANSWERS),
                key=f"column.{place}",
            )
        quantity = {"temperature": TEMPERATURE, "humidity": HUMIDITY}.get(answer, "")
        if quantity:
            place_text = "" if heading.label.startswith("column ") else heading.label
            found.append(replace(heading, role="quantity", quantity=quantity, place=place_text))
        elif answer:
            found.append(replace(heading, role="other" if answer == "skip" else answer, quantity=""))
        else:
            found.append(heading)
    return tuple(found)


def _moment(table: Table, rows: Sequence[Sequence[str]]) -> tuple[int, int | None]:
    candidates = (*table.columns("stamp"), *table.columns("date"), *table.columns("time"))
    others = tuple(place for place in range(table.width) if place not in candidates)
    quantities = table.columns("quantity") + table.columns("value")
    for place in candidates + tuple(place for place in others if place not in quantities):
        cells = [row[place].strip() for row in rows if place < len(row)]
        parts = read_stamps(cells)
        dated = float((parts.kind > 0).mean()) if cells else 0.0
        if dated < 0.3:
            continue
        timed = float(parts.timed[parts.kind > 0].mean())
        if timed > 0.5:
            return place, None
        beside = _time_beside(table, rows, place)
        return place, beside
    raise InputError(
        say("no column holds a date and time"),
        got=", ".join(f"'{heading.label}'" for heading in table.headings),
        allowed=say("a column of moments, or one of dates and one of times"),
        do=say("say which it is with --answer column.N=stamp"),
        key="column",
        line=table.header_line or table.first_line,
    )


def _time_beside(table: Table, rows: Sequence[Sequence[str]], date: int) -> int | None:
    named = table.columns("time")
    for place in named + tuple(place for place in range(table.width) if place not in named):
        if place == date:
            continue
        cells = [row[place].strip() for row in rows if place < len(row)]
        parts = read_stamps(cells, time_only=place in named)
        if cells and float(parts.timed[parts.kind == 0].sum()) > 0.3 * len(cells):
            return place
    return None


def _means_only(table: Table, places: tuple[int, ...]) -> tuple[int, ...]:
    """Where a mean stands beside other columns of its quantity and place, the mean alone is read."""
    means = {
        (table.headings[place].quantity, table.headings[place].place)
        for place in places
        if table.headings[place].mean
    }
    return tuple(
        place
        for place in places
        if table.headings[place].mean
        or (table.headings[place].quantity, table.headings[place].place) not in means
    )


def _unused(table: Table, columns: Columns) -> tuple[str, ...]:
    used = {columns.stamp, columns.time, columns.half, columns.quality, *columns.keys, *columns.values}
    return tuple(
        heading.label
        for place, heading in enumerate(table.headings)
        if place not in used and heading.role != "index" and not heading.label.startswith("column ")
    )


def _ask_columns(table: Table, rows: Sequence[Sequence[str]], columns: Columns) -> tuple[Question, ...]:
    asked = []
    for place, heading in enumerate(table.headings):
        if place in (columns.stamp, columns.time, columns.half) or heading.role in ("other", "index"):
            continue
        cells = [row[place].strip() for row in rows if place < len(row)]
        example = next((cell for cell in cells if any(letter.isdigit() for letter in cell)), "")
        if example:
            asked.append(
                Question(
                    f"column.{place + 1}",
                    say(
                        "Column {place} is called '{label}' and begins with {example}. What is it?",
                        place=place + 1,
                        label=heading.label,
                        example=example,
                    ),
                    ("temperature", "humidity", "skip"),
                )
            )
    if asked:
        return tuple(asked)
    raise InputError(
        say("no column holds a temperature or a humidity"),
        got=", ".join(f"'{heading.label}'" for heading in table.headings),
        allowed=say("headings such as Temp (°C), Temperatur, UR %, HR, Room D1 T, Room D1 RH"),
        do=say("export the file with its heading row"),
        key="column",
        line=table.header_line or table.first_line,
    )


def channel_heading(key: Sequence[str], table: Table, columns: Columns) -> Heading:
    """What one row group of a long file means, from its device, channel and unit cells.

    Args:
        key: sequence of str. The cells of `columns.keys`.
        table: Table.
        columns: Columns.
    """
    named = dict(zip(columns.keys, key, strict=True))
    channel = " ".join(named[place] for place in table.columns("channel") if place in named)
    device = " ".join(named[place] for place in table.columns("device") if place in named)
    unit = " ".join(named[place] for place in table.columns("unit") if place in named)
    heading = understand(channel or unit or table.headings[columns.values[0]].label, unit)
    label = " ".join(part for part in (device, channel) if part)
    place = " ".join(part for part in (device, heading.place) if part)
    return replace(heading, label=label or heading.label, place=place)
