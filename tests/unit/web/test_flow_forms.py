"""Masses, temperatures and lists of the flow's forms, in the person's units, with the field that is wrong."""

from __future__ import annotations

from decimal import Decimal

import pytest

from saltloft.foundation.errors import InputError
from saltloft.web.flow_forms import count_of, mass_of, mass_or_none, names_of, rows_of, temperature_of
from saltloft.web.quantities import Units

METRIC, US = Units("metric"), Units("us")


def test_a_mass_is_in_the_persons_unit_or_in_the_one_typed_behind_it() -> None:
    """The international pound of 0.45359237 kg (agreement of 1959); a decimal comma; a unit of its own."""
    assert mass_of({"m": "2,5"}, "m", METRIC, "weight").mg == 2_500_000
    assert mass_of({"m": "1000"}, "m", US, "weight").mg == 453_592_370
    assert mass_of({"m": "12 kg"}, "m", US, "weight").mg == 12_000_000
    assert mass_or_none({"m": " "}, "m", METRIC, "weight") is None


@pytest.mark.parametrize("typed", ["", "2-3", "0", "12 stone"])
def test_what_is_no_mass_names_its_field(typed: str) -> None:
    """'2-3' may be pounds and ounces: asked, never guessed."""
    with pytest.raises(InputError) as refused:
        mass_of({"weighed-3": typed}, "weighed-3", METRIC, "weight")
    assert refused.value.key == "weighed-3"


def test_a_temperature_is_journaled_in_celsius() -> None:
    """40 degF is 4.4 degC, rounded to the tenth; below zero with either minus."""
    assert temperature_of({"t": "40"}, "t", US, "core") == Decimal("4.4")
    assert temperature_of({"t": "-1,5"}, "t", METRIC, "core") == Decimal("-1.5")
    assert temperature_of({"t": "\u22121.5"}, "t", METRIC, "core") == Decimal("-1.5")
    assert temperature_of({}, "t", METRIC, "core") is None


def test_lists_and_counts() -> None:
    """Names by commas, semicolons or blanks; rows by their numbers; no half pieces."""
    assert names_of({"r": "R1, R2;R3 R1"}, "r") == ("R1", "R2", "R3")
    assert rows_of({"weighed-10": "1", "weighed-2": "", "from-3": "x"}, "weighed") == [2, 10]
    assert count_of({"n": "12"}, "n", "pieces") == 12
    with pytest.raises(InputError):
        count_of({"n": "1.5"}, "n", "pieces")
