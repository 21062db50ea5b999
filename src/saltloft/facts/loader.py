"""Reads the fact rows that ship with the program and answers for them.

facts = load_facts()
facts.number("drying.water_diffusivity")
"""

from __future__ import annotations

import hashlib
import json
import re
import tomllib
import unicodedata
from collections.abc import Iterator, Mapping
from dataclasses import asdict
from decimal import Decimal
from functools import lru_cache
from importlib.resources import files
from importlib.resources.abc import Traversable

from saltloft.facts.schema import read_fact, read_source, read_table
from saltloft.foundation.errors import InputError, UnknownName
from saltloft.foundation.sources import Confidence, Fact, Source


class Facts:
    """The fact rows and their sources, checked against each other.

    Args:
        rows: mapping of key to Fact.
        sources: mapping of key to Source.

    Raises:
        UnknownName: a row names a source or a row in rests_on that does not exist.
    """

    def __init__(self, rows: Mapping[str, Fact], sources: Mapping[str, Source]) -> None:
        self._rows = dict(rows)
        self._sources = dict(sources)
        self._digests: dict[str, str] = {}  # rows never change, and a forecast asks for a hundred
        for fact in self._rows.values():
            if fact.source not in self._sources:
                raise UnknownName("source", fact.source, self._sources, key=fact.key)
            for needed in fact.rests_on:
                if needed not in self._rows:
                    raise UnknownName("fact", needed, self._rows, key=fact.key)

    def get(self, key: str) -> Fact:
        """The row of that key; UnknownName with the nearest keys otherwise."""
        if key not in self._rows:
            raise UnknownName("fact", key, self._rows)
        return self._rows[key]

    def number(self, key: str) -> float:
        """The value of that row as a float in the row's own unit."""
        return self.get(key).number

    def source(self, key: str) -> Source:
        """The work the row of that key was taken from."""
        return self._sources[self.get(key).source]

    def keys(self, prefix: str = "") -> tuple[str, ...]:
        """The keys that begin with a prefix of whole names, sorted.

        Args:
            prefix: str. Such as 'pork' or 'pork.10072'; '' for all.
        """
        return tuple(
            sorted(key for key in self._rows if not prefix or key == prefix or key.startswith(prefix + "."))
        )

    def confirmed_by_source(self, key: str) -> bool:
        """True when the row was read, or computed from rows that were all read."""
        fact = self.get(key)
        if fact.confidence is Confidence.COMPUTED:
            return all(self.get(needed).confidence is Confidence.READ for needed in fact.rests_on)
        return fact.confidence is Confidence.READ

    def digest(self, key: str) -> str:
        """SHA-256 of the row and its source in canonical form, as 64 hex digits.

        A confirmation in the journal names this digest: when number, place or
        edition change, the confirmation no longer fits.
        """
        if key in self._digests:
            return self._digests[key]
        row = {**asdict(self.get(key)), "source": asdict(self.source(key))}
        text = json.dumps(row, sort_keys=True, ensure_ascii=False, separators=(",", ":"), default=_plain)
        self._digests[key] = hashlib.sha256(unicodedata.normalize("NFC", text).encode()).hexdigest()
        return self._digests[key]


def _plain(value: object) -> str:
    if isinstance(value, Decimal):
        return format(value.normalize(), "f")
    raise TypeError(f"{type(value).__name__} does not belong in a fact row")


def _parse(text: str, name: str) -> dict[str, object]:
    try:
        return tomllib.loads(text, parse_float=Decimal)
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"{name} is not TOML", got=str(error)) from error


def _line_of(text: str, key: str) -> int | None:
    match = re.search(rf"^\[{re.escape(key)}\]", text, flags=re.MULTILINE)
    return text.count("\n", 0, match.start()) + 1 if match else None


def _leaves(table: Mapping[str, object], path: str) -> Iterator[tuple[str, Mapping[str, object]]]:
    """Tables that hold something other than tables: those are the rows."""
    if table and all(isinstance(entry, dict) for entry in table.values()):
        for name, entry in table.items():
            assert isinstance(entry, dict)
            yield from _leaves(entry, f"{path}.{name}" if path else name)
    else:
        yield path, table


def _topic_rows(folder: Traversable, rows: dict[str, Fact]) -> None:
    for file in sorted(folder.iterdir(), key=lambda entry: entry.name):
        if not file.name.endswith(".toml"):
            continue
        text = file.read_text(encoding="utf-8")
        content = _parse(text, f"{folder.name}/{file.name}")
        tables = content.pop("table", [])
        assert isinstance(tables, list)
        found = [(key, fields, _line_of(text, key)) for key, fields in _leaves(content, "") if key]
        for spec in tables:
            csv_text = (folder / str(spec.get("file"))).read_text(encoding="utf-8")
            found += [(key, fields, None) for key, fields in read_table(spec, csv_text, folder.name)]
        for key, fields, line in found:
            if key.split(".", maxsplit=1)[0] != folder.name:
                raise InputError(
                    f"{key} stands in the folder of another topic", got=folder.name, key=key, line=line
                )
            if key in rows:
                raise InputError(f"{key} is there twice", got=file.name, key=key, line=line)
            rows[key] = read_fact(key, fields, line=line)


def read_folder(folder: Traversable) -> Facts:
    """All facts below one data folder: `sources.toml` and one folder a topic.

    Args:
        folder: Traversable. A path or package resource.

    Raises:
        InputError, UnknownName: the first row that cannot be taken, with its line.
    """
    text = (folder / "sources.toml").read_text(encoding="utf-8")
    sources = {}
    for key, fields in _parse(text, "sources.toml").items():
        if not isinstance(fields, dict):
            raise InputError(f"source {key} is not a table", got=repr(fields), key=key)
        sources[key] = read_source(key, fields, line=_line_of(text, key))
    rows: dict[str, Fact] = {}
    for topic in sorted(folder.iterdir(), key=lambda entry: entry.name):
        if topic.is_dir():
            _topic_rows(topic, rows)
    return Facts(rows, sources)


@lru_cache(maxsize=1)
def load_facts() -> Facts:
    """The facts that ship with this version, read once."""
    return read_folder(files("saltloft") / "facts" / "data")
