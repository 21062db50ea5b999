"""Water activity of meat: dissolved salt, other solutes and protein, as a product.

    a_w = a_w(sodium chloride) x a_w(other solutes) x a_w(protein)

All water contents are kg of water per kg of fat-free salt-free solids, so are
salt contents; other solutes are mol per kg of the same solids. Salt beyond
saturation lies undissolved: it neither moves nor lowers water activity.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from saltloft.foundation.errors import OutOfRange

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class SodiumChloride:
    """Pitzer's constants of sodium chloride in water, and its saturation.

    Args:
        beta0: float. [kg/mol]
        beta1: float. [kg/mol]
        c_phi: float. [kg2/mol2]
        debye_slope: float. Slope of the osmotic coefficient. [kg½/mol½]
        b: float. Denominator of the limiting law. [kg½/mol½]
        alpha: float. Exponent of the beta1 term. [kg½/mol½]
        saturation_molality: float. Beyond it the equation is never evaluated. [mol/kg]
        molar_mass: float. Sodium chloride. [kg/mol]
        water_molar_mass: float. [kg/mol]
    """

    beta0: float
    beta1: float
    c_phi: float
    debye_slope: float
    b: float
    alpha: float
    saturation_molality: float
    molar_mass: float
    water_molar_mass: float


@dataclass(frozen=True)
class Halsey:
    """The protein term exp(-(scale/X)^power).

    Args:
        scale: float or array. [kg/kg]
        power: float or array. [1]
    """

    scale: float | FloatArray
    power: float | FloatArray


def sodium_chloride(molality: ArrayLike, constants: SodiumChloride) -> FloatArray:
    """Water activity over a sodium chloride brine.

    Args:
        molality: float or array. Salt per kg of water; above saturation the brine is
            taken as saturated. [mol/kg]
        constants: SodiumChloride.

    Returns:
        Array like molality. Water activity, 0..1.

    Notes:
        ln a_w = -2 m M_w phi with Pitzer's osmotic coefficient phi, 25 degC. Valid
        0 mol/kg to saturation. Neglected: temperature (a saturated brine moves by less
        than 0.005 between 0 and 30 degC).

    Sources: pitzer_1973, checked against robinson_stokes_1965 and greenspan_1977.
    """
    m = np.minimum(np.asarray(molality, dtype=np.float64), constants.saturation_molality)
    root = np.sqrt(m)
    fade = np.exp(-constants.alpha * root)
    m_phi = m * (
        1.0
        - constants.debye_slope * root / (1.0 + constants.b * root)
        + m * (constants.beta0 + constants.beta1 * fade + m * constants.c_phi)
    )
    return np.exp(-2.0 * constants.water_molar_mass * m_phi)


def osmotic_coefficient(molality: ArrayLike, constants: SodiumChloride) -> FloatArray:
    """Osmotic coefficient of a sodium chloride brine up to saturation.

    Args:
        molality: float or array, above 0. [mol/kg]
        constants: SodiumChloride.

    Returns:
        Array like molality. Osmotic coefficient. [1]
    """
    m = np.minimum(np.asarray(molality, dtype=np.float64), constants.saturation_molality)
    return -np.log(sodium_chloride(m, constants)) / (2.0 * constants.water_molar_mass * m)


def other_solutes(moles_kg_water: ArrayLike, water_molar_mass: float) -> FloatArray:
    """Water activity by ideal dilution: the mole fraction of water.

    Args:
        moles_kg_water: float or array. Dissolved particles per kg of water. [mol/kg]
        water_molar_mass: float. [kg/mol]

    Returns:
        Array like moles_kg_water. Water activity, 0..1.
    """
    return 1.0 / (1.0 + np.asarray(moles_kg_water, dtype=np.float64) * water_molar_mass)


def protein(water: ArrayLike, halsey: Halsey) -> FloatArray:
    """Water activity over swollen protein by Halsey's form.

    Args:
        water: float or array, above 0. Per kg of fat-free salt-free solids. [kg/kg]
        halsey: Halsey.

    Returns:
        Array like water. Water activity, 0..1; above water 0.7 kg/kg within 0.007 of 1.
    """
    return np.exp(-((halsey.scale / np.asarray(water, dtype=np.float64)) ** halsey.power))


def molality(water: ArrayLike, salt: ArrayLike, constants: SodiumChloride) -> FloatArray:
    """Salt per kg of water, dissolved or not.

    Args:
        water: float or array, above 0. [kg/kg]
        salt: float or array. On the same basis. [kg/kg]
        constants: SodiumChloride.

    Returns:
        Array. Molality, above saturation when salt lies undissolved. [mol/kg]
    """
    salt_moles = np.asarray(salt, dtype=np.float64) / constants.molar_mass
    return salt_moles / np.asarray(water, dtype=np.float64)


def of_mixture(
    water: ArrayLike,
    salt: ArrayLike,
    other_solutes_mol_kg: ArrayLike,
    constants: SodiumChloride,
    halsey: Halsey,
) -> FloatArray:
    """Water activity of meat, sausage or ham from what is in it.

    Args:
        water: float or array, above 0. Per kg of fat-free salt-free solids. [kg/kg]
        salt: float or array. Same basis. [kg/kg]
        other_solutes_mol_kg: float or array. Particles per kg of the same solids. [mol/kg]
        constants: SodiumChloride.
        halsey: Halsey.

    Returns:
        Array of the broadcast shape. Water activity, 0..1.

    Notes:
        Rises with water and falls with salt everywhere; `with_slopes` gives by how much.

    Sources: pitzer_1973, own_drying_trial (Halsey term and solutes, unconfirmed).
    """
    x = np.asarray(water, dtype=np.float64)
    diluted = other_solutes(np.asarray(other_solutes_mol_kg) / x, constants.water_molar_mass)
    return sodium_chloride(molality(x, salt, constants), constants) * diluted * protein(x, halsey)


def with_slopes(
    water: ArrayLike,
    salt: ArrayLike,
    other_solutes_mol_kg: ArrayLike,
    constants: SodiumChloride,
    halsey: Halsey,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """As `of_mixture`, with its exact derivatives for an implicit time step.

    Args:
        water: float or array, above 0. Per kg of fat-free salt-free solids. [kg/kg]
        salt: float or array. Same basis. [kg/kg]
        other_solutes_mol_kg: float or array. Particles per kg of the same solids. [mol/kg]
        constants: SodiumChloride.
        halsey: Halsey.

    Returns:
        Three arrays of the broadcast shape: water activity 0..1, its derivative by
        water and its derivative by salt. [1] [kg/kg] [kg/kg]

    Notes:
        At and beyond saturation the salt derivative is 0 (the brine no longer changes).
    """
    x = np.asarray(water, dtype=np.float64)
    total = molality(x, salt, constants)
    dissolved = total < constants.saturation_molality
    m = np.minimum(total, constants.saturation_molality)
    root = np.sqrt(m)
    limit = 1.0 + constants.b * root
    pitzer1 = constants.beta1 * np.exp(-constants.alpha * root)
    m_phi = m * (
        1.0 - constants.debye_slope * root / limit + m * (constants.beta0 + pitzer1 + m * constants.c_phi)
    )
    slope = (
        1.0
        - constants.debye_slope * root * (1.5 + constants.b * root) / (limit * limit)
        + m * (2.0 * constants.beta0 + pitzer1 * (2.0 - 0.5 * constants.alpha * root))
        + 3.0 * constants.c_phi * m * m
    )
    by_molality = np.where(dissolved, -2.0 * constants.water_molar_mass * slope, 0.0)
    moles = np.asarray(other_solutes_mol_kg, dtype=np.float64) * constants.water_molar_mass
    swelling = (halsey.scale / x) ** halsey.power
    activity = np.exp(-2.0 * constants.water_molar_mass * m_phi - swelling) * (x / (x + moles))
    log_by_water = (halsey.power * swelling + moles / (x + moles) - by_molality * m) / x
    log_by_salt = by_molality / (constants.molar_mass * x)
    return activity, activity * log_by_water, activity * log_by_salt


def equilibrium_water(
    water_activity: ArrayLike,
    salt: ArrayLike,
    other_solutes_mol_kg: ArrayLike,
    constants: SodiumChloride,
    halsey: Halsey,
    *,
    wettest: float = 200.0,
) -> FloatArray:
    """The water content at which the mixture has a given water activity.

    Args:
        water_activity: float or array. Wanted, such as the room's RH, above 0 and below 1. [1]
        salt: float or array. Per kg of fat-free salt-free solids. [kg/kg]
        other_solutes_mol_kg: float or array. Particles per kg of the same solids. [mol/kg]
        constants: SodiumChloride.
        halsey: Halsey.
        wettest: float. Upper end of the search. [kg/kg]

    Returns:
        Array of the broadcast shape. Water content; within 1e-12 relative. [kg/kg]

    Raises:
        OutOfRange: when the wanted activity is not reached between 0.001 kg/kg and `wettest`.
    """
    wanted, salt_content, moles = np.broadcast_arrays(
        *(np.asarray(entry, dtype=np.float64) for entry in (water_activity, salt, other_solutes_mol_kg))
    )
    low = np.full(wanted.shape, np.log(1e-3))
    high = np.full(wanted.shape, np.log(wettest))
    ends = [of_mixture(np.exp(end), salt_content, moles, constants, halsey) for end in (low, high)]
    if np.any((ends[0] > wanted) | (ends[1] < wanted) | (wanted >= 1.0) | ~(wanted > 0.0)):
        raise OutOfRange(
            "no water content gives this water activity",
            got=f"water activity {np.min(wanted):.3f} to {np.max(wanted):.3f}",
            allowed=f"above 0, and reached at or below {wettest:g} kg water per kg solids",
        )
    for _ in range(48):  # halves ln(200/0.001) = 12.2 to 4e-14
        middle = 0.5 * (low + high)
        wetter = of_mixture(np.exp(middle), salt_content, moles, constants, halsey) < wanted
        low = np.where(wetter, middle, low)
        high = np.where(wetter, high, middle)
    water: FloatArray = np.exp(0.5 * (low + high))
    return water
