"""Closing, drying and refusing compositions."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from saltloft.foundation.errors import InputError
from saltloft.science.composition import Composition, MeatRow, after_loss, blend, close, of_row

LEAN = MeatRow(0.7263, 0.1955, 0.0714, 0.0102)
FAT = MeatRow(0.0769, 0.0292, 0.8869, 0.0070)


@given(st.floats(0.08, 0.6), st.floats(0.0, 0.04), st.floats(0.0, 0.01), st.floats(0.0, 0.02))
def test_any_one_part_closes_to_the_same_batter(fat: float, salt: float, sugar: float, other: float) -> None:
    """Fat gives water and protein; that water or that protein alone gives the batter back."""
    batter = close(LEAN, FAT, fat=fat, salt=salt, sugar=sugar, other=other)
    for name in ("water", "protein"):
        again = close(LEAN, FAT, salt=salt, sugar=sugar, other=other, **{name: getattr(batter, name)})
        for part in ("water", "protein", "fat", "other"):
            assert getattr(again, part) == pytest.approx(getattr(batter, part), abs=1e-9)


@given(st.floats(0.0, 0.5), st.floats(0.15, 0.7), st.floats(0.0, 0.05))
def test_two_parts_give_the_third(fat: float, water: float, salt: float) -> None:
    """Water and fat, water and protein, fat and protein: one and the same piece, 100 % in all."""
    if water + fat + salt > 0.97:
        return
    piece = close(LEAN, FAT, fat=fat, water=water, salt=salt)
    for given_ in (("water", "protein"), ("fat", "protein")):
        again = close(LEAN, FAT, salt=salt, **{name: getattr(piece, name) for name in given_})
        assert again.fat == pytest.approx(piece.fat, abs=1e-9)
        assert again.water == pytest.approx(piece.water, abs=1e-9)
    assert piece.protein / (piece.protein + piece.other) == pytest.approx(LEAN.protein_of_dry_lean)


def test_three_stated_parts_are_taken() -> None:
    """A finished lean piece: 25 % water, 64 % protein; the rest goes to other."""
    piece = close(LEAN, FAT, water=0.25, protein=0.64, fat=0.03, salt=0.05)
    assert (piece.water, piece.protein, piece.fat) == (0.25, 0.64, 0.03)
    assert piece.other == pytest.approx(0.03)


@given(st.floats(0.0, 0.5), st.floats(0.0, 0.45))
def test_only_water_leaves(first: float, second: float) -> None:
    """Two losses in turn are one loss; everything but water keeps its mass."""
    batter = close(LEAN, FAT, fat=0.28, salt=0.027, other=0.01)
    whole = 1.0 - (1.0 - first) * (1.0 - second)
    if whole >= 0.53:
        with pytest.raises(InputError, match="more than the water"):
            after_loss(batter, max(whole, 0.54))
        return
    at_once, in_turn = after_loss(batter, whole), after_loss(after_loss(batter, first), second)
    assert in_turn.water == pytest.approx(at_once.water, abs=1e-12)
    for part in ("protein", "fat", "salt", "other"):
        assert getattr(at_once, part) * (1.0 - whole) == pytest.approx(getattr(batter, part), abs=1e-12)


@pytest.mark.parametrize(
    ("parts", "words"),
    [
        ({"fat": 1.3, "salt": 0.027}, "no blend of this lean and fat has that fat"),
        ({"fat": 0.01, "salt": 0.0}, "allowed: 7.1 to 88.7 %"),
        ({"water": 0.7, "fat": 0.3, "salt": 0.03}, "less than nothing for protein"),
        ({"water": 0.5, "protein": 0.3, "fat": 0.3, "salt": 0.03}, "less than nothing for other"),
        ({"salt": 0.03}, "at least one of fat, water and protein"),
    ],
)
def test_impossible_compositions_are_refused(parts: dict[str, float], words: str) -> None:
    """Fat 130 %, more than 100 % in all, nothing stated."""
    with pytest.raises(InputError, match=words):
        close(LEAN, FAT, **parts)  # type: ignore[arg-type]


def test_members_close_as_arrays() -> None:
    """An ensemble's fat draws close in one call, each as alone."""
    fat = np.array([0.25, 0.28, 0.31])
    batter = close(LEAN, FAT, fat=fat, salt=0.027, other=0.01)
    alone = [float(close(LEAN, FAT, fat=float(x), salt=0.027, other=0.01).water) for x in fat]
    np.testing.assert_allclose(batter.water, alone, rtol=1e-14)
    with pytest.raises(InputError):
        close(LEAN, FAT, fat=np.array([0.28, 0.99]), salt=0.027)


def test_a_blend_needs_mass() -> None:
    """No parts, no mass or a negative mass: refused."""
    for parts in ([], [(0.0, of_row(LEAN))], [(2.0, of_row(LEAN)), (-1.0, of_row(FAT))]):
        with pytest.raises(InputError, match="masses above zero"):
            blend(parts)
    with pytest.raises(InputError, match="does not make 100 %"):
        of_row(MeatRow(0.5, 0.2, 0.1, 0.01))


def test_parts_that_do_not_sum_are_refused() -> None:
    """A composition is whole or it is none."""
    with pytest.raises(InputError, match="do not make 100 %"):
        Composition(0.5, 0.2, 0.2)
    with pytest.raises(InputError, match="do not make 100 %"):
        Composition(float("nan"), 0.5, 0.5)
