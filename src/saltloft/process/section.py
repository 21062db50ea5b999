"""A slice through the middle member over time: what a cut would show, ring by ring.

The rings are read off the engine's own polynomial in the solids share, so between
the nodes nothing is guessed. One member is shown, not a mean of members: a mean of
profiles with different radii would be the slice of no piece.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray

from saltloft.process.draws import Draws
from saltloft.process.drying.nodes import values_at
from saltloft.process.result import CrossSection
from saltloft.process.simulate import Run
from saltloft.science.water_activity import Halsey, of_mixture

Array = NDArray[np.float64]

MOST_TIMES, RINGS = 40, 11
# Depths lie closer together near the rim, where water activity is steep.
DEPTHS = np.sin(0.5 * np.pi * np.linspace(0.0, 1.0, RINGS))
FINE = np.linspace(0.0, 1.0, 201)

__all__ = ["CrossSection", "middle_member", "section_of"]


def middle_member(run: Run) -> int:
    """The member whose loss, core and rim stay closest to the median of all.

    Args:
        run: Run.

    Returns:
        int. Column of the run's arrays.
    """
    states = run.states
    distance = np.zeros(run.members.count)
    for values in (run.weight_loss, states.water_activity_core, states.water_activity_rim):
        away = values - np.median(values, axis=1, keepdims=True)
        spread = float(np.sqrt(np.mean(np.square(away))))
        distance += np.mean(np.square(away / max(spread, 1e-9)), axis=0)
    return int(np.argmin(distance))


def section_of(run: Run, until_d: float, alone: Callable[[Draws, Array], Run] | None = None) -> CrossSection:
    """The slice of the middle member at MOST_TIMES moments.

    Args:
        run: Run.
        until_d: float. Last day worth showing. [d]
        alone: function of Draws and days [d] giving a Run, or None. Carries the one member again,
            for runs that went on from a kept state and hold no profiles before it.

    Returns:
        CrossSection.
    """
    member = middle_member(run)
    last = min(max(int(np.searchsorted(run.time_d, until_d)), 1), len(run.time_d) - 1)
    # Early days change fastest: moments lie evenly in the square root of time.
    wanted = np.square(np.linspace(0.0, np.sqrt(run.time_d[last]), MOST_TIMES))
    which = np.unique(np.searchsorted(run.time_d[: last + 1], wanted).clip(0, last))
    if alone is not None:
        of_lot = run.draws.lot[[member // run.draws.pieces_each]]
        draws = Draws(of_lot, run.draws.piece[[member]], run.draws.stages, pieces_each=1)
        run, member, which = alone(draws, run.time_d[which]), 0, np.arange(len(which))
    water, salt = run.profiles.water[which, :, member], run.profiles.salt[which, :, member]
    return _rings(run, member, run.time_d[which], water, salt)


def _rings(run: Run, member: int, time_d: Array, water: Array, salt: Array) -> CrossSection:
    """Radius, water activity and water of one member at DEPTHS.

    Args:
        run: Run.
        member: int.
        time_d: array (times,). [d]
        water, salt: arrays (times, nodes). [kg/kg]
    """
    members, nodes = run.members, run.nodes

    def own(values: ArrayLike) -> float:
        return float(np.broadcast_to(values, (members.count,))[member])

    inside = np.maximum(water @ values_at(nodes, FINE).T, 1e-4)
    # Volume of a shell of solids, then the volume inside each share of the solids.
    shell = own(members.law.fixed_volume) + inside * members.law.water_volume
    steps = 0.5 * (shell[:, 1:] + shell[:, :-1]) * (FINE[1] - FINE[0])
    volume = np.pad(np.cumsum(steps, axis=1), ((0, 0), (1, 0)))
    places = [np.interp(np.square(DEPTHS), row / row[-1], FINE) for row in volume]
    at_depth = values_at(nodes, np.concatenate(places)).reshape(len(places), len(DEPTHS), nodes.count)
    x = np.maximum(np.einsum("trn,tn->tr", at_depth, water), 1e-4)
    s = np.maximum(np.einsum("trn,tn->tr", at_depth, salt), 0.0)
    # The calibre shrinks with the volume as the engine's own diameter does.
    shrunk = (volume[:, -1:] / own(members.volume)) ** (0.5 * (1.0 - own(members.length_share)))
    halsey = Halsey(own(members.halsey.scale), own(members.halsey.power))
    activity = of_mixture(x, s, own(members.solutes), members.brine, halsey)
    dry = own(members.green_mass) - own(members.water) - own(members.salt)
    radius = 500.0 * own(members.diameter_m) * shrunk * DEPTHS
    return CrossSection(time_d, radius, np.asarray(activity), x / (x + s + dry))
