"""One kind of piece: its size, what is in it, and what is around it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from saltloft.foundation.errors import InputError
from saltloft.process.parameters import DryingParameters
from saltloft.process.programme import Span
from saltloft.science.composition import Composition, close

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Piece:
    """What hangs, at stuffing. What is None is closed by the meat table or a default.

    Args:
        diameter_m: Span. Stuffed diameter; a range is drawn evenly per piece. [m]
        length_m: Span or None. [m]
        fat, salt, water, protein: Span or None. Fractions of the batter, 0..1.
        sugar: Span or None. Sugar put in; adds to the solutes, 0..1.
        other_solutes_mol_kg: Span or None. Per kg of batter. [mol/kg]
        start_water_activity: Span or None. Measured at stuffing, 0..1.
        casing: str. 'natural', 'collagen' or 'fibrous'.
        mould: bool. A surface mould is put on.
        pressed_to_m: Span or None. Thickness after pressing flat; the section keeps the area
            of the round one. None: round. [m]
        oval: bool. Pressed to an ellipse, not to a strip between two half circles.
        net_heat_j_mol: float or None. Net heat of sorption per unit of the protein term. [J/mol]
        rim_remembers: bool. The rim keeps a resistance of its own; speculative.
        fat_analysed: bool. The fat is a laboratory's, not the recipe's.

    Raises:
        InputError: a size or a part that no piece has, or ends the wrong way round.
    """

    diameter_m: Span
    length_m: Span | None = None
    fat: Span | None = None
    salt: Span | None = None
    water: Span | None = None
    protein: Span | None = None
    sugar: Span | None = None
    other_solutes_mol_kg: Span | None = None
    start_water_activity: Span | None = None
    casing: str = "natural"
    mould: bool = False
    fat_analysed: bool = False
    pressed_to_m: Span | None = None
    oval: bool = False
    net_heat_j_mol: float | None = None
    rim_remembers: bool = False

    def __post_init__(self) -> None:
        sizes = ("diameter_m", "length_m", "pressed_to_m")
        parts = ("fat", "salt", "water", "protein", "sugar", "start_water_activity")
        for name, most in (*((size, 10.0) for size in sizes), *((part, 1.0) for part in parts)):
            span = getattr(self, name)
            if span is None:
                continue
            least = 1e-3 if name in sizes else 0.0
            if not (least <= span.low <= span.high <= most):
                raise InputError(
                    "a piece that cannot be",
                    got=f"{name} {span.low:g} to {span.high:g}",
                    allowed=f"{least:g} to {most:g}, the lower end first",
                    key=name,
                )


def closed_composition(piece: Piece, parameters: DryingParameters, shares: dict[str, Array]) -> Composition:
    """The batter of each member, before its own errors.

    Args:
        piece: Piece.
        parameters: DryingParameters. Meat rows and defaults.
        shares: mapping of 'fat', 'salt', 'water', 'protein', 'sugar' to arrays
            (members,): where in its range each member lies, 0..1.

    Returns:
        Composition of arrays (members,).

    Raises:
        InputError: parts that together are more than 100 %, or that no meat has.
    """

    def drawn(span: Span | None, name: str) -> Array | None:
        return None if span is None else span.at(shares[name])

    salt = drawn(piece.salt or Span.of(parameters.default_salt), "salt")
    sugar = drawn(piece.sugar or Span.of(0.0), "sugar")
    fat, water, protein = (drawn(getattr(piece, name), name) for name in ("fat", "water", "protein"))
    if fat is None and water is None and protein is None:
        fat = np.full_like(shares["fat"], parameters.default_fat)
    assert salt is not None
    assert sugar is not None
    stated = sum(part for part in (fat, water, protein, salt, sugar) if part is not None)
    room = np.clip(1.0 - np.asarray(stated), 0.0, parameters.default_other)
    other = np.maximum(room - sugar, 0.0)
    return close(
        parameters.lean,
        parameters.fat_trim,
        salt=salt,
        sugar=sugar,
        other=other,
        water=water,
        protein=protein,
        fat=fat,
    )


def with_errors(batter: Composition, *, fat: Array, water: Array, salt: Array) -> Composition:
    """The batter a member really has.

    Args:
        batter: Composition of arrays (members,).
        fat, water, salt: arrays (members,). Errors, fraction of the batter. [kg/kg]

    Returns:
        Composition. More fat or salt scales all other parts down together, as replacing
        lean by fat does; more water replaces dry lean. Nothing goes below a fifth of itself.
    """
    new_fat = np.clip(batter.fat + fat, 0.2 * np.asarray(batter.fat), 0.95)
    new_salt = np.clip(batter.salt + salt, 0.2 * np.asarray(batter.salt), 0.5)
    scale = (1.0 - new_fat - new_salt) / (1.0 - batter.fat - batter.salt)
    dry = batter.solids * scale
    new_water = np.clip(batter.water * scale + water, 0.2 * batter.water, None)
    moved = np.minimum(new_water - batter.water * scale, 0.8 * dry)
    shrink = (dry - moved) / dry * scale
    return Composition(
        water=batter.water * scale + moved,
        protein=batter.protein * shrink,
        fat=new_fat,
        salt=new_salt,
        sugar=batter.sugar * shrink,
        other=batter.other * shrink,
    )
