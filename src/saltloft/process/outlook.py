"""What the state says of the rim: pace, days of a shut rim, windows for moulds. Information, no alarm."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from saltloft.foundation.bands import Band
from saltloft.foundation.words import say
from saltloft.process.drying.pace import pace
from saltloft.process.flags import flag_of, lasting
from saltloft.process.parameters import DryingParameters
from saltloft.process.result import Flag, Outlook, Window
from saltloft.process.series import band_of
from saltloft.process.simulate import Run
from saltloft.science.statistics import weighted_quantile

Array = NDArray[np.float64]
Marks = NDArray[np.bool_]

MOST_TIMES = 40  # of the outlook: quantiles of more would cost as much as the forecast itself


def _days_of(marked: Array, time_d: Array) -> Array:
    """Integral over time of something between 0 and 1, array (members,). [d]"""
    days: Array = 0.5 * np.diff(time_d) @ (marked[1:] + marked[:-1])
    return days


def _band(values: Array) -> Band:
    return Band(*(float(end) for end in weighted_quantile(values, None, [0.05, 0.5, 0.95])))


def _window(marked: Marks, time_d: Array) -> Window:
    """How long something holds, and in how many members at all."""
    hours = 24.0 * _days_of(marked.astype(np.float64), time_d)
    return Window(_band(hours), float((hours > 0.0).mean()))


def _thinned(time_d: Array) -> NDArray[np.int64]:
    """Numbers of at most MOST_TIMES moments, the first and the last among them."""
    count = len(time_d)
    return np.unique(np.linspace(0, count - 1, min(count, MOST_TIMES)).round().astype(np.int64))


def pace_of(run: Run, parameters: DryingParameters, which: NDArray[np.int64]) -> Array:
    """Pace the core can follow at some moments of a run, array (moments, members). [1/s]

    Args:
        run: Run.
        parameters: DryingParameters.
        which: array of int (moments,). Numbers of its times. [1]
    """
    kelvin = run.states.temperature_c[which] + 273.15
    reference = parameters.reference_temperature_c + 273.15
    speed = np.exp(-run.members.activation * (1.0 / kelvin - 1.0 / reference))
    return pace(run.members, run.nodes, run.water[which], speed, parameters.pace_rim)


def outlook_of(run: Run, parameters: DryingParameters) -> tuple[Outlook, Flag | None]:
    """The rim's outlook, and the early warning of hardening where members show it.

    Args:
        run: Run.
        parameters: DryingParameters.

    Returns:
        Outlook, and Flag `hardening_ahead` or None: the piece has lost faster than its core can
        follow for `pace_days` while the rim is still wet (docs/models/rim.md).
    """
    states, lots = run.states, run.draws.lots
    which = _thinned(run.time_d)
    time_d, rate, rim = run.time_d[which], states.loss_rate_s[which], states.water_activity_rim
    follows = pace_of(run, parameters, which)
    wet = states.water_activity_core[which] > parameters.flag_core  # a dry core has nothing to shut in
    faster = (rate > follows) & wet & (time_d >= parameters.pace_from_day)[:, None]
    ahead = lasting(faster & (rim[which] > parameters.pace_rim), time_d, parameters.pace_days)
    shut = np.maximum(states.case_hardening - parameters.dose_index, 0.0)
    warm = states.temperature_c
    outlook = Outlook(
        time_d=time_d,
        pace_pct_d=band_of(8.64e6 * follows, lots),
        core_minus_rim=band_of(states.water_activity_core[which] - rim[which], lots),
        faster_than_core=faster.mean(axis=1),
        shut_days=_band(_days_of(shut, run.time_d)),
        mould_wanted=_window(
            (rim >= parameters.mould_wanted_rim) & (warm >= parameters.mould_wanted_c), run.time_d
        ),
        mould_unwanted=_window(
            (rim >= parameters.mould_rim) & (warm >= parameters.mould_unwanted_c), run.time_d
        ),
    )
    words = say(
        "the piece loses faster than its core can follow: the rim will harden (early; not calibrated)"
    )
    return outlook, flag_of("hardening_ahead", words, time_d, ahead)
