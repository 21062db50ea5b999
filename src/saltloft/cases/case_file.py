"""Reads a case file strictly: a TOML file against a list of the keys it may hold.

    SCHEMA = {"title": Text(), "piece": Section({"diameter_mm": Span(10, 200, required=True)})}
    case = read_case(Path("my.toml"), SCHEMA)
    case.section("piece").span("diameter_mm")

Nothing is guessed: an unknown key, a number outside its range, a percentage
written as a fraction, or a file that is no text is refused with key, line,
what came, what was allowed and the nearest name.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from saltloft.cases.case_text import lines_of_keys, not_toml, read_text
from saltloft.cases.keys import (
    Key,
    Number,
    Range,
    Schema,
    Section,
    Text,
    Value,
    allowed_words,
    read_value,
    shown,
)
from saltloft.foundation.errors import InputError, SaltloftError, UnknownName
from saltloft.foundation.words import say


@dataclass(frozen=True)
class Table:
    """The keys of one table that were read and found good.

    Args:
        name: str. 'piece', 'stage[2]' (counted from 1) or '' for the file itself.
        values: mapping of key to value.
        lines: mapping of dotted key to line number, of the whole file.
        tables: mapping of section name to its tables; filled for the file only.
        source: str. The text of the file, for the file only.
    """

    name: str
    values: Mapping[str, Value]
    lines: Mapping[str, int]
    tables: Mapping[str, tuple[Table, ...]] = field(default_factory=dict)
    source: str = ""

    def __contains__(self, key: str) -> bool:
        return key in self.values or key in self.tables

    def section(self, name: str) -> Table:
        """The table `[name]`; an empty one when it was left out."""
        found = self.tables.get(name, ())
        return found[0] if found else Table(name, {}, self.lines)

    def sections(self, name: str) -> tuple[Table, ...]:
        """Every `[[name]]` in the order of the file."""
        return self.tables.get(name, ())

    def number(self, key: str) -> float | None:
        """The number under `key`, in the key's unit; None when left out."""
        value = self.values.get(key)
        return float(value) if isinstance(value, float | int) else None

    def whole(self, key: str) -> int | None:
        """The whole number under `key`; None when left out."""
        value = self.values.get(key)
        return int(value) if isinstance(value, float | int) else None

    def span(self, key: str) -> Range | None:
        """The range under `key`, in the key's unit; a plain number is a range of no width."""
        value = self.values.get(key)
        return value if isinstance(value, Range) else None

    def text(self, key: str) -> str | None:
        """The words under `key`; None when left out."""
        value = self.values.get(key)
        return value if isinstance(value, str) else None

    def flag(self, key: str) -> bool | None:
        """True or false under `key`; None when left out."""
        value = self.values.get(key)
        return value if isinstance(value, bool) else None

    def dotted(self, key: str) -> str:
        """The full name of a key of this table, such as 'stage[2].rh_pct'."""
        return f"{self.name}.{key}" if self.name and key else self.name or key

    def refusal(self, key: str, what: str, *, got: str = "", allowed: str = "", do: str = "") -> InputError:
        """The error for a key of this table that does not fit the rest of the case."""
        name = self.dotted(key)
        line = _line(self.lines, name, self.name)
        return InputError(what, got=got, allowed=allowed, do=do, key=name, line=line)


def error_answer(error: SaltloftError) -> dict[str, dict[str, object]]:
    """The JSON line of a refused case: `{"error": {message, key, line, allowed}}`."""
    return {
        "error": {"message": error.message, "key": error.key, "line": error.line, "allowed": error.allowed}
    }


def read_case(path: Path, schema: Schema) -> Table:
    """Read one case file against its schema.

    Args:
        path: Path. The TOML file, at most 1 MB.
        schema: mapping of key to Key or Section. `format` and `title` are always known.

    Returns:
        Table. Only keys that were in the file, each checked.

    Raises:
        InputError, UnknownName: with key, line, what came and what is allowed.
    """
    text = read_text(path)
    try:
        content = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise not_toml(path, text, error) from error
    except ValueError as error:
        # The parser's own int() refuses a number of thousands of digits.
        raise InputError(
            say("{file} holds a number of too many digits", file=path.name),
            allowed=say("numbers of at most 4300 digits"),
            key="file",
        ) from error
    except RecursionError as error:
        raise InputError(
            say("{file} is nested too deep", file=path.name), do=say("check the brackets"), key="file"
        ) from error
    lines = lines_of_keys(text)
    full: Schema = {"format": Number(1, 1, whole=True), "title": Text(), **schema}
    keys = {name: kind for name, kind in full.items() if not isinstance(kind, Section)}
    shapes = {name: kind for name, kind in full.items() if isinstance(kind, Section)}
    for name in content:
        if name not in full:
            raise UnknownName(say("key"), name, full, key=name, line=lines.get(name))
    values = _read_keys("", {name: content[name] for name in content if name in keys}, keys, lines)
    tables = {name: _read_section(name, content.get(name), shape, lines) for name, shape in shapes.items()}
    return Table("", values, lines, {name: found for name, found in tables.items() if found}, text)


def _read_section(name: str, raw: object, shape: Section, lines: Mapping[str, int]) -> tuple[Table, ...]:
    if raw is None:
        if shape.required:
            raise InputError(
                say("the case lacks [{name}]", name=f"[{name}]" if shape.many else name),
                allowed=", ".join(shape.keys),
                key=name,
            )
        # A section that was left out still has its required keys asked for by the case that needs it.
        return ()
    entries = raw if isinstance(raw, list) and shape.many else [raw]
    if not entries or not all(isinstance(entry, dict) for entry in entries):
        form = f"[[{name}]]" if shape.many else f"[{name}]"
        raise InputError(
            say("{name} must be a table", name=name),
            got=shown(raw),
            allowed=form,
            key=name,
            line=lines.get(name),
        )
    found = []
    for index, entry in enumerate(entries, start=1):
        label = f"{name}[{index}]" if shape.many else name
        found.append(Table(label, _read_keys(label, entry, shape.keys, lines), lines))
    return tuple(found)


def _read_keys(
    label: str, entry: Mapping[str, object], keys: Mapping[str, Key], lines: Mapping[str, int]
) -> dict[str, Value]:
    values: dict[str, Value] = {}
    for name in entry:
        if name not in keys:
            dotted = f"{label}.{name}"
            line = _line(lines, dotted, label)
            raise UnknownName(say("key of {table}", table=label), name, keys, key=dotted, line=line)
    for name, kind in keys.items():
        dotted = f"{label}.{name}" if label else name
        if name in entry:
            values[name] = read_value(dotted, entry[name], kind, _line(lines, dotted, label))
        elif kind.required:
            raise InputError(
                say("{table} lacks {key}", table=label or say("the case"), key=name),
                allowed=allowed_words(kind),
                key=dotted,
                line=_line(lines, label, label),
            )
    return values


def _line(lines: Mapping[str, int], dotted: str, label: str) -> int | None:
    """Line of a key, else of its table, else of the first table of that name (inline tables)."""
    places = (dotted, label, label.partition("[")[0])
    return next((lines[place] for place in places if place in lines), None)
