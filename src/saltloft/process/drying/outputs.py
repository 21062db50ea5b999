"""From profiles to what a person reads: loss, composition, water activity, size, hardening."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from saltloft.process.drying.integrate import Profiles
from saltloft.process.drying.members import Blocks, Members
from saltloft.process.drying.nodes import Nodes
from saltloft.process.drying.rates import AIR_NAMES, Air, halsey_at, surface
from saltloft.science.water_activity import Halsey, of_mixture

Array = NDArray[np.float64]


@dataclass(frozen=True)
class States:
    """The members over time; arrays (times, members).

    Args:
        weight_loss: array. Fraction of the green weight, 0..1.
        water: array. Mean water per kg of solids. [kg/kg]
        water_activity_mean: array. Of the homogenised piece, 0..1.
        water_activity_core: array. On the axis, 0..1.
        water_activity_rim: array. At the rim, 0..1.
        diameter_m: array. [m]
        loss_rate_s: array. Loss of green weight per second. [1/s]
        case_hardening: array. 1 - D(outer)/D(inner), 0 open, 1 shut. [1]
        undissolved: array. Largest share of the salt at one place that lies undissolved, 0..1.
        temperature_c: array. Of the piece: air less its evaporative cooling. [degC]
    """

    weight_loss: Array
    water: Array
    water_activity_mean: Array
    water_activity_core: Array
    water_activity_rim: Array
    diameter_m: Array
    loss_rate_s: Array
    case_hardening: Array
    undissolved: Array
    temperature_c: Array


# What no mean tells: the rest of States follows from the mean water and the salt put in.
SEEN = (
    "water",
    "water_activity_core",
    "water_activity_rim",
    "loss_rate_s",
    "case_hardening",
    "undissolved",
    "temperature_c",
)


def air_at(blocks: Blocks, times_s: Array) -> Air:
    """The air of each member at given moments, fields (times, members).

    Args:
        blocks: Blocks.
        times_s: array (times,). A moment on a border belongs to the block before. [s]
    """
    moments = times_s * (1.0 - 1e-12)
    last = len(blocks.end_s) - 1
    if (blocks.end_s == blocks.end_s[:, :1]).all():  # a log: everybody's blocks end together
        place = np.searchsorted(blocks.end_s[:, 0], moments).clip(0, last)
        taken = {name: getattr(blocks, name)[place] for name in AIR_NAMES}
        opened = np.broadcast_to(blocks.open[place, None].astype(np.float64), taken["kelvin"].shape)
        return Air(**taken, open=opened)
    index = np.stack([np.searchsorted(ends, moments) for ends in blocks.end_s.T], axis=1).clip(0, last)
    member = np.arange(blocks.end_s.shape[1])[None, :]
    return Air(
        **{name: getattr(blocks, name)[index, member] for name in AIR_NAMES},
        open=blocks.open[index].astype(np.float64),
    )


def undissolved(members: Members, water: Array, salt: Array) -> Array:
    """Largest share of the salt at one place that lies undissolved, array (times, members), 0..1.

    Args:
        members: Members.
        water, salt: arrays (times, n, members). Profiles. [kg/kg]
    """
    share = np.zeros((water.shape[0], water.shape[2]))
    saturated = members.brine.saturation_molality * members.brine.molar_mass
    excess = salt - saturated * water
    crystals = (excess > 0.0).any(axis=1)  # few places at few times: only these are divided
    if crystals.any():
        here = excess.transpose(0, 2, 1)[crystals] / np.maximum(salt.transpose(0, 2, 1)[crystals], 1e-9)
        share[crystals] = np.clip(here.max(axis=1), 0.0, 1.0)
    return share


def mean_water(members: Members, nodes: Nodes, times_s: Array, water: Array) -> Array:
    """Water of the whole piece, array (times, members). [kg/kg]

    Args:
        members: Members.
        nodes: Nodes (n).
        times_s: array (times,). [s]
        water: array (times, n, members). Profiles. [kg/kg]
    """
    mean: Array = nodes.weight @ water
    mean[times_s <= 0.0] = members.water  # exactly nothing is lost at stuffing
    return mean


def diameter_of(members: Members, water: Array) -> Array:
    """Diameter at a mean water content, array (times, members). [m]

    Args:
        members: Members.
        water: array (times, members). Of the whole piece. [kg/kg]
    """
    volume = members.law.fixed_volume + water * members.law.water_volume
    shrunk: Array = members.diameter_m * (volume / members.volume) ** (0.5 * (1.0 - members.length_share))
    return shrunk


def seen_of(
    members: Members, nodes: Nodes, blocks: Blocks, times_s: Array, profiles: Profiles
) -> dict[str, Array]:
    """What is read off the profiles themselves, by the names of SEEN.

    Args:
        members: Members.
        nodes: Nodes (n).
        blocks: Blocks.
        times_s: array (times,). Moments of the profiles. [s]
        profiles: Profiles.

    Returns:
        dict of arrays (times, members), as in States.
    """
    water, salt = profiles.water, profiles.salt
    mean = mean_water(members, nodes, times_s, water)

    def activity(x: Array, s: Array, halsey: Halsey) -> Array:
        # The axis lies outside the nodes: a value carried on to it may undershoot nothing.
        return of_mixture(np.maximum(x, 1e-4), np.maximum(s, 0.0), members.solutes, members.brine, halsey)

    outer, inner = nodes.outer @ water, nodes.inner @ water
    volume = members.law.fixed_volume + mean * members.law.water_volume
    air = air_at(blocks, times_s)
    if members.rim is not None and profiles.memory is not None:
        air = replace(air, rim_s_m=members.rim.resistance(profiles.memory))
    rim = surface(members, air, volume, water[:, -1], salt[:, -1])
    return {
        "water": mean,
        "water_activity_core": activity(nodes.axis @ water, nodes.axis @ salt, members.halsey),
        # As the room meets it: at the room's temperature, where the sorption knows one.
        "water_activity_rim": activity(water[:, -1], salt[:, -1], halsey_at(members, air.kelvin)),
        "loss_rate_s": rim.loss / members.green_mass,
        "case_hardening": 1.0 - members.law.at(outer) / members.law.at(inner),
        "undissolved": undissolved(members, water, salt),
        "temperature_c": air.kelvin - 273.15 - rim.cooling_k,
    }


def states_of(members: Members, nodes: Nodes, blocks: Blocks, times_s: Array, profiles: Profiles) -> States:
    """Everything that is read off the profiles.

    Args:
        members: Members.
        nodes: Nodes (n).
        blocks: Blocks.
        times_s: array (times,). Moments of the profiles. [s]
        profiles: Profiles.

    Returns:
        States.

    Notes:
        Water activity of the homogenised piece comes from mean water and salt, what a
        meter shows on a ground sample; it is not the mean of the local values.
    """
    seen = seen_of(members, nodes, blocks, times_s, profiles)
    water = seen["water"]
    return States(
        **seen,
        weight_loss=(members.water - water) / members.green_mass,
        water_activity_mean=of_mixture(
            np.maximum(water, 1e-4),
            np.broadcast_to(members.salt, water.shape),
            members.solutes,
            members.brine,
            members.halsey,
        ),
        diameter_m=diameter_of(members, water),
    )
