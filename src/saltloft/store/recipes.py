"""Recipes and products on their shelves."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from saltloft.plant.entries import versions
from saltloft.plant.house_record import ProductRecord, RecipeRecord
from saltloft.plant.recipes import ProductDefined, RecipeDefined
from saltloft.plant.stated import Stated, counting
from saltloft.store.database import Database
from saltloft.store.shelf import Shelf


def _product(name: str, statements: Sequence[Stated[Any]]) -> ProductRecord | None:
    defined = counting(statements, ProductDefined)
    return ProductRecord(name, defined[-1], tuple(statements)) if defined else None


def _recipe(name: str, statements: Sequence[Stated[Any]]) -> RecipeRecord | None:
    defined = counting(statements, RecipeDefined)
    return RecipeRecord(name, defined[-1], tuple(statements)) if defined else None


def products_shelf(database: Database) -> Shelf[ProductRecord]:
    """Every product; the last definition counts."""
    return Shelf(database, "product", versions("product.defined"), _product)


def recipes_shelf(database: Database) -> Shelf[RecipeRecord]:
    """Every recipe version."""
    return Shelf(database, "recipe", ("recipe.defined/1",), _recipe)
