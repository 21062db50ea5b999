"""Recipes as compositions with their basis, and the products made by them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from decimal import Decimal

BASES = ("meat", "batter")
# A section as it hangs: pressed flat is a strip between two half circles, oval is an ellipse.
SHAPES = ("round", "oval", "pressed")
# A piece cannot be pressed flatter than this share of its round diameter (as the drying model takes it).
LEAST_FLATNESS = Decimal("0.4")


@dataclass(frozen=True)
class Ingredient:
    """One line of a recipe: a composition, never a brand.

    Args:
        name: str. Such as 'lean trim', 'nitrite curing salt', 'dextrose'.
        kind: str. 'meat', 'fat', 'salt', 'cure', 'sugar', 'culture', 'spice', 'water', 'other'.
        amount_g_kg: Decimal. Dose per kilogram of the recipe's basis; for meat and fat,
            the share of the meat block. [g/kg]
        composition_row: str. Key of the pork table row for meat and fat; else empty.
        nitrite_pct: Decimal. Sodium nitrite in the ingredient. [%]
        nitrate_pct: Decimal. Sodium nitrate in the ingredient. [%]
        salt_pct: Decimal. Sodium chloride in the ingredient. [%]
        sugar_pct: Decimal. Fermentable sugar, as dextrose, in the ingredient. [%]
    """

    name: str
    kind: str
    amount_g_kg: Decimal
    composition_row: str = ""
    nitrite_pct: Decimal = Decimal(0)
    nitrate_pct: Decimal = Decimal(0)
    salt_pct: Decimal = Decimal(0)
    sugar_pct: Decimal = Decimal(0)


@dataclass(frozen=True)
class RecipeDefined:
    """A recipe in one version.

    Args:
        recipe: str. Such as 'alder-3'.
        basis: str. One of BASES: what the doses are per kilogram of.
        ingredients: tuple of Ingredient.
    """

    recipe: str
    basis: str
    ingredients: tuple[Ingredient, ...]


@dataclass(frozen=True)
class Hazard:
    """One hazard of a product's plan, and the rules that speak to it.

    Args:
        name: str. Such as 'staphylococcus_aureus'.
        left_out_reason: str. Signed reason when the plan leaves it out; else empty.
    """

    name: str
    left_out_reason: str = ""


@dataclass(frozen=True)
class PlanStep:
    """The part of a safety plan this version judges: how pH sets are read.

    Args:
        core_readings: int. n, core readings per set that may end degree-hours.
        ph_guard: Decimal. Guard for meter error, subtracted from the limit pH.
        longest_gap_minutes: int. Longest gap in the air log without a second logger. [min]
        signed_by: str. Person who signed; empty while it is a draft.
    """

    core_readings: int = 5
    ph_guard: Decimal = Decimal("0.02")
    longest_gap_minutes: int = 15
    signed_by: str = ""


@dataclass(frozen=True)
class StageTarget:
    """One planned stage of a product.

    Args:
        name: str. 'fermentation', 'drying' or 'ageing'.
        hours: Decimal. Planned length. [h]
        temperature_c: Decimal. [degC]
        rh_pct: Decimal. [%RH]
        air_m_s: Decimal. While the fans run. [m/s]
        fans_on_h, fans_off_h: Decimal. Pulse drying: the fans run and rest in turn; both 0: they run
            all the time. [h]
        rest_rh_pct: Decimal. While they rest; 0: as the stage. [%RH]
    """

    name: str
    hours: Decimal
    temperature_c: Decimal
    rh_pct: Decimal
    air_m_s: Decimal
    fans_on_h: Decimal = Decimal(0)
    fans_off_h: Decimal = Decimal(0)
    rest_rh_pct: Decimal = Decimal(0)


@dataclass(frozen=True)
class ProductDefined:
    """A product: its line, calibre, recipe, stages, targets and plan.

    Args:
        product: str. Such as 'alder'.
        line: str. Two letters that begin its lots, such as 'AL'.
        family: str. 'dry_sausage', 'fresh_sausage' or 'ham'.
        title: str. Name on papers, such as 'Alder 65'.
        recipe: str. RecipeDefined it is made by; empty for ham.
        calibre_mm: Decimal. Filled diameter; 0 for ham. [mm]
        length_mm: Decimal. Piece length; 0 for ham. [mm]
        casing: str. 'natural', 'collagen', 'fibrous' or ''.
        mould: int. 1 when a surface mould is put on.
        stages: tuple of StageTarget.
        target_weight_loss_pct: Decimal. The curer's usual loss at sale. [%]
        market_names: tuple of str. Identity names it is sold under, keys of the
            moisture:protein table.
        hazards: tuple of Hazard.
        plan: PlanStep.
        price_per_kg: Decimal. Ex-works price in the house's coin. [1/kg]
        shape: str. One of SHAPES: how the section looks as it hangs.
        width_mm, thickness_mm: Decimal. Large and small diameter of an oval or pressed section; 0 for
            a round one. [mm]
        sorption_heat_kj_mol: Decimal. Net heat of sorption, per unit of the protein's part; 0: none. [kJ/mol]
        rim_remembers: int. 1 when the rim keeps a resistance of its own (speculative).
    """

    product: str
    line: str
    family: str
    title: str
    recipe: str = ""
    calibre_mm: Decimal = Decimal(0)
    length_mm: Decimal = Decimal(0)
    casing: str = ""
    mould: int = 0
    stages: tuple[StageTarget, ...] = ()
    target_weight_loss_pct: Decimal = Decimal(0)
    market_names: tuple[str, ...] = ()
    hazards: tuple[Hazard, ...] = ()
    plan: PlanStep = PlanStep()
    price_per_kg: Decimal = Decimal(0)
    shape: str = "round"
    width_mm: Decimal = Decimal(0)
    thickness_mm: Decimal = Decimal(0)
    sorption_heat_kj_mol: Decimal = Decimal(0)
    rim_remembers: int = 0

    @property
    def round_mm(self) -> Decimal:
        """Diameter of the round section of the same area; the calibre where no two are stated. [mm]"""
        if self.shape == "round" or self.width_mm < self.thickness_mm or self.thickness_mm <= 0:
            return self.calibre_mm
        wide, thin = float(self.width_mm), float(self.thickness_mm)
        quarter = math.pi / 4.0
        area = quarter * wide * thin if self.shape == "oval" else quarter * thin**2 + thin * (wide - thin)
        return Decimal(f"{math.sqrt(area / quarter):.2f}")
