"""What the truth is made of: meat, water activity, air and film, by formulas of its own.

Deliberately not the package's forms: brine by a quadratic instead of Pitzer, protein by Oswin's
instead of Halsey's isotherm, the film by Hilpert's instead of Churchill and Bernstein's formula.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

# USDA Standard Reference 10072 (shoulder, lean) and 10004 (backfat): water, protein, fat.
LEAN = (0.7263, 0.1955, 0.0714)
BACKFAT = (0.0769, 0.0292, 0.8869)
OTHER = 0.010  # sugar and spice of the batter
WATER_KG_M3, SOLIDS_KG_M3, FAT_KG_M3, SALT_M3_KG = 998.0, 1330.0, 920.0, 3.3e-4
LATENT_J_KG = 2.47e6
SATURATED_BRINE = 26.4  # g salt in 100 g brine


def batter(fat: Array, salt: Array) -> tuple[Array, Array]:
    """Water and protein of a lean-and-backfat batter with this much fat and salt.

    Args:
        fat, salt: arrays. Fractions of the batter.

    Returns:
        Water and protein, arrays like fat, fractions of the batter.
    """
    meat = 1.0 - salt - OTHER
    lean = (BACKFAT[2] - fat / meat) / (BACKFAT[2] - LEAN[2])
    water = meat * (lean * LEAN[0] + (1.0 - lean) * BACKFAT[0])
    protein = meat * (lean * LEAN[1] + (1.0 - lean) * BACKFAT[1])
    return water, protein


def water_activity(water: Array, brine: Array, solutes: Array) -> Array:
    """Water activity of the matrix, 0..1.

    Args:
        water: array. kg per kg of fat-free salt-free solids. [kg/kg]
        brine: array. Salt per water. [kg/kg]
        solutes: array. Other solutes per kg of those solids. [mol/kg]

    Notes:
        Product of a quadratic for sodium chloride (Resnik and Chirife's numbers, from memory, good
        to 15 % brine), Raoult for the small solutes and Oswin for protein (constants own).
    """
    strength = np.minimum(100.0 * brine / (1.0 + brine), SATURATED_BRINE)
    by_salt = 1.0 - 0.0052471 * strength - 0.00012206 * strength**2
    by_solutes = 55.508 / (55.508 + solutes / water)
    return by_salt * by_solutes / (1.0 + (0.085 / water) ** 2.4)


def vapour_kg_m3(temperature_c: Array) -> Array:
    """Water vapour in saturated air by Magnus (constants from memory). [kg/m3]"""
    pressure = 611.2 * np.exp(17.62 * temperature_c / (243.12 + temperature_c))
    return pressure * 0.018015 / (8.314 * (temperature_c + 273.15))


def film_w_m2k(diameter_m: Array, air_m_s: Array) -> Array:
    """Heat transfer to a cylinder across the air. [W/(m2 K)]

    Args:
        diameter_m: array. [m]
        air_m_s: array. [m/s]

    Notes:
        Hilpert's Nu = 0.683 Re^0.466 (memory; Re 40 to 4000), blended as third powers with
        natural convection 1.32 (dT/d)^0.25 for 1 K (memory).
    """
    forced = 0.0253 / diameter_m * 0.683 * (air_m_s * diameter_m / 1.47e-5) ** 0.466
    natural = 1.32 * diameter_m**-0.25
    both: Array = (forced**3 + natural**3) ** (1.0 / 3.0)
    return both


def film_m_s(film_w: Array) -> Array:
    """Mass transfer belonging to a heat transfer by the Lewis relation. [m/s]"""
    return film_w / (1.22 * 1008.0 * 0.86 ** (2.0 / 3.0))
