"""Laws that hold in moist air whatever the numbers."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from saltloft.science import moist_air

TEMPERATURE = st.floats(-20.0, 45.0)
HUMIDITY = st.floats(0.05, 1.0)
PRESSURE = st.floats(85e3, 105e3)


@given(TEMPERATURE, HUMIDITY, PRESSURE)
def test_the_ratio_goes_there_and_back(temperature_c: float, humidity: float, pressure_pa: float) -> None:
    """Relative humidity -> humidity ratio -> relative humidity is the identity."""
    ratio = moist_air.humidity_ratio(temperature_c, humidity, pressure_pa)
    back = moist_air.relative_humidity_of_ratio(temperature_c, ratio, pressure_pa)
    assert back == pytest.approx(humidity, rel=1e-12)


@given(st.floats(0.0, 45.0), HUMIDITY, PRESSURE)
def test_dew_point_under_wet_bulb_under_air(
    temperature_c: float, humidity: float, pressure_pa: float
) -> None:
    """Dew point <= wet bulb <= air temperature; equal in saturated air."""
    dew = moist_air.dew_point_c(temperature_c, humidity, pressure_pa)
    bulb = moist_air.wet_bulb_c(temperature_c, humidity, pressure_pa)
    assert dew <= bulb + 1e-6 or bulb < 0.0
    assert bulb <= temperature_c + 1e-9
    assert moist_air.wet_bulb_c(temperature_c, 1.0, pressure_pa) == pytest.approx(temperature_c, abs=1e-6)


@given(TEMPERATURE, HUMIDITY, PRESSURE)
def test_air_cooled_to_its_dew_point_is_saturated(
    temperature_c: float, humidity: float, pressure_pa: float
) -> None:
    """The vapour pressure is that of saturated air at the dew point."""
    dew = moist_air.dew_point_c(temperature_c, humidity, pressure_pa)
    assert moist_air.vapour_pressure_pa(dew, 1.0, pressure_pa) == pytest.approx(
        float(moist_air.vapour_pressure_pa(temperature_c, humidity, pressure_pa)), rel=2e-6
    )


@pytest.mark.parametrize("temperature_c", [-15.0, 3.0, 14.0, 40.0])
def test_the_slopes_are_the_derivatives(temperature_c: float) -> None:
    """d ln p / dT and d ln c / dT against central differences."""
    step = 1e-3
    ends = np.array([temperature_c - step, temperature_c + step])
    pressure = np.diff(np.log(moist_air.saturation_pressure_pa(ends)))[0] / (2 * step)
    assert moist_air.saturation_log_slope_k(temperature_c) == pytest.approx(pressure, rel=1e-6)
    ideal = np.log(moist_air.saturation_pressure_pa(ends) / (ends + 273.15))
    assert moist_air.concentration_log_slope_k(temperature_c) == pytest.approx(
        np.diff(ideal)[0] / (2 * step), rel=1e-6
    )


def test_ice_and_water_meet_at_the_triple_point() -> None:
    """611.657 Pa at 0.01 degC (Guildner, Johnson & Jones 1976, as in the steam tables), both formulas."""
    water, ice = (float(moist_air.saturation_pressure_pa(t)) for t in (0.01 + 1e-9, 0.01 - 1e-9))
    assert water == pytest.approx(611.657, rel=1e-5)
    assert ice == pytest.approx(water, rel=2e-6)


def test_arrays_mix_ice_and_water() -> None:
    """An array that crosses 0 degC gives the same values as its numbers one by one."""
    t = np.array([-10.0, -0.5, 0.0, 5.0])
    one_by_one = [float(moist_air.saturation_pressure_pa(x)) for x in t]
    np.testing.assert_array_equal(moist_air.saturation_pressure_pa(t), one_by_one)
