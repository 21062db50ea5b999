"""pH from acid against the printed tables of the buffer model.

Source of every number: Saltloft's own buffer model as first computed and printed by an
independent script (confidence: computed); the two facts behind it are a buffering of about
50 mmol per kg and pH in lean near pH 5.5 to 6 (Puolanne & Kivikari 2000, from memory) and the
textbook rule that 0.5 to 0.7 % sugar gives just under pH 5.0 (second-hand).
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from saltloft.facts.loader import load_facts
from saltloft.foundation.errors import NumericsError
from saltloft.science.acids import (
    MeatBuffer,
    acid_for_ph,
    buffering_mmol_kg,
    ph_of_acid,
    undissociated_mol_m3,
)

FACTS = load_facts()
BUFFER = MeatBuffer(
    FACTS.number("fermentation.imidazole_sites"),
    FACTS.number("fermentation.imidazole_pka"),
    FACTS.number("fermentation.carboxyl_sites"),
    FACTS.number("fermentation.carboxyl_pka"),
    FACTS.number("fermentation.native_lactate"),
    FACTS.number("fermentation.lactic_pka"),
)


@pytest.mark.parametrize(
    ("ph", "printed"), [(6.0, 39.3), (5.8, 37.9), (5.5, 46.4), (5.2, 71.3), (5.0, 98.2), (4.8, 132.2)]
)
def test_buffering_is_that_of_the_printed_table(ph: float, printed: float) -> None:
    """Buffering of one kilogram of lean, to the printed digit (computed)."""
    assert float(buffering_mmol_kg(ph, BUFFER)) == pytest.approx(printed, abs=0.051)


@pytest.mark.parametrize(
    ("lean", "printed"),
    [
        (0.8, {2: 5.25, 3: 5.10, 4: 4.98, 5: 4.88, 6: 4.80, 7.5: 4.70, 10: 4.56}),
        (0.7, {2: 5.20, 3: 5.04, 4: 4.92, 5: 4.82, 6: 4.74, 7.5: 4.63, 10: 4.50}),
    ],
)
def test_final_ph_against_dextrose_is_that_of_the_printed_table(
    lean: float, printed: dict[float, float]
) -> None:
    """From pH 5.75 at a yield of 0.9 (computed): to the printed digit, rounding included."""
    per_gram = FACTS.number("fermentation.lactate_per_dextrose")
    for dextrose, ph in printed.items():
        found = float(ph_of_acid(0.9 * per_gram * dextrose, 5.75, lean, 1.0, BUFFER))
        assert found == pytest.approx(ph, abs=0.0056), dextrose


def test_total_lactate_that_gives_eleven_undissociated() -> None:
    """11 mM undissociated at five pH values (Presser, Ross & Ratkowsky 1998, read; totals computed)."""
    for ph, total in {4.6: 71, 4.8: 107, 5.0: 163, 5.2: 252, 5.3: 314}.items():
        assert float(undissociated_mol_m3(total, ph, BUFFER.lactic_pka)) == pytest.approx(11.0, abs=0.08)


def test_lactate_of_dextrose_follows_from_its_molar_mass() -> None:
    """Two lactate a glucose: 2000 / 180.16 mmol per gram (stoichiometry)."""
    molar = FACTS.number("fermentation.dextrose_molar_mass")
    assert FACTS.number("fermentation.lactate_per_dextrose") == pytest.approx(2000.0 / molar, abs=0.005)


@given(
    acid=st.floats(0.0, 150.0),
    start=st.floats(5.4, 6.4),
    lean=st.floats(0.4, 0.95),
    scale=st.floats(0.7, 1.5),
)
def test_acid_and_ph_are_each_others_inverse(acid: float, start: float, lean: float, scale: float) -> None:
    """Proton balance: the acid that the found pH asks for is the acid that was made."""
    ph = ph_of_acid(acid, start, lean, scale, BUFFER)
    assert float(acid_for_ph(ph, start, lean, scale, BUFFER)) == pytest.approx(acid, abs=1e-8)
    assert float(ph) <= start + 1e-12


def test_the_model_ends_at_ph_three() -> None:
    """No number is given where the buffer model has nothing to say."""
    with pytest.raises(NumericsError, match="below pH 3"):
        ph_of_acid(5000.0, 5.8, 0.5, 1.0, BUFFER)
    assert np.isfinite(ph_of_acid(0.0, 5.8, 0.5, 1.0, BUFFER))
