"""The death equation against whole-product outcomes that were not used to choose it here.

Source: Calicioglu et al. 2002, Journal of Food Protection 65(10):1541-1544 (abstract, read): soudjouk
with starter and 1.0 % dextrose, pH 4.8 to 4.9. Three cases only, and part of the literature may stand
in the equation's own meta-analysis: a factor of 2.5 is all that is asked.
"""

from __future__ import annotations

import pytest

from saltloft.facts.loader import load_facts
from saltloft.science.growth import death_rate_log10_h

FACTS = load_facts()


@pytest.mark.parametrize(
    ("days_and_c", "observed"),
    [
        ([(3.0, 22.0), (0.75, 9.0), (3.0, 22.0)], 0.88),
        ([(3.0, 22.0), (0.75, 9.0), (3.0, 38.0)], 4.53),
        ([(21.0, 25.0)], 6.4),
    ],
)
def test_kill_within_a_factor(days_and_c: list[tuple[float, float]], observed: float) -> None:
    """Mean within a factor 2.5; the conservative value is under what was seen."""
    intercept = FACTS.number("growth.escherichia_coli.kill_intercept")
    slope = FACTS.number("growth.escherichia_coli.kill_slope")
    mean = sum(
        24.0 * days * float(death_rate_log10_h(celsius, intercept, slope)) for days, celsius in days_and_c
    )
    assert observed / 2.5 < mean < observed * 2.5
    assert FACTS.number("growth.kill.conservative_factor") * mean < observed
