"""What went into a lot: by weighed amounts where they were booked, else by the recipe's doses."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from saltloft.facts.loader import Facts
from saltloft.plant.folder import IngredientIn
from saltloft.plant.lot_record import LotRecord
from saltloft.plant.lots import FreshMade, LotMade
from saltloft.plant.recipes import Ingredient, RecipeDefined
from saltloft.science.curing_salts import Ingoing, ingoing_mg_kg, pure_agent_kg

MEAT_KINDS = ("meat", "fat")


@dataclass(frozen=True)
class Batter:
    """The batter of one lot as arithmetic on amounts.

    Args:
        fat, salt, sugar: float. Fractions of the batter, 0..1.
        parts: tuple of IngredientIn.
        nitrite: Ingoing or None. Sodium nitrite; None unless every line was weighed. [mg/kg]
        weighed: bool. Every line of the recipe was weighed in.
        entries: tuple of str. The making entry, with its corrections.
        facts: tuple of str. Meat rows used.
    """

    fat: float
    salt: float
    sugar: float
    parts: tuple[IngredientIn, ...]
    nitrite: Ingoing | None
    weighed: bool
    entries: tuple[str, ...]
    facts: tuple[str, ...]


def dose_shares(recipe: RecipeDefined) -> dict[str, float]:
    """Each line's mass per kilogram of the meat block, whatever the recipe's basis. [kg/kg]

    Args:
        recipe: RecipeDefined.
    """
    meat = sum(float(line.amount_g_kg) for line in recipe.ingredients if line.kind in MEAT_KINDS)
    other = sum(float(line.amount_g_kg) for line in recipe.ingredients if line.kind not in MEAT_KINDS)
    # Doses on the batter: a kilogram of batter holds 1000 g less all other doses of meat.
    block = 1000.0 if recipe.basis == "meat" else max(1000.0 - other, 1.0)
    return {
        line.name: float(line.amount_g_kg) / meat
        if line.kind in MEAT_KINDS
        else float(line.amount_g_kg) / block
        for line in recipe.ingredients
    }


def batter_of(record: LotRecord, recipe: RecipeDefined, facts: Facts) -> Batter:
    """The batter of a lot.

    Args:
        record: LotRecord. A dry sausage lot or a fresh batch.
        recipe: RecipeDefined. The version it was made by.
        facts: Facts. For the fat of the meat rows.
    """
    weighed = _weighed(record)
    is_weighed = bool(weighed) and all(
        line.name in weighed for line in recipe.ingredients if float(line.amount_g_kg) > 0.0
    )
    shares = dose_shares(recipe)
    masses = (
        {name: sum(mass for _, mass in found) for name, found in weighed.items()} if is_weighed else shares
    )
    total = sum(masses.values())
    meat = sum(masses[line.name] for line in recipe.ingredients if line.kind in MEAT_KINDS)
    fat, rows = _fat(recipe, masses, facts)
    agent = sum(
        pure_agent_kg(masses[line.name], float(line.nitrite_pct) / 100.0) for line in recipe.ingredients
    )
    return Batter(
        fat=fat / total,
        salt=_sum(recipe, masses, "salt_pct") / total,
        sugar=_sum(recipe, masses, "sugar_pct") / total,
        parts=tuple(_part(line, weighed.get(line.name, ()), record) for line in recipe.ingredients),
        nitrite=ingoing_mg_kg(agent, meat, total) if is_weighed and meat > 0.0 else None,
        weighed=is_weighed,
        entries=record.made.entry_ids,
        facts=rows,
    )


def _weighed(record: LotRecord) -> dict[str, list[tuple[str, float]]]:
    """Material lots and masses weighed in, by recipe line. [kg]"""
    made = record.made.payload
    found: dict[str, list[tuple[str, float]]] = {}
    if isinstance(made, LotMade | FreshMade):
        for part in made.consumed:
            found.setdefault(part.ingredient, []).append((part.material_lot, part.mass.kg))
    return found


def _fat(recipe: RecipeDefined, masses: Mapping[str, float], facts: Facts) -> tuple[float, tuple[str, ...]]:
    total, rows = 0.0, []
    for line in recipe.ingredients:
        if line.kind not in MEAT_KINDS:
            continue
        key = f"pork.{line.composition_row}.fat_pct"
        total += masses[line.name] * facts.number(key) / 100.0
        rows.append(key)
    return total, tuple(rows)


def _sum(recipe: RecipeDefined, masses: Mapping[str, float], part: str) -> float:
    return sum(masses[line.name] * float(getattr(line, part)) / 100.0 for line in recipe.ingredients)


def _part(line: Ingredient, weighed: object, record: LotRecord) -> IngredientIn:
    pairs = list(weighed) if isinstance(weighed, list) else []
    return IngredientIn(
        name=line.name,
        mass_kg=sum(mass for _, mass in pairs) if pairs else None,
        dose_g_kg=float(line.amount_g_kg),
        material_lots=tuple(dict.fromkeys(lot for lot, _ in pairs)),
        entries=record.made.entry_ids if pairs else (),
    )
