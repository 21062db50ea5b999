"""Growth and death of bacteria in sausage: rates, limits, and what may be credited.

Orientation beside the rules, never above them. Growth counts while any place in
the piece allows it; death counts only from the hour at which every place is past
it; the two are never set off against each other.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

ORGANISMS = (
    "escherichia_coli",
    "salmonella",
    "listeria_monocytogenes",
    "staphylococcus_aureus",
    "clostridium_botulinum",
)


@dataclass(frozen=True)
class Cardinal:
    """Lowest, best and highest value of one condition for growth.

    Args:
        low: float. No growth at or below. [unit of the condition]
        optimum: float. Fastest growth. [unit of the condition]
        high: float. No growth at or above. [unit of the condition]
    """

    low: float
    optimum: float
    high: float


@dataclass(frozen=True)
class GrowthGate:
    """Limits past which an organism does not grow, whatever else is good for it.

    Args:
        temperature_c: float. No growth below. [degC]
        ph: float. No growth below. [pH]
        water_activity: float. No growth below, 0..1. [1]
        undissociated_lactic_mol_m3: float. No growth above; infinity when none is known. [mol/m3]
    """

    temperature_c: float
    ph: float
    water_activity: float
    undissociated_lactic_mol_m3: float = float("inf")


@dataclass(frozen=True)
class CardinalGrowth:
    """A growth rate as the best rate times one factor for each condition.

    Args:
        rate_h: float. Best rate, natural logarithm. [1/h]
        temperature_c: Cardinal. [degC]
        ph: Cardinal. [pH]
        water_activity: Cardinal, 0..1. [1]
    """

    rate_h: float
    temperature_c: Cardinal
    ph: Cardinal
    water_activity: Cardinal


@dataclass(frozen=True)
class SquareRootGrowth:
    """A growth rate by square-root temperature term and one factor for each hurdle.

    Args:
        rate_25c_h: float. Rate at 25 degC with no hurdle, natural logarithm. [1/h]
        temperature_root_c: float. [degC]
        temperature_cap_c: float. The rate rises no further above it. [degC]
        water_activity_root: float, 0..1. [1]
        ph_root: float. [pH]
        undissociated_lactic_mol_m3: float. Concentration that stops growth. [mol/m3]
        nitrite_mg_kg: float. Amount that stops growth. [mg/kg]
        nitrite_power: float. 1 or 2, power of the nitrite factor. [1]
    """

    rate_25c_h: float
    temperature_root_c: float
    temperature_cap_c: float
    water_activity_root: float
    ph_root: float
    undissociated_lactic_mol_m3: float
    nitrite_mg_kg: float
    nitrite_power: float = 1.0


@dataclass(frozen=True)
class KillCredit:
    """What of a computed death may be credited.

    Args:
        intercept: float. a of ln k = a - b/T, k in log10 per hour. [1]
        slope_k: float. b. [K]
        conservative: float. Factor for the conservative value, 0..1. [1]
        none_from_ph: float. No credit at or above this pH... [pH]
        none_above_water_activity: float. ...while above this water activity, 0..1. [1]
        none_below_c: float. No credit in the cold. [degC]
        highest_c: float. Above it another mechanism works: the rate is held. [degC]
    """

    intercept: float
    slope_k: float
    conservative: float
    none_from_ph: float
    none_above_water_activity: float
    none_below_c: float
    highest_c: float = 47.0


def cardinal_factor(value: ArrayLike, cardinal: Cardinal) -> FloatArray:
    """Rosso's factor for temperature or water activity: 0 at the ends, 1 at the optimum.

    Args:
        value: float or array. [unit of the condition]
        cardinal: Cardinal.

    Returns:
        Array like value, 0..1.
    """
    x = np.asarray(value, dtype=np.float64)
    low, best, high = cardinal.low, cardinal.optimum, cardinal.high
    bracket = (best - low) * (x - best) - (best - high) * (best + low - 2.0 * x)
    inside = (x > low) & (x < high)
    with np.errstate(divide="ignore", invalid="ignore"):
        factor = (x - high) * (x - low) ** 2 / ((best - low) * bracket)
    return np.where(inside, np.clip(factor, 0.0, 1.0), 0.0)


def cardinal_ph_factor(ph: ArrayLike, cardinal: Cardinal) -> FloatArray:
    """Rosso's factor for pH: 0 at the ends, 1 at the optimum.

    Args:
        ph: float or array. [pH]
        cardinal: Cardinal. [pH]

    Returns:
        Array like ph, 0..1.
    """
    x = np.asarray(ph, dtype=np.float64)
    product = (x - cardinal.low) * (x - cardinal.high)
    inside = (x > cardinal.low) & (x < cardinal.high)
    with np.errstate(divide="ignore", invalid="ignore"):
        factor = product / (product - (x - cardinal.optimum) ** 2)
    return np.where(inside, np.clip(factor, 0.0, 1.0), 0.0)


def cardinal_rate_h(
    temperature_c: ArrayLike, ph: ArrayLike, water_activity: ArrayLike, model: CardinalGrowth
) -> FloatArray:
    """Growth rate by the cardinal model, natural logarithm.

    Args:
        temperature_c: float or array. [degC]
        ph: float or array. [pH]
        water_activity: float or array, 0..1. [1]
        model: CardinalGrowth.

    Returns:
        Array of the broadcast shape, 0 or more. [1/h]
    """
    return np.asarray(
        model.rate_h
        * cardinal_factor(temperature_c, model.temperature_c)
        * cardinal_factor(water_activity, model.water_activity)
        * cardinal_ph_factor(ph, model.ph)
    )


def square_root_factors(
    temperature_c: ArrayLike,
    ph: ArrayLike,
    water_activity: ArrayLike,
    *,
    undissociated_lactic_mol_m3: ArrayLike,
    nitrite_mg_kg: ArrayLike,
    model: SquareRootGrowth,
) -> FloatArray:
    """Factor of each condition on the rate at 25 degC: temperature, water, pH, lactic acid, nitrite.

    Args:
        temperature_c: float or array. [degC]
        ph: float or array. [pH]
        water_activity: float or array, 0..1. [1]
        undissociated_lactic_mol_m3: float or array. In the water phase. [mol/m3]
        nitrite_mg_kg: float or array. [mg/kg]
        model: SquareRootGrowth.

    Returns:
        Array (5, ...) of the broadcast shape. All are held between 0 and 1 but temperature, which
        may exceed 1 above 25 degC. [1]
    """
    temperature = np.minimum(np.asarray(temperature_c, dtype=np.float64), model.temperature_cap_c)
    root = model.temperature_root_c
    warm = np.maximum(0.0, (temperature - root) / (25.0 - root)) ** 2
    wet = (np.asarray(water_activity) - model.water_activity_root) / (1.0 - model.water_activity_root)
    sweet = 1.0 - 10.0 ** (model.ph_root - np.asarray(ph))
    lactic = 1.0 - np.asarray(undissociated_lactic_mol_m3) / model.undissociated_lactic_mol_m3
    nitrite = (1.0 - np.asarray(nitrite_mg_kg) / model.nitrite_mg_kg).clip(0.0, 1.0) ** model.nitrite_power
    held = (np.clip(factor, 0.0, 1.0) for factor in (wet, sweet, lactic, nitrite))
    return np.stack(np.broadcast_arrays(warm, *held))


def square_root_rate_h(
    temperature_c: ArrayLike,
    ph: ArrayLike,
    water_activity: ArrayLike,
    *,
    undissociated_lactic_mol_m3: ArrayLike,
    nitrite_mg_kg: ArrayLike,
    model: SquareRootGrowth,
) -> FloatArray:
    """Growth rate by the square-root model with hurdles, natural logarithm.

    Args:
        temperature_c: float or array. [degC]
        ph: float or array. [pH]
        water_activity: float or array, 0..1. [1]
        undissociated_lactic_mol_m3: float or array. In the water phase. [mol/m3]
        nitrite_mg_kg: float or array. [mg/kg]
        model: SquareRootGrowth.

    Returns:
        Array of the broadcast shape, 0 or more: the rate at 25 degC times `square_root_factors`. [1/h]
    """
    factors = square_root_factors(
        temperature_c,
        ph,
        water_activity,
        undissociated_lactic_mol_m3=undissociated_lactic_mol_m3,
        nitrite_mg_kg=nitrite_mg_kg,
        model=model,
    )
    return np.asarray(model.rate_25c_h * np.prod(factors, axis=0))


def interaction(factors: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """How far several hurdles together stop growth that each alone would allow.

    Args:
        factors: array (conditions, ...). Growth factor of each condition, 0..1. [1]

    Returns:
        psi: array (...). 0 no strain; 1 or more no growth. [1]
        xi: array (...). Factor on the growth rate, 0..1. [1]

    Notes:
        phi_i = (1 - sqrt(g_i))**2; psi = sum phi_i / (2 prod_{j!=i} (1 - phi_j)) (Le Marc 2002 in
        the form of Augustin 2005); xi = 1 up to psi 0.5, then 2 (1 - psi), 0 from psi 1.
    """
    phi = (1.0 - np.sqrt(np.clip(np.asarray(factors, dtype=np.float64), 0.0, 1.0))) ** 2
    psi = np.zeros(phi.shape[1:])
    with np.errstate(divide="ignore", invalid="ignore"):
        for index in range(phi.shape[0]):
            others = np.prod(1.0 - np.delete(phi, index, axis=0), axis=0)
            psi = psi + np.where(phi[index] > 0.0, phi[index] / (2.0 * others), 0.0)
    xi = np.where(psi <= 0.5, 1.0, np.clip(2.0 * (1.0 - psi), 0.0, 1.0))
    return psi, xi


def growth_possible(
    temperature_c: ArrayLike,
    ph: ArrayLike,
    water_activity: ArrayLike,
    undissociated_lactic_mol_m3: ArrayLike,
    gate: GrowthGate,
) -> BoolArray:
    """Whether every limit of an organism is still open.

    Args:
        temperature_c: float or array. [degC]
        ph: float or array. [pH]
        water_activity: float or array, 0..1. [1]
        undissociated_lactic_mol_m3: float or array. In the water phase. [mol/m3]
        gate: GrowthGate.

    Returns:
        Array of bool of the broadcast shape; a value on a limit still allows growth.
    """
    return np.asarray(
        (np.asarray(temperature_c) >= gate.temperature_c)
        & (np.asarray(ph) >= gate.ph)
        & (np.asarray(water_activity) >= gate.water_activity)
        & (np.asarray(undissociated_lactic_mol_m3) <= gate.undissociated_lactic_mol_m3)
    )


def death_rate_log10_h(temperature_c: ArrayLike, intercept: float, slope_k: float) -> FloatArray:
    """Mean death rate of E. coli where growth is prevented.

    Args:
        temperature_c: float or array, 0..47. [degC]
        intercept: float. a of ln k = a - b/T. [1]
        slope_k: float. b. [K]

    Returns:
        Array like temperature_c. [log10/h]

    Notes:
        ln k = a - b/T, T in kelvin. A mean over many products: single ones scatter by a
        factor of 2 to 4.
    """
    kelvin = np.asarray(temperature_c, dtype=np.float64) + 273.15
    return np.asarray(np.exp(intercept - slope_k / kelvin))


def credited_kill_log10(
    time_s: ArrayLike,
    temperature_c: ArrayLike,
    ph: ArrayLike,
    water_activity: ArrayLike,
    *,
    growth_open: ArrayLike,
    credit: KillCredit,
) -> FloatArray:
    """Death that may be credited so far, counted from the last hour at which growth was possible.

    Args:
        time_s: array (times,). Rising. [s]
        temperature_c: array (times,) or (times, members). [degC]
        ph: array like temperature_c. Of the least acid place. [pH]
        water_activity: array like temperature_c. Of the wettest place, 0..1. [1]
        growth_open: array of bool like temperature_c. True while any place allows growth. [1]
        credit: KillCredit.

    Returns:
        Array like temperature_c: the mean kill; 0 up to the last open hour. The conservative
        value is `credit.conservative` times it. [log10]

    Notes:
        When growth becomes possible again, what was counted before is lost: growth and kill
        are never netted, and a kill before growth proves nothing about what grew.
    """
    hours = np.diff(np.asarray(time_s, dtype=np.float64)) / 3600.0
    temperature = np.minimum(np.asarray(temperature_c, dtype=np.float64), credit.highest_c)
    hollow = (np.asarray(ph) >= credit.none_from_ph) & (
        np.asarray(water_activity) > credit.none_above_water_activity
    )
    barred = np.asarray(growth_open, dtype=bool) | hollow | (temperature < credit.none_below_c)
    rate = np.where(barred, 0.0, death_rate_log10_h(temperature, credit.intercept, credit.slope_k))
    # The smaller end of each step is counted, so no credit is taken for a hot end.
    steps = np.minimum(rate[1:], rate[:-1]) * hours.reshape((-1,) + (1,) * (rate.ndim - 1))
    reopened = np.asarray(growth_open, dtype=bool)
    total = np.zeros_like(rate)
    for index in range(1, rate.shape[0]):
        total[index] = np.where(reopened[index], 0.0, total[index - 1] + steps[index - 1])
    return total
