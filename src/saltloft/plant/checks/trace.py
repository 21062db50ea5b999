"""A room's temperature over time as a rule may use it, and the pH sets that may end a count."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from saltloft.foundation.errors import InputError

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class TemperatureTrace:
    """What one logger read, in order.

    Args:
        times_s: array (readings,). Rising; seconds since 1970, UTC. [s]
        temperature_c: array (readings,). [degC]
        usual_interval_s: float. How far apart this logger's readings usually stand, from
            the logger's setting or its whole record, not from this stretch alone. [s]
        fastest_rise_c_s: float. The room's fastest recorded rise, from its whole record. [degC/s]
        highest_c: float. The highest temperature the room can reach, never below what it
            ever recorded. [degC]
        batches: tuple of str. Ids of the sealed batches it came from.
        in_check: bool. False when the logger was out of its calibration window.
    """

    times_s: FloatArray
    temperature_c: FloatArray
    usual_interval_s: float
    fastest_rise_c_s: float
    highest_c: float
    batches: tuple[str, ...] = ()
    in_check: bool = True

    @property
    def usable(self) -> bool:
        """Holds readings, by a logger in check."""
        return self.in_check and self.times_s.size > 0

    def __post_init__(self) -> None:
        if self.times_s.shape != self.temperature_c.shape or self.times_s.ndim != 1:
            raise InputError("times and temperatures differ in length", key="trace")
        if np.any(np.diff(self.times_s) < 0.0):
            raise InputError("the times of a trace must rise", key="trace")
        if not (np.all(np.isfinite(self.times_s)) and np.all(np.isfinite(self.temperature_c))):
            raise InputError("a trace holds a reading that is no number", key="trace")


@dataclass(frozen=True)
class PhSet:
    """pH readings taken together, one value per piece.

    Args:
        at_s: float. Moment; seconds since 1970, UTC. [s]
        values: tuple of float. One per piece, as read. [pH]
        where: str. 'core', 'rim', 'test_mince', 'offcut' or 'strip'.
        instrument: str. The meter.
        in_check: bool. False when the reading stands after the meter's last good check.
        entry_id: str. The journal entry.
    """

    at_s: float
    values: tuple[float, ...]
    where: str
    instrument: str = ""
    in_check: bool = True
    entry_id: str = ""


@dataclass(frozen=True)
class Stretch:
    """One interval without a reading that is longer than the logger's usual one.

    Args:
        start_s, end_s: float. [s]
        worst_c: float. The highest temperature it may have held. [degC]
        too_long: bool. Longer than the plan allows, and no second logger filled it.
    """

    start_s: float
    end_s: float
    worst_c: float
    too_long: bool


@dataclass(frozen=True)
class Cover:
    """A trace laid over one stretch of time: what was measured, and what lies between.

    Args:
        start_s, end_s: arrays (pieces,). Ends of each measured interval. [s]
        start_c, end_c: arrays (pieces,). Temperatures at these ends. [degC]
        gaps: tuple of Stretch.
    """

    start_s: FloatArray
    end_s: FloatArray
    start_c: FloatArray
    end_c: FloatArray
    gaps: tuple[Stretch, ...]

    @property
    def highest_measured_c(self) -> float | None:
        """Highest temperature read; None when nothing was read. [degC]"""
        if not self.start_c.size:
            return None
        return float(max(self.start_c.max(), self.end_c.max()))


def cover(
    trace: TemperatureTrace,
    start_s: float,
    end_s: float,
    longest_gap_s: float,
    second: TemperatureTrace | None = None,
) -> Cover:
    """Lay a trace, with a second logger in its gaps, over the stretch from start to end.

    Args:
        trace: TemperatureTrace. The first logger; may hold no reading.
        start_s: float. [s]
        end_s: float. At or after start_s. [s]
        longest_gap_s: float. The longest gap the plan allows without a second logger. [s]
        second: TemperatureTrace or None. Used only inside gaps of the first that are too long.

    Returns:
        Cover. An interval up to 1.5 times the logger's usual one is measured; a longer one
        is a gap, and so is any that is longer than the plan allows.

    Notes:
        Worst of a gap: the higher neighbour plus the fastest rise times half the gap, capped by
        the highest the room can reach. At an end with one neighbour only, times the whole gap;
        with none, the highest the room can reach.
    """
    if not trace.usable and second is not None and second.usable:
        trace, second = second, None
    if not trace.usable:
        none = np.empty(0)
        gap = Stretch(start_s, end_s, trace.highest_c, True)
        return Cover(none, none, none, none, (gap,) if end_s > start_s else ())
    times, temperature = _clipped(trace, start_s, end_s)
    if second is not None and second.usable:
        times, temperature = _filled(times, temperature, second, (start_s, end_s), longest_gap_s)
    inside = np.flatnonzero(np.diff(times) > 0.0)
    lengths = np.diff(times)[inside]
    usual = min(1.5 * trace.usual_interval_s, longest_gap_s)
    measured = inside[lengths <= usual + 1e-6]
    gaps = [
        _between(times, temperature, int(index), trace, longest_gap_s)
        for index in inside[lengths > usual + 1e-6]
    ]
    gaps += _at_the_ends(times, temperature, trace, (start_s, end_s), longest_gap_s)
    ordered = tuple(sorted(gaps, key=lambda gap: gap.start_s))
    return Cover(
        times[measured], times[measured + 1], temperature[measured], temperature[measured + 1], ordered
    )


def _clipped(trace: TemperatureTrace, start_s: float, end_s: float) -> tuple[FloatArray, FloatArray]:
    """Readings inside the stretch, with the value at a border that lies inside a measured interval."""
    times, temperature = trace.times_s, trace.temperature_c
    keep = (times >= start_s) & (times <= end_s)
    kept_times, kept_temperature = times[keep], temperature[keep]
    usual = 1.5 * trace.usual_interval_s + 1e-6
    for border, first in ((start_s, True), (end_s, False)):
        after = int(np.searchsorted(times, border, side="left"))
        if after in (0, times.size) or times[after] == border or times[after] - times[after - 1] > usual:
            continue
        value = float(np.interp(border, times[after - 1 : after + 1], temperature[after - 1 : after + 1]))
        kept_times = np.insert(kept_times, 0 if first else kept_times.size, border)
        kept_temperature = np.insert(kept_temperature, 0 if first else kept_temperature.size, value)
    return kept_times, kept_temperature


def _filled(
    times: FloatArray,
    temperature: FloatArray,
    second: TemperatureTrace,
    ends: tuple[float, float],
    longest_gap_s: float,
) -> tuple[FloatArray, FloatArray]:
    """Readings of the second logger set into the gaps of the first that are too long."""
    borders = np.concatenate(([ends[0]], times, [ends[1]]))
    left = np.flatnonzero(np.diff(borders) > longest_gap_s + 1e-6)
    keep = np.zeros(second.times_s.size, dtype=bool)
    for index in left:
        keep |= (second.times_s >= borders[index]) & (second.times_s <= borders[index + 1])
    joined = np.concatenate((times, second.times_s[keep]))
    order = np.argsort(joined, kind="stable")
    return joined[order], np.concatenate((temperature, second.temperature_c[keep]))[order]


def _between(
    times: FloatArray, temperature: FloatArray, index: int, trace: TemperatureTrace, longest_gap_s: float
) -> Stretch:
    start_s, end_s = float(times[index]), float(times[index + 1])
    higher = float(max(temperature[index], temperature[index + 1]))
    worst = min(higher + trace.fastest_rise_c_s * 0.5 * (end_s - start_s), max(trace.highest_c, higher))
    return Stretch(start_s, end_s, worst, end_s - start_s > longest_gap_s + 1e-6)


def _at_the_ends(
    times: FloatArray,
    temperature: FloatArray,
    trace: TemperatureTrace,
    ends: tuple[float, float],
    longest_gap_s: float,
) -> list[Stretch]:
    start_s, end_s = ends
    if not times.size:
        return [Stretch(start_s, end_s, trace.highest_c, True)] if end_s > start_s else []
    found = []
    sides = (
        (start_s, float(times[0]), temperature[0]),
        (float(times[-1]), end_s, temperature[-1]),
    )
    for left, right, neighbour in sides:
        if right > left:
            worst = float(neighbour) + trace.fastest_rise_c_s * (right - left)
            worst = min(worst, max(trace.highest_c, float(neighbour)))
            found.append(Stretch(left, right, worst, right - left > longest_gap_s + 1e-6))
    return found
