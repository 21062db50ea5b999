"""A house small enough to read: one room, one scale, one recipe, one lot; used by many tests."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from itertools import count
from pathlib import Path
from typing import Any

from saltloft.foundation.units import mass
from saltloft.house import House
from saltloft.jobs import record
from saltloft.plant import (
    analyses,
    digital_link,
    flow,
    hams,
    instruments,
    lots,
    orders,
    parties,
    people,
    readings,
    ready_plan,
    recall,
    recipes,
    rooms,
    stock,
)
from saltloft.plant.stated import Draft, Receipt, Stamp

MADE_AT = datetime(2026, 3, 10, 12, 30, tzinfo=UTC)
NOW = datetime(2026, 11, 3, 6, 0, tzinfo=UTC)
BY = Stamp("administrator", "console", NOW)
QUALITY = Stamp("ilo", "office", NOW)

_numbers: Iterator[int] = count(1)


def bytes_for_test(number: int) -> bytes:
    """Bytes that look random and never repeat within a run."""
    return next(_numbers).to_bytes(number, "big")


def new_database() -> str:
    """URL of the next house's database; empty: a file in its folder. Tests on PostgreSQL put theirs here."""
    return ""


def make_house(folder: Path, *, demo: bool = False) -> House:
    """An empty house whose clock stands at NOW."""
    return House.create(
        folder,
        "Test house",
        "Europe/Dublin",
        markets=("us", "ca"),
        demo=demo,
        database_url=new_database(),
        clock=lambda: NOW,
        random=bytes_for_test,
    )


def draft(payload: Any, at: datetime = MADE_AT, **more: Any) -> Draft:
    """A draft with a fresh id."""
    from saltloft.plant.entries import entry_id

    return Draft(more.pop("id", None) or entry_id(at, bytes_for_test(10)), payload, at, **more)


def enter(house: House, *payloads: Any, at: datetime = MADE_AT, by: Stamp = BY, **more: Any) -> list[Receipt]:
    """Enter payloads, one draft each."""
    return record.enter(house, by, [draft(payload, at, **more) for payload in payloads])


def stored(house: House, *payloads: Any, at: datetime = MADE_AT, by: Stamp = BY) -> list[Receipt]:
    """Enter payloads that must all be stored."""
    receipts = enter(house, *payloads, at=at, by=by)
    assert [receipt.status for receipt in receipts] == ["stored"] * len(payloads), receipts
    return receipts


def weighing(kg: str, *, lot: str = "AL-0310", tag: str = "14", **more: Any) -> readings.PieceWeighed:
    """A tagged piece on the scale."""
    return readings.PieceWeighed(lot, mass(kg, "kg", division_mg=5000), "S1", tag, **more)


def lot_made(lot: str = "AL-0310") -> lots.LotMade:
    """The stuck Alder of the demo house, by weighed amounts."""
    return lots.LotMade(
        lot,
        "alder",
        "alder-1",
        (
            lots.Consumed("LT-1", "lean trim", mass("940", "kg")),
            lots.Consumed("BF-1", "backfat", mass("350", "kg")),
        ),
        mass("1280", "kg"),
        1306,
        Decimal("5.86"),
        fat_pct=Decimal(27),
    )


def alder() -> recipes.ProductDefined:
    """A dry product without a signed plan."""
    stage = recipes.StageTarget("fermentation", Decimal(72), Decimal(22), Decimal(92), Decimal("0.3"))
    return recipes.ProductDefined(
        "alder",
        "AL",
        "dry_sausage",
        "Alder 65",
        "alder-1",
        Decimal(65),
        Decimal(300),
        "fibrous",
        1,
        (stage,),
        Decimal(35),
        hazards=(recipes.Hazard("staphylococcus_aureus"),),
    )


def set_up(house: House) -> None:
    """People, rooms, instruments, materials, recipes and products."""
    lines = (
        recipes.Ingredient("lean trim", "meat", Decimal(730), "10072"),
        recipes.Ingredient("backfat", "fat", Decimal(270), "10004"),
        recipes.Ingredient("curing salt", "cure", Decimal(25), nitrite_pct=Decimal("0.6")),
    )
    stored(
        house,
        people.PersonAdded("ilo", "quality"),
        people.PersonAdded("maren", "curer"),
        people.PersonAdded("besnik", "room_hand"),
        people.PersonAdded("aude", "auditor"),
        rooms.RoomDefined("F2", "fermenting", 2500, Decimal(60), Decimal(35)),
        rooms.RoomDefined("D2", "drying", 7000, Decimal(150), Decimal(35)),
        rooms.RoomDefined("H1", "salting", 3000, Decimal(80), Decimal(20)),
        rooms.RoomSet("D2", Decimal(14), Decimal(80), Decimal("0.2")),
        instruments.InstrumentDefined("S1", "scale", "5 g"),
        instruments.InstrumentDefined("pH-A", "ph_meter", "0.01", check_every_days=10),
        instruments.InstrumentDefined("AW-1", "water_activity_meter", "0.001"),
        stock.MaterialReceived("LT-1", "lean trim", "s-01", mass("2500", "kg")),
        stock.MaterialReceived("BF-1", "backfat", "s-01", mass("900", "kg")),
        stock.MaterialReceived("LEG-1", "leg", "s-02", mass("800", "kg"), pieces=62),
        recipes.RecipeDefined("alder-1", "meat", lines),
        alder(),
        recipes.ProductDefined("bramble", "BR", "fresh_sausage", "Bramble", "alder-1"),
        recipes.ProductDefined("oak-9", "OK", "ham", "Oak-9"),
        at=MADE_AT - timedelta(days=1),
    )


def with_lot(folder: Path, *, demo: bool = False) -> House:
    """A set-up house with one lot hanging in D2."""
    house = make_house(folder, demo=demo)
    set_up(house)
    stored(house, lot_made(), lots.LotHung("AL-0310", "D2"))
    return house


def one_of_each(house: House) -> None:
    """Enter every kind of entry a person can make, on top of `with_lot`."""
    day = timedelta(days=1)
    stored(house, weighing("1.05", green=1))
    first = stored(house, weighing("1.01"), at=MADE_AT + day)[0]
    stored(
        house,
        readings.PhRead("AL-0310", (Decimal("5.31"), Decimal("5.27")), "core", "pH-A"),
        readings.WaterActivityRead("AL-0310", Decimal("0.955"), "ground", "AW-1"),
        readings.PressedAndCut("AL-0310", (2, 2, 3), Decimal("0.5"), 0, 0, 0, "", 1, "even", "14"),
        analyses.LotAnalysed("AL-0310", Decimal("52.1"), Decimal("16.4"), document="LAB-7"),
        analyses.PieceMeasured("AL-0310", Decimal("62.5"), "14", Decimal("61.0")),
        ready_plan.ReadyPlanned("alder", Decimal("0.90"), least_days=28, least_days_why="house plan"),
        readings.CheckDone("05:30 round", 1, room="D2"),
        readings.CheckDone("02:00 look", 1),
        instruments.InstrumentChecked("pH-A", 1, "slope 166 mV", "150 to 177 mV"),
        lots.LotMoved("AL-0310", "F2"),
        people.DeviceEnrolled("phone-1", "Besnik's phone"),
        lots.FreshMade("BR-0311", "bramble", "alder-1", (), mass("60", "kg")),
        lots.FreshChilled("BR-0311", Decimal("1.5"), "D2"),
        lots.FreshPacked("BR-0311", mass("58", "kg"), 120, "2026-03-20"),
        hams.HamGroupSalted("OK-0311", "oak-9", 60, mass("756", "kg"), ("LEG-1",), None, "H1", 13),
        hams.HamGroupSaltedOut("OK-0311", mass("730", "kg"), "D2"),
        hams.HamGroupWeighed("OK-0311", mass("121", "kg"), 10, "S1"),
        lots.LotYielded("AL-0310", mass("12", "kg"), "sample"),
        at=MADE_AT + 2 * day,
    )
    held = stored(house, lots.LotHeld("AL-0310", "meter A failed"), at=MADE_AT + 3 * day)[0]
    document = readings.DocumentRecorded(
        "staphylococcus_aureus", "PA-1", "2026-01-05", "an authority", covers_products=("alder",),
        demo=int(house.demo),
    )  # fmt: skip
    stored(
        house,
        lots.HoldLifted("AL-0310", held.entry_id, "read with meter B"),
        document,
        people.FactConfirmed("degree_hours.us", "1986", "0" * 64, int(house.demo)),
        at=MADE_AT + 4 * day,
        by=QUALITY,
    )
    right = weighing("1.02")
    stored(house, correction(first.entry_id, right), at=MADE_AT + 4 * day)


def flow_of_each(house: House) -> None:
    """Enter every kind of the material flow and of devices, on top of `with_lot`."""
    day, later = timedelta(days=1), MADE_AT + timedelta(days=40)

    def made(lot: str) -> lots.LotMade:
        used = (lots.Consumed("LT-1", "lean trim", mass("102", "kg")),)
        return lots.LotMade(lot, "alder", "alder-1", used, mass("100.000001", "kg"), 101)

    parts = (flow.SplitPart("F-1-A", Decimal(60), "D2", ("1",)), flow.SplitPart("F-1-B", Decimal(40), "F2"))
    slicing = flow.LotSliced(
        "SL-1", "F-2", "slicer 1", "2026-04-19T08:00:00+00:00", "2026-04-19T09:00:00+00:00",
        mass("20", "kg"), mass("19", "kg"), mass("0.6", "kg"), mass("0.1", "kg"), ("3",),
    )  # fmt: skip
    stored(
        house,
        parties.PartyAdded("s-01", "supplier"),
        parties.PartyAdded("cust-1", "customer"),
        parties.PartyNameErased("cust-9", "asked for it"),
        stock.MaterialReceived(
            "FILM-1", "film", "s-01", mass("30", "kg"), sort="packaging", best_before="2027-03-01",
            truck_temperature_c=Decimal("3.5"), documents=("CMR-7",),
        ),
        flow.MaterialCounted("FILM-1", mass("29.5", "kg"), "roll"),
        flow.MaterialWasted("FILM-1", mass("0.5", "kg"), "torn"),
        instruments.TareWeighed("T4", "trolley", mass("38.5", "kg"), "S1"),
        people.DeviceEnrolled("phone-2", "Aude's phone"),
        people.DeviceRevoked("phone-2", "lost"),
        people.TokenIssued("scale-1", "Rack scale", "scale"),
        people.EnteredOffline("phone-1", ("0190-0000-0001",), 1200, 1150),
        made("F-1"), lots.LotHung("F-1", "D2", ("1", "2")), made("F-2"), lots.LotHung("F-2", "D2"),
        hams.HamGroupSalted(
            "OK-F", "oak-9", 2, mass("25", "kg"), ("LEG-1",), None, "H1", 13,
            consumed=(lots.Consumed("LEG-1", "leg", mass("25.2", "kg")),), tags=("7", "8"),
        ),
        at=MADE_AT + day,
    )  # fmt: skip
    stored(house, flow.RackMoved("F-1", "2", "F2", "top"), flow.PieceRehung("F-1", "1", "14", reason="fell"),
           at=MADE_AT + 2 * day)  # fmt: skip
    stored(house, flow.LotSplit("F-1", parts, "room"), at=MADE_AT + 3 * day)
    stored(house, flow.LotsMerged("F-1-C", ("F-1-A", "F-1-B"), "D2"), at=MADE_AT + 5 * day)
    stored(
        house,
        flow.LotSampled("F-1-C", mass("0.3", "kg"), "laboratory", 1, "lab-1"),
        flow.LotWasted("F-1-C", mass("0.2", "kg"), "mould", 1),
        flow.CounterOpened("F-2", "counter 1", "2026-04-18T08:00:00+00:00", "2026-04-18T10:00:00+00:00", "3"),
        slicing,
        flow.PackMade(
            "PK-1", "bramble", (lots.Consumed("SL-1", "slices", mass("19", "kg")),), mass("18.9", "kg"), 236,
            "FILM-1", "line 1", "2026-04-19T09:00:00+00:00", "2026-04-19T10:00:00+00:00", "2026-07-01",
        ),
        lots.FreshMade("BR-F", "bramble", "alder-1", (), mass("10", "kg")),
        orders.OrderPlaced(
            "ORD-1", "cust-1", (orders.OrderLine("bramble", mass("4", "kg"), 10),), "2026-04-21"
        ),
        orders.ShipmentSent(
            "SHIP-1", "cust-1", (orders.ShipmentLine("BR-F", mass("4", "kg"), 10),), "ORD-1", Decimal("2.5")
        ),
        orders.OrderEnded("ORD-1", "shipped"),
        orders.GoodsReturned("RET-1", "SHIP-1", "BR-F", mass("1", "kg"), "torn", "waste", 2),
        digital_link.ProductNumbered("alder", "4006381333931"),
        recall.RecallDrilled(
            "RCL-1", ("LT-1",), "drill", "2026-04-19T09:00:00+00:00", "2026-04-19T09:04:00+00:00",
            3, 10, 8, 8, 1, told=("cust-1",),
        ),
        at=later,
    )  # fmt: skip


def correction(entry: str, payload: Any | None, reason: str = "misread") -> readings.Corrected:
    """A correction of an entry; None strikes it out."""
    from saltloft.plant.canonical import canonical_bytes
    from saltloft.plant.entries import encode, kind_of

    if payload is None:
        return readings.Corrected(entry, reason, "piece.weighed/1")
    return readings.Corrected(entry, reason, kind_of(payload), canonical_bytes(encode(payload)).decode())
