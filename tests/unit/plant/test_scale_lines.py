"""Lines of scales as their makers' protocols write them (common practice, no source)."""

from __future__ import annotations

import pytest

from saltloft.plant.scale_lines import ScaleLine, read_line


@pytest.mark.parametrize(
    ("line", "number", "unit", "still"),
    [
        ("ST,GS,+  1.043kg", "1.043", "kg", True),
        ("US,NT,+0001.045 kg", "0001.045", "kg", False),
        ("S S      1043.5 g", "1043.5", "g", True),
        ("S D      1043.5 g", "1043.5", "g", False),
        ("  1,04 KG", "1.04", "kg", True),
        ("GROSS 2.30lb", "2.30", "lb", True),
    ],
)
def test_a_line_is_understood(line: str, number: str, unit: str, still: bool) -> None:
    assert read_line(line) == ScaleLine(number, unit, still)


@pytest.mark.parametrize(
    "line",
    [
        "",
        "OL",
        "OL kg",
        "ST,GS,-  1.043kg",
        "1.04",
        "0.000 kg",
        "1.0 kg 2.0 kg",
        "12.34.56 kg",
        "9" * 190,
        "1e5 kg",
    ],
)
def test_what_is_no_weight_says_nothing(line: str) -> None:
    """A fault, a number without unit, two numbers, nothing or less than nothing on the scale."""
    assert read_line(line) is None
