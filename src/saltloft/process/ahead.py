"""The air ahead: what is left of the plan, moved by how the room's log has kept to its set-points so far."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from saltloft.process.programme import AirTrace, Span, Stage

Array = NDArray[np.float64]

# A room's air strays from its mean for days: this much log is worth one independent reading. [d]
SPELL_D = 4.0
# One spell's stray, and what future loads of fresh sausage add to it. Own choice. [RH as 0..1]
SPELL_SD, LOADS_SD = 0.012, 0.008
DRIEST, WETTEST = 0.30, 0.985
# A stage that ends this soon after the log is over. [d]
NO_TIME_D = 0.02


@dataclass(frozen=True)
class Habit:
    """How a room's log keeps to its set-points, as far as it is known without this lot's log.

    Args:
        wetter: float. Logged less set humidity. [RH as 0..1]
        sd: float. Its doubt, above 0. [RH as 0..1]
    """

    wetter: float
    sd: float


# Before any log: half of what a piece feels over the set-point between loaded racks (drying_priors,
# +0.03 with 0.03); room and probe may both be off by points. Own choice.
ANY_ROOM = Habit(0.015, 0.03)
# Between lots of one room weeks apart. Own choice. [RH as 0..1]
BETWEEN_LOTS_SD = 0.008


def wetter_than_set(plan: tuple[Stage, ...], trace: AirTrace) -> float:
    """Mean of logged less set humidity over a log. [RH as 0..1]

    Args:
        plan: tuple of Stage. From stuffing on, at their durations' means.
        trace: AirTrace.
    """
    return float(np.mean(trace.relative_humidity - planned(plan, trace.time_d)[1]))


def planned(plan: tuple[Stage, ...], time_d: Array) -> tuple[Array, Array]:
    """Temperature and humidity that a plan asks for, arrays (times,). [degC] [RH as 0..1]

    Args:
        plan: tuple of Stage. From stuffing on, at their durations' means; the last goes on.
        time_d: array (times,). [d]
    """
    ends = np.cumsum([stage.duration_d.mean for stage in plan])
    at = np.minimum(np.searchsorted(ends, time_d, side="right"), len(plan) - 1)
    warm = np.array([stage.temperature_c.mean for stage in plan])
    wet = np.array([stage.relative_humidity.mean for stage in plan])
    return warm[at], wet[at]


def habit_of(others: Sequence[tuple[float, float]]) -> Habit:
    """What other lots' logs of the same room tell of it.

    Args:
        others: sequence of two floats, of the room's last lots: mean of logged less set humidity,
            and length of the log. [RH as 0..1] [d]

    Returns:
        Habit; of any room without others.
    """
    weights = [1.0 / (SPELL_SD**2 * SPELL_D / max(days, 0.5) + BETWEEN_LOTS_SD**2) for _, days in others]
    before = 1.0 / ANY_ROOM.sd**2
    total = before + sum(weights)
    mean = before * ANY_ROOM.wetter + sum(w * wetter for w, (wetter, _) in zip(weights, others, strict=True))
    return Habit(mean / total, float(np.sqrt(1.0 / total + (BETWEEN_LOTS_SD**2 if others else 0.0))))


def stages_ahead(
    plan: tuple[Stage, ...], trace: AirTrace, habit: Habit = ANY_ROOM, since_d: float = 0.0
) -> tuple[Stage, ...]:
    """What remains of a plan after the log's end, as the log would show it.

    Args:
        plan: tuple of Stage. From stuffing on, at their durations' means.
        trace: AirTrace. The log so far.
        habit: Habit. What is known of the room without it.
        since_d: float. The log tells of the air ahead only from here on, such as since the lot
            came into its room. [d]

    Returns:
        tuple of Stage. Humidity and temperature moved by the mean of log less set-point, shrunk
        to the habit while the log is short; humidity as a range of the doubt that is left (evenly
        drawn, same standard deviation). They count as measured: the log's own offset to the
        piece goes on.
    """
    ends = np.cumsum([stage.duration_d.mean for stage in plan])
    shift, kelvin, sd = ahead_of_plan(plan, trace, habit, since_d)
    half = float(np.sqrt(3.0)) * sd
    left, begin = [], 0.0
    for stage, end in zip(plan, ends.tolist(), strict=True):
        if end > trace.end_d + NO_TIME_D:
            set_to, degrees = stage.relative_humidity, stage.temperature_c
            low, high = np.clip([set_to.low + shift - half, set_to.high + shift + half], DRIEST, WETTEST)
            left.append(
                replace(
                    stage,
                    duration_d=Span.of(end - max(begin, trace.end_d)),
                    temperature_c=Span(degrees.low + kelvin, degrees.high + kelvin),
                    relative_humidity=Span(float(low), float(high)),
                    measured=True,
                )
            )
        begin = end
    return tuple(left)


def ahead_of_plan(
    plan: tuple[Stage, ...], trace: AirTrace, habit: Habit, since_d: float
) -> tuple[float, float, float]:
    """How far the air ahead lies from the plan.

    Args:
        plan, trace, habit: as `stages_ahead`.
        since_d: float. As `stages_ahead`. [d]

    Returns:
        three floats: wetter [RH as 0..1], warmer [K], and the doubt of the first, one standard
        deviation [RH as 0..1].
    """
    since = trace.time_d >= since_d
    # What is filled in as set tells nothing of how the room keeps to it.
    counts = since if trace.measured is None else since & trace.measured
    log_d = 0.0
    if counts.any():
        log_d = max((trace.end_d - since_d) * int(counts.sum()) / int(since.sum()), 0.1)
    spells, worth = log_d / SPELL_D, (SPELL_SD / habit.sd) ** 2
    wetter = warmer = 0.0
    if log_d:
        warm, wet = planned(plan, trace.time_d[counts])
        wetter = float(np.mean(trace.relative_humidity[counts] - wet))
        warmer = float(np.mean(trace.temperature_c[counts] - warm)) * spells / (spells + 1)
    shift = (spells * wetter + worth * habit.wetter) / (spells + worth)
    return shift, warmer, float(np.sqrt(SPELL_SD**2 / (spells + worth) + LOADS_SD**2))
