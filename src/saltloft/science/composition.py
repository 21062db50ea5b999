"""What a batter, a ham or a finished piece is made of, as fractions of its weight.

The parts are water, protein, fat, salt (sodium chloride), sugar and other (ash
of the meat, spice, culture); they sum to 1. `solids` are the fat-free salt-free
dry matter, the basis of the drying model. Fields may be numbers or arrays.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import ArrayLike, NDArray

from saltloft.foundation.errors import InputError

FloatArray = NDArray[np.float64]
Fraction = float | FloatArray

ROUNDING = 5e-3  # printed tables close to 100 % within half a per cent


@dataclass(frozen=True)
class MeatRow:
    """Raw meat or fat as a food table prints it.

    Args:
        water: float. Fraction 0..1 of the weight.
        protein: float. Fraction 0..1.
        fat: float. Fraction 0..1.
        ash: float. Fraction 0..1.
    """

    water: float
    protein: float
    fat: float
    ash: float

    @property
    def protein_of_dry_lean(self) -> float:
        """Protein per fat-free dry matter. [kg/kg]"""
        return self.protein / (self.protein + self.ash)


@dataclass(frozen=True)
class Composition:
    """Fractions of the weight; they sum to 1 within 1e-9.

    Args:
        water: float or array. 0..1.
        protein: float or array. 0..1.
        fat: float or array. 0..1.
        salt: float or array. Sodium chloride, 0..1.
        sugar: float or array. Fermentable sugar as dextrose, 0..1.
        other: float or array. Ash of the meat, spice, the rest, 0..1.

    Raises:
        InputError: a part below 0, or parts that do not sum to 1.
    """

    water: Fraction
    protein: Fraction
    fat: Fraction
    salt: Fraction = 0.0
    sugar: Fraction = 0.0
    other: Fraction = 0.0

    def __post_init__(self) -> None:
        total: Fraction = 0.0
        for part in fields(self):
            value = getattr(self, part.name)
            total = total + value
            if np.any(np.asarray(value) < -1e-12):
                raise InputError(
                    f"the composition leaves less than nothing for {part.name}",
                    got=f"{100.0 * float(np.min(value)):.2f} %",
                    allowed="0 to 100 %, all parts together 100 %",
                    do="lower one of the other parts",
                    key=f"{part.name}_pct",
                )
        if not np.all(np.abs(np.asarray(total) - 1.0) <= 1e-9):  # 'not <=' refuses NaN too
            raise InputError(
                "the parts of the composition do not make 100 %",
                got=f"{100.0 * float(np.max(total)):.2f} %",
                allowed="water, protein, fat, salt, sugar and other together 100 %",
            )

    @property
    def solids(self) -> Fraction:
        """Fat-free salt-free dry matter, fraction of the weight. [kg/kg]"""
        return self.protein + self.sugar + self.other

    @property
    def moisture_protein(self) -> Fraction:
        """Moisture:protein ratio. [kg/kg]"""
        return self.water / self.protein

    @property
    def brine_fraction(self) -> Fraction:
        """Salt per salt and water, the brine strength. [kg/kg]"""
        return self.salt / (self.salt + self.water)

    @property
    def water_per_solids(self) -> Fraction:
        """Water on the basis of the drying model. [kg/kg]"""
        return self.water / self.solids

    @property
    def salt_per_solids(self) -> Fraction:
        """Salt on the basis of the drying model. [kg/kg]"""
        return self.salt / self.solids

    @property
    def fat_per_solids(self) -> Fraction:
        """Fat on the basis of the drying model. [kg/kg]"""
        return self.fat / self.solids


def after_loss(composition: Composition, weight_loss: ArrayLike) -> Composition:
    """The composition after water has left and nothing else.

    Args:
        composition: Composition. At green weight.
        weight_loss: float or array. Fraction of the green weight, 0 up to its water.

    Returns:
        Composition of what hangs now.

    Raises:
        InputError: a loss above the water there was.
    """
    loss = np.asarray(weight_loss, dtype=np.float64)
    if np.any(loss > composition.water) or np.any(loss >= 1.0):
        raise InputError(
            "the weight loss is more than the water there was",
            got=f"{100.0 * float(np.max(loss)):.1f} %",
            allowed=f"up to {100.0 * float(np.max(composition.water)):.1f} %",
            key="weight_loss_pct",
        )
    left = 1.0 - loss
    return Composition(
        water=(composition.water - loss) / left,
        protein=composition.protein / left,
        fat=composition.fat / left,
        salt=composition.salt / left,
        sugar=composition.sugar / left,
        other=composition.other / left,
    )


def blend(parts: Sequence[tuple[float, Composition]]) -> Composition:
    """The composition of several weighed parts mixed together.

    Args:
        parts: sequence of (mass, Composition). Masses in one unit, above 0 in sum. [kg]

    Returns:
        Composition, the mean by mass.

    Raises:
        InputError: no mass, or a negative one.
    """
    total = sum(mass for mass, _ in parts)
    if total <= 0 or any(mass < 0 for mass, _ in parts):
        raise InputError("a blend needs masses above zero", got=f"{total:g}", allowed="each 0 or more")

    def mean(name: str) -> Fraction:
        value: Fraction = sum(mass / total * getattr(part, name) for mass, part in parts)
        return value

    return Composition(**{part.name: mean(part.name) for part in fields(Composition)})


def of_row(row: MeatRow) -> Composition:
    """A table row as a Composition: its ash is 'other', its rounding is closed by scaling.

    Args:
        row: MeatRow.

    Raises:
        InputError: a row further than 2 % from 100 %.
    """
    total = row.water + row.protein + row.fat + row.ash
    if abs(total - 1.0) > 4 * ROUNDING:
        raise InputError("a meat row does not make 100 %", got=f"{100 * total:.2f} %", allowed="98 to 102 %")
    return Composition(row.water / total, row.protein / total, row.fat / total, other=row.ash / total)


def close(
    lean: MeatRow,
    fat_trim: MeatRow,
    *,
    salt: Fraction,
    sugar: Fraction = 0.0,
    other: Fraction = 0.0,
    water: Fraction | None = None,
    protein: Fraction | None = None,
    fat: Fraction | None = None,
) -> Composition:
    """Fill in what a person did not state, from a lean and a fat row of the meat table.

    Args:
        lean: MeatRow. Lean meat, such as pork shoulder.
        fat_trim: MeatRow. Fat, such as backfat.
        salt: float or array. Sodium chloride, 0..1.
        sugar: float or array. Sugar put in, 0..1.
        other: float or array. Spice and other things put in, 0..1.
        water: float, array or None. Stated water, 0..1.
        protein: float, array or None. Stated protein, 0..1.
        fat: float, array or None. Stated fat, 0..1.

    Returns:
        Composition. What the parts leave open to 1 (ash of the meat) goes to `other`.

    Raises:
        InputError: none of the three stated, or a batter that these cannot make.

    Notes:
        One stated: the blend of the two rows that has it. Two stated: the third follows
        with the protein per dry lean matter of the lean row (finished pieces too). Three
        stated: taken as they are.
    """
    if water is None and protein is None and fat is None:
        raise InputError(
            "a composition needs at least one of fat, water and protein",
            allowed="fat_pct, water_pct or protein_pct",
            key="fat_pct",
        )
    meat = 1.0 - salt - sugar - other
    share = lean.protein_of_dry_lean
    if water is not None and fat is not None:
        protein = share * (meat - water - fat) if protein is None else protein
    elif fat is not None and protein is not None:
        water = meat - fat - protein / share
    elif water is not None and protein is not None:
        fat = meat - water - protein / share
    else:
        water, protein, fat = _of_one(lean, fat_trim, meat, water=water, protein=protein, fat=fat)
    rest = 1.0 - water - protein - fat - salt - sugar
    return Composition(water, protein, fat, salt, sugar, rest)


def _of_one(
    lean: MeatRow,
    fat_trim: MeatRow,
    meat: Fraction,
    *,
    water: Fraction | None,
    protein: Fraction | None,
    fat: Fraction | None,
) -> tuple[Fraction, Fraction, Fraction]:
    """Water, protein and fat of the lean-and-fat blend that has the one stated part."""
    stated = {"water": water, "protein": protein, "fat": fat}
    name, value = next((name, value) for name, value in stated.items() if value is not None)
    low, high = getattr(lean, name), getattr(fat_trim, name)
    lean_share = (value - meat * high) / (low - high)
    ends = sorted(100.0 * float(np.max(meat)) * end for end in (low, high))
    if np.any(lean_share < -1e-9) or np.any(lean_share > np.asarray(meat) + 1e-9):
        raise InputError(
            f"no blend of this lean and fat has that {name}",
            got=f"{100.0 * float(np.min(value)):.1f} %",
            allowed=f"{ends[0]:.1f} to {ends[1]:.1f} %",
            do="state two of fat_pct, water_pct and protein_pct",
            key=f"{name}_pct",
        )
    fat_share = meat - lean_share
    made = {part: lean_share * getattr(lean, part) + fat_share * getattr(fat_trim, part) for part in stated}
    return made["water"], made["protein"], made["fat"]
