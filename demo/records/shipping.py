"""Demo documents, intended releases and what leaves the house after them."""

from __future__ import annotations

from datetime import date, datetime, timedelta

from demo.clock import FIRST_DAY, TODAY, local, text_of
from demo.draws import stream
from demo.house import CUSTOMERS, LINES
from demo.plan import next_working_moment
from demo.records.book import Book, Plain, kilograms
from demo.records.recipes import HAZARDS, LEFT_OUT
from demo.records.sausages import finished_kg
from demo.truth.year import LotLife

COVERED_TO = {
    "HA": date(2026, 10, 5),
    "RO": date(2026, 9, 20),
    "AL": date(2026, 8, 31),
    "YE": date(2026, 7, 31),
}
"""Last stuffing day the invented documents speak for; nothing that hangs today is among them."""
WORDS = "demo document, not evidence: stands in for a process authority's letter on this product and period"


def documents(book: Book) -> None:
    """One invented document a product and hazard, marked as such."""
    at = local(FIRST_DAY, "05:50")
    for code, line in LINES.items():
        for number, hazard in enumerate(HAZARDS):
            if hazard in LEFT_OUT:
                continue
            payload = {
                "hazard": hazard,
                "number": f"DEMO-{code}-{number + 1:02d}",
                "date": "2025-11-03",
                "issuer": "invented process authority of Sarnvale",
                "covers_products": [line.product],
                "covers_lots": [],
                "covers_from": FIRST_DAY.isoformat(),
                "covers_to": COVERED_TO[code].isoformat(),
                "limits": WORDS,
                "demo": 1,
                "digest": "",
            }
            book.write("document.recorded", hazard, payload, at, "ilo")


def confirmations() -> list[Plain]:
    """Fact rows confirmed in the invented house, by key prefix; each entry there says 'edition not read'."""
    at = text_of(local(FIRST_DAY, "05:55"))
    prefixes = ("degree_hours", "shelf_stability", "moisture_protein")
    return [
        {"prefix": prefix, "edition": "edition not read (demo)", "person": "ilo", "at": at}
        for prefix in prefixes
    ]


def releases(book: Book, lives: list[LotLife]) -> list[Plain]:
    """When ilo means to sign each finished lot out, and the dispatches that follow if he may."""
    attempts = []
    for life in lives:
        stuffed = life.plan.made_at.date()
        code = life.plan.line.code
        at = next_working_moment(life.ended_at + timedelta(days=1), "15:00")
        if at >= TODAY or stuffed > COVERED_TO[code]:
            continue
        # About every seventh lot goes to the export customers.
        market = "us" if code in ("RO", "HA") and int(life.plan.name[3:]) % 7 == 0 else "eu"
        attempts.append({"lot": life.plan.name, "market": market, "person": "ilo", "at": text_of(at)})
        _dispatches(book, life, at)
    return sorted(attempts, key=lambda attempt: (attempt["at"], attempt["lot"]))


def _dispatches(book: Book, life: LotLife, released_at: datetime) -> None:
    rng = stream(book.seed, "dispatch", life.plan.name)
    left = finished_kg(life)
    for number in range(1, int(rng.integers(3, 7))):
        at = next_working_moment(released_at + timedelta(days=2 * number), "10:00") + timedelta(
            minutes=7 * number
        )
        kg = min(left * 0.9, finished_kg(life) * float(rng.uniform(0.15, 0.4)))
        left -= kg
        payload = {
            "lot": life.plan.name,
            "mass": kilograms(kg, 1, 100_000),
            "customer": str(CUSTOMERS[int(rng.integers(0, len(CUSTOMERS)))]),
        }
        book.write("lot.dispatched", life.plan.name, payload, at, "tamsin")
