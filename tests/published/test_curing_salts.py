"""Ingoing nitrite and nitrate: worked examples.

From the inspectors' calculations handbook as quoted (Directive 7620.3, ch. 3; second-hand) and
computed ones (expected figures recomputed apart from this code). Ion factors: atomic masses.
"""

from __future__ import annotations

import pytest

from saltloft.science import curing_salts


@pytest.mark.parametrize(
    ("name", "agent_g", "green_g", "mg_kg"),
    [("CU-1", 1.0, 5000.0, 200.0), ("CU-2", 0.75, 5000.0, 150.0)],  # second-hand
)
def test_pure_agent_per_green_weight(name: str, agent_g: float, green_g: float, mg_kg: float) -> None:
    """CU-1, CU-2: grams of agent on grams of meat."""
    found = curing_salts.ingoing_mg_kg(agent_g / 1e3, green_g / 1e3, green_g / 1e3)
    assert found.per_meat_mg_kg == pytest.approx(mg_kg, abs=1e-9), name


@pytest.mark.parametrize(
    ("name", "cure", "fraction", "green", "mg_kg"),
    [
        ("CU-3", 30.0, 0.006, 1000.0, 180.0),  # second-hand: 0.6 % nitrited salt
        ("CU-4", 4.0 / 16.0, 0.0625, 100.0, 156.25),  # computed: 4 oz on 100 lb
        ("CU-8 nitrite", 2.5, 0.0625, 1000.0, 156.25),  # computed
        ("CU-8 nitrate", 2.5, 0.04, 1000.0, 100.0),  # computed
    ],
)
def test_curing_salt_per_green_weight(
    name: str, cure: float, fraction: float, green: float, mg_kg: float
) -> None:
    """CU-3, CU-4, CU-8: weighed curing salt times its fraction."""
    agent = curing_salts.pure_agent_kg(cure, fraction)
    assert curing_salts.ingoing_mg_kg(agent, green, green).per_meat_mg_kg == pytest.approx(mg_kg), name


@pytest.mark.parametrize(
    ("name", "wanted", "green_g", "skin_on", "cure_g"),
    [
        ("CU-5", 120.0, 1000.0, False, 1.92),
        ("CU-6", 120.0, 1000.0, True, 1.728),
        ("CU-7", 625.0, 10000.0, False, 100.0),
    ],
)
def test_curing_salt_to_weigh(name: str, wanted: float, green_g: float, skin_on: bool, cure_g: float) -> None:
    """CU-5 to CU-7 (computed): also a skin-on belly with 10 % off, and a 10 kg ham."""
    found = curing_salts.cure_needed_kg(wanted, green_g / 1e3, 0.0625, skin_on=skin_on)
    assert 1e3 * found == pytest.approx(cure_g), name


def test_pickles() -> None:
    """CU-9 (pump 10 % of a pickle with 0.5 lb in 250 lb) and CU-10 (900 lb in 100 lb of pickle)."""
    assert curing_salts.pumped_mg_kg(0.5, 250.0, 0.1) == pytest.approx(200.0)
    assert curing_salts.immersed_mg_kg(0.2, 900.0, 100.0) == pytest.approx(200.0)


@pytest.mark.parametrize(
    ("ounces", "mg_kg"),
    [(0.25, 156.25), (1.0, 625.0), (3.5, 2187.5), (2.75, 1718.75), (0.875, 546.875), (0.75, 468.75)],
)
def test_ounces_per_100_lb(ounces: float, mg_kg: float) -> None:
    """CU-OZ1 to CU-OZ6 (9 CFR 424.21(c) doses, from memory; the factor is exact)."""
    assert curing_salts.mg_kg_of_ounces_per_100_lb(ounces) == mg_kg


@pytest.mark.parametrize(
    ("source", "target", "factor"),
    [
        ("sodium_nitrite", "nitrite", 0.66679),
        ("sodium_nitrate", "nitrate", 0.72952),
        ("potassium_nitrate", "nitrate", 0.61328),
        ("sodium_nitrite", "potassium_nitrite", 1.23347),
    ],
)
def test_ion_factors(source: str, target: str, factor: float) -> None:
    """CU-ION1 to CU-ION4; the European text rounds them to 0.67, 0.73 and 0.61 (second-hand)."""
    assert curing_salts.equal_amount_factor(source, target) == pytest.approx(factor, abs=1e-5)


def test_the_european_ion_limit_as_salt() -> None:
    """CU-EU: 80 mg/kg nitrite ion are 119.98 mg/kg sodium nitrite."""
    assert 80.0 * curing_salts.equal_amount_factor("nitrite", "sodium_nitrite") == pytest.approx(
        119.98, abs=5e-3
    )
