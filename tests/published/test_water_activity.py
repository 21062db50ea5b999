"""Water activity of brine against printed tables.

Robinson & Stokes 1965 osmotic coefficients and Greenspan 1977 humidities are
recalled (confidence memory; 1.0 and 6.0 mol/kg were found second-hand).
"""

from __future__ import annotations

import numpy as np
import pytest

from saltloft.cases import constants
from saltloft.facts.loader import load_facts
from saltloft.science import water_activity

FACTS = load_facts()
ROWS = FACTS.keys("sodium_chloride.osmotic_coefficient")
LABELS = sorted({key.split(".")[2] for key in ROWS})

# The water activities as the table prints them beside the osmotic coefficients, 25 degC.
PRINTED = {
    0.1: 0.9966, 0.2: 0.9934, 0.3: 0.9901, 0.5: 0.9835, 0.7: 0.9769, 1.0: 0.9669, 1.2: 0.9601, 1.4: 0.9531,
    1.6: 0.9461, 1.8: 0.9389, 2.0: 0.9316, 2.5: 0.9129, 3.0: 0.8932, 3.5: 0.8729, 4.0: 0.8515, 4.5: 0.8300,
    5.0: 0.8068, 5.5: 0.7835, 6.0: 0.7598,
}  # fmt: skip


BRINE = constants.sodium_chloride(FACTS)


@pytest.mark.parametrize(("molality", "printed"), PRINTED.items())
def test_sodium_chloride_row_by_row(molality: float, printed: float) -> None:
    """Robinson & Stokes, 0.1 to 6 mol/kg, within 0.001."""
    assert water_activity.sodium_chloride(molality, BRINE) == pytest.approx(printed, abs=1e-3)


@pytest.mark.parametrize("label", LABELS)
def test_osmotic_coefficient_row_by_row(label: str) -> None:
    """The same source's osmotic coefficients, row by row.

    All rows but 4.5 mol/kg agree within 0.003; that row, as recalled, lies 0.004 under a smooth
    curve through its neighbours (worth 0.0006 in water activity).
    """
    prefix = f"sodium_chloride.osmotic_coefficient.{label}"
    ours = water_activity.osmotic_coefficient(FACTS.number(f"{prefix}.molality"), BRINE)
    assert ours == pytest.approx(
        FACTS.number(f"{prefix}.osmotic_coefficient"), abs=3e-3 if label != "m4_5" else 5e-3
    )


def test_the_table_is_whole() -> None:
    """Nineteen molalities, those that are printed."""
    found = {FACTS.number(f"sodium_chloride.osmotic_coefficient.{label}.molality") for label in LABELS}
    assert found == set(PRINTED)


@pytest.mark.parametrize("label", ["t0", "t5", "t10", "t15", "t20", "t25", "t30"])
def test_saturated_brine_against_greenspan(label: str) -> None:
    """Saturated sodium chloride, 0 to 30 degC, within 0.5 %RH though our brine knows no temperature."""
    printed = FACTS.number(f"saturated_salts.sodium_chloride_at.{label}.rh_pct")
    saturated = water_activity.sodium_chloride(99.0, BRINE)
    assert 100.0 * saturated == pytest.approx(printed, abs=0.5)


def test_saturation_is_26_4_per_cent_brine() -> None:
    """100 degrees on the salinometer (CFIA manual 4.13.2, read): 26.4 g salt in 100 g brine."""
    salt = BRINE.saturation_molality * BRINE.molar_mass
    assert 100.0 * salt / (1.0 + salt) == pytest.approx(
        FACTS.number("sodium_chloride.saturation_brine"), abs=0.05
    )


@pytest.mark.parametrize(
    "salt", ["lithium_chloride", "magnesium_chloride", "sodium_bromide", "potassium_nitrate"]
)
def test_two_tables_of_saturated_salts_agree(salt: str) -> None:
    """The handbook's fit a exp(b/T) against Greenspan at 25 degC, within the 2 %RH the fit claims."""
    fit = FACTS.number(f"saturated_salts.fit.{salt}.a") * np.exp(
        FACTS.number(f"saturated_salts.fit.{salt}.b") / 298.15
    )
    assert fit == pytest.approx(FACTS.number(f"saturated_salts.{salt}.rh_pct"), abs=2.0)


def test_finished_sausage_lies_in_the_published_range() -> None:
    """Hard pork salami, USDA row 07071 with 2260 mg sodium per 100 g: 5.7 % salt in 36 % water.

    The other-solute content is unknown; between none and 0.35 mol/kg of product the water
    activity must bracket the 0.82-0.92 that is usual for the kind (common practice, no source).
    """
    salt, water = 2.260 / 22.99 * 0.058443 * 10.0, 0.3618
    solids = 1.0 - water - 0.3372 - salt
    halsey = constants.halsey(FACTS)
    dry, wet = (
        float(water_activity.of_mixture(water / solids, salt / solids, other / solids, BRINE, halsey))
        for other in (0.35, 0.0)
    )
    assert dry < wet
    assert 0.82 < dry < 0.90 < wet < 0.92
