"""What kinds of entries and their fields are called on forms and in lists."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from typing import Any

from saltloft.foundation.units import Mass
from saltloft.foundation.words import say
from saltloft.plant.entries import encode
from saltloft.web.flow_words import flow_fields, flow_kinds


def kind_word(kind: str) -> str:
    """An entry kind as people say it."""
    words = {
        "lot.made": say("made"),
        "lot.hung": say("hung"),
        "lot.moved": say("moved"),
        "lot.held": say("held"),
        "hold.lifted": say("hold lifted"),
        "lot.released": say("released"),
        "lot.dispatched": say("sent out"),
        "lot.yielded": say("off the racks"),
        "fresh.made": say("fresh batch made"),
        "fresh.chilled": say("core read in the cold store"),
        "fresh.packed": say("fresh batch packed"),
        "ham.salted": say("hams into salt"),
        "ham.salted_out": say("hams out of salt"),
        "ham.weighed": say("hams weighed"),
        "piece.weighed": say("weighed"),
        "ph.read": say("pH read"),
        "water_activity.read": say("water activity read"),
        "lot.pressed_and_cut": say("pressed and cut"),
        "lot.analysed": say("analysed"),
        "piece.measured": say("diameter measured"),
        "check.done": say("round or check"),
        "document.recorded": say("document"),
        "material.received": say("received"),
        "room.set": say("room set"),
        "instrument.checked": say("instrument checked"),
        "entry.corrected": say("corrected"),
        "room.defined": say("a room"),
        "instrument.defined": say("an instrument"),
        "recipe.defined": say("a recipe version"),
        "product.defined": say("a product and its plan"),
        "product.ready": say("when a product is ready, and the days until it leaves"),
        "person.added": say("a person"),
        "fact.confirmed": say("fact confirmed"),
        "house.set_up": say("the house set up"),
        "device.enrolled": say("a device taken in"),
        "device.revoked": say("a device shut out"),
        "token.issued": say("a token given out"),
        "offline.entered": say("came in later, entered without a network"),
        "tare.weighed": say("weighed empty"),
        "readings.sealed": say("readings imported"),
        "readings.voided": say("an import undone"),
    }
    return {**words, **_traced_kinds(), **flow_kinds()}.get(kind.partition("/")[0], kind)


def _traced_kinds() -> dict[str, str]:
    return {
        "product.numbered": say("a product’s trade item number"),
        "recall.drilled": say("a recall, drilled or real"),
    }


def field_word(name: str) -> str:
    """A field's label, with the unit it is typed in."""
    words = {**flow_fields(), **_measured(), **_said(), **_moved(), **_set_up(), **_ready(), **_wire()}
    return words.get(name, name.replace("_", " "))


def _wire() -> dict[str, str]:
    """What the wire and imports state by themselves."""
    return {
        "device": say("device"),
        "label": say("called"),
        "scope": say("scope"),
        "batch": say("batch"),
        "file_name": say("file"),
        "rows": say("readings"),
        "first_at": say("first"),
        "last_at": say("last"),
        "clock_offset_seconds": say("clock corrected by, s"),
        "carrier": say("tag"),
        "offset_ms": say("clock off by, ms"),
        "offset_now_ms": say("clock off when it came in, ms"),
        "session": say("signed in"),
        "name": say("name"),
        "zone": say("time zone"),
        "markets": say("markets"),
        "demo": say("invented"),
    }


def _set_up() -> dict[str, str]:
    return {
        "person": say("short name, as it stands in every entry"),
        "role": say("role"),
        "language": say("language, two letters"),
        "units": say("units"),
        "capacity_kg": say("kilograms it can carry, 0 when not known"),
        "volume_m3": say("volume, m³"),
        "highest_temperature_c": say("highest temperature it can reach, °C"),
        "type": say("type"),
        "division": say("smallest step, such as 5 g"),
        "check_every_days": say("days between checks"),
        "basis": say("doses per kilogram of"),
        "ingredients": say(
            "ingredients, one a line: name; kind; g/kg; meat table row; nitrite %; nitrate %; salt %; sugar %"
        ),
        "line": say("two letters its lots begin with"),
        "family": say("family"),
        "title": say("name on papers"),
        "calibre_mm": say("filled diameter, mm"),
        "length_mm": say("length of a piece, mm"),
        "casing": say("casing: natural, collagen or fibrous"),
        "mould": say("surface mould: 1 yes, 0 no"),
        "stages": say(
            "stages, one a line: name; hours; °C; %RH; air m/s; for fans that rest also: hours on; hours "
            "off; %RH while they rest"
        ),
        "target_weight_loss_pct": say("usual loss at sale, %"),
        "market_names": say("identity names it is sold under, with ; between"),
        "hazards": say("hazards of its plan, one a line: name; reason when left out"),
        "plan": say("plan: core readings a set; pH guard; longest gap in minutes; signed by"),
        "price_per_kg": say("price a kilogram"),
        "shape": say("section as it hangs"),
        "width_mm": say("large diameter of an oval or pressed section, mm; 0 for round"),
        "thickness_mm": say("small diameter of an oval or pressed section, mm; 0 for round"),
        "sorption_heat_kj_mol": say("net heat of sorption, kJ/mol, 0 for none"),
        "rim_remembers": say("rim with a resistance of its own (speculative): 1 yes, 0 no"),
    }


def _ready() -> dict[str, str]:
    return {
        "water_activity": say("water activity it has to come down to, 0 for none"),
        "water_activity_of": say("water activity of"),
        "least_days": say("least days from hanging, 0 for none"),
        "least_days_why": say("which rule, plan or customer asks for them"),
        "lab_days": say("days a laboratory takes"),
        "wash_days": say("days to brush or wash, 0 when not done"),
        "dry_days": say("days to dry the surface"),
        "equalise_days": say("days to equalise, packed"),
        "slice_days": say("days to slice"),
        "pack_days": say("days to pack"),
    }


def _measured() -> dict[str, str]:
    return {
        "mass": say("weight, with its unit"),
        "green_mass": say("green weight, with its unit"),
        "salt_mass": say("salt put on, with its unit"),
        "tare": say("tare, with its unit"),
        "instrument": say("instrument"),
        "tag": say("tag of the piece"),
        "pieces": say("pieces"),
        "legs": say("legs"),
        "values": say("pH values, with ; between"),
        "value": say("water activity"),
        "where": say("what was measured"),
        "sample": say("how the sample was taken"),
        "core_temperature_c": say("core, °C"),
        "sample_temperature_c": say("sample, °C"),
        "temperature_c": say("temperature, °C"),
        "rh_pct": say("humidity, %RH"),
        "air_m_s": say("air speed, m/s"),
        "press": say("press at three places, 1 soft to 5 hard, with ; between"),
        "rim_mm": say("dark rim, mm"),
        "ring": say("ring under the rim: 0 none, 1 faint, 2 clear, -1 not looked"),
        "hollow": say("hollow: 0 none, 1 small, 2 large, -1 not looked"),
        "smear": say("smear: 0 none, 1 some, 2 much, -1 not looked"),
        "colour": say("colour of the cut"),
        "moisture_pct": say("water, %"),
        "protein_pct": say("protein of the same sample, %"),
        "salt_pct": say("salt, %"),
        "analyst": say("by whom"),
        "method": say("method, as the report says"),
        "document": say("number of the report, or SHA-256 of the file"),
        "diameter_mm": say("diameter at half its length, mm"),
        "other_mm": say("across the first, mm, for a piece that is not round"),
        "batter_ph": say("pH of the mince"),
        "batter_temperature_c": say("mince, °C"),
        "fat_pct": say("fat by analysis, %"),
        "ph": say("pH"),
        "leg_ph": say("pH of the legs, mean"),
        "green": say("1 when it is the green weight, else 0"),
        "kept": say("1 when an unexpected number is kept, else 0"),
    }


def _said() -> dict[str, str]:
    return {
        "good": say("good: 1 yes, 0 no, -1 not said"),
        "note": say("note"),
        "gtin": say("trade item number (GTIN), with its last digit"),
        "reason": say("reason"),
        "until": say("until what is measured or decided"),
        "check": say("round or check"),
        "found": say("what was found"),
        "due_at": say("when it was due"),
        "limit": say("what was allowed"),
        "hazard": say("hazard"),
        "number": say("number"),
        "date": say("day of issue, such as 2026-11-03"),
        "issuer": say("issued by"),
        "limits": say("which limits it covers, in its own words"),
        "covers_lots": say("lots it covers, with ; between"),
        "covers_products": say("products it covers, with ; between"),
        "covers_from": say("covers from day"),
        "covers_to": say("covers to day"),
        "digest": say("SHA-256 of the file or row"),
        "fact": say("fact row"),
        "edition": say("edition that was read"),
        "demo": say("1 in the invented house, else 0"),
    }


def _moved() -> dict[str, str]:
    return {
        "lot": say("lot"),
        "rack": say("rack"),
        "racks": say("racks, with ; between"),
        "room": say("room"),
        "product": say("product"),
        "recipe": say("recipe version"),
        "consumed": say("what went in, one a line: material lot; ingredient; weight with its unit"),
        "casing_lot": say("casing lot"),
        "culture_lot": say("culture lot"),
        "into": say("into"),
        "last": say("1 when nothing of it hangs after this, else 0"),
        "customer": say("customer"),
        "packs": say("packs"),
        "use_by": say("use-by day, such as 2026-11-09"),
        "material_lot": say("our lot number"),
        "material_lots": say("material lots, with ; between"),
        "material": say("material"),
        "supplier": say("supplier"),
        "supplier_lot": say("their lot number"),
        "decision": say("decision"),
        "planned_days": say("days in salt, planned"),
    }


def plain_value(value: Any) -> str:
    """A payload's value as it was typed."""
    if value is None:
        return ""
    if isinstance(value, Mass):
        return f"{value.number} {value.unit}"
    if dataclasses.is_dataclass(value):
        return _inner(value)
    if isinstance(value, tuple):
        return ("\n" if value and hasattr(value[0], "__dataclass_fields__") else "; ").join(
            _inner(item) for item in value
        )
    return str(value)


def _inner(item: Any) -> str:
    if hasattr(item, "__dataclass_fields__") and not isinstance(item, Mass):
        return "; ".join(plain_value(getattr(item, name)) for name in item.__dataclass_fields__)
    return plain_value(item)


def payload_words(payload: object, skip: Mapping[str, object] | None = None) -> str:
    """A payload in one line: every field that was given, with its name."""
    shown = []
    for name in encode(payload):
        value = plain_value(getattr(payload, name))
        if value and value not in ("0", "-1") and name not in ("lot", *(skip or ())):
            shown.append(f"{field_word(name).partition(',')[0]} {value}")
    return ", ".join(shown)
