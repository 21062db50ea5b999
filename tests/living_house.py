"""A small house that lives: AL-0310 ferments, dries and is weighed under two rooms' logs."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import numpy as np

from saltloft.foundation.units import mass
from saltloft.house import House
from saltloft.jobs import record
from saltloft.plant import hams, instruments, lots, readings, recipes, rooms
from saltloft.plant.entries import entry_id
from saltloft.plant.readings import ReadingsSealed
from saltloft.plant.stated import Receipt, Stamp
from tests import small_house
from tests.small_house import MADE_AT, bytes_for_test, draft, lot_made, set_up

DAY = timedelta(days=1)
TODAY = MADE_AT + 20 * DAY
TAGS = ("3", "6", "10", "14", "21", "34")
HANGING_AT = MADE_AT + timedelta(minutes=30)
MOVED_AT = HANGING_AT + timedelta(hours=80)
STEADY = {"F2": (22.0, 92.0), "D2": (14.0, 80.0)}
STAGES = (
    recipes.StageTarget("fermentation", Decimal(72), Decimal(22), Decimal(92), Decimal("0.3")),
    recipes.StageTarget("drying", Decimal(1080), Decimal(14), Decimal(80), Decimal("0.15")),
)


def at_the_time(house: House, *payloads: Any, at: datetime, person: str = "ilo") -> list[Receipt]:
    """Enter payloads when they happened; all must be stored."""
    receipts = record.enter(house, Stamp(person, "office", at), [draft(payload, at) for payload in payloads])
    assert [receipt.status for receipt in receipts] == ["stored"] * len(payloads), receipts
    return receipts


def seal(house: House, room: str, start: datetime, end: datetime, *, sealed: datetime) -> str:
    """A steady five-minute log of a room with a small swing, sealed as one batch."""
    times = np.arange(int(start.timestamp()), int(end.timestamp()) + 1, 300, dtype=np.int64)
    swing = np.sin(times / 1800.0)
    temperature_c, rh_pct = STEADY[room]
    columns = {
        f"{room}/temperature_c": (times, np.full(times.size, temperature_c)),
        f"{room}/rh_pct": (times, rh_pct + swing),
    }
    batch = entry_id(sealed, bytes_for_test(10))
    info = ReadingsSealed(batch, f"{room}.csv", "0" * 64, 0, "", (), "", "")
    house.store.readings.seal(columns, info, Stamp("ilo", "office", sealed), batch)
    return batch


def loss_truth(day: float) -> float:
    """What the pieces lose: slow while fermenting, then closing on 42 %. [fraction]"""
    return 0.004 * day if day < 3.0 else 0.012 + 0.42 * (1.0 - np.exp(-(day - 3.0) / 26.0))


def weigh(house: House, day: float, *, tags: tuple[str, ...] = TAGS) -> None:
    """Weigh the tagged pieces; each has its own green weight and a few grams of its own."""
    moment = MADE_AT + day * DAY
    payloads = []
    for number, tag in enumerate(tags):
        green = 0.950 + 0.012 * number
        kilograms = green * (1.0 - loss_truth(day) + 0.004 * (number % 3 - 1))
        if day < 0.1:
            kilograms = green
        payloads.append(
            readings.PieceWeighed(
                "AL-0310",
                mass(f"{round(kilograms / 0.005) * 0.005:.3f}", "kg", division_mg=5000),
                "S1",
                tag,
                green=int(day < 0.1),
                kept=1,
            )
        )
    at_the_time(house, *payloads, at=moment, person="besnik")


def begin(folder: Path, *, demo: bool = False, now: datetime = TODAY) -> House:
    """Set the house up and make, hang and log the lot; nothing is weighed or read on it yet."""
    house = House.create(
        folder,
        "Test house",
        "Europe/Dublin",
        markets=("us", "ca"),
        demo=demo,
        clock=lambda: now,
        random=bytes_for_test,
    )
    set_up(house)
    before = MADE_AT - timedelta(hours=12)
    product = recipes.ProductDefined(
        **{**vars(small_house.alder()), "stages": STAGES, "price_per_kg": Decimal("12.40"),
           "plan": recipes.PlanStep(signed_by="ilo"), "market_names": ("genoa_salami",)}
    )  # fmt: skip
    at_the_time(
        house,
        product,
        rooms.RoomSet("F2", Decimal(22), Decimal(92), Decimal("0.3")),
        instruments.InstrumentDefined("pH-B", "ph_meter", "0.01", check_every_days=10),
        at=before,
    )
    for day in (0, 8, 16):
        at_the_time(
            house,
            instruments.InstrumentChecked("pH-A", 1, "slope 166 mV", "150 to 177 mV"),
            instruments.InstrumentChecked("pH-B", 1, "slope 168 mV", "150 to 177 mV"),
            instruments.InstrumentChecked("S1", 1, "1000 g at 1000 g", "1000 ± 5 g"),
            at=before + day * DAY,
        )
    at_the_time(house, lot_made(), at=MADE_AT)
    at_the_time(house, lots.LotHung("AL-0310", "F2"), at=HANGING_AT)
    at_the_time(house, lots.LotMoved("AL-0310", "D2"), at=MOVED_AT, person="maren")
    return house


def core_ph(house: House, hours: float, *values: str, meter: str = "pH-A", where: str = "core") -> Receipt:
    """One set of pH readings some hours after hanging."""
    said = readings.PhRead("AL-0310", tuple(Decimal(value) for value in values), where, meter, kept=1)
    return at_the_time(house, said, at=HANGING_AT + timedelta(hours=hours), person="besnik")[0]


def log_rooms(house: House, *, until: datetime = TODAY, hole_h: float = 0.0) -> list[str]:
    """Logs of F2 and D2, with a hole of some hours on day 10 of D2."""
    start = MADE_AT - DAY
    batches = [seal(house, "F2", start, until, sealed=until)]
    hole = MADE_AT + 10 * DAY
    if hole_h <= 0.0:
        return [*batches, seal(house, "D2", start, until, sealed=until)]
    batches.append(seal(house, "D2", start, hole, sealed=until))
    batches.append(seal(house, "D2", hole + timedelta(hours=hole_h), until, sealed=until))
    return batches


def neighbours(house: House) -> None:
    """A ham group whose days in salt are over, and a fresh batch that is packed."""
    at_the_time(
        house,
        hams.HamGroupSalted("OK-0316", "oak-9", 60, mass("756", "kg"), ("LEG-1",), None, "H1", 13),
        at=datetime(2026, 3, 16, 9, 0, tzinfo=UTC),
    )
    made = TODAY - 3 * DAY
    at_the_time(house, lots.FreshMade("BR-0327", "bramble", "alder-1", (), mass("60", "kg")), at=made)
    at_the_time(house, lots.FreshChilled("BR-0327", Decimal("1.5"), "D2"), at=made + timedelta(hours=4))
    at_the_time(house, lots.FreshPacked("BR-0327", mass("58", "kg"), 120, "2026-04-01"), at=made + DAY)


def lived(folder: Path, *, hole_h: float = 0.0, demo: bool = False) -> House:
    """Twenty days: acid after 80 h by meter A, weighed on seven days."""
    house = begin(folder, demo=demo)
    log_rooms(house, hole_h=hole_h)
    core_ph(house, 18.0, "5.71", "5.70", "5.69", "5.72", "5.73")
    core_ph(house, 48.0, "5.28", where="test_mince")
    core_ph(house, 48.0, "5.49", "5.48", "5.51", "5.50", "5.47")
    core_ph(house, 72.0, "5.25", "5.24", "5.26", "5.22", "5.28")
    for day in (0.05, 4.0, 7.0, 10.0, 13.0, 16.0, 19.0):
        weigh(house, day)
    neighbours(house)
    return house
