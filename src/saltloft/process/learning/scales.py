"""Scales that read too much or too little, against the scale of the green weight or from a day on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from saltloft.foundation.words import say
from saltloft.process.learning.air import Story
from saltloft.process.learning.faults import Fault, probability_of
from saltloft.process.learning.observations import Observations, visits_of

Array = NDArray[np.float64]
Whole = NDArray[np.int64]

# Chosen, no source: of scales that did not take the green weight, and of lots whose scale changes on the way.
FOREIGN_SHARE, STEP_SHARE = 0.10, 0.01
# Gain of a scale that is off, and of one that is not; chosen (a division on a light piece).
OFF_GAIN, GOOD_GAIN = 0.005, 0.0007
MOST_VISITS = 60


@dataclass(frozen=True)
class Gain:
    """A scale that reads too much or too little from some reading on.

    Args:
        name: str. Of the nuisance column.
        slope: array (obs,). What a gain of 1 does to each reading.
        fault: Fault or None. None: not off as far as can be seen, only doubted a little.
        variance: float. Of the gain, as the prior of its column.
    """

    name: str
    slope: Array
    fault: Fault | None
    variance: float


def scale_gains(told: Sequence[Story], observed: Observations) -> list[Gain]:
    """Scales that did not take the green weight, each with its gain and whether it is off.

    Args:
        told: sequence of Story. Without any gain in it.
        observed: Observations.

    Returns:
        list of Gain, one a foreign scale.
    """
    names = [
        scale if scale and green and scale != green else ""
        for scale, green in zip(observed.scale, observed.green_scale, strict=True)
    ]
    gains = []
    for name in sorted(set(names) - {""}):
        here = np.array([one == name for one in names])
        slope = _slope(observed, here)
        factor, gain, sd = (float(part[0]) for part in _gain_factors(told, slope[:, None]))
        odds = factor + float(np.log(FOREIGN_SHARE / (1.0 - FOREIGN_SHARE)))
        fault = None
        if odds > 0.0:
            words = say(
                "scale {name} reads {gain:+.1f} % (within {error:.1f}) against the one of the green weight",
                name=name, gain=100.0 * gain, error=200.0 * sd,
            )  # fmt: skip
            fault = Fault("scale_off", _given(observed, here), probability_of(odds), words)
        gains.append(Gain(f"scale {name}", slope, fault, OFF_GAIN**2 if fault else GOOD_GAIN**2))
    return gains


def _given(observed: Observations, here: NDArray[np.bool_]) -> tuple[int, ...]:
    return tuple(sorted(int(place) for place in observed.order[here]))


def _slope(observed: Observations, here: NDArray[np.bool_]) -> Array:
    """What a gain of 1 does to each loss: a mass read too large is a loss read too small."""
    slope: Array = np.where(here, np.clip(observed.value, 0.0, 1.0) - 1.0, 0.0)
    return slope


def _gain_factors(told: Sequence[Story], slope: Array) -> tuple[Array, Array, Array]:
    """Log Bayes factors of gains that are off against ones that are not; the gains, their sds.

    Args:
        told: sequence of Story. Each side of the comparison is averaged over them.
        slope: array (obs, gains). Each is asked about alone.
    """
    off: list[Array] = []
    good: list[Array] = []
    gains, known = [], []
    for story in told:
        weight = story.posterior.times(slope)
        known.append(np.einsum("ng,ng->g", slope, weight))
        pulled = weight.T @ story.posterior.residual
        for variance, logs in ((OFF_GAIN**2, off), (GOOD_GAIN**2, good)):
            fit = pulled**2 / (1.0 / variance + known[-1]) - np.log(1.0 + variance * known[-1])
            logs.append(story.log_weight + 0.5 * fit)
        gains.append(pulled / (1.0 / OFF_GAIN**2 + known[-1]))
    factors = np.logaddexp.reduce(off) - np.logaddexp.reduce(good)
    share = np.exp(np.array(off) - np.logaddexp.reduce(off))
    gain = np.sum(share * gains, axis=0)
    within = np.sum(share * (1.0 / (1.0 / OFF_GAIN**2 + np.array(known)) + (gains - gain) ** 2), axis=0)
    return factors, gain, np.sqrt(within)


def scale_step(told: Sequence[Story], observed: Observations) -> Gain | None:
    """The most probable visit from which on the scale reads otherwise; None when none is probable.

    Args:
        told: sequence of Story. With foreign scales' gains in.
        observed: Observations.

    Notes:
        A gain that is there from the first visit on is not looked for: where one scale took
        the green weight too it cancels, and where another did it is that scale's own gain.
    """
    visit = visits_of(observed)
    weighed = np.unique(visit[observed.weighed])
    # Of very many visits every so manieth: a step lasts.
    starts = weighed[1 :: 1 + len(weighed) // MOST_VISITS]
    if not len(starts):
        return None
    here = observed.weighed[:, None] & (visit[:, None] >= starts)
    slopes = np.stack([_slope(observed, column) for column in here.T], axis=1)
    factors, gains, sds = _gain_factors(told, slopes)
    total = float(
        np.logaddexp.reduce(factors) - np.log(len(starts)) + np.log(STEP_SHARE / (1.0 - STEP_SHARE))
    )
    if total <= 0.0:
        return None
    best = int(np.argmax(factors))
    since, slope, gain, sd = here[:, best], slopes[:, best], float(gains[best]), float(sds[best])
    words = say(
        "from day {day:g} on the scale reads {gain:+.1f} % (within {error:.1f}) against before",
        day=round(float(observed.day[since].min()), 1), gain=100.0 * gain, error=200.0 * sd,
    )  # fmt: skip
    fault = Fault("scale_changed", _given(observed, since), probability_of(total), words)
    return Gain("scale step", slope, fault, OFF_GAIN**2)


def scale_unseen(observed: Observations) -> list[Fault]:
    """What one scale hides: its gain cancels in every loss it took both ends of.

    Args:
        observed: Observations.
    """
    named = zip(observed.scale, observed.green_scale, strict=True)
    same = np.array([bool(scale) and scale == green for scale, green in named])
    if not same.any() or np.any(observed.weighed & ~same):
        return []
    words = say("one scale took the green weight too: were it off, these weighings could not show it")
    return [Fault("scale_unseen", _given(observed, same), 0.0, words)]
