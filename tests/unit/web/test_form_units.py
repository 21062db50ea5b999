"""Temperatures of a form in the person's unit: the record holds degrees Celsius whatever was read."""

from __future__ import annotations

from decimal import Decimal

import pytest

from saltloft.foundation.errors import InputError
from saltloft.plant.readings import WaterActivityRead
from saltloft.web.payload_forms import FormField, fields_of, read_payload

KIND = "water_activity.read/1"
TYPED = {"lot": "AL-0310", "value": "0.91", "sample": "ground", "instrument": "aw-1"}
UNIT = "sample_temperature_c.unit"


def field(system: str, typed: dict[str, str], was: object | None = None) -> FormField:
    fields = fields_of(KIND, typed, was, system=system)
    return next(one for one in fields if one.name == "sample_temperature_c")


@pytest.mark.parametrize(
    ("typed", "unit", "celsius"),
    [
        ("25", "", "25"),
        ("77", "°F", "25"),
        ("77 F", "", "25"),
        ("77 °F", "", "25"),
        ("25 C", "°F", "25"),
        ("25,5 °C", "°F", "25.5"),
        ("57", "°F", "13.89"),
        ("-40", "°F", "-40"),
    ],
)
def test_a_unit_typed_goes_before_the_forms_own(typed: str, unit: str, celsius: str) -> None:
    """77 °F is 25 °C, -40 is the same on both: exact by definition of the scale."""
    said = read_payload(KIND, {**TYPED, "sample_temperature_c": typed, UNIT: unit})
    assert isinstance(said, WaterActivityRead)
    assert said.sample_temperature_c == Decimal(celsius)


def test_the_field_says_which_unit_a_bare_number_counts_in() -> None:
    metric, us = field("metric", TYPED), field("us", TYPED)
    assert (metric.word, metric.unit) == ("sample, °C", "")
    assert (us.word, us.unit) == ("sample, °F", "°F")


@pytest.mark.parametrize("celsius", ["25", "13.89", "14.05", "-1.5", "4.44"])
def test_a_correction_that_touches_nothing_changes_nothing(celsius: str) -> None:
    was = WaterActivityRead("AL-0310", Decimal("0.91"), "ground", "aw-1", Decimal(celsius))
    shown = field("us", {**TYPED, "sample_temperature_c": celsius}, was)
    assert shown.typed == shown.was
    said = read_payload(KIND, {**TYPED, "sample_temperature_c": shown.typed, UNIT: shown.unit})
    assert said.sample_temperature_c == Decimal(celsius)


def test_what_was_typed_comes_back_as_typed() -> None:
    refused = {**TYPED, "sample_temperature_c": "77", UNIT: "°F"}
    assert field("us", refused).typed == "77"
    with pytest.raises(InputError):
        read_payload(KIND, {**TYPED, "sample_temperature_c": "warm", UNIT: "°F"})
