"""Counting degree-hours: the rule's table, the end of the count, the sum over a covered trace."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from saltloft.foundation.errors import InputError
from saltloft.foundation.units import fahrenheit_from_celsius
from saltloft.plant.checks.trace import Cover, PhSet

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class LimitRow:
    """One row of the table: the limit for rooms whose highest temperature falls in it.

    Args:
        low: float or None. Lower border, None when open. [the rule's degrees]
        low_inclusive: bool. The border itself belongs to the row.
        high: float or None. Upper border, None when open. [the rule's degrees]
        high_inclusive: bool.
        limit: float. [the rule's degree-hours]
        source: str. Fact key.
    """

    low: float | None
    low_inclusive: bool
    high: float | None
    high_inclusive: bool
    limit: float
    source: str

    def holds(self, temperature: float) -> bool:
        """Whether a highest temperature, in the rule's degrees, takes this row."""
        above = self.low is None or temperature > self.low or (self.low_inclusive and temperature == self.low)
        below = self.high is None or temperature < self.high
        return above and (below or (self.high_inclusive and temperature == self.high))


@dataclass(frozen=True)
class DegreeHoursRule:
    """The rule of one market.

    Args:
        key: str. 'degree_hours.us' or 'degree_hours.ca'.
        market: str. 'us' or 'ca'.
        fahrenheit: bool. The rule counts in degrees Fahrenheit.
        base: float. Only what lies above counts. [the rule's degrees]
        end_ph: float. [pH]
        rows: tuple of LimitRow, that leave no temperature out.
        sources: tuple of str. Fact keys of base, end and borders.
    """

    key: str
    market: str
    fahrenheit: bool
    base: float
    end_ph: float
    rows: tuple[LimitRow, ...]
    sources: tuple[str, ...]

    @property
    def unit(self) -> str:
        """'F.h' or 'C.h'."""
        return "F.h" if self.fahrenheit else "C.h"

    @property
    def degrees(self) -> str:
        """The sign of its degrees for people."""
        return "°F" if self.fahrenheit else "°C"

    def degrees_of(self, temperature_c: float) -> float:
        """A temperature in the rule's degrees, to a hundredth, so that 90 °F is 90 °F."""
        own = fahrenheit_from_celsius(temperature_c) if self.fahrenheit else temperature_c
        return round(own, 2)

    def row(self, highest_c: float) -> LimitRow:
        """The row taken by the highest temperature of the room."""
        highest = self.degrees_of(highest_c)
        return next(row for row in self.rows if row.holds(highest))


@dataclass(frozen=True)
class EndingPlan:
    """How the plan lets a count end, and what gap it bears.

    Args:
        core_readings: int. n, core readings per set. 1 or more.
        ph_guard: float. Subtracted from the limit pH for meter error. [pH]
        longest_gap_s: float. Longest gap without a second logger. [s]
    """

    core_readings: int = 1
    ph_guard: float = 0.0
    longest_gap_s: float = 900.0


@dataclass(frozen=True)
class Count:
    """Degree-hours over one stretch.

    Args:
        measured: float. Gaps counted as zero. [the rule's degree-hours]
        worst: float. Every gap at its worst bound. [the rule's degree-hours]
        highest_measured_c: float or None. [degC]
        highest_worst_c: float or None. [degC]
    """

    measured: float
    worst: float
    highest_measured_c: float | None
    highest_worst_c: float | None


def ending_set(
    ph_sets: Sequence[PhSet], rule: DegreeHoursRule, plan: EndingPlan, start_s: float
) -> PhSet | None:
    """The first set that ends the count; None while there is none.

    Args:
        ph_sets: sequence of PhSet, in any order.
        rule: DegreeHoursRule.
        plan: EndingPlan.
        start_s: float. Entry to the room; earlier sets do not count. [s]

    Returns:
        The earliest set of at least n core values by an instrument in check whose highest is at
        or under the limit pH less the guard. Strips, mince, offcuts and rim never end a count.
    """
    if plan.core_readings < 1 or plan.ph_guard < 0.0:
        raise InputError(
            "the plan's way of reading pH cannot be used",
            got=f"{plan.core_readings} readings, guard {plan.ph_guard:g}",
            allowed="1 reading or more, guard 0 or more",
            key="plan",
        )
    bound = round(rule.end_ph - plan.ph_guard, 6)
    able = [
        one
        for one in ph_sets
        if one.where == "core"
        and one.in_check
        and one.at_s >= start_s
        and len(one.values) >= plan.core_readings
        and round(max(one.values), 6) <= bound
    ]
    return min(able, key=lambda one: one.at_s, default=None)


def count(laid: Cover, rule: DegreeHoursRule) -> Count:
    """Add up a covered stretch.

    Args:
        laid: Cover.
        rule: DegreeHoursRule.

    Returns:
        Count. Between two readings of a measured interval the temperature runs straight; the
        part of it above the base is integrated exactly.
    """
    scale = 1.8 if rule.fahrenheit else 1.0
    base_c = (rule.base - 32.0) / 1.8 if rule.fahrenheit else rule.base
    hours = (laid.end_s - laid.start_s) / 3600.0
    measured = scale * float(np.sum(_mean_above(laid.start_c - base_c, laid.end_c - base_c) * hours))
    doubt = sum(
        max(0.0, gap.worst_c - base_c) * scale * (gap.end_s - gap.start_s) / 3600.0 for gap in laid.gaps
    )
    highest = laid.highest_measured_c
    candidates = [gap.worst_c for gap in laid.gaps] + ([] if highest is None else [highest])
    return Count(
        round(measured, 6), round(measured + doubt, 6), highest, max(candidates) if candidates else None
    )


def _mean_above(left: FloatArray, right: FloatArray) -> FloatArray:
    """Mean of the positive part of a straight line between two values."""
    low, high = np.minimum(left, right), np.maximum(left, right)
    span = np.where(high > low, high - low, 1.0)
    crossing = np.where((low < 0.0) & (high > 0.0), 0.5 * high * high / span, 0.0)
    return np.asarray(np.where(low >= 0.0, 0.5 * (low + high), crossing))


def hours_left(used: float, limit: float, temperature: float, base: float) -> float | None:
    """Hours until the allowance is used up at a constant temperature.

    Args:
        used: float. Degree-hours used. [degree-hours]
        limit: float. [degree-hours]
        temperature: float. [the rule's degrees]
        base: float. [the rule's degrees]

    Returns:
        float, 0 or more, or None when the temperature is not above the base. [h]
    """
    return max(0.0, limit - used) / (temperature - base) if temperature > base else None
