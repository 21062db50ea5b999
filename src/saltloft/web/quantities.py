"""Numbers as a person reads them: their units, their decimal mark, no more digits than the doubt allows."""

from __future__ import annotations

from dataclasses import dataclass

from babel.numbers import format_decimal, get_decimal_symbol

from saltloft.foundation.units import MILLIGRAMS, US, beside_metric, fahrenheit_from_celsius, in_system
from saltloft.plant.sentences import locale_name


def decimal_mark() -> str:
    """The decimal mark of the reader's language, for the number pad."""
    return get_decimal_symbol(locale_name())


def plain(value: float | None, decimals: int) -> str:
    """A number with the reader's marks, '–' when there is none."""
    if value is None:
        return "–"
    pattern = "#,##0" + ("." + "0" * decimals if decimals else "")
    return format_decimal(value, format=pattern, locale=locale_name()).replace("-", "\N{MINUS SIGN}")


@dataclass(frozen=True)
class Units:
    """The unit system of one person.

    Args:
        system: str. 'metric' or 'us'.
    """

    system: str = "metric"

    @property
    def mass(self) -> str:
        """'kg' or 'lb'."""
        return "lb" if self.system == "us" else "kg"

    @property
    def temperature(self) -> str:
        """'°C' or '°F'."""
        return "°F" if self.system == "us" else "°C"

    def mass_of(self, mg: float, decimals: int = 0) -> str:
        """A mass in the person's unit, without the unit.

        Args:
            mg: float. [mg]
            decimals: int.
        """
        return plain(mg / float(MILLIGRAMS[self.mass]), decimals)

    def temperature_of(self, temperature_c: float | None, decimals: int = 1) -> str:
        """A temperature in the person's unit, without the unit.

        Args:
            temperature_c: float or None. [degC]
            decimals: int.
        """
        if temperature_c is not None and self.system == "us":
            return plain(fahrenheit_from_celsius(temperature_c), decimals)
        return plain(temperature_c, decimals)

    @property
    def other(self) -> str:
        """The other system: 'us' or 'metric'."""
        return "metric" if self.system == US else US

    def words(self, text: str) -> str:
        """A finished sentence, with lb and °F beside kg and °C for those who read them."""
        return beside_metric(text, self.system)

    def amount(self, value: float, unit: str) -> tuple[float, str]:
        """A number with its unit in the person's system."""
        return in_system(value, unit, self.system)
