"""Numbers no house can mean are refused with the field, what came and what is allowed."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest
from tests.small_house import alder, lot_made, weighing

from saltloft.foundation.errors import InputError
from saltloft.foundation.units import Mass, mass
from saltloft.plant import analyses, hams, lots, people, readings, ready_plan, recipes, rooms, stock
from saltloft.plant.limits import refuse_impossible

ROOM = rooms.RoomSet("D2", Decimal(14), Decimal(80), Decimal("0.2"))
PH = readings.PhRead("A", (Decimal("5.31"),), "core", "pH-A")
WATER = readings.WaterActivityRead("A", Decimal("0.92"), "ground", "AW-1")
RECIPE = recipes.RecipeDefined("r", "meat", (recipes.Ingredient("lean", "meat", Decimal(700)),))
HAM = hams.HamGroupSalted("OK-1", "oak-9", 60, mass("756", "kg"), ("LEG-1",), None, "H1", 13)
ANALYSIS = analyses.LotAnalysed("A", Decimal("36.4"), Decimal("21.5"), Decimal("33.2"), Decimal("4.1"))
READY = ready_plan.ReadyPlanned("alder", Decimal("0.88"))
DOCUMENT = readings.DocumentRecorded("listeria", "PA-1", "2026-01-05", "an authority")

WRONG: list[tuple[Any, str, str]] = [
    (replace(PH, values=(Decimal(55),)), "ph", "did you mean 5.5"),
    (replace(PH, where="middle"), "where", "core"),
    (replace(PH, values=()), "values", "1 to 60"),
    (replace(WATER, value=Decimal(92)), "value", "did you mean 0.92"),
    (replace(WATER, sample="whole"), "sample", "ground"),
    (replace(ROOM, rh_pct=Decimal("1.2")), "rh_pct", "0.82 is entered as 82"),
    (replace(ROOM, rh_pct=Decimal(120)), "rh_pct", "5 to 100"),
    (replace(ROOM, temperature_c=Decimal(72)), "temperature_c", "Fahrenheit"),
    (replace(ROOM, air_m_s=Decimal(30)), "air_m_s", "0 to 10"),
    (replace(lot_made(), fat_pct=Decimal(130)), "fat_pct", "0 to 100"),
    (replace(lot_made(), pieces=0), "pieces", "1 to"),
    (replace(lot_made(), green_mass=mass("2900", "kg")), "green_mass", "went in"),
    (replace(lot_made(), lot="../etc"), "lot", "letters"),
    (replace(weighing("1.05"), mass=Mass(10_500_000, "1.05", "kg")), "mass", "fit what was typed"),
    (replace(weighing("1.05"), tare=mass("2", "kg")), "tare", "less than"),
    (replace(weighing("1.05"), pieces=3), "pieces", "tagged"),
    (replace(HAM, green_mass=mass("7560", "kg")), "green_mass", "a leg"),
    (replace(HAM, planned_days=0), "planned_days", "1 to 400"),
    (replace(RECIPE, ingredients=()), "ingredients", "at least one"),
    (
        replace(RECIPE, ingredients=(*RECIPE.ingredients, recipes.Ingredient("fat", "fat", Decimal(400)))),
        "amount_g_kg",
        "meat and fat together",
    ),
    (
        replace(
            RECIPE, ingredients=(recipes.Ingredient("c", "cure", Decimal(20), nitrite_pct=Decimal(600)),)
        ),
        "nitrite_pct",
        "0 to 100",
    ),
    (replace(alder(), family="sausage"), "family", "dry_sausage"),
    (replace(alder(), calibre_mm=Decimal(650)), "calibre_mm", "0 to 400"),
    (people.HouseSetUp("x", "Europe/Corrowmere", "metric", ()), "zone", "IANA"),
    (people.HouseSetUp("x", "UTC", "metric", ("moon",)), "markets", "us, ca"),
    (people.PersonAdded("maren", "king"), "role", "curer"),
    (
        stock.MaterialReceived("LT", "lean", "s", mass("5", "kg"), core_temperature_c=Decimal(390)),
        "core_temperature_c",
        "-40",
    ),
    (stock.MaterialReceived("LT", "lean", "s", mass("5", "kg"), decision="maybe"), "decision", "accepted"),
    (lots.FreshPacked("BR", mass("5", "kg"), 10, "20-03-2026"), "use_by", "2026-11-03"),
    (lots.LotYielded("A", mass("5", "kg"), "home"), "into", "pack"),
    (lots.LotReleased("A", "moon", "0" * 64), "market", "us"),
    (replace(DOCUMENT, issuer=" "), "issuer", "a word"),
    (replace(DOCUMENT, covers_to="soon"), "covers_to", "a day"),
    (readings.PressedAndCut("A", (6,)), "press", "1 to 5"),
    (readings.PressedAndCut("A", (3,), ring=3), "ring", "-1 to 2"),
    (readings.PressedAndCut("A", (3,), colour="blue"), "colour", "grey_core"),
    (readings.PressedAndCut("A"), "press", "a press, a cut or a word"),
    (replace(ANALYSIS, moisture_pct=Decimal("0.36")), "moisture_pct", "per cent"),
    (replace(ANALYSIS, protein_pct=Decimal(45), fat_pct=Decimal(40)), "moisture_pct", "103 % in all"),
    (replace(ANALYSIS, analyst="us"), "analyst", "laboratory"),
    (replace(ANALYSIS, sample="whole"), "sample", "ground"),
    (analyses.PieceMeasured("A", Decimal("5.2")), "diameter_mm", "in millimetres"),
    (replace(READY, water_activity=Decimal(85)), "water_activity", "0.5 to 0.99"),
    (replace(READY, least_days=20), "least_days_why", "the rule"),
    (replace(READY, wash_days=Decimal(90)), "wash_days", "0 to 60"),
    (readings.PhRead("A", (Decimal("NaN"),), "core", "pH-A"), "values", "a number"),
    (readings.WaterActivityRead("A", Decimal("Infinity"), "ground", "AW-1"), "value", "a number"),
    (readings.CheckDone("x" * 5000, 1), "check", "4000"),
]


@pytest.mark.parametrize(
    ("payload", "key", "allowed"), WRONG, ids=[f"{type(w[0]).__name__}-{w[1]}" for w in WRONG]
)
def test_it_is_refused_and_says_what_is_allowed(payload: Any, key: str, allowed: str) -> None:
    """What, what came, what is allowed: in the error and in its attributes."""
    with pytest.raises(InputError) as caught:
        refuse_impossible(payload)
    assert caught.value.key == key
    assert allowed in caught.value.message
    assert caught.value.got


@pytest.mark.parametrize(
    "payload",
    [PH, WATER, ROOM, RECIPE, HAM, DOCUMENT, ANALYSIS, READY, alder(), lot_made(), weighing("1.05")],
    ids=lambda payload: type(payload).__name__,
)
def test_what_a_house_states_every_day_is_taken(payload: Any) -> None:
    """Usual numbers go through."""
    refuse_impossible(payload)
