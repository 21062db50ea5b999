"""Water activity of mixtures: exact slopes, order, saturation, inverse."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from saltloft.foundation.errors import OutOfRange
from saltloft.science import water_activity as wa

# Numbers near the shipped ones; the laws below hold for any.
SALT = wa.SodiumChloride(0.0765, 0.2664, 0.00127, 0.3915, 1.2, 2.0, 6.144, 0.058443, 0.0180153)
HALSEY = wa.Halsey(0.080, 2.3)
WATER = st.floats(0.15, 4.0)
SALTS = st.floats(0.0, 0.6)
MOLES = st.floats(0.0, 5.0)


@given(WATER, SALTS, MOLES)
def test_with_slopes_is_of_mixture(water: float, salt: float, moles: float) -> None:
    """The two forms give one activity, above 0 and below 1."""
    activity, _, _ = wa.with_slopes(water, salt, moles, SALT, HALSEY)
    assert activity == pytest.approx(float(wa.of_mixture(water, salt, moles, SALT, HALSEY)), rel=1e-13)
    assert 0.0 < activity <= 1.0


@given(WATER, SALTS, MOLES)
def test_slopes_against_complex_free_differences(water: float, salt: float, moles: float) -> None:
    """Analytic derivatives against central differences, on either side of saturation."""
    if abs(float(wa.molality(water, salt, SALT)) - SALT.saturation_molality) < 0.01 or salt < 1e-3:
        return
    _, by_water, by_salt = wa.with_slopes(water, salt, moles, SALT, HALSEY)
    step = 1e-6

    def difference(dw: float, ds: float) -> float:
        ends = [
            float(wa.of_mixture(water + sign * dw, salt + sign * ds, moles, SALT, HALSEY)) for sign in (1, -1)
        ]
        return (ends[0] - ends[1]) / (2 * step)

    assert by_water == pytest.approx(difference(step, 0.0), rel=1e-4, abs=1e-8)
    assert by_salt == pytest.approx(difference(0.0, step), rel=1e-4, abs=1e-8)


@given(WATER, SALTS, MOLES)
def test_wetter_is_higher_saltier_is_not_higher(water: float, salt: float, moles: float) -> None:
    """Order: more water raises, more salt never raises; salt beyond saturation changes nothing."""
    _, by_water, by_salt = wa.with_slopes(water, salt, moles, SALT, HALSEY)
    assert by_water >= 0.0
    assert by_salt <= 0.0
    if float(wa.molality(water, salt, SALT)) >= SALT.saturation_molality:
        assert by_salt == 0.0
        assert wa.of_mixture(water, salt + 0.1, moles, SALT, HALSEY) == wa.of_mixture(
            water, salt, moles, SALT, HALSEY
        )


def test_crystals_dissolve_again() -> None:
    """Undissolved salt takes part again when the rim is wetted."""
    crystals, wetted = wa.of_mixture([0.3, 1.0], 0.167, 0.0, SALT, HALSEY)
    saturated = float(wa.sodium_chloride(SALT.saturation_molality, SALT))
    assert crystals == pytest.approx(saturated * float(wa.protein(0.3, HALSEY)), rel=1e-12)
    assert wetted > saturated


@given(st.floats(0.3, 0.98), st.floats(0.001, 0.5), MOLES)
def test_the_equilibrium_has_the_wanted_activity(wanted: float, salt: float, moles: float) -> None:
    """a_w of the equilibrium water content is the room's humidity, to 1e-10."""
    water = wa.equilibrium_water(wanted, salt, moles, SALT, HALSEY)
    assert wa.of_mixture(water, salt, moles, SALT, HALSEY) == pytest.approx(wanted, abs=1e-10)


@pytest.mark.parametrize("wanted", [1.0, 1.2, 0.0])
def test_no_water_content_for_an_impossible_humidity(wanted: float) -> None:
    """RH 1.2 is refused, not computed."""
    with pytest.raises(OutOfRange, match="no water content"):
        wa.equilibrium_water(wanted, 0.1, 1.0, SALT, HALSEY)


def test_arrays_broadcast() -> None:
    """Members by nodes: the shapes of the kernel."""
    water, salt = np.full((8, 64), 2.0), np.linspace(0.1, 0.2, 64)
    activity, by_water, by_salt = wa.with_slopes(water, salt, 2.0, SALT, wa.Halsey(np.full(64, 0.08), 2.3))
    assert activity.shape == by_water.shape == by_salt.shape == (8, 64)


def test_other_solutes_are_the_mole_fraction_of_water() -> None:
    """1 mol of particles in 55.508 mol of water: 55.508/56.508 (Raoult, by hand)."""
    assert wa.other_solutes(1.0, 0.0180153) == pytest.approx(55.508 / 56.508, abs=1e-6)
