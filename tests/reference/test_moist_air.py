"""Moist air against an independent library (CoolProp HumidAir: real-gas mixture, ASHRAE RP-1485)."""

from __future__ import annotations

import numpy as np
import pytest
from CoolProp.HumidAirProp import HAPropsSI  # type: ignore[import-untyped, unused-ignore]

from saltloft.science import moist_air, transfer

TEMPERATURES = np.arange(0.0, 40.1, 2.5)
HUMIDITIES = np.array([0.10, 0.25, 0.40, 0.55, 0.70, 0.80, 0.90, 0.95])
GRID = [(float(t), float(rh)) for t in TEMPERATURES for rh in HUMIDITIES]
T = np.array([t for t, _ in GRID])
RH = np.array([rh for _, rh in GRID])


def oracle(output: str, pressure_pa: float) -> np.ndarray:
    """CoolProp's value on the whole grid."""
    return np.array([HAPropsSI(output, "T", t + 273.15, "P", pressure_pa, "R", rh) for t, rh in GRID])


@pytest.mark.parametrize("pressure_pa", [101325.0, 90000.0])
def test_vapour_ratio_and_density(pressure_pa: float) -> None:
    """0.3 % over 0-40 degC and 10-95 %RH, at sea level and at 1,000 m."""
    ratio = oracle("W", pressure_pa)
    pairs = {
        "p_w": (moist_air.vapour_pressure_pa(T, RH, pressure_pa), oracle("P_w", pressure_pa)),
        "ratio": (moist_air.humidity_ratio(T, RH, pressure_pa), ratio),
        "density": (
            moist_air.air_density_kg_m3(T, RH, pressure_pa),
            (1 + ratio) / oracle("Vda", pressure_pa),
        ),
        "vapour": (
            moist_air.vapour_concentration_kg_m3(T, RH, pressure_pa),
            ratio / oracle("Vda", pressure_pa),
        ),
    }
    for name, (ours, theirs) in pairs.items():
        np.testing.assert_allclose(ours, theirs, rtol=3e-3, err_msg=name)


@pytest.mark.parametrize("pressure_pa", [101325.0, 90000.0])
def test_dew_point_and_wet_bulb(pressure_pa: float) -> None:
    """Within 0.02 K; frost and ice bulb below 0 degC.

    Within 0.5 K of freezing both a wet and an iced bulb satisfy the balance and the library may
    name the other one: there 0.4 K.
    """
    dew, bulb = moist_air.dew_point_c(T, RH, pressure_pa), moist_air.wet_bulb_c(T, RH, pressure_pa)
    np.testing.assert_allclose(dew + 273.15, oracle("D", pressure_pa), atol=0.02)
    allowed = np.where(np.abs(bulb) < 0.5, 0.4, 0.02)
    assert np.all(np.abs(bulb + 273.15 - oracle("B", pressure_pa)) < allowed)
    assert np.count_nonzero(allowed > 0.02) < 8


def test_enthalpy() -> None:
    """0.3 % at sea level; at 90 kPa within 0.1 kJ/kg (the real gas departs by 0.03 kJ/kg)."""
    at_sea = moist_air.enthalpy_j_kg(T, moist_air.humidity_ratio(T, RH))
    np.testing.assert_allclose(at_sea, oracle("Hda", 101325.0), rtol=3e-3)
    higher = moist_air.enthalpy_j_kg(T, moist_air.humidity_ratio(T, RH, 90000.0))
    np.testing.assert_allclose(higher, oracle("Hda", 90000.0), atol=100.0)


def test_film_properties_of_air() -> None:
    """Viscosity and conductivity within 2 % of the library's dry air, 0-40 degC."""
    air = transfer.air_properties(TEMPERATURES)
    for output, ours in {
        "M": air.kinematic_viscosity_m2_s * air.density_kg_m3,
        "K": air.conductivity_w_mk,
    }.items():
        theirs = [HAPropsSI(output, "T", t + 273.15, "P", 101325.0, "R", 0.0) for t in TEMPERATURES]
        np.testing.assert_allclose(ours, theirs, rtol=0.02, err_msg=output)


def test_latent_heat() -> None:
    """Heat of evaporation within 0.1 % of the steam tables (IAPWS-95 by CoolProp), 0-40 degC."""
    from CoolProp.CoolProp import PropsSI  # type: ignore[import-untyped, unused-ignore]

    warm = TEMPERATURES + 273.16
    theirs = [PropsSI("H", "T", t, "Q", 1, "Water") - PropsSI("H", "T", t, "Q", 0, "Water") for t in warm]
    np.testing.assert_allclose(moist_air.latent_heat_j_kg(TEMPERATURES), theirs, rtol=1e-3)
