"""The outline of a section: every ring holds the area the engine counts, the rim has the stated diameters."""

from __future__ import annotations

from decimal import Decimal
from math import pi

import pytest

from saltloft.papers.outline import ROUND, Outline
from saltloft.papers.section_picture import outline_of
from saltloft.plant.recipes import ProductDefined


def _product(shape: str, wide: str, thin: str) -> ProductDefined:
    return ProductDefined(
        "flat", "FL", "dry_sausage", "Flat", calibre_mm=Decimal(60), shape=shape, width_mm=Decimal(wide),
        thickness_mm=Decimal(thin),
    )  # fmt: skip


def _area(shape: str, wide: float, thin: float) -> float:
    """Of half axes: an ellipse, or a strip between two half circles (school geometry)."""
    return pi * wide * thin if shape == "oval" else pi * thin**2 + 4.0 * thin * (wide - thin)


@pytest.mark.parametrize("shape", ["oval", "pressed"])
@pytest.mark.parametrize("radius", [0.0, 5.0, 17.0, 30.0])
def test_a_ring_holds_the_area_of_the_round_one(shape: str, radius: float) -> None:
    product = _product(shape, "72", "44")
    outline = outline_of(product)
    outer = float(product.round_mm) / 2.0
    inside = min(radius, outer)
    wide, thin = outline.half_axes(inside, outer)
    assert _area(shape, wide, thin) == pytest.approx(pi * inside**2, rel=1e-3, abs=1e-6)
    assert wide >= thin


@pytest.mark.parametrize("shape", ["oval", "pressed"])
def test_the_rim_has_the_two_stated_diameters(shape: str) -> None:
    product = _product(shape, "72", "44")
    wide, thin = outline_of(product).half_axes(float(product.round_mm) / 2.0, float(product.round_mm) / 2.0)
    assert (2.0 * wide, 2.0 * thin) == pytest.approx((72.0, 44.0), abs=0.01)


def test_a_round_section_is_round() -> None:
    product = _product("round", "0", "0")
    assert product.round_mm == Decimal(60)
    assert outline_of(product) is ROUND
    assert ROUND.half_axes(12.0, 30.0) == (12.0, 12.0)


def test_a_pressed_ring_is_a_strip_and_an_oval_one_an_ellipse() -> None:
    assert Outline("pressed", 1.2, 0.8).drawn(10.0, 30.0, 1.0, 'fill="none"').startswith("<rect ")
    assert Outline("oval", 1.2, 0.8).drawn(10.0, 30.0, 1.0, 'fill="none"').startswith("<ellipse ")
