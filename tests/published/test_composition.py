"""Batters from rows of the USDA Standard Reference, worked by hand; ratios of finished sausage."""

from __future__ import annotations

import pytest

from saltloft.cases.constants import meat_row
from saltloft.facts.loader import load_facts
from saltloft.science.composition import Composition, after_loss, blend, close, of_row

FACTS = load_facts()

SHOULDER, BACKFAT = meat_row(FACTS, "10072"), meat_row(FACTS, "10004")


def test_a_blend_from_the_table_by_hand() -> None:
    """70 kg shoulder lean (10072), 27 kg backfat (10004), 2.7 kg salt, 0.3 kg dextrose; on paper:

    water   70 x 0.7263 / 1.0034 + 27 x 0.0769 / 1.0000 = 50.669 + 2.076 = 52.745 kg
    protein 70 x 0.1955 / 1.0034 + 27 x 0.0292          = 13.639 + 0.788 = 14.427 kg
    fat     70 x 0.0714 / 1.0034 + 27 x 0.8869          =  4.981 + 23.946 = 28.927 kg
    (1.0034 and 1.0000 are the printed sums of the rows, closed by scaling)
    """
    batter = blend(
        [
            (70.0, of_row(SHOULDER)),
            (27.0, of_row(BACKFAT)),
            (2.7, Composition(0.0, 0.0, 0.0, salt=1.0)),
            (0.3, Composition(0.0, 0.0, 0.0, sugar=1.0)),
        ]
    )
    assert batter.water == pytest.approx(0.52745, abs=1e-5)
    assert batter.protein == pytest.approx(0.14427, abs=1e-5)
    assert batter.fat == pytest.approx(0.28927, abs=1e-5)
    assert (batter.salt, batter.sugar) == (pytest.approx(0.027), pytest.approx(0.003))
    assert batter.other == pytest.approx(0.70 * 0.0102 / 1.0034 + 0.27 * 0.0070, abs=1e-6)


def test_the_standard_batter() -> None:
    """28 % fat, 2.7 % salt, 1 % other from shoulder lean and backfat, solved by hand:

    lean + backfat = 0.963; 0.0714 lean + 0.8869 backfat = 0.28 -> backfat 0.25904, lean 0.70396;
    water 0.7263 x 0.70396 + 0.0769 x 0.25904 = 0.53121;
    protein 0.1955 x 0.70396 + 0.0292 x 0.25904 = 0.14519.
    The trial model states 53.1, 14.5, 16.2 % solids, water 3.28 and salt 0.167 per solids.
    """
    batter = close(SHOULDER, BACKFAT, fat=0.28, salt=0.027, other=0.01)
    assert batter.water == pytest.approx(0.53121, abs=1e-5)
    assert batter.protein == pytest.approx(0.14519, abs=1e-5)
    assert batter.solids == pytest.approx(0.162, abs=5e-4)
    assert batter.water_per_solids == pytest.approx(3.28, abs=0.01)
    assert batter.salt_per_solids == pytest.approx(0.167, abs=0.001)


def test_moisture_protein_along_the_loss() -> None:
    """The trial model's two points: ratio 1.9 at 25.6 % loss, 1.25 at 35 %."""
    batter = close(SHOULDER, BACKFAT, fat=0.28, salt=0.027, other=0.01)
    assert after_loss(batter, 0.256).moisture_protein == pytest.approx(1.9, abs=0.01)
    assert after_loss(batter, 0.35).moisture_protein == pytest.approx(1.25, abs=0.005)


@pytest.mark.parametrize(
    ("water", "protein", "ratio"),
    [(0.352, 0.22, 1.6), (0.42, 0.21, 2.0)],  # worked examples ID-MPR1 and ID-MPR2, computed
)
def test_moisture_protein_examples(water: float, protein: float, ratio: float) -> None:
    """Moisture per cent over protein per cent (9 CFR 319, as read)."""
    piece = Composition(water, protein, 1.0 - water - protein)
    assert piece.moisture_protein == pytest.approx(ratio, abs=1e-12)


def test_brine_example() -> None:
    """Worked example ID-CH: 4.5 % salt and 54 % moisture are 7.692 % brine."""
    assert Composition(0.54, 0.25, 0.165, 0.045).brine_fraction == pytest.approx(0.07692, abs=5e-6)


@pytest.mark.parametrize(("label", "ratio"), [("07071", 1.602), ("07057", 1.354)])
def test_finished_rows(label: str, ratio: float) -> None:
    """Moisture:protein of hard salami 36.18/22.58 and pepperoni 30.72/22.68, divided by hand."""
    finished = meat_row(FACTS, label)
    assert finished.water / finished.protein == pytest.approx(ratio, abs=1e-3)
