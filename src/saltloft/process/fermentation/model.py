"""The equations: a warming piece, a growing starter, sugar to lactic acid, pH by proton balance.

Two places are followed, core and rim; they differ in temperature and, when the
caller knows it, in water activity.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import j0, j1, jn_zeros

from saltloft.science.acids import MeatBuffer, dissociated_share, refine_ph, undissociated_mol_m3
from saltloft.science.growth import SquareRootGrowth, square_root_rate_h

FloatArray = NDArray[np.float64]

_LN10 = float(np.log(10.0))
CORE, RIM = 0, 1
MODES = 5


@dataclass(frozen=True)
class AcidModel:
    """Constants that all members share.

    Args:
        buffer: MeatBuffer.
        starter: SquareRootGrowth. Growth of the lactic flora.
        density_max_log10: float. Highest density of the flora. [log10 cfu/g]
        per_hour_over_growth: float. Acid made per cell and hour over acid made per new cell. [1/h]
        saturation_mmol_kg: float. Remaining acid potential at half rate. [mmol/kg]
        ph_stop: float. No acid from resting cells at or below. [pH]
        ph_full: float. Full rate at or above. [pH]
        diffusivity_m2_s: float. Thermal diffusivity of the batter. [m2/s]
        conductivity_w_mk: float. Thermal conductivity of the batter. [W/m.K]
    """

    buffer: MeatBuffer
    starter: SquareRootGrowth
    density_max_log10: float
    per_hour_over_growth: float
    saturation_mmol_kg: float
    ph_stop: float
    ph_full: float
    diffusivity_m2_s: float
    conductivity_w_mk: float


@dataclass(frozen=True)
class Members:
    """What differs from member to member; each an array (members,).

    Args:
        radius_m: array. [m]
        film_heat_w_m2k: array. [W/m2.K]
        start_c: array. Temperature at stuffing. [degC]
        start_ph: array. [pH]
        lean: array. Lean in the batter, 0..1. [kg/kg]
        water: array. Water in the batter, 0..1. [kg/kg]
        buffer_scale: array. Factor on the site numbers. [1]
        acid_potential_mmol_kg: array. Lactic acid the sugar can give. [mmol/kg batter]
        density_log10: array. Starter at stuffing. [log10 cfu/g]
        rate_scale: array. Factor on the growth rate. [1]
        lag_h: array. [h]
        acid_per_growth: array. [mmol/cfu]
        nitrite_mg_kg: array. [mg/kg]
    """

    radius_m: FloatArray
    film_heat_w_m2k: FloatArray
    start_c: FloatArray
    start_ph: FloatArray
    lean: FloatArray
    water: FloatArray
    buffer_scale: FloatArray
    acid_potential_mmol_kg: FloatArray
    density_log10: FloatArray
    rate_scale: FloatArray
    lag_h: FloatArray
    acid_per_growth: FloatArray
    nitrite_mg_kg: FloatArray


@dataclass(frozen=True)
class Course:
    """The piece through time; each array (times, 2, members), core then rim.

    Args:
        time_h: array (times,). Hours from stuffing. [h]
        temperature_c: array. [degC]
        ph: array. [pH]
        density_log10: array. Lactic flora. [log10 cfu/g]
        lactate_mol_m3: array. Lactic acid and lactate in the water phase. [mol/m3]
    """

    time_h: FloatArray
    temperature_c: FloatArray
    ph: FloatArray
    density_log10: FloatArray
    lactate_mol_m3: FloatArray


def time_grid(end_h: float) -> FloatArray:
    """Hours at which the equations are stepped: quarters to the fifth day, hours to the tenth, then threes.

    Args:
        end_h: float. Above 0. [h]

    Returns:
        Array (times,), rising from 0 to end_h. [h]
    """
    parts = (
        np.arange(0.0, 120.0, 0.25),
        np.arange(120.0, 240.0, 1.0),
        np.arange(240.0, max(end_h, 241.0), 3.0),
    )
    hours = np.concatenate(parts)
    return np.append(hours[hours < end_h - 1e-9], end_h)


def roots(biot: FloatArray, modes: int) -> FloatArray:
    """Roots of b J1(b) = Bi J0(b): the modes of a cylinder with a film.

    Args:
        biot: array (members,). Film coefficient times radius over conductivity, above 0. [1]
        modes: int. How many, from the slowest.

    Returns:
        Array (modes, members), rising; each lies between a zero of J1 and the next one of J0. [1]
    """
    low = np.concatenate(([1e-9], jn_zeros(1, modes - 1) if modes > 1 else []))[:, None] + 0.0 * biot
    high = jn_zeros(0, modes)[:, None] + 0.0 * biot
    for _ in range(50):
        middle = 0.5 * (low + high)
        # b J1(b) - Bi J0(b) changes sign once in there; the sign of J0 turns from mode to mode.
        below = (middle * j1(middle) - biot * j0(middle)) * np.sign(j0(low)) < 0.0
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    return np.asarray(0.5 * (low + high))


def lag_time_h(members: Members, model: AcidModel) -> FloatArray:
    """Time constant of the slowest mode: how slowly the core follows its room.

    Args:
        members: Members.
        model: AcidModel.

    Returns:
        Array (members,). [h]
    """
    biot = members.film_heat_w_m2k * members.radius_m / model.conductivity_w_mk
    rate = roots(biot, 1)[0] ** 2 * model.diffusivity_m2_s / members.radius_m**2
    return np.asarray(1.0 / rate / 3600.0)


def temperatures(members: Members, model: AcidModel, time_h: FloatArray, room_c: FloatArray) -> FloatArray:
    """Core and rim as they follow the room.

    Args:
        members: Members.
        model: AcidModel.
        time_h: array (times,). [h]
        room_c: array (times,) or (times, members). Room over the step that ends there. [degC]

    Returns:
        Array (times, 2, members). [degC]

    Notes:
        Classical series of a long cylinder with a film (Carslaw & Jaeger), its first MODES terms;
        each change of the room starts the series anew. Neglected: cooling by evaporation, heat of
        fermentation, ends of the piece.
    """
    biot = members.film_heat_w_m2k * members.radius_m / model.conductivity_w_mk
    root = roots(biot, MODES)
    share = 2.0 * j1(root) / (root * (j0(root) ** 2 + j1(root) ** 2))
    rate_h = root**2 * model.diffusivity_m2_s / members.radius_m**2 * 3600.0
    count = members.radius_m.size
    room = np.broadcast_to(room_c if room_c.ndim == 2 else room_c[:, None], (time_h.size, count))
    out = np.empty((time_h.size, 2, count))
    before = np.broadcast_to(room[1 if time_h.size > 1 else 0], (count,))
    apart = share * (members.start_c - before)
    out[0] = members.start_c
    for index in range(1, time_h.size):
        apart = apart - share * (room[index] - before)
        apart = apart * np.exp(-rate_h * (time_h[index] - time_h[index - 1]))
        before = room[index]
        out[index, CORE] = before + apart.sum(axis=0)
        out[index, RIM] = before + (apart * j0(root)).sum(axis=0)
    return out


def run(
    members: Members,
    model: AcidModel,
    time_h: FloatArray,
    room_c: FloatArray,
    water_activity: FloatArray,
) -> Course:
    """Step starter, acid and pH through time at core and rim.

    Args:
        members: Members.
        model: AcidModel.
        time_h: array (times,). Rising from 0. [h]
        room_c: array (times,) or (times, members). Room over the step that ends there. [degC]
        water_activity: array (times, 2) or (times, 2, members). Core then rim, 0..1. [1]

    Returns:
        Course.

    Notes:
        d ln N/dt = mu (1 - N/Nmax) after the lag;
        dL/dt = (a dN/dt + b N gT gpH) S/(S + K), S the remaining acid potential; pH from L by the
        proton balance. Midpoint steps. Below the starter's lowest water activity nothing moves.
    """
    warmth = temperatures(members, model, time_h, room_c)
    wet = water_activity if water_activity.ndim == 3 else water_activity[:, :, None]
    shape = warmth.shape[1:]
    log_density = np.broadcast_to(members.density_log10 * _LN10, shape).copy()
    acid = np.zeros(shape)
    ph = np.broadcast_to(members.start_ph, shape).copy()
    densities, phs = np.empty(warmth.shape), np.empty(warmth.shape)
    lactates = np.empty(warmth.shape)
    for index in range(time_h.size):
        if index:
            step = time_h[index] - time_h[index - 1]
            middle = (0.5 * (warmth[index] + warmth[index - 1]), 0.5 * (wet[index] + wet[index - 1]))
            before = (warmth[index - 1], wet[index - 1])
            half = _slopes(members, model, time_h[index - 1], before, (log_density, acid, ph))
            half_acid = np.minimum(acid + 0.5 * step * half[1], members.acid_potential_mmol_kg)
            half_ph = _ph(members, model, half_acid, ph)
            state = (log_density + 0.5 * step * half[0], half_acid, half_ph)
            slope = _slopes(members, model, time_h[index - 1] + 0.5 * step, middle, state)
            log_density = log_density + step * slope[0]
            acid = np.minimum(acid + step * slope[1], members.acid_potential_mmol_kg)
            ph = _ph(members, model, acid, half_ph)
        densities[index], phs[index] = log_density / _LN10, ph
        lactates[index] = _lactate_mol_m3(members, model, acid)
    return Course(time_h, warmth, phs, densities, lactates)


def _ph(members: Members, model: AcidModel, acid: FloatArray, guess: FloatArray) -> FloatArray:
    return refine_ph(
        acid, guess, members.start_ph, lean=members.lean, scale=members.buffer_scale, buffer=model.buffer
    )


def _lactate_mol_m3(members: Members, model: AcidModel, acid: FloatArray) -> FloatArray:
    """Total lactate in the water phase, a kilogram of water taken as a litre."""
    native = members.lean * model.buffer.lactate_mmol_kg
    return np.asarray((acid + native) / members.water)


def _slopes(
    members: Members,
    model: AcidModel,
    hour: float,
    place: tuple[FloatArray, FloatArray],
    state: tuple[FloatArray, FloatArray, FloatArray],
) -> tuple[FloatArray, FloatArray]:
    """Rates of ln N and of acid, from temperature and water activity of the place and its state."""
    temperature_c, water_activity = place
    log_density, acid, ph = state
    undissociated = undissociated_mol_m3(_lactate_mol_m3(members, model, acid), ph, model.buffer.lactic_pka)
    rate = members.rate_scale * square_root_rate_h(
        temperature_c,
        ph,
        water_activity,
        undissociated_lactic_mol_m3=undissociated,
        nitrite_mg_kg=members.nitrite_mg_kg,
        model=model.starter,
    )
    density = np.exp(log_density)
    crowding = np.clip(1.0 - density / 10.0**model.density_max_log10, 0.0, 1.0)
    growth = np.where(hour >= members.lag_h, rate * crowding, 0.0)
    root = model.starter.temperature_root_c
    warm = np.maximum(0.0, (temperature_c - root) / (25.0 - root)) ** 2
    sweet = np.clip((ph - model.ph_stop) / (model.ph_full - model.ph_stop), 0.0, 1.0)
    moist = np.asarray(water_activity) > model.starter.water_activity_root
    remaining = np.maximum(0.0, members.acid_potential_mmol_kg - acid)
    limited = remaining / (remaining + model.saturation_mmol_kg)
    made = density * (growth + model.per_hour_over_growth * warm * sweet) * moist
    return growth, np.asarray(1000.0 * members.acid_per_growth * made * limited)


def undissociated(course: Course, model: AcidModel) -> FloatArray:
    """Undissociated lactic acid in the water phase along a course.

    Args:
        course: Course.
        model: AcidModel.

    Returns:
        Array (times, 2, members). [mol/m3]
    """
    return np.asarray(course.lactate_mol_m3 * (1.0 - dissociated_share(course.ph, model.buffer.lactic_pka)))
