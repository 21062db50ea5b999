"""Scales that read too much or too little, against the scale of the green weight or from a day on."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from saltloft.foundation.words import say
from saltloft.process.learning.faults import Fault, probability_of
from saltloft.process.learning.observations import Observations, visits_of
from saltloft.process.learning.posterior import Posterior

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


def scale_gains(posterior: Posterior, observed: Observations) -> list[Gain]:
    """Scales that did not take the green weight, each with its gain and whether it is off.

    Args:
        posterior: Posterior. Without any gain in it.
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
        factor, gain, sd = (float(part[0]) for part in _gain_factors(posterior, slope[:, None]))
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


def _gain_factors(posterior: Posterior, slope: Array) -> tuple[Array, Array, Array]:
    """Log Bayes factors of gains that are off against ones that are not; the gains, their sds.

    Args:
        posterior: Posterior.
        slope: array (obs, gains). Each is asked about alone.
    """
    weight = posterior.times(slope)
    known, pulled = np.einsum("ng,ng->g", slope, weight), weight.T @ posterior.residual

    def log_evidence(variance: float) -> Array:
        evidence: Array = 0.5 * (pulled**2 / (1.0 / variance + known) - np.log(1.0 + variance * known))
        return evidence

    precision = 1.0 / OFF_GAIN**2 + known
    return log_evidence(OFF_GAIN**2) - log_evidence(GOOD_GAIN**2), pulled / precision, precision**-0.5


def scale_step(posterior: Posterior, observed: Observations) -> Gain | None:
    """The most probable visit from which on the scale reads otherwise; None when none is probable.

    Args:
        posterior: Posterior. With foreign scales' gains in.
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
    factors, gains, sds = _gain_factors(posterior, slopes)
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
