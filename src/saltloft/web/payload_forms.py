"""A form for any entry, made from its payload's fields; what was typed comes back when it is refused."""

from __future__ import annotations

import dataclasses
import types
import typing
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from typing import Any

from saltloft.foundation.errors import InputError
from saltloft.foundation.units import US, Mass, decimal_number, mass
from saltloft.foundation.words import say
from saltloft.plant.analyses import ANALYSTS
from saltloft.plant.entries import KINDS, decode
from saltloft.plant.instruments import INSTRUMENT_TYPES
from saltloft.plant.limits import DECISIONS, FAMILIES, UNITS
from saltloft.plant.lots import MARKETS, YIELD_USES
from saltloft.plant.orders import ORDER_ENDS, RETURN_DECISIONS
from saltloft.plant.parties import PARTY_ROLES
from saltloft.plant.people import ROLES
from saltloft.plant.readings import CUT_COLOURS, PH_PLACES, SAMPLE_KINDS
from saltloft.plant.ready_plan import READY_SAMPLES
from saltloft.plant.recipes import BASES, SHAPES
from saltloft.plant.rooms import ROOM_ROLES
from saltloft.plant.stock import MATERIAL_SORTS
from saltloft.web.payload_words import field_word, plain_value

CHOICES: dict[str, tuple[str, ...]] = {
    "where": PH_PLACES,
    "sample": SAMPLE_KINDS,
    "into": YIELD_USES,
    "analyst": ANALYSTS,
    "colour": ("", *CUT_COLOURS),
    "water_activity_of": READY_SAMPLES,
    "decision": DECISIONS,
    "family": FAMILIES,
    "basis": BASES,
    "shape": SHAPES,
    "type": INSTRUMENT_TYPES,
    "units": UNITS,
    "room.defined.role": ROOM_ROLES,
    "person.added.role": ROLES,
    "party.added.role": PARTY_ROLES,
    "party.added.market": ("", *MARKETS),
    "material.received.sort": ("", *MATERIAL_SORTS),
    "goods.returned.decision": RETURN_DECISIONS,
    "order.ended.how": ORDER_ENDS,
}


# Fields that hold degrees Celsius, as the record has them, whatever the person reads.
TEMPERATURE, FAHRENHEIT, HUNDREDTH = "temperature_c", "°F", Decimal("0.01")


@dataclass(frozen=True)
class FormField:
    """One field of the form.

    Args:
        name, word, typed: str.
        was: str. The value before a correction; empty on a new entry.
        choices: tuple of str. Empty for a free field.
        numeric, lines, wrong: bool. Lines: several lines may be typed.
        unit: str. Unit in which a bare number counts, sent with the form; empty: as the record has it.
        sort: str. 'date' or 'datetime-local' for a day or a moment picked on a calendar; empty: text.
        picks: tuple of (value, what to read beside it). Known ones to pick from; others may be typed.
        example: str. Shown while the field is empty.
    """

    name: str
    word: str
    typed: str
    was: str = ""
    choices: tuple[str, ...] = ()
    numeric: bool = False
    lines: bool = False
    wrong: bool = False
    unit: str = ""
    sort: str = ""
    picks: tuple[tuple[str, str], ...] = ()
    example: str = ""


def fields_of(
    kind: str, typed: Mapping[str, str], was: object | None = None, wrong: str = "", *, system: str = "metric"
) -> list[FormField]:
    """The form of an entry kind.

    Args:
        kind: str. With version.
        typed: mapping of field to text. What stands in the fields.
        was: payload or None. The entry being corrected.
        wrong: str. Key of the refused field; may carry the kind before a dot.
        system: str. Units of the person: 'metric' or 'us'.
    """
    shape, hints = KINDS[kind], _hints(kind)
    found = []
    for field in dataclasses.fields(shape):
        before = plain_value(getattr(was, field.name)) if was is not None else ""
        hint = _required(hints[field.name])
        word, shown = field_word(field.name), typed.get(field.name, _default(field))
        warm = system == US and field.name.endswith(TEMPERATURE) and hint is Decimal
        if warm:
            word, before = word.replace("°C", FAHRENHEIT), _in_fahrenheit(before)
            # What was typed is in the unit that was sent with it; a value of the record is not.
            shown = shown if f"{field.name}.unit" in typed else _in_fahrenheit(shown)
        found.append(
            FormField(
                name=field.name,
                word=word,
                typed=shown,
                unit=FAHRENHEIT if warm else "",
                was=before,
                choices=CHOICES.get(f"{kind.partition('/')[0]}.{field.name}") or CHOICES.get(field.name, ()),
                numeric=hint in (Decimal, int),
                lines=_lines(hint),
                wrong=bool(wrong) and wrong.rsplit(".", 1)[-1] == field.name,
            )
        )
    return found


def read_payload(kind: str, typed: Mapping[str, str]) -> Any:
    """The payload behind a filled form.

    Args:
        kind: str. With version.
        typed: mapping of field to text.

    Raises:
        InputError: a field that cannot be read, with its key.
    """
    hints = _hints(kind)
    plain: dict[str, Any] = {}
    for field in dataclasses.fields(KINDS[kind]):
        text = typed.get(field.name, "").strip()
        if not text and field.name in typed and _required(hints[field.name]) is str:
            plain[field.name] = ""
        elif text:
            if field.name.endswith(TEMPERATURE):
                text = _in_celsius(text, typed.get(f"{field.name}.unit", ""), field.name)
            plain[field.name] = _plain(hints[field.name], text, field.name)
    return decode(kind, plain)


def _in_fahrenheit(text: str) -> str:
    """A number of degrees Celsius as one of Fahrenheit, to the hundredth; other text stays."""
    try:
        return f"{(Decimal(text) * 9 / 5 + 32).quantize(HUNDREDTH).normalize():f}"
    except InvalidOperation:
        return text


def _in_celsius(text: str, unit: str, name: str) -> str:
    """What was typed, in degrees Celsius: a unit typed after the number goes before the form's own."""
    number, typed_unit = text.rstrip("CFcf").rstrip("°º ").strip(), text.strip()[-1:].upper()
    if typed_unit == "F" or (typed_unit != "C" and unit == FAHRENHEIT):
        return f"{((decimal_number(number, name) - 32) * 5 / 9).quantize(HUNDREDTH).normalize():f}"
    return number


def _hints(kind: str) -> dict[str, Any]:
    return typing.get_type_hints(KINDS[kind])


def _required(hint: Any) -> Any:
    if typing.get_origin(hint) in (types.UnionType, typing.Union):
        return next(item for item in typing.get_args(hint) if item is not type(None))
    return hint


def _lines(hint: Any) -> bool:
    return typing.get_origin(hint) is tuple and dataclasses.is_dataclass(typing.get_args(hint)[0])


def _default(field: dataclasses.Field[Any]) -> str:
    return "" if field.default is dataclasses.MISSING else plain_value(field.default)


def _plain(hint: Any, text: str, name: str) -> Any:
    hint = _required(hint)
    if typing.get_origin(hint) is tuple:
        inner = typing.get_args(hint)[0]
        if dataclasses.is_dataclass(inner):
            return [_record(inner, line, name) for line in text.splitlines() if line.strip()]
        return [
            _one(inner, part.strip(), name) for part in text.replace("\n", ";").split(";") if part.strip()
        ]
    return _one(hint, text.strip(), name)


def _one(hint: Any, text: str, name: str) -> Any:
    if hint is Mass:
        return _mass(text, name)
    if dataclasses.is_dataclass(hint):
        return _record(hint, text, name)
    if hint is Decimal:
        return format(decimal_number(text, name), "f")
    if hint is not int:
        return text
    try:
        return int(text)
    except ValueError:
        raise InputError(
            say("{field}: not a whole number", field=field_word(name)),
            got=f"'{text}'",
            allowed=say("0, 1, 2 ..."),
            key=name,
        ) from None


def _mass(text: str, name: str) -> dict[str, Any]:
    number, _, unit = text.rpartition(" ")
    if not number:
        raise InputError(
            say("{field}: number and unit", field=field_word(name)),
            got=f"'{text}'",
            allowed=say("such as 1.04 kg"),
            key=name,
        )
    booked = mass(number, unit, what=field_word(name))
    return {"mg": booked.mg, "number": booked.number, "unit": booked.unit, "division_mg": 0}


def _record(shape: Any, line: str, name: str) -> dict[str, Any]:
    parts = [part.strip() for part in line.split(";")]
    hints, inner = typing.get_type_hints(shape), dataclasses.fields(shape)
    needed = sum(field.default is dataclasses.MISSING for field in inner)
    if not needed <= len(parts) <= len(inner):
        raise InputError(
            say("{field}: a line has {count} parts", field=field_word(name), count=len(parts)),
            got=line,
            allowed="; ".join(field_word(field.name) for field in inner),
            key=name,
        )
    return {
        field.name: _plain(hints[field.name], part, name)
        for field, part in zip(inner, parts, strict=False)
        if part or field.default is dataclasses.MISSING
    }
