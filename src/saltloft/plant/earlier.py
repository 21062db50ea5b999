"""Payloads as earlier versions wrote them: each is read for ever, and says what it means today."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from saltloft.foundation.units import Mass
from saltloft.plant.hams import HamGroupSalted
from saltloft.plant.readings import PressedAndCut
from saltloft.plant.recipes import Hazard, PlanStep, ProductDefined, StageTarget
from saltloft.plant.stock import MaterialReceived


@dataclass(frozen=True)
class PressedAndCut1:
    """The curer's hand and eye, as version 1 stated them.

    Args:
        lot: str.
        press: tuple of int. 1 (soft) to 5 (hard).
        rim_mm: Decimal or None. Thickness of the dark rim. [mm]
        hollow: int. 0 none or not looked, 1 small, 2 large.
        smear: int. 0 none or not looked, to 2.
        good: int. 1 when the curer calls it good, 0 not yet, -1 not said.
        note: str.
    """

    lot: str
    press: tuple[int, ...] = ()
    rim_mm: Decimal | None = None
    hollow: int = 0
    smear: int = 0
    good: int = -1
    note: str = ""


def pressed_and_cut(said: PressedAndCut1) -> PressedAndCut:
    """Version 1 had no word for 'not looked': without a rim nothing was cut, so a 0 says nothing there.

    Args:
        said: PressedAndCut1.
    """
    cut = said.rim_mm is not None
    return PressedAndCut(
        lot=said.lot,
        press=said.press,
        rim_mm=said.rim_mm,
        hollow=said.hollow if cut or said.hollow else -1,
        smear=said.smear if cut or said.smear else -1,
        good=said.good,
        note=said.note,
    )


@dataclass(frozen=True)
class MaterialReceived1:
    """A delivery, as version 1 stated it: without sort, best-before, truck and papers.

    Args:
        material_lot, material, supplier: str.
        mass: Mass.
        decision: str.
        core_temperature_c: Decimal or None. [degC]
        ph: Decimal or None.
        supplier_lot: str.
        pieces: int.
        note: str.
    """

    material_lot: str
    material: str
    supplier: str
    mass: Mass
    decision: str = "accepted"
    core_temperature_c: Decimal | None = None
    ph: Decimal | None = None
    supplier_lot: str = ""
    pieces: int = 0
    note: str = ""


def material_received(said: MaterialReceived1) -> MaterialReceived:
    """What version 1 did not ask stays unsaid: no sort, no day, no truck, no papers.

    Args:
        said: MaterialReceived1.
    """
    return MaterialReceived(**vars(said))


@dataclass(frozen=True)
class HamGroupSalted1:
    """A group of legs went into salt, as version 1 stated it: legs by number only, no tags.

    Args:
        lot, product: str.
        legs: int.
        green_mass: Mass.
        material_lots: tuple of str.
        salt_mass: Mass or None.
        room: str.
        planned_days: int. [d]
        leg_ph: Decimal or None.
    """

    lot: str
    product: str
    legs: int
    green_mass: Mass
    material_lots: tuple[str, ...]
    salt_mass: Mass | None
    room: str
    planned_days: int
    leg_ph: Decimal | None = None


def ham_group_salted(said: HamGroupSalted1) -> HamGroupSalted:
    """Version 1 weighed the legs together, not out of each delivery.

    Args:
        said: HamGroupSalted1.
    """
    return HamGroupSalted(**vars(said))


@dataclass(frozen=True)
class StageTarget1:
    """One planned stage, as version 1 of a product stated it: the fans run all the time.

    Args:
        name: str.
        hours: Decimal. [h]
        temperature_c: Decimal. [degC]
        rh_pct: Decimal. [%RH]
        air_m_s: Decimal. [m/s]
    """

    name: str
    hours: Decimal
    temperature_c: Decimal
    rh_pct: Decimal
    air_m_s: Decimal


_PLAN = PlanStep()


@dataclass(frozen=True)
class ProductDefined1:
    """A product, as version 1 stated it: every piece round, the rim as the model has it.

    Args:
        product, line, family, title, recipe: str.
        calibre_mm, length_mm: Decimal. [mm]
        casing: str.
        mould: int.
        stages: tuple of StageTarget1.
        target_weight_loss_pct: Decimal. [%]
        market_names: tuple of str.
        hazards: tuple of Hazard.
        plan: PlanStep.
        price_per_kg: Decimal. [1/kg]
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
    stages: tuple[StageTarget1, ...] = ()
    target_weight_loss_pct: Decimal = Decimal(0)
    market_names: tuple[str, ...] = ()
    hazards: tuple[Hazard, ...] = ()
    plan: PlanStep = _PLAN
    price_per_kg: Decimal = Decimal(0)


def product_defined(said: ProductDefined1) -> ProductDefined:
    """Version 1 knew round pieces and steady fans only.

    Args:
        said: ProductDefined1.
    """
    stages = tuple(StageTarget(**vars(stage)) for stage in said.stages)
    return ProductDefined(**{**vars(said), "stages": stages})


TO_NOW: dict[type, Callable[[Any], Any]] = {
    PressedAndCut1: pressed_and_cut,
    MaterialReceived1: material_received,
    HamGroupSalted1: ham_group_salted,
    ProductDefined1: product_defined,
}
