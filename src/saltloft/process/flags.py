"""What a person should know about a run: each flag with its share of members and its day."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from saltloft.foundation.words import say
from saltloft.process.parameters import DryingParameters
from saltloft.process.result import Flag
from saltloft.process.simulate import Run

Array = NDArray[np.float64]
Marks = NDArray[np.bool_]

UPTAKE_DAYS = 7.0  # a wet fermentation alone is no wrong air
LEAST_SHARE = 0.05  # a flag shown by fewer members is noise of the draw


def flag_of(code: str, words: str, time_d: Array, marked: Marks) -> Flag | None:
    """A flag for what at least one member in twenty shows.

    Args:
        code: str.
        words: str.
        time_d: array (times,). [d]
        marked: array of bool (times, members).

    Returns:
        Flag with the median first day of those that show it, or None.
    """
    shown = marked.any(axis=0)
    share = float(shown.mean())
    if share < LEAST_SHARE:
        return None
    first = time_d[np.argmax(marked[:, shown], axis=0)]
    return Flag(code, float(np.median(first)), share, words)


def lasting(marked: Marks, time_d: Array, days: float) -> Marks:
    """True once something has held for `days` without a break.

    Args:
        marked: array of bool (times, members).
        time_d: array (times,). [d]
        days: float. [d]
    """
    since = np.zeros(marked.shape[1])
    held = np.zeros_like(marked)
    for i in range(1, len(time_d)):
        since = np.where(marked[i] & marked[i - 1], since + time_d[i] - time_d[i - 1], 0.0)
        held[i] = since >= days
    return held


def flags_of(run: Run, parameters: DryingParameters, *, mould: bool) -> list[Flag]:
    """The flags that are read off the members over time.

    Args:
        run: Run.
        parameters: DryingParameters.
        mould: bool. A surface mould was put on.

    Notes:
        All of them are chosen and uncalibrated (docs/models/drying.md): information, no alarm.
    """
    states, time_d = run.states, run.time_d
    rim, core = states.water_activity_rim, states.water_activity_core
    shut = states.case_hardening > parameters.flag_index
    hard = shut & (rim < parameters.flag_rim) & (core > parameters.flag_core)
    hollow = lasting(
        (states.case_hardening > parameters.hollow_index) & (core > parameters.flag_core + 0.02),
        time_d,
        parameters.hollow_days,
    )
    crystals = states.undissolved > 0.01
    found = [
        flag_of(
            "case_hardening",
            say("the rim dries much faster than the core can follow (index and rim; not calibrated)"),
            time_d,
            hard,
        ),
        flag_of(
            "hollow_centre",
            say("a shut rim stands round a wet core for ten days or more: cut a piece and look"),
            time_d,
            hollow,
        ),
        flag_of("salt_crystals", say("salt lies undissolved in the dry rim"), time_d, crystals),
        flag_of(
            "takes_up_water",
            say("the piece grows heavier than it was stuffed: this air is wetter than the piece"),
            time_d,
            lasting(run.weight_loss < -0.02, time_d, UPTAKE_DAYS),
        ),
    ]
    if not mould:
        wet = lasting(rim > parameters.mould_rim, time_d, parameters.mould_days)
        words = say("the rim stays wet enough for moulds that nobody put on: look at the casings")
        found.append(flag_of("mould_unwanted", words, time_d, wet))
    return [flag for flag in found if flag is not None]


def range_flags(run: Run, parameters: DryingParameters) -> list[Flag]:
    """Where the case lies outside what the model was fitted on."""
    fat = float(np.median(np.asarray(run.batter.fat)))
    diameter = float(np.median(run.members.diameter_m))
    coldest = float(np.min(run.blocks.kelvin)) - 273.15
    warmest = float(np.max(run.blocks.kelvin)) - 273.15
    driest = float(np.min(run.blocks.vapour / run.blocks.saturated))
    reasons = []
    if fat > parameters.fat_outside:
        reasons.append(say("fat above {limit:.0f} %", limit=100 * parameters.fat_outside))
    if not 0.02 <= diameter <= 0.12:
        reasons.append(say("a diameter outside 20 to 120 mm"))
    if coldest < 0.0 or warmest > 40.0:
        reasons.append(say("a temperature outside 0 to 40 °C"))
    if driest < 0.5:
        reasons.append(say("air drier than 50 %RH"))
    wettest = float(np.max(np.median(run.blocks.vapour / run.blocks.saturated, axis=1)))
    if wettest > 0.985:
        reasons.append(say("air wetter than 98 %RH, in which water runs down the piece"))
    if not reasons:
        return []
    words = say("outside the range of the model: {reasons}", reasons=", ".join(reasons))
    return [Flag("outside_range", None, 1.0, words)]
