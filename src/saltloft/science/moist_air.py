"""Moist air: what a room's temperature and humidity say about its water.

Relative humidity is a fraction 0..1 of the saturation pressure over water from
the triple point (0.01 degC) up, over ice below. The coefficients belong to the printed
formulas and stand with them; temperatures -40 to 60 degC, pressures 80 to
110 kPa. Checked against CoolProp's HumidAir.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

STANDARD_PRESSURE_PA = 101325.0
GAS_CONSTANT = 8.314462618  # J/mol.K, exact by the SI of 2019
DRY_AIR_MOLAR_MASS = 0.028966  # kg/mol, hyland_wexler_1983 rounds to 28.9645 g/mol
WATER_MOLAR_MASS = 0.0180153
_RATIO = WATER_MOLAR_MASS / DRY_AIR_MOLAR_MASS
_ZERO_C = 273.15
_TRIPLE = 273.16  # K; here the two formulas meet

# Hyland & Wexler 1983: ln(p/Pa) = c0/T + c1 + c2 T + c3 T2 + c4 T3 + c5 T4 + c6 ln T, recalled.
_WATER = (-5.8002206e3, 1.3914993, -4.8640239e-2, 4.1764768e-5, -1.4452093e-8, 0.0, 6.5459673)
_ICE = (-5.6745359e3, 6.3925247, -9.677843e-3, 6.2215701e-7, 2.0747825e-9, -9.484024e-13, 4.1635019)


def _log_pressure(kelvin: FloatArray, c: tuple[float, ...]) -> FloatArray:
    powers = c[1] + kelvin * (c[2] + kelvin * (c[3] + kelvin * (c[4] + kelvin * c[5])))
    return c[0] / kelvin + powers + c[6] * np.log(kelvin)


def _log_slope(kelvin: FloatArray, c: tuple[float, ...]) -> FloatArray:
    powers = c[2] + kelvin * (2.0 * c[3] + kelvin * (3.0 * c[4] + kelvin * 4.0 * c[5]))
    return -c[0] / kelvin**2 + powers + c[6] / kelvin


def saturation_pressure_pa(temperature_c: ArrayLike) -> FloatArray:
    """Saturation pressure of pure water vapour.

    Args:
        temperature_c: float or array. Air temperature. [degC]

    Returns:
        Array like temperature_c. Over water from 0.01 degC up, over ice below. [Pa]

    Source: hyland_wexler_1983.
    """
    kelvin = np.asarray(temperature_c, dtype=np.float64) + _ZERO_C
    over_water = _log_pressure(kelvin, _WATER)
    if np.all(kelvin >= _TRIPLE):
        return np.exp(over_water)
    return np.exp(np.where(kelvin < _TRIPLE, _log_pressure(kelvin, _ICE), over_water))


def saturation_log_slope_k(temperature_c: ArrayLike) -> FloatArray:
    """Relative change of the saturation pressure with temperature, d ln p / dT.

    Args:
        temperature_c: float or array. Air temperature. [degC]

    Returns:
        Array like temperature_c. [1/K]
    """
    kelvin = np.asarray(temperature_c, dtype=np.float64) + _ZERO_C
    return np.where(kelvin < _TRIPLE, _log_slope(kelvin, _ICE), _log_slope(kelvin, _WATER))


def enhancement_factor(temperature_c: ArrayLike, pressure_pa: ArrayLike = STANDARD_PRESSURE_PA) -> FloatArray:
    """How much more vapour saturated moist air holds than pure vapour would.

    Args:
        temperature_c: float or array. [degC]
        pressure_pa: float or array. Total pressure. [Pa]

    Returns:
        Array of the broadcast shape. About 1.004 at sea level. [1]

    Source: buck_1981, enhancement over water.
    """
    hecto = np.asarray(pressure_pa, dtype=np.float64) / 100.0
    t = np.asarray(temperature_c, dtype=np.float64)
    return 1.00072 + hecto * (3.2e-6 + 5.9e-10 * t * t)


def vapour_pressure_pa(
    temperature_c: ArrayLike, relative_humidity: ArrayLike, pressure_pa: ArrayLike = STANDARD_PRESSURE_PA
) -> FloatArray:
    """Partial pressure of the water vapour in moist air.

    Args:
        temperature_c: float or array. [degC]
        relative_humidity: float or array. Fraction 0..1.
        pressure_pa: float or array. Total pressure. [Pa]

    Returns:
        Array of the broadcast shape. [Pa]
    """
    saturated = enhancement_factor(temperature_c, pressure_pa) * saturation_pressure_pa(temperature_c)
    return np.asarray(relative_humidity, dtype=np.float64) * saturated


def vapour_concentration_kg_m3(
    temperature_c: ArrayLike,
    relative_humidity: ArrayLike = 1.0,
    pressure_pa: ArrayLike = STANDARD_PRESSURE_PA,
) -> FloatArray:
    """Mass of water vapour in a volume of moist air (ideal gas).

    Args:
        temperature_c: float or array. [degC]
        relative_humidity: float or array. Fraction 0..1.
        pressure_pa: float or array. Total pressure. [Pa]

    Returns:
        Array of the broadcast shape. [kg/m3]
    """
    kelvin = np.asarray(temperature_c, dtype=np.float64) + _ZERO_C
    pressure = vapour_pressure_pa(temperature_c, relative_humidity, pressure_pa)
    return pressure * (WATER_MOLAR_MASS / GAS_CONSTANT) / kelvin


def concentration_log_slope_k(temperature_c: ArrayLike) -> FloatArray:
    """Relative change of the saturated vapour concentration with temperature.

    Args:
        temperature_c: float or array. [degC]

    Returns:
        Array like temperature_c; about 0.061 at 14 degC. [1/K]
    """
    return saturation_log_slope_k(temperature_c) - 1.0 / (np.asarray(temperature_c) + _ZERO_C)


def humidity_ratio(
    temperature_c: ArrayLike, relative_humidity: ArrayLike, pressure_pa: ArrayLike = STANDARD_PRESSURE_PA
) -> FloatArray:
    """Mass of water vapour per mass of dry air.

    Args:
        temperature_c: float or array. [degC]
        relative_humidity: float or array. Fraction 0..1.
        pressure_pa: float or array. Total pressure. [Pa]

    Returns:
        Array of the broadcast shape. [kg/kg]
    """
    vapour = vapour_pressure_pa(temperature_c, relative_humidity, pressure_pa)
    return _RATIO * vapour / (np.asarray(pressure_pa, dtype=np.float64) - vapour)


def relative_humidity_of_ratio(
    temperature_c: ArrayLike, ratio: ArrayLike, pressure_pa: ArrayLike = STANDARD_PRESSURE_PA
) -> FloatArray:
    """Relative humidity of air with a known humidity ratio; the inverse of `humidity_ratio`.

    Args:
        temperature_c: float or array. [degC]
        ratio: float or array. Vapour per dry air. [kg/kg]
        pressure_pa: float or array. Total pressure. [Pa]

    Returns:
        Array of the broadcast shape. Fraction; above 1 means water will fall out.
    """
    w = np.asarray(ratio, dtype=np.float64)
    vapour = np.asarray(pressure_pa, dtype=np.float64) * w / (_RATIO + w)
    return vapour / vapour_pressure_pa(temperature_c, 1.0, pressure_pa)


def air_density_kg_m3(
    temperature_c: ArrayLike, relative_humidity: ArrayLike, pressure_pa: ArrayLike = STANDARD_PRESSURE_PA
) -> FloatArray:
    """Density of moist air, vapour included (ideal gas).

    Args:
        temperature_c: float or array. [degC]
        relative_humidity: float or array. Fraction 0..1.
        pressure_pa: float or array. Total pressure. [Pa]

    Returns:
        Array of the broadcast shape. [kg/m3]
    """
    kelvin = np.asarray(temperature_c, dtype=np.float64) + _ZERO_C
    vapour = vapour_pressure_pa(temperature_c, relative_humidity, pressure_pa)
    dry = np.asarray(pressure_pa, dtype=np.float64) - vapour
    return (dry * DRY_AIR_MOLAR_MASS + vapour * WATER_MOLAR_MASS) / (GAS_CONSTANT * kelvin)


def latent_heat_j_kg(temperature_c: ArrayLike) -> FloatArray:
    """Heat needed to evaporate a kilogram of water.

    Args:
        temperature_c: float or array. Surface temperature, 0..60. [degC]

    Returns:
        Array like temperature_c; 2.501 MJ/kg at 0 degC. [J/kg]

    Notes:
        Linear form of the steam tables, within 0.1 % from 0 to 60 degC; recalled.
    """
    return 2.5009e6 - 2381.0 * np.asarray(temperature_c, dtype=np.float64)


def enthalpy_j_kg(temperature_c: ArrayLike, ratio: ArrayLike) -> FloatArray:
    """Enthalpy of moist air per kg of dry air, zero for dry air and liquid water at 0 degC.

    Args:
        temperature_c: float or array. [degC]
        ratio: float or array. Vapour per dry air. [kg/kg]

    Returns:
        Array of the broadcast shape. [J/kg]

    Notes:
        Heat capacities 1006 (air) and 1860 (vapour) J/kg.K, recalled; the common
        engineering form.
    """
    t = np.asarray(temperature_c, dtype=np.float64)
    return 1006.0 * t + np.asarray(ratio, dtype=np.float64) * (2.5009e6 + 1860.0 * t)


def dew_point_c(
    temperature_c: ArrayLike, relative_humidity: ArrayLike, pressure_pa: ArrayLike = STANDARD_PRESSURE_PA
) -> FloatArray:
    """Temperature at which the air, cooled at its pressure, begins to wet (or frost) a surface.

    Args:
        temperature_c: float or array. [degC]
        relative_humidity: float or array, above 0. Fraction 0..1.
        pressure_pa: float or array. Total pressure. [Pa]

    Returns:
        Array of the broadcast shape; the frost point below 0 degC. [degC]
    """
    wanted = np.log(vapour_pressure_pa(temperature_c, relative_humidity, pressure_pa))
    t = np.broadcast_to(np.asarray(temperature_c, dtype=np.float64), wanted.shape)
    for _ in range(8):  # Newton on a nearly straight line: 5 rounds reach round-off
        excess = np.log(vapour_pressure_pa(t, 1.0, pressure_pa)) - wanted
        t = t - excess / saturation_log_slope_k(t)
    return t


def wet_bulb_c(
    temperature_c: ArrayLike, relative_humidity: ArrayLike, pressure_pa: ArrayLike = STANDARD_PRESSURE_PA
) -> FloatArray:
    """Temperature a wet surface takes in a strong draught: adiabatic saturation.

    Args:
        temperature_c: float or array. [degC]
        relative_humidity: float or array. Fraction 0..1.
        pressure_pa: float or array. Total pressure. [Pa]

    Returns:
        Array of the broadcast shape; over ice below 0 degC. [degC]

    Notes:
        Solves h(T, w) + (w_s - w) h_liquid = h_s at the bulb by halving, 40 rounds.
    """
    ratio = humidity_ratio(temperature_c, relative_humidity, pressure_pa)
    enthalpy = enthalpy_j_kg(temperature_c, ratio)
    high = np.broadcast_to(np.asarray(temperature_c, dtype=np.float64), ratio.shape)
    low = high - 45.0
    for _ in range(40):
        bulb = 0.5 * (low + high)
        saturated = humidity_ratio(bulb, 1.0, pressure_pa)
        water = np.where(bulb < 0.0, -333.4e3 + 2100.0 * bulb, 4186.0 * bulb)
        too_warm = enthalpy_j_kg(bulb, saturated) - (saturated - ratio) * water > enthalpy
        high = np.where(too_warm, bulb, high)
        low = np.where(too_warm, low, bulb)
    return 0.5 * (low + high)
