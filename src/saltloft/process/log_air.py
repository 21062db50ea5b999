"""Cuts a room's log into the blocks that the drying engine steps through.

Within a block the humidity runs straight and everything else stands at its mean, so one step
of the engine can take a whole block. Blocks end on a fixed grid of days from stuffing, and
where a straight line would miss what the log does: at held jumps, thaws, stopped fans.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from saltloft.process.programme import AirTrace

Array = NDArray[np.float64]
Places = NDArray[np.int64]

YOUNG_D, YOUNG_BLOCK_D, BLOCK_D = 5.0, 0.25, 0.5
# How far the running sum of what a block leaves out may go before it is cut.
HUMIDITY_LEFT_D, TEMPERATURE_LEFT_KD, ROOT_SPEED_LEFT_D = 1.4e-3, 0.05, 0.01
SHORTEST_D = 0.02  # half an hour: what lasts less is part of its block
ROUNDS = 6


@dataclass(frozen=True)
class LogBlocks:
    """A log in blocks.

    Args:
        border_d: array (blocks + 1,). Rising from 0 to the end of the log. [d]
        humidity_slope_d: array (blocks,). Rise of the relative humidity within each. [1/d]
    """

    border_d: Array
    humidity_slope_d: Array


def block_means(trace: AirTrace, borders: Array, values: Array) -> Array:
    """Mean of a quantity of the log over each block, by trapezoids.

    Args:
        trace: AirTrace.
        borders: array (blocks + 1,). [d]
        values: array (readings,). The quantity at the readings. [any unit]

    Returns:
        Array (blocks,) in the unit of values.
    """
    area = np.concatenate([[0.0], np.cumsum(0.5 * (values[1:] + values[:-1]) * np.diff(trace.time_d))])
    # Between readings the running area is a parabola; interpolating the value keeps it exact.
    cell = np.clip(np.searchsorted(trace.time_d, borders, side="right") - 1, 0, len(values) - 2)
    into = borders - trace.time_d[cell]
    here = np.interp(borders, trace.time_d, values)
    total = area[cell] + 0.5 * (values[cell] + here) * into
    means: Array = np.diff(total) / np.diff(borders)
    return means


def held_means(trace: AirTrace, borders: Array, values: Array) -> Array:
    """Mean over each block of a quantity that each reading holds until the next.

    Args:
        trace: AirTrace.
        borders: array (blocks + 1,). [d]
        values: array (readings,). [any unit]

    Returns:
        Array (blocks,) in the unit of values.
    """
    area = np.concatenate([[0.0], np.cumsum(values[:-1] * np.diff(trace.time_d))])
    # Before the first reading the air stands as that reading.
    total = np.interp(borders, trace.time_d, area) + values[0] * np.minimum(borders - trace.time_d[0], 0.0)
    means: Array = np.diff(total) / np.diff(borders)
    return means


class _Course:
    """A quantity over time with its running integrals, so that any stretch is told at once.

    Straight between the times, or held from each until the next.
    """

    def __init__(self, time: Array, values: Array, left: float, *, held: bool, line: bool) -> None:
        self.time, self.left, self.line = time, left, line
        length = np.diff(time)
        first = values[:-1]
        last = first if held else values[1:]
        middle = 0.5 * (time[1:] + time[:-1])
        area = 0.5 * (first + last) * length
        moment = area * middle + (last - first) * length * length / 12.0
        square = (first * first + first * last + last * last) * length / 3.0
        self.area, self.moment, self.square = (
            np.concatenate([[0.0], np.cumsum(part)]) for part in (area, moment, square)
        )

    def fit(self, start: Places, end: Places) -> tuple[Array, Array, Array]:
        """Mean and slope of stretches from one number of a time to another, and the square left out."""
        length = self.time[end] - self.time[start]
        area = self.area[end] - self.area[start]
        middle = 0.5 * (self.time[end] + self.time[start])
        moment = self.moment[end] - self.moment[start] - area * middle
        slope = 12.0 * moment / length**3 if self.line else 0.0 * length
        rest = self.square[end] - self.square[start] - area * area / length - slope * moment
        return area / length, slope, np.maximum(rest, 0.0)

    def worst(self, border: Places, stretch: Places) -> Array:
        """How far the running sum of what each stretch leaves out goes, in units of what may be left."""
        start, end = border[:-1], border[1:]
        mean, slope, _ = self.fit(start, end)
        since = self.time - self.time[start][stretch]
        until = self.time - self.time[end][stretch]
        line = mean[stretch] * since + 0.5 * slope[stretch] * since * until
        gone = np.abs(self.area - self.area[start][stretch] - line)
        return np.asarray(np.maximum.reduceat(gone, start)) / self.left


def _grid(end_d: float) -> Array:
    """Borders that hang on the age alone, so that a day's blocks are final once it is over. [d]"""
    young = np.arange(0.0, min(YOUNG_D, end_d), YOUNG_BLOCK_D)
    return np.unique(np.concatenate([young, np.arange(YOUNG_D, end_d, BLOCK_D), [0.0, end_d]]))


def _split(courses: list[_Course], time: Array, border: Places, wild: NDArray[np.bool_]) -> Places:
    """For each wild stretch the number of the time that divides it best; those that have one."""
    stretch = np.searchsorted(border, np.arange(len(time)), side="right") - 1
    stretch = np.minimum(stretch, len(border) - 2)
    inside = np.flatnonzero(
        wild[stretch]
        & (time - time[border[stretch]] >= SHORTEST_D)
        & (time[border[stretch + 1]] - time >= SHORTEST_D)
    )
    start, end = border[stretch[inside]], border[stretch[inside] + 1]
    rest = np.zeros(len(inside))
    for course in courses:
        rest += (course.fit(start, inside)[2] + course.fit(inside, end)[2]) / course.left**2
    order = np.lexsort((rest, stretch[inside]))
    _, first = np.unique(stretch[inside][order], return_index=True)
    return np.asarray(inside[order[first]], dtype=np.int64)


def cut_log(trace: AirTrace, *, resolve: bool = False) -> LogBlocks:
    """Cut a log into blocks.

    Args:
        trace: AirTrace.
        resolve: bool. True: every stretch between two readings is a block of its own, for
            checks and for the rim's own water activity hour by hour.

    Returns:
        LogBlocks.

    Notes:
        A block is cut where the humidity less its straight line, the temperature or the root
        of the speed less its mean adds up to more than the limits above; the cut falls where
        it leaves least. A jump of 5 %RH held for a quarter of a day is cut, a door opened for
        an hour is not: its mean counts.
    """
    inside = trace.time_d[(trace.time_d > 0.0) & (trace.time_d < trace.end_d)]
    ends = np.array([0.0, trace.end_d])
    base = np.unique(np.concatenate([ends, inside])) if resolve else _grid(trace.end_d)
    time = np.unique(np.concatenate([base, inside]))
    time = time[np.concatenate([[True], np.diff(time) > 1e-9])]
    humidity = np.interp(time, trace.time_d, trace.relative_humidity)
    celsius = np.interp(time, trace.time_d, trace.temperature_c)
    reading = np.clip(np.searchsorted(trace.time_d, time, side="right") - 1, 0, len(trace.time_d) - 1)
    moist = _Course(time, humidity, HUMIDITY_LEFT_D, held=False, line=True)
    courses = [
        moist,
        _Course(time, celsius, TEMPERATURE_LEFT_KD, held=False, line=False),
        _Course(time, np.sqrt(trace.speed)[reading], ROOT_SPEED_LEFT_D, held=True, line=False),
    ]
    border = np.unique(np.searchsorted(time, base - 1e-9)).astype(np.int64)
    for _ in range(0 if resolve else ROUNDS):
        stretch = np.minimum(np.searchsorted(border, np.arange(len(time)), side="right") - 1, len(border) - 2)
        wild = np.max([course.worst(border, stretch) for course in courses], axis=0) > 1.0
        new = _split(courses, time, border, wild) if wild.any() else border[:0]
        if not len(new):
            break
        border = np.unique(np.concatenate([border, new]))
    return LogBlocks(time[border], moist.fit(border[:-1], border[1:])[1])
