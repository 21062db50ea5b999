"""A small real house for the browser: two rooms, two lots, hams, a fresh batch and ten days of air."""

from __future__ import annotations

import math
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

from saltloft.foundation.units import mass
from saltloft.house import House
from saltloft.jobs import people as people_job
from saltloft.jobs import record, watch
from saltloft.plant import hams, instruments, lots, people, readings, recall, recipes, rooms, stock
from saltloft.plant.stated import Draft, Stamp

TAGS = ("3", "7", "14", "21", "33", "41")
HUNG_DAYS_AGO = 9
CURING, SLICING = "AL-1", "RO-1"


def build(folder: Path, *, demo_now: str = "", language: str = "en") -> Path:
    """Make the house and return its folder.

    Args:
        folder: Path. Empty or missing.
        demo_now: str. ISO moment; given, the house is an invented one that takes it as now.
        language: str. Of the quality person and the curer.
    """
    with House.create(
        folder, "Linnet Yard", "Europe/Dublin", markets=("us", "ca"), demo=bool(demo_now), demo_now=demo_now
    ) as house:
        now = house.now()
        by = Stamp("administrator", "console", now)
        for at, payloads in _story(now, language):
            drafts = [Draft(house.new_id(at), payload, at) for payload in payloads]
            receipts = record.enter(house, by, drafts)
            assert all(receipt.status == "stored" for receipt in receipts), receipts
        for person, name in (("ilo", "Ilo"), ("maren", "Maren"), ("besnik", "Besnik"), ("tamsin", "Tamsin")):
            people_job.set_name(house, person, name)
        people_job.set_pin(house, "ilo", "2580")
        for room, temperature, rh in (("F2", 21.5, 91.0), ("D1", 14.2, 79.0)):
            taken = watch.import_file(
                house,
                by,
                f"{room}.csv",
                _log(now, temperature, rh),
                watch.Said(room=room),
                entry_id=house.new_id(),
            )
            assert taken.status == watch.STORED, watch.sentences(taken)
    return folder


def link(folder: Path, person: str) -> str:
    """A fresh one-time code for a person."""
    with House.open(folder) as house:
        return people_job.make_link(house, person, house.now())


def weighings_of(folder: Path, lot: str = CURING) -> list[str]:
    """Every weighing of a lot as typed, by the moment it was done."""
    with House.open(folder) as house:
        return [item.payload.mass.number for item in house.store.lots.get(lot).weighings]


def _story(now: datetime, language: str) -> Iterator[tuple[datetime, list[Any]]]:
    hung = now - timedelta(days=HUNG_DAYS_AGO)
    yield hung - timedelta(days=30), list(_setting_up(language))
    yield hung - timedelta(days=3), list(_received())
    yield hung - timedelta(hours=4), [_lot(CURING, "alder", "640")]
    yield hung, [lots.LotHung(CURING, "D1", ("3", "4"))]
    for number, tag in enumerate(TAGS):
        for day, loss in ((0, 0.0), (2, 0.047), (5, 0.112)):
            green = 0.982 + 0.011 * number
            kilograms = f"{green * (1.0 - loss * (1.0 + 0.03 * (number - 2))):.3f}"
            weighed = readings.PieceWeighed(
                CURING, mass(kilograms, "kg"), "S2", tag, green=int(day == 0), rack="3"
            )
            yield hung + timedelta(days=day, minutes=number), [weighed]
    values = (Decimal("5.21"), Decimal("5.24"), Decimal("5.19"), Decimal("5.27"), Decimal("5.22"))
    yield hung + timedelta(days=3), [readings.PhRead(CURING, values, "core", "pH-B")]
    young = now - timedelta(hours=26)
    yield young, [_lot(SLICING, "rowan", "410"), lots.LotHung(SLICING, "F2", ("1",))]
    yield (
        now - timedelta(hours=9),
        [readings.PhRead(SLICING, (Decimal("5.62"), Decimal("5.66"), Decimal("5.59")), "core", "pH-B")],
    )
    yield now - timedelta(days=6), list(_hams_and_fresh(now))
    yield now - timedelta(days=2), [_drill(now - timedelta(days=2, minutes=20))]
    yield (
        now - timedelta(days=1),
        [
            readings.CheckDone("round 05:30 D1", 1, room="D1"),
            instruments.InstrumentChecked("pH-B", 1, "slope 171 mV", "150 to 177 mV"),
            instruments.InstrumentChecked("S2", 1, "1.000 kg", "0.995 to 1.005 kg"),
        ],
    )


def _drill(began: datetime) -> recall.RecallDrilled:
    """A drill of the lot that hangs: nothing of it left the house."""
    ended = began + timedelta(minutes=6, seconds=20)
    return recall.RecallDrilled(
        "RCL-1",
        (CURING,),
        "—",
        began.isoformat(),
        ended.isoformat(),
        lots=1,
        stuffed_mg=640_000_000,
        finished_mg=0,
        accounted_mg=0,
        customers=0,
    )


def _setting_up(language: str) -> Iterator[Any]:
    yield people.PersonAdded("ilo", "quality", language)
    yield people.PersonAdded("maren", "curer", language)
    yield people.PersonAdded("besnik", "room_hand", language)
    yield people.PersonAdded("tamsin", "manager", language, units="us")
    yield rooms.RoomDefined("F2", "fermenting", 2500, Decimal(60), Decimal(35))
    yield rooms.RoomDefined("D1", "drying", 7000, Decimal(150), Decimal(30))
    yield rooms.RoomDefined("H1", "salting", 3000, Decimal(80), Decimal(15))
    yield rooms.RoomSet("F2", Decimal(22), Decimal(92), Decimal("0.2"))
    yield rooms.RoomSet("D1", Decimal(14), Decimal(80), Decimal("0.2"))
    yield instruments.InstrumentDefined("S2", "scale", "5 g")
    yield instruments.InstrumentDefined("S3", "scale", "10 g")
    yield instruments.InstrumentDefined("pH-B", "ph_meter", "0.01")
    yield instruments.InstrumentDefined("AW-1", "water_activity_meter", "0.001")
    yield recipes.RecipeDefined(
        "alder-1",
        "meat",
        (
            recipes.Ingredient("lean trim", "meat", Decimal(730), "10072"),
            recipes.Ingredient("backfat", "fat", Decimal(270), "10004"),
            recipes.Ingredient(
                "curing salt", "cure", Decimal(26), nitrite_pct=Decimal("0.5"), salt_pct=Decimal(99)
            ),
            recipes.Ingredient("dextrose", "sugar", Decimal(4), sugar_pct=Decimal(100)),
        ),
    )
    for product, line, title, calibre in (("alder", "AL", "Alder 65", 65), ("rowan", "RO", "Rowan 50", 50)):
        yield _product(product, line, title, Decimal(calibre))
    yield recipes.ProductDefined("bramble", "BR", "fresh_sausage", "Bramble", "alder-1")
    yield recipes.ProductDefined("oak-9", "OK", "ham", "Oak-9")


def _product(product: str, line: str, title: str, calibre: Decimal) -> recipes.ProductDefined:
    stages = (
        recipes.StageTarget("fermentation", Decimal(72), Decimal(22), Decimal(92), Decimal("0.2")),
        recipes.StageTarget("drying", Decimal(1000), Decimal(14), Decimal(80), Decimal("0.2")),
    )
    hazards = ("staphylococcus_aureus", "salmonella", "listeria_monocytogenes", "clostridium_botulinum")
    return recipes.ProductDefined(
        product, line, "dry_sausage", title, "alder-1", calibre, Decimal(300), "collagen", 1, stages,
        Decimal(35), ("dry_salami",), tuple(recipes.Hazard(name) for name in hazards),
        recipes.PlanStep(), Decimal("12.4"),
    )  # fmt: skip


def _received() -> Iterator[Any]:
    yield stock.MaterialReceived("LT-1", "lean trim", "s-01", mass("2500", "kg"))
    yield stock.MaterialReceived("BF-1", "backfat", "s-01", mass("900", "kg"))
    yield stock.MaterialReceived("LEG-1", "leg", "s-02", mass("800", "kg"), pieces=62)


def _lot(name: str, product: str, kilograms: str) -> lots.LotMade:
    consumed = (
        lots.Consumed("LT-1", "lean trim", mass(f"{int(kilograms) * 0.74:.1f}", "kg")),
        lots.Consumed("BF-1", "backfat", mass(f"{int(kilograms) * 0.28:.1f}", "kg")),
    )
    return lots.LotMade(
        name, product, "alder-1", consumed, mass(kilograms, "kg"), 640, Decimal("5.82"), fat_pct=Decimal(27)
    )


def _hams_and_fresh(now: datetime) -> Iterator[Any]:
    use_by = (now + timedelta(days=2)).date().isoformat()
    yield hams.HamGroupSalted("OK-1", "oak-9", 60, mass("756", "kg"), ("LEG-1",), mass("36", "kg"), "H1", 13)
    yield lots.FreshMade("BR-1", "bramble", "alder-1", (), mass("60", "kg"))
    yield lots.FreshChilled("BR-1", Decimal("1.5"), "D1")
    yield lots.FreshPacked("BR-1", mass("58", "kg"), 120, use_by)


def _log(now: datetime, temperature: float, rh: float) -> bytes:
    """Ten days of a room every ten minutes, with a defrost saw-tooth and one hole of three hours."""
    lines = ["time,temperature_c,rh_pct"]
    start = (now - timedelta(days=HUNG_DAYS_AGO + 1)).astimezone(UTC).replace(second=0, microsecond=0)
    hole = now - timedelta(days=4)
    step = 0
    while (at := start + timedelta(minutes=10 * step)) < now:
        step += 1
        if hole <= at < hole + timedelta(hours=3):
            continue
        wave = math.sin(2.0 * math.pi * step / 36.0)
        lines.append(f"{at:%Y-%m-%dT%H:%M:%SZ},{temperature + 0.4 * wave:.2f},{rh + 2.1 * wave:.1f}")
    return "\n".join(lines).encode()
