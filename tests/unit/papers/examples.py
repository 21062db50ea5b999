"""Real result dataclasses with plain arithmetic in them, for tests of papers and charts."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any

import numpy as np

from saltloft.foundation.bands import Band
from saltloft.foundation.units import Mass
from saltloft.foundation.units import mass as read_mass
from saltloft.plant.answers import (
    AirGap,
    AirRecord,
    DayItem,
    DaySheet,
    HazardStand,
    HouseFace,
    JournalHead,
    LotJudgement,
    LotOutlook,
    MeasuredPoint,
    RoomNow,
    YieldRow,
)
from saltloft.plant.checks.verdict import Gap, Outcome, Verdict
from saltloft.plant.folder import IngredientIn, InstrumentUse, LotFolder, SourceLine
from saltloft.plant.lot_record import Hold, LotRecord, RoomStay
from saltloft.plant.lots import Consumed, LotHeld, LotMade
from saltloft.plant.readings import PhRead, PieceWeighed, PressedAndCut
from saltloft.plant.recipes import ProductDefined, RecipeDefined
from saltloft.plant.stated import Correction, Stated
from saltloft.process.result import DryingForecast, Flag, SeriesBand, TargetDay

STUFFED = datetime(2026, 3, 10, 12, 30, tzinfo=UTC)


def forecast() -> DryingForecast:
    """A loss that closes on 44 % with a scale of 30 days, doubt growing with it."""
    time = np.linspace(0.0, 120.0, 481)

    def loss(factor: float) -> np.ndarray:
        return 44.0 * (1.0 - np.exp(-time * factor / 30.0))

    def day(factor: float) -> float:
        return float(-np.log(1.0 - 35.0 / 44.0) * 30.0 / factor)

    series = SeriesBand(loss(0.8), loss(1.0), loss(1.25), loss(0.9), loss(1.0), loss(1.1))
    rest = SeriesBand(*(np.full_like(time, value) for value in (0.88, 0.9, 0.92, 0.89, 0.9, 0.91)))
    mean = Band(day(1.1), day(1.0), day(0.9))
    piece = Band(day(1.25), day(1.0), day(0.8))
    target = TargetDay(
        piece, mean, 1.0, {"0.5": mean, "0.9": Band(day(0.95), day(0.88), day(0.8))}, {"water": 41.0}
    )
    flag = Flag("case_hardening", 8.0, 0.3, "The rim dries faster than the core gives; 3 in 10 members.")
    return DryingForecast(
        time,
        120.0,
        {"weight_loss_pct": series, "water_activity_mean": rest, "loss_rate_pct_d": rest},
        {"weight_loss_pct": target},
        {},
        (flag,),
        ("drying.water_diffusivity", "sorption.protein_capacity"),
        400,
        1,
        from_log_until_d=20.0,
    )


def outlook(*, gap_hours: float = 60.0, hang_offset_h: float = 4.0, lot: str = "AL-0310") -> LotOutlook:
    """A 65 mm lot on its day 20 with three weighings and a hole in the log."""
    time = np.arange(0.0, 20.0, 5.0 / 1440.0)
    time = time[(time < 11.0) | (time > 11.0 + gap_hours / 24.0)]
    rh = 80.0 + 4.0 * np.sin(time * 9.0)
    temperature = 14.0 + 0.4 * np.cos(time * 9.0)
    rh[np.argmin(abs(time - 6.0))] = 97.0
    air = AirRecord(
        tuple(time),
        tuple(temperature),
        tuple(rh),
        (AirGap(11.0, 11.0 + gap_hours / 24.0, "taken as set, with wider doubt"),),
        ("batch-7",),
    )
    points = tuple(
        MeasuredPoint(day, 44.0 * (1.0 - np.exp(-day / 30.0)) + shift, 0.0, 0.0, 6, (f"e{day}",))
        for day, shift in ((4.0, 0.3), (9.0, -0.4), (17.0, 0.1))
    )
    points = tuple(
        MeasuredPoint(p.day, p.value, p.value - 0.8, p.value + 0.8, p.pieces, p.entries) for p in points
    )
    return LotOutlook(
        lot=lot,
        product="alder",
        title="Alder 65",
        asof=STUFFED + timedelta(days=20),
        zone="Europe/Dublin",
        stuffed_at=STUFFED,
        hung_at=STUFFED + timedelta(hours=hang_offset_h),
        target_name="weight_loss_pct",
        target_value=35.0,
        weighings=points,
        air=air,
        result=forecast(),
        used_entries=("e4.0", "e9.0", "e17.0"),
        prior="house-0",
        model="drying 1",
        key="ab12",
    )


FACE = HouseFace(
    "Tolwyth Curing House",
    "Europe/Dublin",
    True,
    JournalHead(4711, "ab" * 32, datetime(2026, 3, 30, 4, 58, 1, tzinfo=UTC)),
)


def mass(number: str, unit: str = "kg") -> Mass:
    """A typed mass."""
    return read_mass(number, unit)


def stated(
    seq: int, kind: str, payload: Any, *, day: float, by: str = "maren", mended: Any = None
) -> Stated[Any]:
    """An entry as it is read back, corrected when `mended` is given."""
    at = STUFFED + timedelta(days=day)
    fixes = ()
    if mended is not None:
        fixes = (Correction(f"e{seq}c", seq + 500, at + timedelta(hours=1), "ilo", "decimal slip", False),)
    return Stated(f"e{seq}", seq, kind, at, at, by, "tablet", mended or payload, payload, fixes)


def record() -> LotRecord:
    """AL-0310 with tagged weighings (one corrected), a pH set of the core and one of test mince, a hold."""
    consumed = (Consumed("LEAN-77", "lean trim", mass("934")), Consumed("CURE-9", "curing salt", mass("36")))
    made = stated(
        1, "lot.made/1", LotMade("AL-0310", "alder", "alder-3", consumed, mass("1280"), 1306), day=0.0
    )
    green = PieceWeighed("AL-0310", mass("0.985"), "S-2", tag="14", green=1)
    slip = PieceWeighed("AL-0310", mass("8.57"), "S-2", tag="14", kept=1)
    weighings = (
        stated(2, "piece.weighed/1", green, day=0.2),
        stated(9, "piece.weighed/1", slip, day=4.0, mended=replace(slip, mass=mass("0.857"))),
    )
    core = PhRead(
        "AL-0310", tuple(Decimal(v) for v in ("5.31", "5.27", "5.36")), "core", "pH-A", Decimal("23.4")
    )
    mince = PhRead("AL-0310", (Decimal("5.28"),), "test_mince", "pH-A")
    sets = (
        stated(4, "ph.read/1", mince, day=2.0, by="besnik"),
        stated(5, "ph.read/1", core, day=2.8, by="besnik"),
    )
    cut = stated(
        11,
        "lot.pressed_and_cut/1",
        PressedAndCut("AL-0310", (2, 2, 3), good=0, note="soft at the knot"),
        day=18,
    )
    held = stated(
        6, "lot.held/1", LotHeld("AL-0310", "meter A failed its check", "a valid pH"), day=3.1, by="ilo"
    )
    return LotRecord(
        lot="AL-0310",
        family="dry_sausage",
        product="alder",
        recipe="alder-3",
        made=made,
        green_mass=mass("1280"),
        pieces=1306,
        rooms=(RoomStay("F2", STUFFED, STUFFED + timedelta(days=3.4), ("R1", "R2"), 1.0, "e3"),),
        weighings=weighings,
        group_weighings=(),
        salted_out=(),
        ph_sets=sets,
        water_activities=(),
        pressed_and_cut=(cut,),
        chilled=(),
        packed=(),
        holds=(Hold(held),),
        releases=(),
        dispatches=(),
        yields=(),
        history=(made, *weighings, *sets, held, cut),
        last_seq=11,
    )


def judgement() -> LotJudgement:
    """One hazard met, one not met by the letter, one not shown, one by document, one left out."""
    met = Verdict(
        "staphylococcus_aureus",
        "degree_hours.us",
        Outcome.MET,
        "922 of 1,200 degree-hours used when the core readings were at 5.28 or under.",
        922.0,
        1200.0,
        "F.h",
        278.0,
        ("e5",),
        (Gap("2026-03-11T02:00:00Z", "2026-03-11T02:12:00Z", 25.1, "12 min at the worst bound"),),
        ("degree_hours.us.limit",),
        "confirmed",
    )
    open_water = Verdict(
        "listeria_monocytogenes",
        "shelf_stability.water_activity",
        Outcome.NOT_SHOWN,
        "No water activity was measured on a ground sample.",
        limit=0.85,
        sources=("shelf_stability.us.water_activity",),
        why="not measured",
        next="Measure the water activity of a ground sample of the slowest pieces.",
    )
    name = Verdict(
        "name of the product", "moisture_protein.dry_sausage", Outcome.NOT_SHOWN, "No moisture was analysed."
    )
    return LotJudgement(
        "AL-0310",
        STUFFED + timedelta(days=20),
        (
            HazardStand(
                "staphylococcus_aureus", Outcome.MET, (met,), words="degree-hours met with 278 to spare"
            ),
            HazardStand("listeria_monocytogenes", Outcome.NOT_SHOWN, (open_water,), words="no sample yet"),
            HazardStand("trichinella", Outcome.NOT_SHOWN, (), left_out_reason="certified herd, signed ilo"),
        ),
        (name,),
        (),
        False,
        ("Listeria: no water activity was measured on a ground sample",),
    )


def folder(**changes: Any) -> LotFolder:
    """Everything of AL-0310 for its dossier."""
    product = ProductDefined(
        "alder",
        "AL",
        "dry_sausage",
        "Alder 65",
        target_weight_loss_pct=Decimal(35),
        price_per_kg=Decimal("12.40"),
    )
    base = LotFolder(
        house=FACE,
        at=STUFFED + timedelta(days=20),
        record=record(),
        product=product,
        recipe=RecipeDefined("alder-3", "batter", ()),
        ingoing=(IngredientIn("lean trim", 934.0, None, ("LEAN-77",), ("e1",)),),
        nitrite_mg_kg={"meat": 147.0, "batter": 141.0},
        outlook=outlook(),
        judgement=judgement(),
        next_step="weigh 6 pieces tomorrow",
        instruments=(
            InstrumentUse("pH-A", "ph_meter", 2, 2, "Tue 3 Mar: slope 160 mV", "Fri 13 Mar: slope 148 mV"),
        ),
        people={"maren": "Maren, curer", "besnik": "Besnik, room hand"},
        documents=(),
        sources=(
            SourceLine(
                "degree_hours.us.limit",
                "1200 F.h",
                "Fermented sausage guidance, table 2",
                "read",
                "by source",
            ),
            SourceLine("shelf_stability.us.water_activity", "0.85", "Guideline, appendix", "second-hand", ""),
        ),
    )
    return replace(base, **changes)


def day() -> DaySheet:
    """A morning with one item of each kind, one room, one hanging lot and its yield."""
    items = (
        DayItem(
            "worry", "D2", 97.0, "%RH", "D2 reached 97 % RH at 02:10; it was set to 80.", ("batch-7", "e40")
        ),
        DayItem("due", "AL-0310", 6.0, "pieces", "Weigh 6 pieces: the last weighing is 3 days old.", ("e9",)),
        DayItem(
            "ready", "AL-0310", 24.0, "d", "AL-0310 is at 35 % around Fri 24 Apr (20 Apr to 2 May).", ("e9",)
        ),
        DayItem("make", "alder", 1300.0, "kg", "Alder: 1,300 kg is its week.", ("e0",)),
    )
    room = RoomNow(
        "D2", "drying", STUFFED + timedelta(days=20), 14.1, 82.3, 14.0, 80.0, 5120.0, 7000, ("AL-0310",), 4.0,
        78.0, 97.0, 14.9, "RH 2 points above what was set", "look", 97.0, "%RH", ("batch-7", "e40"),
    )  # fmt: skip
    rows = (YieldRow("AL-0310", "Alder 65", 1280.0, None, 19.1, 17.9, 19.5, 21.0, "weighings", ("e9",)),)
    at = STUFFED + timedelta(days=20)
    return DaySheet(FACE, at.date(), at, items, (room,), (outlook(),), rows)
