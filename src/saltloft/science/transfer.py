"""Heat and water between a hanging cylinder and the air around it.

Forced flow across a cylinder (Churchill & Bernstein) and natural convection
(Churchill & Chu) blended by the cube; water by the analogy of Chilton and
Colburn. Free-stream turbulence of the room is not in these formulas.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

PRANDTL = 0.71
SCHMIDT = 0.62
LEWIS = 0.86  # Schmidt over Prandtl as measured for vapour in air; the two above are rounded
_PR_THIRD = PRANDTL ** (1.0 / 3.0)
_FORCED = 0.62 * _PR_THIRD / (1.0 + (0.4 / PRANDTL) ** (2.0 / 3.0)) ** 0.25
_NATURAL = 0.387 / (1.0 + (0.559 / PRANDTL) ** (9.0 / 16.0)) ** (8.0 / 27.0)
_GRAVITY = 9.80665


@dataclass(frozen=True)
class AirProperties:
    """What a film coefficient needs to know of the air.

    Args:
        kinematic_viscosity_m2_s: array. [m2/s]
        conductivity_w_mk: array. [W/m.K]
        density_kg_m3: array. [kg/m3]
        heat_capacity_j_kgk: float. [J/kg.K]
        expansion_k: array. 1/T. [1/K]
    """

    kinematic_viscosity_m2_s: FloatArray
    conductivity_w_mk: FloatArray
    density_kg_m3: FloatArray
    heat_capacity_j_kgk: float
    expansion_k: FloatArray


def air_properties(temperature_c: ArrayLike, pressure_pa: ArrayLike = 101325.0) -> AirProperties:
    """Transport properties of air at a temperature, dry-air values.

    Args:
        temperature_c: float or array, -10..50. [degC]
        pressure_pa: float or array. Total pressure. [Pa]

    Returns:
        AirProperties; at 14 degC viscosity 1.45e-5 m2/s, conductivity 0.0253 W/m.K.

    Notes:
        Sutherland's law for both (constants recalled), ideal gas density; vapour
        (under 2 % of the air) is neglected.
    """
    kelvin = np.asarray(temperature_c, dtype=np.float64) + 273.15
    density = np.asarray(pressure_pa, dtype=np.float64) / (287.05 * kelvin)
    viscosity = 1.458e-6 * kelvin**1.5 / (kelvin + 110.4)
    heat_capacity = 1006.0
    return AirProperties(
        kinematic_viscosity_m2_s=viscosity / density,
        conductivity_w_mk=viscosity * heat_capacity / PRANDTL,
        density_kg_m3=density,
        heat_capacity_j_kgk=heat_capacity,
        expansion_k=1.0 / kelvin,
    )


def nusselt_forced(reynolds: ArrayLike) -> FloatArray:
    """Mean Nusselt number of a cylinder across the flow of air.

    Args:
        reynolds: float or array, 0..1e5. Air speed times diameter over viscosity. [1]

    Returns:
        Array like reynolds; 0.3 in still air. [1]

    Source: churchill_bernstein_1977, for the Prandtl number of air (recalled).
    """
    re = np.asarray(reynolds, dtype=np.float64)
    nusselt: FloatArray = 0.3 + _FORCED * np.sqrt(re) * (1.0 + (re / 282000.0) ** 0.625) ** 0.8
    return nusselt


def nusselt_natural(rayleigh: ArrayLike) -> FloatArray:
    """Mean Nusselt number of a horizontal cylinder in still air.

    Args:
        rayleigh: float or array, 1e-5..1e12. [1]

    Returns:
        Array like rayleigh. [1]

    Source: churchill_chu_1975, for the Prandtl number of air (recalled); a hanging
    piece stands upright, which the film multiplier of the model covers.
    """
    nusselt: FloatArray = np.square(0.60 + _NATURAL * np.asarray(rayleigh, dtype=np.float64) ** (1.0 / 6.0))
    return nusselt


def film_heat_w_m2k(
    diameter_m: ArrayLike,
    air_m_s: ArrayLike,
    air: AirProperties,
    temperature_difference_k: float = 1.0,
) -> FloatArray:
    """Heat transfer coefficient of the air film around a piece.

    Args:
        diameter_m: float or array, above 0. [m]
        air_m_s: float or array, 0 or more. Air speed across the piece. [m/s]
        air: AirProperties. At the air's temperature.
        temperature_difference_k: float. Drives natural convection. [K]

    Returns:
        Array of the broadcast shape. [W/m2.K]

    Notes:
        Nu = (Nu_forced^3 + Nu_natural^3)^(1/3): still air keeps its natural film.
    """
    d = np.asarray(diameter_m, dtype=np.float64)
    forced = nusselt_forced(np.asarray(air_m_s, dtype=np.float64) * d / air.kinematic_viscosity_m2_s)
    buoyancy = _GRAVITY * air.expansion_k * temperature_difference_k * PRANDTL
    natural = nusselt_natural(buoyancy * d * d * d / np.square(air.kinematic_viscosity_m2_s))
    nusselt = np.cbrt(forced * forced * forced + natural * natural * natural)
    heat: FloatArray = nusselt * air.conductivity_w_mk / d
    return heat


def film_mass_m_s(film_heat: ArrayLike, air: AirProperties) -> FloatArray:
    """Mass transfer coefficient that belongs to a heat transfer coefficient.

    Args:
        film_heat: float or array. [W/m2.K]
        air: AirProperties.

    Returns:
        Array like film_heat: kg of vapour per m2 and second for 1 kg/m3 of difference. [m/s]

    Notes:
        Chilton-Colburn: k = h / (rho c_p Le^(2/3)).
    """
    volumetric = air.density_kg_m3 * air.heat_capacity_j_kgk * LEWIS ** (2.0 / 3.0)
    mass: FloatArray = np.asarray(film_heat, dtype=np.float64) / volumetric
    return mass


def in_series(film_mass: ArrayLike, *resistances_s_m: ArrayLike) -> FloatArray:
    """Conductance of the film with casing and mould behind it.

    Args:
        film_mass: float or array, above 0. [m/s]
        resistances_s_m: floats or arrays. Casing, mould and so on. [s/m]

    Returns:
        Array of the broadcast shape. [m/s]
    """
    resistance: FloatArray = 1.0 / np.asarray(film_mass, dtype=np.float64)
    for part in resistances_s_m:
        resistance = resistance + np.asarray(part, dtype=np.float64)
    return 1.0 / resistance


def evaporation(
    water_activity: ArrayLike,
    relative_humidity: ArrayLike,
    *,
    conductance_m_s: ArrayLike,
    saturated_kg_m3: ArrayLike,
    log_slope_k: ArrayLike,
    latent_j_kg: ArrayLike,
    heat_exchange_w_m2k: ArrayLike,
) -> tuple[FloatArray, FloatArray]:
    """Water flux of a surface that its own evaporation cools, in closed form.

    Args:
        water_activity: float or array. Of the surface, 0..1.
        relative_humidity: float or array. Of the air, 0..1.
        conductance_m_s: float or array. Film, casing and mould in series. [m/s]
        saturated_kg_m3: float or array. Saturated vapour at the air's temperature. [kg/m3]
        log_slope_k: float or array. d ln(saturated) / dT. [1/K]
        latent_j_kg: float or array. [J/kg]
        heat_exchange_w_m2k: float or array, above 0. Film and radiation together. [W/m2.K]

    Returns:
        Two arrays of the broadcast shape: flux out of the piece [kg/m2.s] and how far
        the surface lies under the air's temperature [K]. Negative when water condenses.

    Notes:
        Linear in temperature: flux = K c (a - RH) / (1 + K c L beta a / h); quasi-steady,
        the heat stored in the piece is neglected (minutes against days).
    """
    drive = np.multiply(conductance_m_s, saturated_kg_m3, dtype=np.float64)
    cooling = np.divide(latent_j_kg, heat_exchange_w_m2k, dtype=np.float64)
    damping = drive * cooling * np.asarray(log_slope_k, dtype=np.float64)
    gap = np.subtract(water_activity, relative_humidity, dtype=np.float64)
    flux = drive * gap / (1.0 + damping * np.asarray(water_activity, dtype=np.float64))
    return flux, flux * cooling
