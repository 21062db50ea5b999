"""Numbers that cannot be: what an entry may say at all, whatever the house looks like.

The limits are wide on purpose: they refuse a slip of the finger or of the unit,
not an unusual day (common practice, no source). Unusual values are asked about
in `expected.py`.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection
from datetime import date
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from saltloft.foundation.errors import InputError
from saltloft.foundation.units import MILLIGRAMS, Mass
from saltloft.foundation.units import mass as booked
from saltloft.plant import (
    analyses,
    digital_link,
    hams,
    instruments,
    lots,
    people,
    readings,
    ready_plan,
    recall,
    recipes,
    rooms,
    stock,
)

LONGEST_TEXT = 4000
_NAME = re.compile(r"^\w[\w .+&()'-]{0,59}$")
_WORDS = {"rh_pct": "relative humidity", "air_m_s": "air speed", "value": "water activity", "ph": "pH"}
FAMILIES = ("dry_sausage", "fresh_sausage", "ham")
DECISIONS = ("accepted", "downgraded", "refused")
UNITS = ("metric", "us")


def refuse_impossible(payload: Any) -> None:
    """Raise for a number, name or word that no house can mean.

    Raises:
        InputError: with the field, what came and what is allowed.
    """
    for name, value in vars(payload).items():
        if isinstance(value, str) and len(value) > LONGEST_TEXT and name != "payload":
            _refuse(name, f"{len(value)} characters", f"up to {LONGEST_TEXT} characters")
        if isinstance(value, Mass):
            _mass(name, value)
        for one in value if isinstance(value, tuple) else (value,):
            if isinstance(one, Decimal) and not one.is_finite():
                _refuse(name, one, "a number")
    check = _CHECKS.get(type(payload))
    if check is not None:
        check(payload)


def _refuse(key: str, got: object, allowed: str, do: str = "") -> None:
    words = _WORDS.get(key, key.removesuffix("_pct").removesuffix("_c").replace("_", " "))
    raise InputError(f"{words} cannot be {got}", got=str(got), allowed=allowed, do=do, key=key)


def _mass(key: str, value: Mass) -> None:
    if value.unit not in MILLIGRAMS or booked(value.number, value.unit, what=key).mg != value.mg:
        _refuse(key, f"{value.mg} mg for {value.number} {value.unit}", "milligrams that fit what was typed")
    if value.mg > 100_000_000_000:
        _refuse(key, f"{value.number} {value.unit}", "up to 100 t", "look at the unit")


def _between(key: str, value: Decimal | int | None, low: str, high: str, unit: str, *, do: str = "") -> None:
    if value is not None and not Decimal(low) <= value <= Decimal(high):
        _refuse(key, f"{value} {unit}".strip(), f"{low} to {high} {unit}".strip(), do)


def _one_of(key: str, value: str, allowed: Collection[str]) -> None:
    if value not in allowed:
        _refuse(key, f"'{value}'", ", ".join(allowed))


def _named(key: str, value: str) -> None:
    if not _NAME.match(value):
        _refuse(key, f"'{value}'", "1 to 60 letters, digits, blanks and . + & ( ) ' -, beginning with one")


def _day(key: str, value: str) -> None:
    if value:
        try:
            date.fromisoformat(value)
        except ValueError:
            _refuse(key, f"'{value}'", "a day as 2026-11-03")


def _flag(key: str, value: int) -> None:
    if value not in (0, 1):
        _refuse(key, value, "0 or 1")


def _temperature(key: str, value: Decimal | None, low: str = "-40", high: str = "60") -> None:
    _between(key, value, low, high, "degC", do="a value in degrees Fahrenheit is converted where it is typed")


def _humidity(key: str, value: Decimal) -> None:
    if Decimal(0) < value <= Decimal("1.5"):
        _refuse(key, f"{value} %", "5 to 100 %", "humidity is in per cent: 0.82 is entered as 82")
    _between(key, value, "5", "100", "%", do="look at the decimal mark")


def ph(key: str, value: Decimal | None) -> None:
    """Refuse a pH outside 2 to 10: meat and brine stay far inside."""
    do = f"did you mean {value / 10}?" if value is not None and 20 <= value <= 100 else ""
    _between(key, value, "2", "10", "", do=do)


def _house(said: people.HouseSetUp) -> None:
    try:
        ZoneInfo(said.zone)
    except (KeyError, ValueError, OSError):
        _refuse("zone", f"'{said.zone}'", "an IANA name such as Europe/Dublin")
    _one_of("units", said.units, UNITS)
    for market in said.markets:
        _one_of("markets", market, lots.MARKETS)


def _person(said: people.PersonAdded) -> None:
    _named("person", said.person)
    _one_of("role", said.role, people.ROLES)
    _one_of("units", said.units, UNITS)


def _room(said: rooms.RoomDefined) -> None:
    _named("room", said.room)
    _one_of("role", said.role, rooms.ROOM_ROLES)
    _between("capacity_kg", said.capacity_kg, "0", "1000000", "kg")
    _between("volume_m3", said.volume_m3, "0", "100000", "m3")
    _temperature("highest_temperature_c", said.highest_temperature_c, "-10", "90")


def _room_set(said: rooms.RoomSet) -> None:
    _temperature("temperature_c", said.temperature_c)
    _humidity("rh_pct", said.rh_pct)
    _between("air_m_s", said.air_m_s, "0", "10", "m/s")


def _instrument(said: instruments.InstrumentDefined) -> None:
    _named("instrument", said.instrument)
    _one_of("type", said.type, instruments.INSTRUMENT_TYPES)
    _between("check_every_days", said.check_every_days, "1", "1000", "days")


def _material(said: stock.MaterialReceived) -> None:
    _named("material_lot", said.material_lot)
    _one_of("decision", said.decision, DECISIONS)
    _temperature("core_temperature_c", said.core_temperature_c)
    ph("ph", said.ph)
    _between("pieces", said.pieces, "0", "1000000", "")


def _recipe(said: recipes.RecipeDefined) -> None:
    _named("recipe", said.recipe)
    _one_of("basis", said.basis, recipes.BASES)
    if not said.ingredients:
        _refuse("ingredients", "none", "at least one")
    for line in said.ingredients:
        _between("amount_g_kg", line.amount_g_kg, "0", "1000", "g/kg")
        for key in ("nitrite_pct", "nitrate_pct", "salt_pct", "sugar_pct"):
            _between(key, getattr(line, key), "0", "100", "%")
    block = sum((line.amount_g_kg for line in said.ingredients if line.kind in ("meat", "fat")), Decimal(0))
    _between("amount_g_kg", block, "0", "1001", "g/kg of meat and fat together")


def _product(said: recipes.ProductDefined) -> None:
    _named("product", said.product)
    _one_of("family", said.family, FAMILIES)
    _between("calibre_mm", said.calibre_mm, "0", "400", "mm")
    _between("length_mm", said.length_mm, "0", "5000", "mm")
    _between("target_weight_loss_pct", said.target_weight_loss_pct, "0", "70", "%")
    _between("price_per_kg", said.price_per_kg, "0", "100000", "a kg")
    _between("core_readings", said.plan.core_readings, "1", "100", "")
    _between("ph_guard", said.plan.ph_guard, "0", "0.5", "")
    _shape(said)
    for stage in said.stages:
        _between("hours", stage.hours, "0", "30000", "h")
        _temperature("temperature_c", stage.temperature_c)
        _humidity("rh_pct", stage.rh_pct)
        _between("air_m_s", stage.air_m_s, "0", "10", "m/s")
        _pulse(stage)


def _shape(said: recipes.ProductDefined) -> None:
    """Two diameters for a section that is not round, none for one that is; a rim that can be."""
    _one_of("shape", said.shape, recipes.SHAPES)
    _between("sorption_heat_kj_mol", said.sorption_heat_kj_mol, "0", "20", "kJ/mol")
    if said.rim_remembers not in (0, 1):
        _refuse("rim_remembers", str(said.rim_remembers), "0, 1")
    if said.shape == "round":
        if said.width_mm or said.thickness_mm:
            _refuse("shape", "round, with a width or a thickness", "oval or pressed, or neither diameter")
        return
    _between("width_mm", said.width_mm, "1", "400", "mm")
    least = recipes.LEAST_FLATNESS * said.round_mm
    if not least <= said.thickness_mm <= said.width_mm:
        _refuse(
            "thickness_mm",
            f"{said.thickness_mm} mm at a width of {said.width_mm} mm",
            f"{least:.0f} mm to the width: at least 0.4 of the round diameter of the same area",
        )


def _pulse(stage: recipes.StageTarget) -> None:
    """Fans that rest need both lengths."""
    if not (stage.fans_on_h or stage.fans_off_h or stage.rest_rh_pct):
        return
    _between("fans_on_h", stage.fans_on_h, "0.02", "240", "h")
    _between("fans_off_h", stage.fans_off_h, "0.02", "240", "h")
    if stage.rest_rh_pct:
        _humidity("rest_rh_pct", stage.rest_rh_pct)


def _lot(said: lots.LotMade) -> None:
    _named("lot", said.lot)
    _between("pieces", said.pieces, "1", "1000000", "")
    ph("batter_ph", said.batter_ph)
    _temperature("batter_temperature_c", said.batter_temperature_c, "-15", "40")
    _between("fat_pct", said.fat_pct, "0", "100", "%")
    _consumed(said.consumed, said.green_mass)


def _fresh(said: lots.FreshMade) -> None:
    _named("lot", said.lot)
    _consumed(said.consumed, said.mass)


def _consumed(consumed: tuple[lots.Consumed, ...], made: Mass) -> None:
    for line in consumed:
        _mass("mass", line.mass)
    went_in = sum(line.mass.mg for line in consumed)
    # A scale and water on the line explain a little; 2 % is common practice, no source.
    if consumed and made.mg > went_in * 1.02:
        _refuse(
            "green_mass",
            f"{made.kg:.1f} kg out of {went_in / 1e6:.1f} kg weighed in",
            "not more than went in",
            "look at the unit, or enter the amounts that are missing",
        )


def _ham(said: hams.HamGroupSalted) -> None:
    _named("lot", said.lot)
    _between("legs", said.legs, "1", "100000", "")
    _between("planned_days", said.planned_days, "1", "400", "days")
    ph("leg_ph", said.leg_ph)
    each = said.green_mass.kg / said.legs
    if not 2 <= each <= 40:
        _refuse("green_mass", f"{each:.1f} kg a leg", "2 to 40 kg a leg", "look at the unit and the count")


def _weighing(said: readings.PieceWeighed) -> None:
    _between("pieces", said.pieces, "1", "10000", "")
    if said.tag and said.pieces != 1:
        _refuse("pieces", said.pieces, "1 for a tagged piece")
    if said.tare is not None and said.tare.mg >= said.mass.mg:
        _refuse("tare", f"{said.tare.number} {said.tare.unit}", "less than the reading")
    _flag("green", said.green)
    _flag("kept", said.kept)


def _ph_set(said: readings.PhRead) -> None:
    _one_of("where", said.where, readings.PH_PLACES)
    if not 1 <= len(said.values) <= 60:
        _refuse("values", f"{len(said.values)} values", "1 to 60")
    for value in said.values:
        ph("ph", value)
    _temperature("core_temperature_c", said.core_temperature_c, "-15")


def _water_activity(said: readings.WaterActivityRead) -> None:
    do = f"did you mean {said.value / 100}?" if 20 <= said.value <= 100 else ""
    _between("value", said.value, "0.2", "1", "", do=do)
    _one_of("sample", said.sample, readings.SAMPLE_KINDS)
    _temperature("sample_temperature_c", said.sample_temperature_c, "-15")


def _pressed(said: readings.PressedAndCut) -> None:
    if len(said.press) > 12:
        _refuse("press", f"{len(said.press)} values", "up to 12")
    for value in said.press:
        _between("press", value, "1", "5", "")
    _between("rim_mm", said.rim_mm, "0", "100", "mm")
    for key in ("ring", "hollow", "smear"):
        _between(key, getattr(said, key), "-1", "2", "")
    _between("good", said.good, "-1", "1", "")
    if said.colour:
        _one_of("colour", said.colour, readings.CUT_COLOURS)
    looked = (said.ring, said.hollow, said.smear, said.good)
    if not (said.press or said.rim_mm is not None or said.colour or said.note or max(looked) >= 0):
        _refuse("press", "nothing", "a press, a cut or a word")
    _flag("kept", said.kept)


def _analysed(said: analyses.LotAnalysed) -> None:
    _between("moisture_pct", said.moisture_pct, "2", "85", "%", do="per cent of the weight, such as 36.4")
    _between("protein_pct", said.protein_pct, "2", "70", "%", do="per cent of the weight, such as 21.5")
    _between("fat_pct", said.fat_pct, "0", "85", "%")
    _between("salt_pct", said.salt_pct, "0", "20", "%")
    parts = (said.moisture_pct, said.protein_pct, said.fat_pct, said.salt_pct)
    whole = sum((part for part in parts if part is not None), Decimal(0))
    # Each part carries an error of its own; 3 % over the whole is more than they explain (chosen, no source).
    if whole > 103:
        _refuse("moisture_pct", f"{whole} % with the other parts", "up to 103 % in all")
    _one_of("sample", said.sample, readings.SAMPLE_KINDS)
    _one_of("analyst", said.analyst, analyses.ANALYSTS)
    _between("pieces", said.pieces, "1", "1000", "")
    _flag("kept", said.kept)


def _measured(said: analyses.PieceMeasured) -> None:
    for key in ("diameter_mm", "other_mm"):
        _between(key, getattr(said, key), "8", "300", "mm", do="across the piece, in millimetres")
    _flag("kept", said.kept)


def _ready(said: ready_plan.ReadyPlanned) -> None:
    if said.water_activity:
        _between("water_activity", said.water_activity, "0.5", "0.99", "")
    _one_of("water_activity_of", said.water_activity_of, ready_plan.READY_SAMPLES)
    _between("least_days", said.least_days, "0", "1000", "days")
    if said.least_days and not said.least_days_why.strip():
        _refuse("least_days_why", "nothing", "the rule, plan or customer that asks for the days")
    _between("lab_days", said.lab_days, "0", "60", "days")
    for step in ready_plan.STEPS:
        _between(f"{step}_days", getattr(said, f"{step}_days"), "0", "60", "days")


def _document(said: readings.DocumentRecorded) -> None:
    for key in ("number", "issuer", "date", "hazard"):
        if not getattr(said, key).strip():
            _refuse(key, "nothing", "a word")
    for key in ("date", "covers_from", "covers_to"):
        _day(key, getattr(said, key))


def _revoked(said: people.DeviceRevoked) -> None:
    if not said.reason.strip():
        _refuse("reason", "nothing", "a word: lost, sold, broken")


def _tare(said: instruments.TareWeighed) -> None:
    _named("carrier", said.carrier)
    _one_of("sort", said.sort, instruments.CARRIER_SORTS)


def _packed(said: lots.FreshPacked) -> None:
    _day("use_by", said.use_by or "nothing")
    _between("packs", said.packs, "1", "1000000", "")


_CHECKS: dict[type, Callable[[Any], None]] = {
    people.HouseSetUp: _house,
    people.PersonAdded: _person,
    people.DeviceEnrolled: lambda said: _named("device", said.device),
    people.DeviceRevoked: _revoked,
    people.TokenIssued: lambda said: _named("device", said.device),
    instruments.TareWeighed: _tare,
    rooms.RoomDefined: _room,
    rooms.RoomSet: _room_set,
    instruments.InstrumentDefined: _instrument,
    instruments.InstrumentChecked: lambda said: _flag("good", said.good),
    stock.MaterialReceived: _material,
    recipes.RecipeDefined: _recipe,
    recipes.ProductDefined: _product,
    lots.LotMade: _lot,
    lots.FreshMade: _fresh,
    lots.FreshChilled: lambda said: _temperature("core_temperature_c", said.core_temperature_c, "-15"),
    lots.FreshPacked: _packed,
    lots.LotYielded: lambda said: _one_of("into", said.into, lots.YIELD_USES),
    lots.LotReleased: lambda said: _one_of("market", said.market, lots.MARKETS),
    hams.HamGroupSalted: _ham,
    hams.HamGroupWeighed: lambda said: _between("legs", said.legs, "1", "100000", ""),
    readings.PieceWeighed: _weighing,
    readings.PhRead: _ph_set,
    readings.WaterActivityRead: _water_activity,
    readings.PressedAndCut: _pressed,
    analyses.LotAnalysed: _analysed,
    analyses.PieceMeasured: _measured,
    ready_plan.ReadyPlanned: _ready,
    recall.RecallDrilled: recall.refuse_impossible_drill,
    digital_link.ProductNumbered: digital_link.refuse_wrong_number,
    readings.CheckDone: lambda said: _flag("good", said.good),
    readings.DocumentRecorded: _document,
}
