"""Units at the edges: what people type and read, and what Saltloft keeps.

Inside, everything is SI with temperatures in degrees Celsius; booked masses
are whole milligrams kept with the number, unit and scale division as entered.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation

from saltloft.foundation.errors import InputError

MILLIGRAMS: dict[str, Decimal] = {
    "mg": Decimal(1),
    "g": Decimal(1000),
    "kg": Decimal(1_000_000),
    "t": Decimal(1_000_000_000),
    # The international pound is exactly 0.45359237 kg (1959 agreement).
    "lb": Decimal("453592.37"),
    "oz": Decimal("28349.523125"),
}

_NUMBER = re.compile(r"^[+-]?\d+([.,]\d+)?$")


@dataclass(frozen=True)
class Mass:
    """A booked mass: exact milligrams beside what was typed.

    Args:
        mg: int. The mass. [mg]
        number: str. The number as entered, with its decimal mark.
        unit: str. 'kg', 'g', 'lb', 'oz', 't' or 'mg'.
        division_mg: int. Scale division of the instrument; 0 when not known. [mg]
    """

    mg: int
    number: str
    unit: str
    division_mg: int = 0

    @property
    def kg(self) -> float:
        """The mass as a float for models. [kg]"""
        return self.mg / 1e6


def decimal_number(text: str, what: str) -> Decimal:
    """Read one typed number, with a decimal point or a decimal comma.

    Args:
        text: str. What was typed.
        what: str. The quantity's name for the error.

    Raises:
        InputError: when it is not one plain number ('2-3' may be lb-oz: ask, never guess).
    """
    cleaned = text.strip()
    if not _NUMBER.match(cleaned):
        raise InputError(
            f"{what} is not a number",
            got=f"'{text}'",
            allowed="digits with one decimal point or comma, such as 1.04 or 1,04",
            do="type one plain number; enter pounds and ounces in two fields",
            key=what,
        )
    try:
        return Decimal(cleaned.replace(",", "."))
    except InvalidOperation as error:  # pragma: no cover - the pattern above excludes it
        raise InputError(f"{what} is not a number", got=f"'{text}'", key=what) from error


def mass(number: str, unit: str, *, what: str = "mass", division_mg: int = 0) -> Mass:
    """Turn a typed number and unit into a booked mass.

    Args:
        number: str. As typed, such as '1,04'.
        unit: str. One of the units of `MILLIGRAMS`.
        what: str. The quantity's name for errors.
        division_mg: int. Scale division, 0 when not known. [mg]

    Raises:
        InputError: unknown unit, not a number, or not above zero.
    """
    if unit not in MILLIGRAMS:
        raise InputError(
            f"the unit of {what} is not known",
            got=f"'{unit}'",
            allowed=", ".join(MILLIGRAMS),
            key=what,
        )
    value = decimal_number(number, what)
    if value <= 0:
        raise InputError(f"{what} must be above zero", got=f"{number} {unit}", key=what)
    return Mass(int((value * MILLIGRAMS[unit]).to_integral_value()), number.strip(), unit, division_mg)


def celsius_from_fahrenheit(temperature_f: float) -> float:
    """Degrees Celsius from degrees Fahrenheit, exact by definition. [degC]"""
    return (temperature_f - 32.0) / 1.8


def fahrenheit_from_celsius(temperature_c: float) -> float:
    """Degrees Fahrenheit from degrees Celsius, exact by definition. [degF]"""
    return temperature_c * 1.8 + 32.0


US = "us"
_SHOWN = r"[+−-]?\d{1,3}(?:,\d{3})+(?:\.\d+)?|[+−-]?\d+(?:\.\d+)?"
# One number before its unit, or two ends of a range before one unit.
_MEASURED = re.compile(rf"(?<![\w.,])(?:({_SHOWN})( to | – ))?({_SHOWN}) (kg|°C)(?![\w/·]|\.h)")


def in_system(value: float, unit: str, system: str) -> tuple[float, str]:
    """A number and its unit as a person of that system reads them.

    Args:
        value: float. In `unit`.
        unit: str. 'kg', '°C', or words that begin with 'kg '; every other unit stays.
        system: str. 'metric' or 'us'.
    """
    if system == US and unit == "°C":
        return fahrenheit_from_celsius(value), "°F"
    if system == US and (unit == "kg" or unit.startswith("kg ")):
        return value * float(MILLIGRAMS["kg"] / MILLIGRAMS["lb"]), "lb" + unit[2:]
    return value, unit


def beside_metric(text: str, system: str) -> str:
    """A sentence with lb and °F in brackets behind every kg and °C, for a person who reads those.

    What a person typed stays as typed; a sentence in a metric person's hands is returned as it is.

    Args:
        text: str.
        system: str. 'metric' or 'us'.

    Example:
        >>> beside_metric("went to 24.0 °C, 1,306 kg there", "us")
        'went to 24.0 °C (75.2 °F), 1,306 kg (2,879 lb) there'
    """
    return _MEASURED.sub(_with_other, text) if system == US else text


def _with_other(found: re.Match[str]) -> str:
    low, between, high, unit = found.groups()
    ends = [_other(end, unit) for end in (low, high) if end]
    return f"{found[0]} ({(between or '').join(ends)} {'°F' if unit == '°C' else 'lb'})"


def _other(shown: str, unit: str) -> str:
    decimals = len(shown.partition(".")[2])
    value, _ = in_system(float(shown.replace(",", "").replace("−", "-")), unit, US)
    return f"{value:,.{decimals}f}".replace("-", "−")
