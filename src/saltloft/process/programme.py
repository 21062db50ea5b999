"""The air a lot goes through: stages of a programme, or the room's own log."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from saltloft.foundation.errors import InputError
from saltloft.process.pulses import Pulse

Array = NDArray[np.float64]

DAY_S = 86400.0
LONGEST_STAGE_D = 1100.0


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
        pulse: Pulse or None. Fans that run and rest in turn.

    Raises:
        InputError: a length, temperature, humidity or air speed that no room has.
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
    pulse: Pulse | None = None

    def __post_init__(self) -> None:
        bounds = {
            "duration_d": (0.0, LONGEST_STAGE_D),
            "temperature_c": (-30.0, 60.0),
            "relative_humidity": (0.0, 1.0),
            "air_m_s": (0.0, 20.0),
        }
        for name, (least, most) in bounds.items():
            span = getattr(self, name)
            if not least <= span.low <= span.high <= most:
                raise InputError(
                    "a stage that cannot be",
                    got=f"{name} {span.low:g} to {span.high:g}",
                    allowed=f"{least:g} to {most:g}, the lower end first",
                    key=name,
                )

    @property
    def ends_early(self) -> bool:
        """True when something but the clock may end the stage."""
        return (
            self.until_weight_loss is not None
            or self.until_moisture_protein is not None
            or self.until_ph is not None
        )


@dataclass(frozen=True, eq=False)  # itself only: so what is told of a log is told once
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
        """Longest stretch without a reading, that before the first one counted from stuffing. [d]"""
        return float(max(np.max(np.diff(self.time_d)), self.time_d[0]))


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
    def ends_pulsed(self) -> bool:
        """True when the fans of the last stage run and rest in turn."""
        return bool(self.stages) and self.stages[-1].pulse is not None

    @property
    def set_points_only(self) -> bool:
        """True when nothing of the air was measured."""
        return self.trace is None and not any(stage.measured for stage in self.stages)
