"""Parameters of the sciences built from fact rows, with the keys they rested on.

`science` takes its constants as arguments and `facts` knows no science: here
the two meet, so that every result can list its rows.
"""

from __future__ import annotations

from saltloft.facts.loader import Facts
from saltloft.science.composition import MeatRow
from saltloft.science.water_activity import Halsey, SodiumChloride

_BRINE = {
    "beta0": "sodium_chloride.pitzer_beta0",
    "beta1": "sodium_chloride.pitzer_beta1",
    "c_phi": "sodium_chloride.pitzer_c_phi",
    "debye_slope": "sodium_chloride.pitzer_debye_slope",
    "b": "sodium_chloride.pitzer_b",
    "alpha": "sodium_chloride.pitzer_alpha",
    "saturation_molality": "sodium_chloride.saturation_molality",
    "molar_mass": "sodium_chloride.molar_mass",
    "water_molar_mass": "sodium_chloride.water_molar_mass",
}
SODIUM_CHLORIDE_KEYS = tuple(_BRINE.values())
HALSEY_KEYS = ("sorption.halsey_scale", "sorption.halsey_power")
_PARTS = ("water", "protein", "fat", "ash")


def sodium_chloride(facts: Facts) -> SodiumChloride:
    """Pitzer's constants from the rows SODIUM_CHLORIDE_KEYS."""
    return SodiumChloride(**{name: facts.number(key) for name, key in _BRINE.items()})


def halsey(facts: Facts) -> Halsey:
    """The median protein term from the rows HALSEY_KEYS."""
    return Halsey(*(facts.number(key) for key in HALSEY_KEYS))


def meat_row_keys(label: str) -> tuple[str, ...]:
    """The fact keys of one row of the meat table, such as label '10072'."""
    return tuple(f"pork.{label}.{part}_pct" for part in _PARTS)


def meat_row(facts: Facts, label: str) -> MeatRow:
    """One row of the meat table as fractions.

    Args:
        facts: Facts.
        label: str. Number of the row, such as '10072'.

    Raises:
        UnknownName: no such row; the nearest keys are offered.
    """
    return MeatRow(*(facts.number(key) / 100.0 for key in meat_row_keys(label)))
