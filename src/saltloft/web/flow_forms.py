"""Reading the forms of receiving, making and dividing: masses, temperatures and lists as they were typed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from decimal import Decimal
from typing import Annotated

from fastapi import Depends, Request

from saltloft.foundation.errors import InputError
from saltloft.foundation.units import MILLIGRAMS, Mass, decimal_number, mass
from saltloft.foundation.words import say
from saltloft.plant.limits import UNITS
from saltloft.web.quantities import Units
from saltloft.web.visitor import Visitor

Typed = Mapping[str, str]


async def _sent(request: Request) -> dict[str, str]:
    return {name: value for name, value in (await request.form()).items() if isinstance(value, str)}


SentForm = Annotated[dict[str, str], Depends(_sent)]
"""What a form sent, field by field; read before the handler runs in its thread."""


def as_shown(visitor: Visitor, typed: Typed) -> Visitor:
    """The visitor with the units in which the form was shown: what was typed is read in these."""
    system = text(typed, "units")
    return replace(visitor, units=Units(system)) if system in UNITS else visitor


def text(typed: Typed, name: str) -> str:
    """What stands in a field, without blanks around it."""
    return typed.get(name, "").strip()


def mass_of(typed: Typed, name: str, units: Units, word: str) -> Mass:
    """A mass in the person's unit, or in the one typed behind it.

    Raises:
        InputError: empty, not a number, not above zero, or an unknown unit; its key is the field.
    """
    number, unit = _parted(text(typed, name), units)
    try:
        return mass(number, unit, what=word)
    except InputError as error:
        raise InputError(error.what, got=error.got, allowed=error.allowed, do=error.do, key=name) from error


def mass_or_none(typed: Typed, name: str, units: Units, word: str) -> Mass | None:
    """As `mass_of`; None for an empty field."""
    return mass_of(typed, name, units, word) if text(typed, name) else None


def _parted(found: str, units: Units) -> tuple[str, str]:
    number, _, unit = found.rpartition(" ")
    if number and unit in MILLIGRAMS:
        return number.strip(), unit
    return found, units.mass


def temperature_of(typed: Typed, name: str, units: Units, word: str) -> Decimal | None:
    """A temperature as journaled, typed in the person's unit; None for an empty field. [degC]

    Raises:
        InputError: not a number; its key is the field.
    """
    found = number_of(typed, name, word)
    if found is None or units.system != "us":
        return found
    return ((found - 32) / Decimal("1.8")).quantize(Decimal("0.1"))


def number_of(typed: Typed, name: str, word: str) -> Decimal | None:
    """A plain number; None for an empty field.

    Raises:
        InputError: not one number; its key is the field.
    """
    found = text(typed, name)
    if not found:
        return None
    minus = found.startswith(("-", "\N{MINUS SIGN}"))
    try:
        value = decimal_number(found.lstrip("-\N{MINUS SIGN}"), word)
    except InputError as error:
        raise InputError(error.what, got=error.got, allowed=error.allowed, do=error.do, key=name) from error
    return -value if minus else value


def count_of(typed: Typed, name: str, word: str) -> int:
    """A whole number; 0 for an empty field.

    Raises:
        InputError: not a whole number; its key is the field.
    """
    found = number_of(typed, name, word)
    if found is None:
        return 0
    if found != found.to_integral_value():
        raise InputError(
            say("{field}: not a whole number", field=word),
            got=str(found),
            allowed=say("0, 1, 2 ..."),
            key=name,
        )
    return int(found)


def names_of(typed: Typed, name: str) -> tuple[str, ...]:
    """Names with commas, semicolons or blanks between them."""
    found = text(typed, name).replace(";", ",").replace(" ", ",").split(",")
    return tuple(dict.fromkeys(part.strip() for part in found if part.strip()))


def rows_of(typed: Typed, name: str) -> list[int]:
    """The numbers of the rows of a list that were sent: 'part-0', 'part-1' and so on."""
    found = {
        int(number)
        for key in typed
        if key.startswith(f"{name}-") and (number := key.removeprefix(f"{name}-")).isdecimal()
    }
    return sorted(found)
