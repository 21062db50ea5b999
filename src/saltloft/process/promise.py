"""A date to promise at a chosen risk, and what a day earlier or later would cost in weight.

Days are read off the chances kept with a target (`TargetDay.chances`): the day by
which the lot's mean, nine pieces in ten, or a piece at random is there; weight is
read off the band of the lot's loss.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from saltloft.process.result import DAY_CHANCES, SeriesBand, TargetDay

Array = NDArray[np.float64]
Days = Sequence[float | None]

LEAST_SURE, MOST_SURE = DAY_CHANCES[0], DAY_CHANCES[-1]
_NORMAL_95 = 1.6448536269514722  # 95 % quantile of the standard normal


@dataclass(frozen=True)
class DayCost:
    """What it costs to take a lot down on one day.

    Args:
        day: float. From stuffing. [d]
        under_share: float. Expected share of the pieces not at the target yet, 0..1.
        over_points: float. Weight lost beyond the target by then, expected. [% of green weight]
    """

    day: float
    under_share: float
    over_points: float


@dataclass(frozen=True)
class Promise:
    """A day to promise for one target.

    Args:
        sure: float. Chance that the target is reached by then, 0..1.
        of: str. Whose target: 'mean' or '0.9' (nine pieces in ten).
        day: float or None. From stuffing; None when it is not reached so often. [d]
        on_it, early, late: DayCost or None. On that day, one day before and one after.
    """

    sure: float
    of: str
    day: float | None
    on_it: DayCost | None = None
    early: DayCost | None = None
    late: DayCost | None = None

    @property
    def late_points(self) -> float:
        """What one day later takes off the lot. [% of green weight]"""
        return (
            0.0 if self.late is None or self.on_it is None else self.late.over_points - self.on_it.over_points
        )

    @property
    def early_share(self) -> float:
        """Pieces that one day earlier would leave under the target, beyond those of the day itself, 0..1."""
        return (
            0.0
            if self.early is None or self.on_it is None
            else self.early.under_share - self.on_it.under_share
        )


def promised_day(days: Days, sure: float) -> float | None:
    """The day by which a target is reached with a given chance.

    Args:
        days: sequence of float or None. One for each of DAY_CHANCES. [d]
        sure: float. Wanted chance, 0..1, held within 0.025 to 0.975.

    Returns:
        float, straight between the kept chances, or None when it is not reached so often. [d]
    """
    wanted = float(np.clip(sure, LEAST_SURE, MOST_SURE))
    day = float(np.interp(wanted, DAY_CHANCES, _open(days)))
    return day if np.isfinite(day) else None


def chance_by(days: Days, day: float) -> float:
    """The chance that a target is reached by a day, 0..1.

    Args:
        days: sequence of float or None. One for each of DAY_CHANCES. [d]
        day: float. From stuffing. [d]

    Notes:
        Below the first and above the last kept chance it is 0 and 1, or the last chance that is
        reached at all.
    """
    known = np.array([d for d in days if d is not None], dtype=np.float64)
    if not known.size or day < known[0]:
        return 0.0
    if day >= known[-1]:
        return 1.0 if known.size == len(days) else DAY_CHANCES[known.size - 1]
    # Several chances may share a day: the highest of them is reached by then.
    place = int(np.searchsorted(known, day, side="right"))
    d0, d1 = known[place - 1], known[place]
    part = (day - d0) / (d1 - d0)
    return float(DAY_CHANCES[place - 1] + part * (DAY_CHANCES[place] - DAY_CHANCES[place - 1]))


def histogram(days: Days, width_d: float = 1.0) -> tuple[Array, Array]:
    """Chance that the target is reached within each of a row of equal spans.

    Args:
        days: sequence of float or None. One for each of DAY_CHANCES. [d]
        width_d: float. Width of a span. [d]

    Returns:
        Two arrays (spans,): first day of each span [d], and its chance, 0..1. Together with what
        lies beyond the kept chances the chances add up to 1.
    """
    known = [d for d in days if d is not None]
    if not known:
        return np.zeros(0), np.zeros(0)
    first = np.floor(known[0] / width_d) * width_d
    starts = np.arange(first, known[-1] + 1e-9, width_d)
    edges = np.append(starts, starts[-1] + width_d)
    by = np.array([chance_by(days, float(edge)) for edge in edges])
    by[0] = 0.0
    return starts, np.diff(by)


def over_dried(loss: SeriesBand, time_d: Array, day: float, target: float) -> float:
    """Expected weight lost beyond a target on a day. [% of green weight]

    Args:
        loss: SeriesBand. Weight loss; the lot's mean counts. [% of green weight]
        time_d: array (times,). Of the band. [d]
        day: float. From stuffing. [d]
        target: float. [% of green weight]

    Notes:
        The mean's loss on the day is taken as normal about its median with the width of its 90 %
        range: E[(loss - target) above nought] = sd pdf(z) + (median - target) cdf(z).
    """
    low, middle, high = (
        float(np.interp(day, time_d, curve)) for curve in (loss.mean_p05, loss.mean_p50, loss.mean_p95)
    )
    beyond, sd = middle - target, (high - low) / (2.0 * _NORMAL_95)
    if sd <= 1e-9:
        return max(beyond, 0.0)
    z = beyond / sd
    return float(sd * np.exp(-0.5 * z * z) / np.sqrt(2.0 * np.pi) + beyond * ndtr(z))


def promise(
    target: TargetDay, *, sure: float, of: str = "mean", over: Callable[[float], float] | None = None
) -> Promise:
    """The day to promise at a chosen risk and what the days around it cost.

    Args:
        target: TargetDay. With its chances.
        sure: float. Wanted chance, 0..1.
        of: str. 'mean' or '0.9'.
        over: function of a day, or None. Expected weight lost beyond the target by then; None:
            none is counted. [% of green weight]
    """
    day = promised_day(target.chances.get(of, ()), sure) if target.chances else None
    if day is None:
        return Promise(sure, of, None)

    def cost(when: float) -> DayCost:
        under = 1.0 - chance_by(target.chances["piece"], when)
        return DayCost(when, under, 0.0 if over is None else over(when))

    return Promise(sure, of, day, cost(day), cost(day - 1.0), cost(day + 1.0))


def _open(days: Days) -> Array:
    return np.array([np.inf if day is None else day for day in days], dtype=np.float64)
