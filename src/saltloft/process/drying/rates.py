"""The drying equations: rates of water and salt, and their exact Jacobian.

With s the share of dry solids inside a shell, X water and S salt per kg of
fat-free salt-free solids, v(X) the volume per kg of solids, V = int v ds:

    X_t = d/ds q,   q = a W U(X)_s,                       U = int D/v^2 dX
    S_t = d/ds p,   p = a W [ r U'(X) X c_s + sigma c U_s ],   c = min(S/X, saturated)
    q(1) = -loss = -(2 sqrt(pi l V(1)/M)) K c_sat (a_w - RH) / (1 + K c_sat L b a_w / h)

a = 4 pi l theta / M, l = (V(1)/V0(1))^lam the relative length, M the solids per
metre, theta the temperature factor at the surface-cooled temperature. W = V(1) F(V/V(1))
is how wide the way out is at that depth: W = V for a long round piece (`shape.py`). Salt's own
volume is kept at its initial value, so v depends on X alone and the Jacobian is
block-triangular but for one rank-one term, the rim's water activity by its salt.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from saltloft.process.drying.members import Members
from saltloft.process.drying.nodes import Nodes
from saltloft.science.water_activity import Halsey, with_slopes

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Air:
    """The air of each member now; the fields of Blocks, and what the rim adds; arrays (members,)."""

    speed_up: Array
    kelvin: Array
    saturated: Array
    vapour: Array
    log_slope: Array
    latent: Array
    film_heat: Array
    film_power: Array
    film_ratio: Array
    open: Array
    rim_s_m: Array | float = 0.0  # what a rim that remembers adds to the casing [s/m]
    drift: Array | float = 0.0  # rise of the vapour [kg/m3.s]

    def after(self, time_s: Array) -> Air:
        """The air a time later, array (members,). [s]"""
        return replace(self, vapour=self.vapour + self.drift * time_s)


AIR_NAMES = tuple(entry.name for entry in fields(Air) if entry.name not in ("open", "rim_s_m", "drift"))


@dataclass(frozen=True)
class Surface:
    """What leaves the rim, and how it changes; arrays (members,).

    Args:
        loss: array. Water leaving, per kg of solids. [1/s]
        loss_by_activity: array. Its derivative by the rim's water activity. [1/s]
        loss_by_volume: array. Its derivative by the volume V(1). [kg/m3.s]
        loss_by_vapour: array. Its derivative by the vapour of the air. [m3/kg.s]
        speed: array. Temperature factor of the cooled piece. [1]
        speed_by_activity: array. Its derivative. [1]
        speed_by_volume: array. Its derivative. [kg/m3]
        speed_by_vapour: array. Its derivative. [m3/kg]
        by_water: array. Derivative of the rim's water activity by X. [kg/kg]
        by_salt: array. Derivative of the rim's water activity by S. [kg/kg]
        cooling_k: array. How far the surface lies under the air. [K]
    """

    loss: Array
    loss_by_activity: Array
    loss_by_volume: Array
    loss_by_vapour: Array
    speed: Array
    speed_by_activity: Array
    speed_by_volume: Array
    speed_by_vapour: Array
    by_water: Array
    by_salt: Array
    cooling_k: Array


def halsey_at(members: Members, kelvin: Array) -> Halsey:
    """The protein term at a temperature, by Clausius and Clapeyron.

    Args:
        members: Members.
        kelvin: array (members,). [K]

    Returns:
        Halsey.

    Notes:
        ln a_p = -(A/X)^r [1 + (q/R)(1/T - 1/T0)]: the net heat of sorption is q (A/X)^r, so it
        fades as water covers the protein (at X 0.15 a twelfth of its value at 0.05).
    """
    if not np.any(members.sorption_heat_k):
        return members.halsey
    warmth = 1.0 + members.sorption_heat_k * (1.0 / kelvin - 1.0 / members.sorption_kelvin)
    scale: Array = members.halsey.scale * np.maximum(warmth, 0.1) ** (1.0 / members.halsey.power)
    return Halsey(scale, members.halsey.power)


def rim_activity(members: Members, water: Array, salt: Array, kelvin: Array) -> tuple[Array, Array, Array]:
    """Water activity of a place and its derivatives by water and salt.

    Args:
        members: Members.
        water: array (members,). [kg/kg]
        salt: array (members,). [kg/kg]
        kelvin: array (members,). Of the air; the piece's own cooling is left out here. [K]

    Returns:
        Three arrays (members,). [1] [kg/kg] [kg/kg]
    """
    if members.linear_sorption > 0.0:
        slope = np.full_like(water, members.linear_sorption)
        return slope * water, slope, np.zeros_like(water)
    wet = np.maximum(water, 1e-4)
    halsey = halsey_at(members, kelvin)
    return with_slopes(wet, np.maximum(salt, 0.0), members.solutes, members.brine, halsey)


def surface(members: Members, air: Air, volume: Array, water: Array, salt: Array) -> Surface:
    """Water leaving the rim in closed form, with casing and film in series and its cooling.

    Args:
        members: Members.
        air: Air.
        volume: array (members,). V(1). [m3/kg]
        water: array (members,). At the rim. [kg/kg]
        salt: array (members,). At the rim. [kg/kg]

    Returns:
        Surface. Zero everywhere for a packed piece (`open` 0).

    Notes:
        Neglected: heat stored in the piece (minutes against days), heat through the ends.
    """
    activity, by_water, by_salt = rim_activity(members, water, salt, air.kelvin)
    shrunk = 0.5 * (1.0 - members.length_share)
    film = air.film_heat * (volume / members.volume) ** (shrunk * air.film_power)
    film_by_volume = film * shrunk * air.film_power / volume
    exchange = film + members.other_heat
    conductance = 1.0 / (1.0 / (film * air.film_ratio) + members.resistance_s_m + air.rim_s_m)
    conductance_by_film = conductance * conductance / (air.film_ratio * film * film)
    drive = conductance * air.saturated
    gap = activity - air.vapour / air.saturated
    cooling = air.latent / exchange
    damping = 1.0 + drive * cooling * air.log_slope * activity
    flux = air.open * drive * gap / damping
    by_activity = (air.open * drive - flux * drive * cooling * air.log_slope) / damping
    by_vapour = -air.open * drive / (air.saturated * damping)
    damping_by_film = (
        air.saturated * cooling * air.log_slope * activity * (conductance_by_film - conductance / exchange)
    )
    by_film = (air.open * conductance_by_film * air.saturated * gap - flux * damping_by_film) / damping
    length = (volume / members.volume) ** members.length_share
    area = 2.0 * np.sqrt(np.pi * length * volume / members.solids_per_m) * members.end_factor
    colder = cooling * flux
    colder_by_film = cooling * by_film - colder / exchange
    warmth = members.activation / (air.kelvin * air.kelvin)
    speed = air.speed_up * np.exp(-warmth * colder)
    return Surface(
        loss=area * flux,
        loss_by_activity=area * by_activity,
        loss_by_volume=area * (by_film * film_by_volume + flux * 0.5 * (1.0 + members.length_share) / volume),
        loss_by_vapour=area * by_vapour,
        speed=speed,
        speed_by_activity=-speed * warmth * cooling * by_activity,
        speed_by_volume=-speed * warmth * colder_by_film * film_by_volume,
        speed_by_vapour=-speed * warmth * cooling * by_vapour,
        by_water=by_water,
        by_salt=by_salt,
        cooling_k=colder,
    )


def _geometry(members: Members, nodes: Nodes, water: Array) -> tuple[Array, Array]:
    """V at the nodes, array (n, members), and the factor a without its temperature, (members,)."""
    volume = nodes.integral @ (members.law.fixed_volume + water * members.law.water_volume)
    length = (volume[-1] / members.volume) ** members.length_share
    return volume, 4.0 * np.pi * length / members.solids_per_m


def _width(members: Members, volume: Array) -> Array:
    """W at the nodes, array (n, members). [m3/kg]"""
    whole = volume[-1]
    path = members.path
    return np.asarray(path.constant * whole + volume * (path.linear + path.square * volume / whole))


def _brine(members: Members, water: Array, salt: Array) -> tuple[Array, Array]:
    """Salt per kg of water, capped where it is saturated, and 1 where it is not; (n, members)."""
    wet = np.maximum(water, 1e-4)
    saturated = members.brine.saturation_molality * members.brine.molar_mass
    brine = salt / wet
    return np.minimum(brine, saturated), (brine < saturated).astype(np.float64)


def rates(members: Members, nodes: Nodes, air: Air, water: Array, salt: Array) -> tuple[Array, Array]:
    """How fast water and salt change at every node.

    Args:
        members: Members.
        nodes: Nodes (n).
        air: Air.
        water: array (n, members). [kg/kg]
        salt: array (n, members). [kg/kg]

    Returns:
        Two arrays (n, members). [1/s]
    """
    volume, factor = _geometry(members, nodes, water)
    rim = surface(members, air, volume[-1], water[-1], salt[-1])
    value, slope, _ = members.potential.at(water)
    brine, _ = _brine(members, water, salt)
    gradient = nodes.derivative @ value
    push = factor * rim.speed * _width(members, volume)
    salt_flux = push * (
        members.salt_ratio * slope * water * (nodes.derivative @ brine) + members.salt_drag * brine * gradient
    )
    water_rate = -(nodes.divergence @ (push * gradient))
    water_rate[-1] -= rim.loss / nodes.weight[-1]
    return water_rate, -(nodes.divergence @ salt_flux)


def rates_by_time(
    members: Members, nodes: Nodes, air: Air, profile: tuple[Array, Array], rate: tuple[Array, Array]
) -> tuple[Array, Array]:
    """How fast the rates themselves change because the vapour of the air drifts.

    Args:
        members: Members.
        nodes: Nodes (n).
        air: Air.
        profile: pair of arrays (n, members). Water and salt. [kg/kg]
        rate: pair of arrays (n, members). `rates` there. [1/s]

    Returns:
        Two arrays (n, members). [1/s2]
    """
    water, salt = profile
    volume, _ = _geometry(members, nodes, water)
    rim = surface(members, air, volume[-1], water[-1], salt[-1])
    faster = rim.speed_by_vapour * air.drift / rim.speed
    by_time = rate[0] * faster
    by_time[-1] += (rim.loss * faster - rim.loss_by_vapour * air.drift) / nodes.weight[-1]
    return by_time, rate[1] * faster


@dataclass(frozen=True)
class Jacobian:
    """Derivatives of the rates: [[xx, column_x e_rim^T], [sx, ss]].

    Args:
        xx: array (n, n, members). Water by water. [1/s]
        sx: array (n, n, members). Salt by water. [1/s]
        ss: array (n, n, members). Salt by salt. [1/s]
        column_x: array (n, members). Water by the rim's salt, the rank-one term. [1/s]
    """

    xx: Array
    sx: Array
    ss: Array
    column_x: Array


def _swelling(members: Members, nodes: Nodes, volume: Array, rim: Surface) -> tuple[Array, Array]:
    """d ln(a W) by the water of every node, (n, n, members), and dV(1) by it, (n, members)."""
    volume_by_water = nodes.integral[:, :, None] * members.law.water_volume
    rim_volume = volume_by_water[-1]
    speed_log = rim.speed_by_volume * rim_volume / rim.speed
    speed_log[-1] += rim.speed_by_activity * rim.by_water / rim.speed
    common = members.length_share * rim_volume / volume[-1] + speed_log
    path, whole = members.path, volume[-1]
    width, inside = _width(members, volume), volume / whole
    by_volume = (path.linear + 2.0 * path.square * inside) / width
    by_whole = (path.constant - path.square * inside * inside) / width
    own = by_volume[:, None, :] * volume_by_water + by_whole[:, None, :] * rim_volume[None, :, :]
    return own + common[None, :, :], rim_volume


def jacobian(members: Members, nodes: Nodes, air: Air, water: Array, salt: Array) -> Jacobian:
    """The exact derivatives of `rates`, with shrinkage, cooling and salt in.

    Args:
        members: Members.
        nodes: Nodes (n).
        air: Air.
        water: array (n, members). [kg/kg]
        salt: array (n, members). [kg/kg]

    Returns:
        Jacobian.
    """
    volume, factor = _geometry(members, nodes, water)
    rim = surface(members, air, volume[-1], water[-1], salt[-1])
    value, slope, bend = members.potential.at(water)
    brine, free = _brine(members, water, salt)
    gradient, brine_gradient = nodes.derivative @ value, nodes.derivative @ brine
    push = factor * rim.speed * _width(members, volume)
    wet = np.maximum(water, 1e-4)
    brine_by_water, brine_by_salt = -free * brine / wet, free / wet
    ratio = members.salt_ratio
    core = ratio * slope * water * brine_gradient + members.salt_drag * brine * gradient

    relative, rim_volume = _swelling(members, nodes, volume, rim)
    slopes = nodes.derivative[:, :, None]

    q_x = push[:, None, :] * (gradient[:, None, :] * relative + slopes * slope[None, :, :])
    p_x = push[:, None, :] * (
        core[:, None, :] * relative
        + (ratio * slope * water)[:, None, :] * slopes * brine_by_water[None, :, :]
        + (members.salt_drag * brine)[:, None, :] * slopes * slope[None, :, :]
    )
    own = push * (
        ratio * (bend * water + slope) * brine_gradient + members.salt_drag * brine_by_water * gradient
    )
    p_s = push[:, None, :] * (ratio * slope * water)[:, None, :] * slopes * brine_by_salt[None, :, :]
    own_s = push * members.salt_drag * brine_by_salt * gradient
    place = np.arange(nodes.count)
    p_x[place, place] += own
    p_s[place, place] += own_s
    speed_by_salt = rim.speed_by_activity * rim.by_salt / rim.speed
    p_s[:, -1] += push * core * speed_by_salt

    divergence = nodes.divergence
    xx = -np.einsum("ij,jkm->ikm", divergence, q_x)
    xx[-1] -= rim.loss_by_volume * rim_volume / nodes.weight[-1]
    xx[-1, -1] -= rim.loss_by_activity * rim.by_water / nodes.weight[-1]
    column = -(divergence @ (push * gradient * speed_by_salt))
    column[-1] -= rim.loss_by_activity * rim.by_salt / nodes.weight[-1]
    return Jacobian(
        xx=xx,
        sx=-np.einsum("ij,jkm->ikm", divergence, p_x),
        ss=-np.einsum("ij,jkm->ikm", divergence, p_s),
        column_x=column,
    )
