"""Recipes and products of the house, in plain form."""

from __future__ import annotations

from demo.house import LINES, Line
from demo.records.book import Plain

LEAN_FAT, BACKFAT_FAT = 7.14, 88.69
"""Fat of the two pork rows, shoulder lean 10072 and backfat 10004. [%]"""
CURE_G_KG = 22.0
"""Curing salt with 0.5 % nitrite: 110 mg of sodium nitrite per kilogram of meat."""
SPICE_G_KG = {"HA": 3.0, "RO": 3.7, "AL": 3.2, "YE": 3.0}
SPICE_NAME = {"HA": "pepper", "RO": "fennel", "AL": "pepper", "YE": "pepper"}
HAZARDS = (
    "staphylococcus_aureus",
    "salmonella",
    "escherichia_coli",
    "listeria_monocytogenes",
    "clostridium_botulinum",
    "trichinella",
    "nitrite",
    "foreign_body",
    "allergen",
)
LEFT_OUT = {"escherichia_coli": "pork only, no beef enters the house; signed ilo, 4 November 2025 (demo)"}
MARKET_NAMES = {
    "HA": ["dry_or_hard_salami"],
    "RO": ["genoa_salami"],
    "AL": ["genoa_salami"],
    "YE": ["dry_or_hard_salami"],
}


def doses(line: Line) -> dict[str, float]:
    """Grams of everything but meat per kilogram of meat."""
    batter = _batter_per_meat(line)
    salt = line.salt_pct * 10 * batter - CURE_G_KG * 0.995
    return {
        "salt": round(salt, 1),
        "nitrite curing salt": CURE_G_KG,
        "dextrose": round(line.dextrose_g_kg * batter, 1),
        "starter culture": 0.5,
        SPICE_NAME[line.code]: SPICE_G_KG[line.code],
        "garlic": 1.5,
    }


def _batter_per_meat(line: Line) -> float:
    others = SPICE_G_KG[line.code] + 2.0
    return (1000 + others) / (1000 - line.salt_pct * 10 - line.dextrose_g_kg)


def backfat_share(line: Line) -> float:
    """Backfat of the meat block. [0..1]"""
    block = line.fat_pct * _batter_per_meat(line)
    return (block - LEAN_FAT) / (BACKFAT_FAT - LEAN_FAT)


def _ingredient(name: str, kind: str, amount: float, **parts: str) -> Plain:
    plain = {
        "name": name,
        "kind": kind,
        "amount_g_kg": f"{amount:.1f}",
        "composition_row": "",
        "nitrite_pct": "0",
        "nitrate_pct": "0",
        "salt_pct": "0",
        "sugar_pct": "0",
    }
    return plain | parts


def recipe(line: Line) -> Plain:
    """The one recipe version of a line."""
    fat = round(backfat_share(line) * 1000, 1)
    parts = {
        "salt": ("salt", {"salt_pct": "99.5"}),
        "nitrite curing salt": ("cure", {"salt_pct": "99.5", "nitrite_pct": "0.5"}),
        "dextrose": ("sugar", {"sugar_pct": "100"}),
        "starter culture": ("culture", {}),
    }
    lines = [
        _ingredient("lean trim", "meat", 1000 - fat, composition_row="10072"),
        _ingredient("backfat", "fat", fat, composition_row="10004"),
    ]
    for name, amount in doses(line).items():
        kind, extra = parts.get(name, ("spice", {}))
        lines.append(_ingredient(name, kind, amount, **extra))
    return {"recipe": f"{line.product}-1", "basis": "meat", "ingredients": lines}


def bramble_recipe() -> Plain:
    """The fresh sausage: no nitrite at all."""
    return {
        "recipe": "bramble-1",
        "basis": "meat",
        "ingredients": [
            _ingredient("lean trim", "meat", 800, composition_row="10072"),
            _ingredient("backfat", "fat", 200, composition_row="10004"),
            _ingredient("salt", "salt", 17, salt_pct="99.5"),
            _ingredient("pepper", "spice", 2.5),
        ],
    }


def _stage(name: str, hours: float, temperature: float, rh: float, air: float) -> Plain:
    return {
        "name": name,
        "hours": f"{hours:g}",
        "temperature_c": f"{temperature:g}",
        "rh_pct": f"{rh:g}",
        "air_m_s": f"{air:g}",
    }


def _hazards() -> list[Plain]:
    return [{"name": name, "left_out_reason": LEFT_OUT.get(name, "")} for name in HAZARDS]


def _plan(readings: int = 5) -> Plain:
    return {"core_readings": readings, "ph_guard": "0.02", "longest_gap_minutes": 15, "signed_by": "ilo"}


def product(line: Line) -> Plain:
    """A dry line as a product with its stages, hazards and plan."""
    stages = [_stage("fermentation", line.ferment_h, line.ferment_c, 92, 0.4)]
    first = {"AL": 21.0, "YE": 16.0}.get(line.code, line.dry_days)
    stages.append(_stage("drying", first * 24, 14, 81.5, 0.18))
    if first < line.dry_days:
        stages.append(_stage("ageing", (line.dry_days - first) * 24, 13, 79, 0.10))
    return {
        "product": line.product,
        "line": line.code,
        "family": "dry_sausage",
        "title": line.title,
        "recipe": f"{line.product}-1",
        "calibre_mm": f"{line.calibre_mm:g}",
        "length_mm": str(line.length_mm),
        "casing": line.casing,
        "mould": 0 if line.code == "HA" else 1,
        "stages": stages,
        "target_weight_loss_pct": f"{line.target_loss_pct:g}",
        "market_names": MARKET_NAMES[line.code],
        "hazards": _hazards(),
        "plan": _plan(),
        "price_per_kg": line.price,
    }


def ready(line: Line) -> Plain:
    """When a dry line counts as ready beside its loss, and the days from the racks to the door."""
    return {
        "product": line.product,
        "water_activity": {"HA": "0.88", "YE": "0.90"}.get(line.code, "0"),
        "water_activity_of": "mean",
        "least_days": 21 if line.code == "YE" else 0,
        "least_days_why": "the house's own rule for thick pieces" if line.code == "YE" else "",
        "lab_days": "4",
        "wash_days": "0" if line.code == "HA" else "0.5",
        "dry_days": "0" if line.code == "HA" else "1",
        "equalise_days": "2" if line.code == "YE" else "0",
        "slice_days": "0",
        "pack_days": "1",
    }


def other_products() -> list[Plain]:
    """Fresh Bramble and the two hams."""
    empty = {
        "calibre_mm": "0",
        "length_mm": "0",
        "casing": "",
        "mould": 0,
        "stages": [],
        "market_names": [],
        "hazards": _hazards(),
        "plan": _plan(),
    }
    bramble = {
        "product": "bramble",
        "line": "BR",
        "family": "fresh_sausage",
        "title": "Bramble fresh",
        "recipe": "bramble-1",
        "target_weight_loss_pct": "0",
        "price_per_kg": "7.20",
    }
    hams = [
        {
            "product": name,
            "line": "OK",
            "family": "ham",
            "title": title,
            "recipe": "",
            "target_weight_loss_pct": "30",
            "price_per_kg": price,
        }
        for name, title, price in (("oak-9", "Oak-9", "19.50"), ("oak-14", "Oak-14", "24.00"))
    ]
    return [empty | bramble, *(empty | ham for ham in hams)]


ALL_LINES = tuple(LINES.values())
