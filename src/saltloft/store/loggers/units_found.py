"""Which unit a column is in: by its heading, else by what its room can be, else we ask."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from saltloft.foundation.errors import InputError
from saltloft.foundation.units import celsius_from_fahrenheit
from saltloft.foundation.words import say
from saltloft.store.loggers.headers import Heading
from saltloft.store.loggers.model import HUMIDITY, Question, ReadOptions, Values

# What the air of a room can be, lowest and highest, by its role; a room of unknown role is taken for one
# where meat cures, so no freezer. [degC] Common practice, no source.
ROLE_RANGES_C: dict[str, tuple[float, float]] = {
    "fermenting": (10.0, 45.0),
    "drying": (5.0, 25.0),
    "ageing": (5.0, 25.0),
    "salting": (-2.0, 10.0),
    "resting": (-2.0, 12.0),
    "ham_drying": (5.0, 35.0),
    "cellar": (5.0, 32.0),
    "packing": (0.0, 25.0),
    "store": (-30.0, 25.0),
}
# No room is as dry as 2 % RH: a column that never exceeds 2 holds fractions (1.2 is then a fault value).
_LARGEST_FRACTION = 2.0
_ANY_ROOM_C = (-3.0, 45.0)
_PHYSICAL_C = (-60.0, 120.0)
# An air temperature that moves this far in one step, along the line of the other unit, is a change of unit.
_LEAST_UNIT_STEP = 10.0
# Fault values of digital temperature sensors, in degC (from memory, no source).
_FAULT_C = (85.0, -127.0)


@dataclass(frozen=True)
class InUnit:
    """A column in Saltloft's own unit.

    Args:
        values: float64 array (n,). NaN where a fault value stood or nothing possible. [degC or %RH]
        missing: int. Fault values set aside.
        impossible: bool array (n,). True where a number can't be air in a room.
        words: str. How the unit was found; empty while it is asked.
        question: Question or None.
    """

    values: Values
    missing: int
    impossible: npt.NDArray[np.bool_]
    words: str
    question: Question | None = None


def in_own_unit(values: Values, heading: Heading, role: str, options: ReadOptions) -> InUnit:
    """Bring one column to degC or %RH.

    Args:
        values: float64 array (n,). As they stand, NaN where missing. [unit of the file]
        heading: Heading. Its quantity and unit.
        role: str. Role of its room, empty when not known.
        options: ReadOptions. Answers 'unit', 'unit.LABEL' and 'rh_scale'.
    """
    if heading.quantity == HUMIDITY:
        return _humidity(values, heading, options)
    return _temperature(values, heading, role, options)


def _humidity(values: Values, heading: Heading, options: ReadOptions) -> InUnit:
    finite = values[np.isfinite(values)]
    scale, words, question = 1.0, say("'{label}' is in % RH.", label=heading.label), None
    if finite.size and 0 < float(finite.max()) <= _LARGEST_FRACTION:
        answered = options.answers.get("rh_scale", "")
        if answered not in ("", "fraction", "percent"):
            raise InputError(
                say("a humidity is a fraction or in per cent"),
                got=f"'{answered}'",
                allowed="fraction, percent",
                key="rh_scale",
            )
        if answered == "fraction" or (not answered and heading.unit != "%"):
            scale = 100.0
            words = say(
                "'{label}' is a fraction (nothing above {most}), kept in % RH.",
                label=heading.label,
                most=f"{float(finite.max()):g}",
            )
        elif not answered:
            sentence = say(
                "'{label}' is headed % but holds nothing above {most}. Fraction or per cent?",
                label=heading.label,
                most=f"{float(finite.max()):g}",
            )
            words, question = "", Question("rh_scale", sentence, ("fraction", "percent"))
    percent = values * scale
    # 0 and more than 100.5 are what a broken or wet sensor shows (common practice, no source).
    fault = np.isfinite(percent) & ((percent == 0.0) | ((percent > 100.5) & (percent <= 200.0)))
    impossible = np.isfinite(percent) & ((percent < 0.0) | (percent > 200.0))
    percent[fault | impossible] = np.nan
    return InUnit(percent, int(fault.sum()), impossible, words, question)


def _temperature(values: Values, heading: Heading, role: str, options: ReadOptions) -> InUnit:
    unit, words, question = _unit(values, heading, role, options)
    celsius = celsius_from_fahrenheit_array(values) if unit == "F" else values.copy()
    fault = np.zeros(values.size, np.bool_)
    for code in _FAULT_C:
        fault |= np.abs(celsius - code) < 1e-6
    impossible = np.isfinite(celsius) & ~fault & ((celsius < _PHYSICAL_C[0]) | (celsius > _PHYSICAL_C[1]))
    celsius[fault | impossible] = np.nan
    return InUnit(celsius, int(fault.sum()), impossible, words, question)


def celsius_from_fahrenheit_array(values: Values) -> Values:
    """Degrees Celsius of an array in degrees Fahrenheit, to a millionth of a degree.

    Rounded so that 57.2 degF is the same 14.0 degC in every file that holds it.
    """
    return np.round((values - 32.0) / 1.8, 6)


def _unit(
    values: Values, heading: Heading, role: str, options: ReadOptions
) -> tuple[str, str, Question | None]:
    label = heading.label
    answered = options.answers.get(f"unit.{label}", options.answers.get("unit", "")).upper().strip("°")
    if answered:
        if answered not in ("C", "F"):
            raise InputError(
                say("a temperature is in C or F"), got=f"'{answered}'", allowed="C, F", key=f"unit.{label}"
            )
        return answered, say("'{label}' is in °{unit}, as you answered.", label=label, unit=answered), None
    if heading.unit in ("C", "F"):
        kept = say("kept in °C") if heading.unit == "F" else ""
        words = say("'{label}' is in °{unit} by its heading", label=label, unit=heading.unit)
        return heading.unit, f"{words}, {kept}." if kept else f"{words}.", None
    finite = values[np.isfinite(values)]
    if not finite.size:
        return "C", "", None
    low, high = (float(edge) for edge in np.quantile(finite, (0.05, 0.95)))
    bounds = ROLE_RANGES_C.get(role, _ANY_ROOM_C)
    celsius = bounds[0] <= low and high <= bounds[1]
    fahrenheit = bounds[0] <= celsius_from_fahrenheit(low) and celsius_from_fahrenheit(high) <= bounds[1]
    if celsius != fahrenheit:
        unit = "C" if celsius else "F"
        words = say(
            "'{label}' runs from {low} to {high}: in a {role} that can only be °{unit}.",
            label=label,
            low=f"{low:.3g}",
            high=f"{high:.3g}",
            role=say("{role} room", role=role) if role else say("room"),
            unit=unit,
        )
        return unit, words, None
    sentence = say(
        "'{label}' runs from {low} to {high} and names no unit. °C or °F?",
        label=label,
        low=f"{low:.3g}",
        high=f"{high:.3g}",
    )
    return "C", "", Question(f"unit.{label}", sentence, ("C", "F"))


def unit_changes(values: Values) -> list[int]:
    """Where a temperature column changes from one unit to the other, as firmware settings do.

    Args:
        values: float64 array (n,). In the order of the file, NaN where missing. [degC or degF]

    Returns:
        Indices of the first value after each change; empty when there is none.

    Notes:
        A step counts when it fits y = 1.8 x + 32 (either way) within 2 degF, moves by more than
        10 degrees, and up to five values on each side stay nearer to their own side.
    """
    place = np.flatnonzero(np.isfinite(values))
    known = values[place]
    before, after = known[:-1], known[1:]
    moved = np.abs(after - before) > _LEAST_UNIT_STEP
    fits = (np.abs(after - (1.8 * before + 32.0)) < 2.0) | (np.abs(before - (1.8 * after + 32.0)) < 2.0)
    return [int(place[step + 1]) for step in np.flatnonzero(moved & fits).tolist() if _lasts(known, step)]


def _lasts(known: Values, step: int) -> bool:
    left, right = known[max(0, step - 4) : step + 1], known[step + 1 : step + 6]
    middle = (known[step] + known[step + 1]) / 2.0
    rising = known[step + 1] > known[step]
    stays = np.all((left < middle) == rising) and np.all((right > middle) == rising)
    return bool(stays) and left.size >= 3 and right.size >= 3


def to_celsius_by_parts(values: Values, changes: list[int]) -> Values:
    """A column that changes its unit, all of it in degC.

    Args:
        values: float64 array (n,). [degC or degF]
        changes: list of int. From `unit_changes`; the part before the first is in degC when that step rises.
    """
    known = np.flatnonzero(np.isfinite(values[: changes[0]]))
    fahrenheit = bool(values[known[-1]] > values[changes[0]])
    parts = []
    for part in np.split(values, changes):
        parts.append(celsius_from_fahrenheit_array(part) if fahrenheit else part)
        fahrenheit = not fahrenheit
    return np.concatenate(parts)
