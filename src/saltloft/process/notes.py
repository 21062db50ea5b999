"""Flags about what a forecast was given: its air, its weighings, a room that cannot bring it there."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from saltloft.foundation.errors import OutOfRange
from saltloft.foundation.words import say
from saltloft.process.learning import Fault, Weighing
from saltloft.process.programme import Programme
from saltloft.process.result import Flag
from saltloft.process.simulate import Run
from saltloft.science.water_activity import equilibrium_water

Array = NDArray[np.float64]


def lasting_humidity(run: Run, *, pulsed: bool) -> Array:
    """Humidity in which each member comes to rest in its last room, array (members,), 0..1.

    Args:
        run: Run.
        pulsed: bool. The last two blocks are a run and a rest of the fans: what crosses the film
            in both evens out.
    """
    last, blocks = slice(-2 if pulsed else -1, None), run.blocks
    begin = blocks.end_s[-3] if pulsed and len(blocks.end_s) > 2 else np.zeros(run.members.count)
    length = np.diff(np.concatenate([begin[None], blocks.end_s[last]]), axis=0)
    share = (length if pulsed else np.ones_like(blocks.end_s[last])) * blocks.film_heat[last]
    humidity: Array = np.sum(share * blocks.vapour[last] / blocks.saturated[last], axis=0) / share.sum(axis=0)
    return np.clip(humidity, 0.05, 0.99)


def equilibrium_flags(run: Run, targets: Mapping[str, float], *, pulsed: bool = False) -> list[Flag]:
    """Members whose last room cannot bring them to the loss or ratio they are meant to reach.

    Args:
        run: Run.
        targets: mapping of a name of TARGETS to its level. [unit of the name]
        pulsed: bool. The fans of the last stage run and rest in turn.
    """
    if not run.blocks.open[-1]:
        return []
    humidity = lasting_humidity(run, pulsed=pulsed)
    members = run.members
    try:
        water = equilibrium_water(humidity, members.salt, members.solutes, members.brine, members.halsey)
    except OutOfRange:
        return []
    loss = 100.0 * (members.water - water) / members.green_mass
    ratio = water * run.batter.solids / run.batter.protein
    short = np.zeros(members.count, dtype=np.bool_)
    if "weight_loss_pct" in targets:
        short |= loss < targets["weight_loss_pct"]
    if "moisture_protein" in targets:
        short |= ratio > targets["moisture_protein"]
    wanted = [targets[name] for name in ("water_activity", "water_activity_core") if name in targets]
    if wanted:
        short |= humidity > min(wanted)
    share = float(short.mean())
    if share < 0.05:
        return []
    words = say("not with this room: the piece comes to rest before the target")
    return [Flag("equilibrium_short_of_target", None, share, words)]


def _still(programme: Programme) -> bool:
    """True when the log, or a stage of two days and more, says that no air moves at all."""
    if programme.trace is not None and float(np.max(programme.trace.speed)) == 0.0:
        return True
    return any(
        stage.air_m_s.high == 0.0 and not stage.packed and stage.duration_d.high >= 2.0
        for stage in programme.stages
    )


def air_notes(programme: Programme, stated_d: float, horizon_d: float) -> list[Flag]:
    """Flags about the air that was given.

    Args:
        programme: Programme.
        stated_d: float. End of the stated air or of the last weighing. [d]
        horizon_d: float. Last day shown. [d]
    """
    notes = []
    if programme.set_points_only:
        words = say("set-points only: no promise date; a logger at the piece or weighings narrow it")
        notes.append(Flag("set_points_only", None, 1.0, words))
    if any(stage.until_ph is not None for stage in programme.stages):
        words = say("no pH course is computed here: a stage that waits for a pH goes to its latest end")
        notes.append(Flag("ph_not_computed", None, 1.0, words))
    if programme.trace is not None and programme.trace.longest_gap_d > 0.5:
        words = say("the air log has a hole of {days:.1f} d", days=programme.trace.longest_gap_d)
        notes.append(Flag("log_gap", None, 1.0, words))
    if _still(programme):
        words = say("no air moves by the case: only what the piece stirs itself carries water away")
        notes.append(Flag("still_air", None, 1.0, words))
    if horizon_d > stated_d + 0.5:
        words = say(
            "the last air is carried on after its end on day {end:.0f}, to day {day:.0f}",
            end=stated_d,
            day=horizon_d,
        )
        notes.append(Flag("programme_extended", stated_d, 1.0, words))
    return notes


def fault_flags(faults: Sequence[Fault], weighings: Sequence[Weighing]) -> list[Flag]:
    """Slips of weighing that the readings tell of, by name.

    Args:
        faults: sequence of Fault. What cannot be seen is no flag.
        weighings: sequence of Weighing, in the order that was learned from.
    """
    codes = {"wild": "weighing_outlier"}
    return [
        Flag(
            codes.get(fault.code, fault.code),
            min((weighings[place].day for place in fault.weighings), default=None),
            fault.probability,
            fault.words,
        )
        for fault in faults
        if fault.code != "scale_unseen"
    ]
