"""Fans that run and rest in turn: pulse drying, and the stops of a room's own control."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

MOST_CYCLES = 1500


@dataclass(frozen=True)
class Pulse:
    """Fans on, then off, over and over; off, only natural convection is left.

    Args:
        on_h: float, above 0. Fans run so long. [h]
        off_h: float, above 0. Then they rest so long. [h]
        rest_humidity: float or None. Humidity while they rest, 0..1; None: that of the stage.
    """

    on_h: float
    off_h: float
    rest_humidity: float | None = None

    @property
    def on_share(self) -> float:
        """Part of the time in which the fans run, 0..1."""
        return self.on_h / (self.on_h + self.off_h)


def pulse_ends(begin_s: Array, end_s: Array, pulse: Pulse) -> Array:
    """Where each run and each rest of a pulsed stage ends.

    Args:
        begin_s: array (members,). Begin of the stage. [s]
        end_s: array (members,). Its end. [s]
        pulse: Pulse.

    Returns:
        Array (2 cycles, members), run and rest in turn, the last at `end_s`. [s]

    Notes:
        The stage holds a whole number of cycles, the same for all members; where their stages
        differ in length, or a cycle does not fit in whole, the cycles are stretched alike.
    """
    longest = float(np.max(end_s - begin_s))
    cycles = int(np.clip(round(longest / (3600.0 * (pulse.on_h + pulse.off_h))), 1, MOST_CYCLES))
    whole = np.arange(cycles)[:, None]
    within = np.stack([whole + pulse.on_share, whole + 1.0], axis=1).reshape(2 * cycles, 1)
    ends: Array = begin_s + (end_s - begin_s) * (within / cycles)
    ends[-1] = end_s
    return ends


def fans_run(hours: Array, pulse: Pulse) -> NDArray[np.bool_]:
    """Whether the fans run at moments of a pulsed stage; their true beat is not known, only its plan.

    Args:
        hours: array (moments,). From the stage's begin, rising. [h]
        pulse: Pulse.

    Returns:
        array of bool (moments,). Each moment stands for the time to the next; where a cycle is
        shorter than two of these, they run in as many moments as their share of the time says.
    """
    cycle = pulse.on_h + pulse.off_h
    step = float(np.median(np.diff(hours))) if hours.size > 1 else 0.0
    if cycle >= 2.0 * step:
        run: NDArray[np.bool_] = np.mod(hours, cycle) < pulse.on_h
        return run
    beats = np.floor(pulse.on_share * np.arange(hours.size + 1))
    return np.asarray(np.diff(beats) > 0.0)
