"""The shape of a fact row in a data file, and everything that can be wrong with one.

A row is one TOML table whose name is its whole key and whose fields are those
of `foundation.sources.Fact`:

    [drying.water_diffusivity]
    value = 9.0e-11
    unit = "m2/s"
    log_sd = 0.25
    source = "own-trial-fit"
    place = "table of priors"
    confidence = "own"

A table of a paper stays a CSV file; a `[[table]]` section says how its columns
become rows (`read_table`).
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator, Mapping
from decimal import Decimal, InvalidOperation

from saltloft.foundation.errors import InputError, UnknownName
from saltloft.foundation.sources import Confidence, Fact, Source

FIELDS = (
    "value", "unit", "low", "high", "valid", "source", "place",
    "confidence", "rests_on", "note", "log_sd", "sd",
)  # fmt: skip
REQUIRED = ("value", "unit", "source", "place", "confidence")
NUMBERS = ("low", "high", "log_sd", "sd")
TABLE_FIELDS = ("file", "prefix", "key", "columns", "source", "place", "confidence", "valid", "note")
COLUMN_FIELDS = ("name", "unit", "note")

UNIT_ATOMS = (
    "1", "%", "m", "mm", "um", "in", "ft", "kg", "g", "mg", "lb", "oz", "s", "min", "h", "d", "K", "F", "C",
    "degC", "degF", "Pa", "kPa", "mol", "mmol", "J", "kJ", "W", "V", "log10", "cfu", "pH", "ppm", "m2", "m3",
)  # fmt: skip
_ATOM = re.compile(r"^([A-Za-z%]+?|1|log10)(\d|½)?$")
_KEY = re.compile(r"^[a-z0-9_]+(\.[A-Za-z0-9_]+)+$")


def check_unit(unit: str, *, key: str = "", line: int | None = None) -> None:
    """Accept 'kg/m3', 'W/m2.K', 'F.h', '%', '1': atoms joined by '.', at most one '/'.

    Args:
        unit: str. The unit as written in the row; '' means the value is a word.
        key: str. Row key for the error.
        line: int or None. Line in the file.

    Raises:
        InputError: an unknown atom, or more than one '/'.
    """
    if unit.count("/") > 1:
        raise InputError("the unit has two '/'", got=f"'{unit}'", allowed="W/m2.K", key=key, line=line)
    for atom in re.split(r"[./]", unit) if unit else ():
        match = _ATOM.match(atom)
        if atom not in UNIT_ATOMS and (match is None or match.group(1) not in UNIT_ATOMS):
            raise UnknownName("unit", atom, UNIT_ATOMS, key=key, line=line)


def decimal_of(raw: object, what: str, *, key: str = "", line: int | None = None) -> Decimal:
    """The number as the source prints it, or InputError.

    Args:
        raw: object. An int, a Decimal, or digits in a string.
        what: str. Field name for the error.
        key: str. Row key.
        line: int or None. Line in the file.
    """
    if isinstance(raw, bool) or not isinstance(raw, int | Decimal | str):
        raise InputError(f"{what} of {key} is not a number", got=repr(raw), key=key, line=line)
    try:
        number = Decimal(raw)
    except InvalidOperation as error:
        raise InputError(f"{what} of {key} is not a number", got=repr(raw), key=key, line=line) from error
    if not number.is_finite():
        raise InputError(f"{what} of {key} is not finite", got=repr(raw), key=key, line=line)
    return number


def _check_fields(
    table: Mapping[str, object], known: tuple[str, ...], required: tuple[str, ...], key: str, line: int | None
) -> None:
    for name in table:
        if name not in known:
            raise UnknownName(f"field of {key}", name, known, key=f"{key}.{name}", line=line)
    for name in required:
        if name not in table:
            raise InputError(f"{key} lacks its field '{name}'", allowed=", ".join(known), key=key, line=line)
    for name in set(table) & {"unit", "valid", "source", "place", "note", "name", "file", "prefix", "key"}:
        if not isinstance(table[name], str):
            raise InputError(f"{name} of {key} is not text", got=repr(table[name]), key=key, line=line)


def _confidence(raw: object, key: str, line: int | None) -> Confidence:
    try:
        return Confidence(str(raw))
    except ValueError as error:
        words = [word.value for word in Confidence]
        raise UnknownName("confidence", str(raw), words, key=f"{key}.confidence", line=line) from error


def read_fact(key: str, table: Mapping[str, object], *, line: int | None = None) -> Fact:
    """One fact from one table of a data file.

    Args:
        key: str. Dotted key, such as 'drying.water_diffusivity'.
        table: mapping. The fields, as parsed.
        line: int or None. Line of the table's head.

    Returns:
        Fact, with low <= value <= high and every field of its kind.

    Raises:
        InputError, UnknownName: naming field, line, what was allowed and the nearest name.
    """
    if not _KEY.match(key):
        raise InputError("a fact key is 'topic.name'", got=f"'{key}'", key=key, line=line)
    _check_fields(table, FIELDS, REQUIRED, key, line)
    unit = str(table["unit"])
    check_unit(unit, key=f"{key}.unit", line=line)
    value: Decimal | str
    value = str(table["value"]) if unit == "" else decimal_of(table["value"], "value", key=key, line=line)
    numbers = {
        name: decimal_of(table[name], name, key=key, line=line) if name in table else None for name in NUMBERS
    }
    rests_on = table.get("rests_on", [])
    if not isinstance(rests_on, list) or not all(isinstance(name, str) for name in rests_on):
        raise InputError(f"rests_on of {key} is not a list of keys", got=repr(rests_on), key=key, line=line)
    fact = Fact(
        key=key,
        value=value,
        unit=unit,
        source=str(table["source"]),
        place=str(table["place"]),
        confidence=_confidence(table["confidence"], key, line),
        valid=str(table.get("valid", "")),
        rests_on=tuple(rests_on),
        note=str(table.get("note", "")),
        **numbers,
    )
    _check_order(fact, line)
    return fact


def _check_order(fact: Fact, line: int | None) -> None:
    if isinstance(fact.value, str):
        if any(getattr(fact, name) is not None for name in NUMBERS):
            raise InputError(f"{fact.key} is a word and has no doubt in numbers", key=fact.key, line=line)
        return
    if (fact.low is not None and fact.low > fact.value) or (fact.high is not None and fact.high < fact.value):
        got = f"low {fact.low}, value {fact.value}, high {fact.high}"
        raise InputError(f"{fact.key} is not in order", got=got, allowed="low <= value <= high", line=line)
    if any(spread is not None and spread < 0 for spread in (fact.log_sd, fact.sd)):
        raise InputError(f"{fact.key} has a negative spread", key=fact.key, line=line)
    if fact.log_sd is not None and fact.value <= 0:
        raise InputError(f"{fact.key} is log-normal but not above zero", got=str(fact.value), line=line)
    if fact.confidence is Confidence.COMPUTED and not fact.rests_on:
        raise InputError(f"{fact.key} is computed and names no row in rests_on", key=fact.key, line=line)


def read_source(key: str, table: Mapping[str, object], *, line: int | None = None) -> Source:
    """One work from sources.toml: title, and an address when it has one.

    Args:
        key: str. Short name.
        table: mapping. Fields 'title' and 'address'.
        line: int or None. Line of the table's head.

    Raises:
        InputError, UnknownName: a missing title or an unknown field.
    """
    _check_fields(table, ("title", "address"), ("title",), key, line)
    return Source(key=key, title=str(table["title"]), address=str(table.get("address", "")))


def read_table(spec: Mapping[str, object], text: str, topic: str) -> Iterator[tuple[str, dict[str, object]]]:
    """The rows of a CSV table as (key, fields) pairs for `read_fact`.

    Args:
        spec: mapping. `file`, `prefix` (beginning of the keys), `key` (the column that
            names a row), `columns` (column to name, unit and note), and the source, place,
            confidence, valid and note that all its rows share.
        text: str. The CSV file.
        topic: str. Topic for errors.

    Yields:
        '<prefix>.<row>.<name>' and its fields; an empty cell yields nothing.

    Raises:
        InputError, UnknownName: a column that the file lacks, an unknown field.
    """
    _check_fields(spec, TABLE_FIELDS, TABLE_FIELDS[:7], f"{topic}.table", None)
    columns = spec["columns"]
    if not isinstance(columns, dict):
        raise InputError(f"columns of a table of {topic} is not a table", got=repr(columns))
    rows = csv.DictReader(text.splitlines())
    shared = {name: spec[name] for name in ("source", "confidence", "valid", "note") if name in spec}
    for name, column in columns.items():
        _check_fields(column, COLUMN_FIELDS, ("name", "unit"), f"{topic}.{name}", None)
    for needed in (str(spec["key"]), *columns):
        if needed not in (rows.fieldnames or ()):
            raise UnknownName(f"column of {spec['file']}", needed, rows.fieldnames or ())
    for row in rows:
        label = row[str(spec["key"])]
        for name, column in columns.items():
            if row[name] == "":
                continue
            place = f"{spec['place']}, row {label}"
            own = {key: column[key] for key in ("unit", "note") if key in column}
            yield (
                f"{spec['prefix']}.{label}.{column['name']}",
                {
                    "value": row[name],
                    "place": place,
                    **shared,
                    **own,
                },
            )
