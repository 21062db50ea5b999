"""Water activity in the truth: a quadratic for salt, a power law for the meat, a term for the rest."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
SATURATED_MOLALITY = 6.14


def saturation_pressure_pa(temperature_c: Array) -> Array:
    """Saturation vapour pressure over water, Magnus form. [Pa]"""
    return 611.2 * np.exp(17.62 * temperature_c / (243.12 + temperature_c))


def saturated_vapour_g_m3(temperature_c: Array) -> Array:
    """Vapour held by saturated air. [g/m3]"""
    return saturation_pressure_pa(temperature_c) / (0.4615 * (temperature_c + 273.15))


def water_activity(water: Array, salt: Array, other_mol: float | Array) -> Array:
    """Water activity of meat.

    Args:
        water: array. Water per fat-free salt-free dry matter. [kg/kg]
        salt: array. Salt per fat-free salt-free dry matter. [kg/kg]
        other_mol: Other dissolved matter per dry matter. [mol/kg]
    """
    molality = np.minimum(salt / (0.05844 * water), SATURATED_MOLALITY)
    brine = 1.0 - 0.0322 * molality - 0.0013 * molality * molality
    meat = 1.0 - np.exp(-3.93 * water**0.627)
    return brine * meat * (1.0 - 0.018 * np.minimum(other_mol / water, 8.0))
