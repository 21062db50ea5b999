"""The air a lot goes through: stages of a programme, or the room's own log."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from saltloft.foundation.errors import InputError

Array = NDArray[np.float64]

DAY_S = 86400.0


@dataclass(frozen=True)
class Span:
    """A number, or two ends between which it is drawn evenly.

    Args:
        low: float. Lower end.
        high: float. Upper end; equal to low for one number.
    """

    low: float
    high: float

    @staticmethod
    def of(value: float) -> Span:
        """One number as a span of no width."""
        return Span(value, value)

    @property
    def mean(self) -> float:
        """Half way between the ends."""
        return 0.5 * (self.low + self.high)

    def at(self, share: Array) -> Array:
        """The value at a share 0..1 of the way from low to high, array like share."""
        return self.low + (self.high - self.low) * share


@dataclass(frozen=True)
class Stage:
    """One stretch of the programme, its ranges drawn once per lot.

    Args:
        name: str. Such as 'fermentation' or 'drying'.
        duration_d: Span. Length, or the latest end of an `until`. [d]
        temperature_c: Span. [degC]
        relative_humidity: Span. 0..1.
        air_m_s: Span. Air speed at the piece. [m/s]
        packed: bool. Sealed: no water leaves, the inside evens out.
        measured: bool. The numbers are a logger's means, not set-points.
        until_weight_loss: float or None. Ends when the lot's mean loss is there, 0..1.
        until_moisture_protein: float or None. Ends when the lot's mean is there. [kg/kg]
        until_ph: float or None. Ends when the pH is there, if a pH course is given.
        ph_end: Span or None. pH at the end of the stage, when stated.
    """

    name: str
    duration_d: Span
    temperature_c: Span
    relative_humidity: Span
    air_m_s: Span
    packed: bool = False
    measured: bool = False
    until_weight_loss: float | None = None
    until_moisture_protein: float | None = None
    until_ph: float | None = None
    ph_end: Span | None = None

    @property
    def ends_early(self) -> bool:
        """True when something but the clock may end the stage."""
        return (
            self.until_weight_loss is not None
            or self.until_moisture_protein is not None
            or self.until_ph is not None
        )


@dataclass(frozen=True)
class AirTrace:
    """The room's log from stuffing on: readings at rising times, straight between them.

    Args:
        time_d: array (readings,). From stuffing, the first at 0 or before. [d]
        temperature_c: array (readings,). [degC]
        relative_humidity: array (readings,). 0..1.
        air_m_s: float, or array (readings,). Air speed; each value is held until the next, as
            fans are switched. [m/s]
        measured: array of bool (readings,) or None. False where a value was filled in as set;
            there the air carries the doubt of a set-point. None: all were read.

    Raises:
        InputError: fewer than two readings, time running backwards, RH outside 0..1, or air
            slower than nothing.
    """

    time_d: Array
    temperature_c: Array
    relative_humidity: Array
    air_m_s: float | Array
    measured: NDArray[np.bool_] | None = None

    def __post_init__(self) -> None:
        lengths = {len(self.time_d), len(self.temperature_c), len(self.relative_humidity), len(self.speed)}
        if len(lengths) != 1 or len(self.time_d) < 2:
            raise InputError("the air log needs two readings or more, of one length", got=str(lengths))
        if np.any(np.diff(self.time_d) <= 0.0):
            raise InputError("time in the air log runs backwards or stands still", allowed="rising times")
        everything = np.concatenate([self.time_d, self.temperature_c, self.relative_humidity, self.speed])
        if not np.isfinite(everything).all():
            raise InputError("the air log holds something that is no number")
        if np.min(self.speed) < 0.0:
            raise InputError(
                "the air speed of the log is below nothing",
                got=f"{float(np.min(self.speed)):g} m/s",
                allowed="0 m/s (fans off) or more",
            )
        low, high = float(np.min(self.relative_humidity)), float(np.max(self.relative_humidity))
        if low < 0.0 or high > 1.0:
            raise InputError(
                "relative humidity in the air log is outside 0..1",
                got=f"{low:g} to {high:g}",
                allowed="fractions, 0.78 for 78 %",
            )

    @property
    def speed(self) -> Array:
        """Air speed at every reading, array (readings,). [m/s]"""
        if np.ndim(self.air_m_s):
            return np.asarray(self.air_m_s, dtype=np.float64)
        return np.full(len(self.time_d), float(self.air_m_s))

    @property
    def end_d(self) -> float:
        """Last moment of the log, from stuffing. [d]"""
        return float(self.time_d[-1])

    @property
    def longest_gap_d(self) -> float:
        """Longest stretch without a reading. [d]"""
        return float(np.max(np.diff(self.time_d)))


@dataclass(frozen=True)
class Programme:
    """What the lot hangs in: the log as far as it goes, then the stages.

    Args:
        stages: tuple of Stage. After the log's end, or from stuffing without a log.
        trace: AirTrace or None.

    Raises:
        InputError: neither a log nor a stage.
    """

    stages: tuple[Stage, ...]
    trace: AirTrace | None = None

    def __post_init__(self) -> None:
        if not self.stages and self.trace is None:
            raise InputError("a programme needs a stage or an air log", key="stage")

    @property
    def start_d(self) -> float:
        """Where the stages begin: the end of the log, else stuffing. [d]"""
        return self.trace.end_d if self.trace else 0.0

    @property
    def set_points_only(self) -> bool:
        """True when nothing of the air was measured."""
        return self.trace is None and not any(stage.measured for stage in self.stages)


def longest_block_d(age_d: float) -> float:
    """How long one constant block of the log may be, by the age of the lot. [d]

    Args:
        age_d: float. From stuffing. [d]

    Daily means in place of a daily cycle of 1 K and 5 %RH cost 5e-3 of the weight loss
    on day 1 and under 8e-4 after day 20 (own trial), so blocks are short early.
    """
    if age_d < 5.0:
        return 0.25
    return 0.5 if age_d < 20.0 else 1.0


def block_borders(trace: AirTrace) -> Array:
    """Cut a log into blocks: at their longest age-dependent length, and at every jump.

    Args:
        trace: AirTrace.

    Returns:
        Array (blocks + 1,) of rising days from 0 to the end of the log. [d]

    Notes:
        A jump is 1.5 K, 5 %RH or 0.1 in the root of the speed (which the film goes with) away
        from the block's first reading, held for half an hour.
    """
    root_speed = np.sqrt(trace.speed)
    borders, start = [0.0], 0
    time = trace.time_d
    for i in range(1, len(time)):
        if time[i] <= borders[-1]:
            start = i
            continue
        jumped = (
            abs(trace.temperature_c[i] - trace.temperature_c[start]) > 1.5
            or abs(trace.relative_humidity[i] - trace.relative_humidity[start]) > 0.05
            or abs(root_speed[i] - root_speed[start]) > 0.1
        )
        # Whole multiples of the longest length are borders, so that days end where blocks end.
        longest = longest_block_d(borders[-1])
        while time[i] > (next_border := longest * (np.floor(borders[-1] / longest + 1e-9) + 1.0)):
            borders.append(float(next_border))
            longest = longest_block_d(borders[-1])
            start = i
        if jumped and time[i] - borders[-1] >= 0.02:
            borders.append(float(time[i]))
            start = i
    if trace.end_d > borders[-1] + 1e-9:
        borders.append(trace.end_d)
    return np.array(borders)


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
    means: Array = np.diff(np.interp(borders, trace.time_d, area)) / np.diff(borders)
    return means


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
    return np.diff(total) / np.diff(borders)
