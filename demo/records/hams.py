"""Ham groups: sixty legs a week in salt, out, to rest, to dry, to the cellar."""

from __future__ import annotations

from datetime import date, datetime, timedelta

import numpy as np

from demo.clock import FIRST_DAY, TODAY, day_of, local
from demo.draws import stream
from demo.house import SUPPLIER_OF_HIGH_PH_LEGS
from demo.plan import CLOSED_WEEKS, next_working_moment
from demo.records.book import Book, Plain, kilograms

LEGS = 60
BONED_AFTER = {"oak-9": 275, "oak-14": 426}
"""Days from salting to boning. [d]"""
BONELESS = 0.52
"""Boneless ham of green weight (trade figure: 48 % lost to boned). [1]"""
HIGHEST_LEG_PH = 6.2
"""Legs above it go to the cooker (trade memory)."""
HIGH_PH_DELIVERY = date(2026, 5, 18)
STAYS = (("H2", 13), ("H3", 98), ("H4", 128))
"""Room, and days from salting at which the group goes there."""
LOSS_DAYS, LOSS_PCT = (0, 13, 60, 98, 128, 200, 270, 420), (0, 3.1, 9.0, 13.0, 18.5, 24.5, 28.8, 33.0)
"""Mean loss of a group over its days: common practice, no source."""


def hams(book: Book) -> None:
    """Every group from the first week on."""
    monday = FIRST_DAY - timedelta(days=FIRST_DAY.weekday())
    number = 0
    while local(monday, "00:00") < TODAY:
        day = monday + timedelta(days=1)
        if monday not in CLOSED_WEEKS and local(day, "10:00") < TODAY:
            _group(book, day, number)
            number += 1
        monday += timedelta(days=7)


def _group(book: Book, day: date, number: int) -> None:
    rng = stream(book.seed, "ham", day)
    lot, product = f"OK-{day:%m%d}", "oak-14" if number % 10 in (3, 6, 9) else "oak-9"
    legs_lot, ph = _delivery(book, day, rng)
    at = local(day, "10:00")
    green = LEGS * (12.6 + 0.15 * float(rng.standard_normal()))
    book.write(
        "ham.salted",
        lot,
        {
            "lot": lot,
            "product": product,
            "legs": LEGS,
            "green_mass": kilograms(green, 1, 500_000),
            "material_lots": [legs_lot],
            "salt_mass": kilograms(green * 0.045, 1),
            "room": "H1",
            "planned_days": 13,
            "leg_ph": f"{ph:.2f}",
        },
        at,
        "maren@tablet-make",
    )
    pace = float(np.exp(0.06 * rng.standard_normal()))

    def kept(days: float) -> float:
        return green * (1 - pace * float(np.interp(days, LOSS_DAYS, LOSS_PCT)) / 100)

    for room, days in STAYS:
        moved = next_working_moment(at + timedelta(days=days), "11:00")
        if room == "H2":
            payload: Plain = {"lot": lot, "mass": kilograms(kept(days), 1, 500_000), "room": room}
            book.write("ham.salted_out", lot, payload, moved, "maren@tablet-make")
        else:
            book.write(
                "lot.moved", lot, {"lot": lot, "room": room, "racks": []}, moved, "besnik@phone-besnik"
            )
    boned = next_working_moment(at + timedelta(days=BONED_AFTER[product]), "08:00")
    for month in range(1, 16):
        weighed = next_working_moment(at + timedelta(days=13 + 28 * month), "13:00")
        if weighed >= boned:
            break
        mass = (
            kept((weighed - at).total_seconds() / 86400)
            / LEGS
            * 10
            * (1 + 0.004 * float(rng.standard_normal()))
        )
        payload = {
            "lot": lot,
            "mass": kilograms(round(mass * 2) / 2, 1, 500_000),
            "legs": 10,
            "instrument": "S4",
        }
        book.write("ham.weighed", lot, payload, weighed, "besnik@phone-besnik")
    payload = {"lot": lot, "mass": kilograms(green * BONELESS, 1, 100_000), "into": "stock", "last": 1}
    book.write("lot.yielded", lot, payload, boned, "tamsin")


def _delivery(book: Book, day: date, rng: np.random.Generator) -> tuple[str, float]:
    """The week's legs; one supplier's come with a pH too high for salting and go to the cooker."""
    at: datetime = max(local(day - timedelta(days=1), "06:10"), local(FIRST_DAY, "06:10"))
    name = f"LEG-{day_of(at):%m%d}"
    if day_of(at) == HIGH_PH_DELIVERY:
        _received(book, f"{name}A", at, SUPPLIER_OF_HIGH_PH_LEGS, 6.28)
    ph = 5.68 + 0.06 * float(rng.standard_normal())
    _received(book, name, at + timedelta(minutes=20), "sup-06", ph)
    return name, ph


def _received(book: Book, name: str, at: datetime, supplier: str, ph: float) -> None:
    high = ph > HIGHEST_LEG_PH
    payload = {
        "material_lot": name,
        "material": "leg",
        "supplier": supplier,
        "mass": kilograms(LEGS * 12.65, 1),
        "decision": "downgraded" if high else "accepted",
        "core_temperature_c": "1.9",
        "ph": f"{ph:.2f}",
        "supplier_lot": name[-4:],
        "pieces": LEGS,
        "note": f"mean pH {ph:.2f}: to the cooker" if high else "",
    }
    book.write("material.received", name, payload, at, "tamsin")
