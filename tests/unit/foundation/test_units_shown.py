"""Sentences and numbers in the units of the person who reads them."""

from __future__ import annotations

import pytest

from saltloft.foundation.units import beside_metric, in_system

# The international pound, 0.45359237 kg, and the scales' definition t/°F = 1.8 t/°C + 32:
# NIST Special Publication 811, appendix B.8 (100 kg = 220.462 lb by that factor).
SHOWN = [
    ("went to 24.0 °C in 24 h, set 22.0 °C", "went to 24.0 °C (75.2 °F) in 24 h, set 22.0 °C (71.6 °F)"),
    ("room air 13.8 to 15.0 °C and 78 % RH", "room air 13.8 to 15.0 °C (56.8 to 59.0 °F) and 78 % RH"),
    ("a usual week is 1,306 kg", "a usual week is 1,306 kg (2,879 lb)"),
    ("−2.0 °C in the store", "−2.0 °C (28.4 °F) in the store"),
    ("100.00 kg.", "100.00 kg (220.46 lb)."),
]  # fmt: skip
# No amounts of their own: rates per kilogram, other units, lots, parts of numbers.
LEFT = [
    "ingoing 150 mg/kg",
    "12.40 a kg",
    "2 kg/m² of floor",
    "AL-0310 at 35 %",
    "557 of 1,200 °C·h",
    "pH 5.3",
]


@pytest.mark.parametrize(("metric", "both"), SHOWN)
def test_a_sentence_has_the_other_unit_beside_each_number(metric: str, both: str) -> None:
    assert beside_metric(metric, "us") == both
    assert beside_metric(metric, "metric") == metric


@pytest.mark.parametrize("text", LEFT)
def test_what_is_no_mass_or_temperature_stays(text: str) -> None:
    assert beside_metric(text, "us") == text


def test_a_number_goes_with_its_unit() -> None:
    """Exactly 0.45359237 kg a pound; a rate keeps its words; what is counted is not converted."""
    value, unit = in_system(0.45359237, "kg", "us")
    assert (value, unit) == (pytest.approx(1.0, abs=1e-12), "lb")
    assert in_system(10.0, "kg a day", "us")[1] == "lb a day"
    assert in_system(14.0, "°C", "us") == (pytest.approx(57.2), "°F")
    assert in_system(1.0, "core °C", "us") == (1.0, "core °C")
    assert in_system(3.0, "kg", "metric") == (3.0, "kg")
