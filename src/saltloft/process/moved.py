"""Why a ready day moved: one change after another taken over, each with a run of its own.

The order is stated, because changes work on each other: what came first gets what they share.
The steps add up to the whole move exactly.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from saltloft.process.programme import Programme

Array = NDArray[np.float64]
MOMENTS = 97


@dataclass(frozen=True)
class MeanAir:
    """Means of an air over a stretch of days.

    Args:
        temperature_c: float. [degC]
        relative_humidity: float, 0..1.
    """

    temperature_c: float
    relative_humidity: float


def one_by_one(start: float | None, steps: Iterable[Callable[[], float | None]]) -> list[float | None]:
    """What each step moves a number by, from where the one before left it.

    Args:
        start: float or None. Before the first step, nothing without such a day. [d]
        steps: iterable of functions. Each gives the number with all changes so far in. [d]

    Returns:
        list of float or None, one a step; None where the number is missing before or after. In
        the unit of start.
    """
    found: list[float | None] = []
    before = start
    for step in steps:
        after = step()
        found.append(None if before is None or after is None else after - before)
        before = after
    return found


def mean_air(programme: Programme, start_d: float, end_d: float) -> MeanAir:
    """The mean air a programme gives or takes for granted between two days.

    Args:
        programme: Programme.
        start_d, end_d: float. From stuffing; end after start. [d]
    """
    days = np.linspace(start_d, end_d, MOMENTS)
    temperature, humidity = np.empty(MOMENTS), np.empty(MOMENTS)
    trace = programme.trace
    logged = np.zeros(MOMENTS, dtype=np.bool_) if trace is None else days <= trace.end_d
    if trace is not None and logged.any():
        temperature[logged] = np.interp(days[logged], trace.time_d, trace.temperature_c)
        humidity[logged] = np.interp(days[logged], trace.time_d, trace.relative_humidity)
    ends = programme.start_d + np.cumsum([stage.duration_d.mean for stage in programme.stages])
    for number in np.flatnonzero(~logged):
        place = min(int(np.searchsorted(ends, days[number])), len(ends) - 1)
        temperature[number] = programme.stages[place].temperature_c.mean
        humidity[number] = programme.stages[place].relative_humidity.mean
    return MeanAir(float(temperature.mean()), float(humidity.mean()))
