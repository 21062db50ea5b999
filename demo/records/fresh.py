"""Fresh Bramble: made, cold and packed on the same day, Mondays and Thursdays."""

from __future__ import annotations

from datetime import date, timedelta

from demo.clock import FIRST_DAY, TODAY, local
from demo.draws import stream
from demo.house import CUSTOMERS
from demo.plan import CLOSED_WEEKS, next_working_moment
from demo.records.book import Book, kilograms
from demo.records.stock import Stock

LIFE = timedelta(days=7)
LEFT_OVER_LOT = "BR-1026"
"""A box of it was never booked out, and its use-by is over."""


def fresh_days() -> list[date]:
    """Every day on which Bramble is made."""
    span = (TODAY.date() - FIRST_DAY).days
    days = [FIRST_DAY + timedelta(days=number) for number in range(span + 1)]
    return [
        day
        for day in days
        if day.weekday() in (0, 3)
        and not any(monday <= day < monday + timedelta(7) for monday in CLOSED_WEEKS)
        and local(day, "13:40") < TODAY
    ]


def batch(book: Book, stock: Stock, day: date) -> None:
    """One batch from the mixer to the pack."""
    lot = f"BR-{day:%m%d}"
    rng = stream(book.seed, "fresh", day)
    at, kg = local(day, "09:00"), 450.0 if day.month in (6, 7, 8) else 300.0
    meat = kg / 1.0195
    consumed = [
        stock.meat("lean trim", "lean trim", round(meat * 0.8, 1), at, 5.72),
        stock.meat("backfat", "backfat", round(meat * 0.2, 1), at, 5.72),
        *stock.draw("salt", "salt", round(meat * 0.017, 2), at),
        *stock.draw("pepper", "pepper", round(meat * 0.0025, 2), at),
    ]
    book.write(
        "fresh.made",
        lot,
        {
            "lot": lot,
            "product": "bramble",
            "recipe": "bramble-1",
            "consumed": consumed,
            "mass": kilograms(kg, 1),
        },
        at,
        "maren@tablet-make",
    )
    chilled = {
        "lot": lot,
        "core_temperature_c": f"{2.4 + 0.8 * rng.random():.1f}",
        "room": "C1",
        "instrument": "T-1",
    }
    book.write("fresh.chilled", lot, chilled, at + timedelta(hours=2, minutes=20), "besnik@phone-besnik")
    packed = kg * (0.985 + 0.004 * float(rng.standard_normal()))
    payload = {
        "lot": lot,
        "mass": kilograms(packed, 1),
        "packs": int(packed / 0.4),
        "use_by": (day + LIFE).isoformat(),
    }
    book.write("fresh.packed", lot, payload, at + timedelta(hours=4, minutes=10), "tamsin")
    if lot == LEFT_OVER_LOT:
        packed *= 0.96
    first = round(packed * (0.5 + 0.2 * float(rng.random())), 1)
    for kg_out, days in ((first, 1), (round(packed, 1) - first, 3)):
        out = next_working_moment(at + timedelta(days=days), "10:20")
        customer = str(CUSTOMERS[int(rng.integers(0, len(CUSTOMERS)))])
        payload = {"lot": lot, "mass": kilograms(kg_out, 1, 100_000), "customer": customer}
        book.write("lot.dispatched", lot, payload, out, "tamsin")
