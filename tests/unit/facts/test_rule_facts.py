"""The rows of the law and of fermentation: every printed number, its unit and its confidence."""

from __future__ import annotations

import hashlib
from decimal import Decimal
from importlib.resources import files

import pytest

from saltloft.cases.rules import degree_hours_rules
from saltloft.facts.loader import load_facts

FACTS = load_facts()

# Moisture:protein by product name, policy book 1996 (quoted); confidence beside each.
NAMES = {
    "jerky": ("0.75", "second-hand"),
    "pepperoni": ("1.6", "second-hand"),
    "dry_or_hard_salami": ("1.9", "second-hand"),
    "italian_salami": ("1.9", "second-hand"),
    "farmer_summer_sausage": ("1.9", "second-hand"),
    "ukrainian_sausage": ("2.0", "second-hand"),
    "kippered_beef": ("2.03", "second-hand"),
    "dried_or_chipped_beef": ("2.04", "second-hand"),
    "genoa_salami": ("2.3", "second-hand"),
    "sicilian_salami": ("2.3", "second-hand"),
    "semi_dry_not_refrigerated": ("3.1", "second-hand"),
    "thuringer": ("3.7", "second-hand"),
    "lebanon_bologna": ("3.1", "memory"),
    "cervelat_dry": ("1.9", "memory"),
    "frizzes": ("1.6", "memory"),
}


def test_every_product_name_has_its_printed_ratio() -> None:
    """Fifteen names, no more, each with its number and confidence."""
    keys = FACTS.keys("moisture_protein.us")
    assert {key.rsplit(".", 1)[1] for key in keys} == set(NAMES)
    for name, (value, confidence) in NAMES.items():
        fact = FACTS.get(f"moisture_protein.us.{name}")
        assert (fact.value, str(fact.confidence)) == (Decimal(value), confidence), name


def test_legal_limits_stay_in_the_laws_own_units() -> None:
    """United States in degrees Fahrenheit, Canada in degrees Celsius, as printed."""
    us, ca = degree_hours_rules(FACTS)
    assert (us.fahrenheit, us.base, us.unit) == (True, 60.0, "F.h")
    assert (ca.fahrenheit, ca.base, ca.unit) == (False, 15.6, "C.h")
    assert [row.limit for row in us.rows] == [1200, 1000, 900]
    assert [row.limit for row in ca.rows] == [665, 555, 500]


@pytest.mark.parametrize("rule", degree_hours_rules(FACTS), ids=lambda rule: rule.market)
def test_no_row_of_degree_hours_is_confirmed_by_its_source(rule) -> None:  # type: ignore[no-untyped-def]
    """Second-hand, or computed from rows that are: a named person of the house has to confirm them."""
    for key in (*rule.sources, *(row.source for row in rule.rows)):
        assert not FACTS.confirmed_by_source(key), key


def test_rows_leave_no_temperature_out() -> None:
    """Every highest temperature takes exactly one row."""
    for rule in degree_hours_rules(FACTS):
        for hundredth in range(-2000, 8000):
            assert sum(row.holds(hundredth / 100) for row in rule.rows) == 1


@pytest.mark.parametrize(
    ("file", "digest"),
    [
        ("degree_hours/limits.toml", "5568779831d29961"),
        ("degree_hours/us_hours.csv", "857eea45c559d59d"),
        ("moisture_protein/us.toml", "4a4065aadbb96dab"),
        ("shelf_stability/limits.toml", "9ee6bfa3c1da63c2"),
    ],
)
def test_tables_of_the_law_are_pinned(file: str, digest: str) -> None:
    """A changed byte in a table of the law is a deliberate change of this line."""
    data = (files("saltloft") / "facts" / "data").joinpath(file).read_bytes()
    assert hashlib.sha256(data).hexdigest()[:16] == digest


def test_the_death_equation_and_its_factors() -> None:
    """McQuestin 2009 as read; 0.12 computed from eight cases and not confirmed."""
    assert FACTS.number("growth.escherichia_coli.kill_intercept") == 30.974
    assert FACTS.number("growth.escherichia_coli.kill_slope") == 10483
    assert FACTS.confirmed_by_source("growth.escherichia_coli.kill_slope")
    assert FACTS.number("growth.kill.conservative_factor") == 0.12
    assert not FACTS.confirmed_by_source("growth.kill.conservative_factor")
