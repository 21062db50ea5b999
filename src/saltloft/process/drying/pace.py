"""The pace the core can follow: the even loss at which the rim would come to rest at a chosen a_w.

A piece that loses evenly (the same share everywhere, the regular state of slow drying) has
q = -f s through the shell that holds the share s of its solids, f the loss per kg of solids.
With q = a W U_s and W = V(1) F(s), mean and rim then lie apart by

    U(X_mean) - U(X_rim) = f / (a V(1)) * I,   I = int s^2/F(s) ds   (1/2 for a round piece)

so the pace is f = a V(1) [U(X_mean) - U(X_limit)] / I. X_limit has the chosen water activity
with the salt that rests there: no salt flux means d ln c = -(sigma/r) d ln X.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from saltloft.process.drying.members import Members
from saltloft.process.drying.nodes import Nodes
from saltloft.science.water_activity import of_mixture

Array = NDArray[np.float64]

KNOTS = 9  # water contents for which the limit is searched


def resting_rim(members: Members, mean_water: Array, activity: float) -> Array:
    """Water of a rim with a chosen water activity, around a piece of a given mean water.

    Args:
        members: Members.
        mean_water: array (knots, members). Of the piece. [kg/kg]
        activity: float. Wanted at the rim, above 0 and below 1. [1]

    Returns:
        Array (knots, members), at most the green water; above the mean where the whole piece
        is drier than that. [kg/kg]
    """
    power = members.salt_drag / members.salt_ratio
    low, high = np.full_like(mean_water, 0.02), np.broadcast_to(members.water, mean_water.shape).copy()
    for _ in range(22):  # to a millionth of the water
        middle = 0.5 * (low + high)
        brine = members.salt / mean_water * (mean_water / middle) ** power
        there = of_mixture(middle, brine * middle, members.solutes, members.brine, members.halsey)
        wet = there > activity
        high = np.where(wet, middle, high)
        low = np.where(wet, low, middle)
    return high


def pace(members: Members, nodes: Nodes, mean_water: Array, speed: Array, activity: float) -> Array:
    """Largest even loss that leaves the rim at or above a chosen water activity.

    Args:
        members: Members.
        nodes: Nodes (n).
        mean_water: array (times, members). [kg/kg]
        speed: array (times, members). Temperature factor of the diffusivity, 1 at 14 degC. [1]
        activity: float. Chosen for the rim. [1]

    Returns:
        Array (times, members), per second as a share of the green weight; 0 where the whole
        piece is as dry as that. [1/s]
    """
    # A power of the mean water, nearly: straight between a few knots in the logarithms.
    mean = np.log(mean_water)
    driest, wettest = mean.min(axis=0), mean.max(axis=0)
    knots = driest + (wettest - driest) * np.linspace(0.0, 1.0, KNOTS)[:, None]
    limit = np.log(resting_rim(members, np.exp(knots), activity))
    place = (KNOTS - 1) * (mean - driest) / np.maximum(wettest - driest, 1e-12)
    cell = np.clip(place.astype(np.int64), 0, KNOTS - 2)
    member = np.arange(members.count)[None, :]
    part = place - cell
    rim = np.exp(limit[cell, member] * (1.0 - part) + limit[cell + 1, member] * part)
    drop = members.potential.at(mean_water)[0] - members.potential.at(rim)[0]
    volume = members.law.fixed_volume + mean_water * members.law.water_volume
    length = (volume / members.volume) ** members.length_share
    way = 4.0 * np.pi * length * speed / members.solids_per_m * volume
    loss: Array = way * np.maximum(drop, 0.0) / members.path.easing(nodes.share, nodes.weight)
    return loss / members.green_mass
