"""Deliveries, and which material lot each batch is weighed from: first in, first out."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime, timedelta

from demo.clock import day_of, local
from demo.draws import stream
from demo.records.book import Book, Plain, kilograms

BAGS: dict[str, tuple[float, str, int, str]] = {
    "salt": (500.0, "SLT", 41, "sup-03"),
    "nitrite curing salt": (250.0, "CUR", 22, "sup-03"),
    "dextrose": (100.0, "DEX", 31, "sup-03"),
    "starter culture": (4.0, "CUL", 60, "sup-05"),
    "pepper": (25.0, "PEP", 207, "sup-05"),
    "fennel": (25.0, "FEN", 111, "sup-05"),
    "garlic": (20.0, "GAR", 77, "sup-05"),
}
"""Material, kilograms of a delivery, prefix and first number of its lots, supplier."""


@dataclass
class Stock:
    """What stands on the shelves, and the book it is written into.

    Args:
        book: Book.
        open: dict. Material to its open lot's name and what is left of it. [kg]
        count: dict. Material to the number of its last lot.
    """

    book: Book
    open: dict[str, tuple[str, float]] = field(default_factory=dict)
    count: dict[str, int] = field(default_factory=dict)

    def draw(self, material: str, ingredient: str, kg: float, at: datetime) -> list[Plain]:
        """Weigh out an amount; takes from the next delivery where the open one ends."""
        size, prefix, first, supplier = BAGS[material]
        parts: list[Plain] = []
        while kg > 1e-9:
            name, left = self.open.get(material, ("", 0.0))
            if left < 1e-6:
                self.count[material] = self.count.get(material, first - 1) + 1
                name, left = f"{prefix}-{self.count[material]}", size
                # It came in the days before, not at the mixer.
                came = max(at - timedelta(days=3), at.replace(hour=5, minute=40) if at.hour > 6 else at)
                self._receive(name, material, supplier, size, min(came, at - timedelta(hours=2)))
            taken = min(kg, left)
            parts.append({"material_lot": name, "ingredient": ingredient, "mass": kilograms(taken, 3)})
            self.open[material] = (name, left - taken)
            kg -= taken
        return [part for part in parts if part["mass"]["mg"] > 0]

    def casing(self, name: str, at: datetime, note: str = "") -> str:
        """A bundle of casings, received before its first use; returns its lot."""
        if name not in self.open:
            self.open[name] = (name, 60.0)
            payload: Plain = {
                "material_lot": name,
                "material": "casing",
                "supplier": "sup-05",
                "mass": kilograms(60.0, 1),
                "decision": "accepted",
                "supplier_lot": f"05{name[-2:]}",
                "pieces": 0,
                "note": note,
            }
            self.book.write("material.received", name, payload, at - timedelta(hours=6), "tamsin")
        return name

    def _receive(self, name: str, material: str, supplier: str, kg: float, at: datetime) -> None:
        payload = {
            "material_lot": name,
            "material": material,
            "supplier": supplier,
            "mass": kilograms(kg, 1),
            "decision": "accepted",
            "supplier_lot": f"{supplier[-2:]}{name[-3:]}",
            "pieces": 0,
            "note": "",
        }
        self.book.write("material.received", name, payload, at, "tamsin")

    def meat(self, material: str, ingredient: str, kg: float, at: datetime, lean_ph: float) -> Plain:
        """A delivery of the same morning, all of it used."""
        prefix = "LT" if material == "lean trim" else "BF"
        name = f"{prefix}-{day_of(at):%m%d}"
        known, left = self.open.get(name, ("", 0.0))
        if not known:
            rng = stream(self.book.seed, "delivery", name)
            payload: Plain = {
                "material_lot": name,
                "material": material,
                "supplier": "sup-01" if prefix == "LT" else "sup-02",
                "mass": kilograms(1600.0 if prefix == "LT" else 700.0, 1),
                "decision": "accepted",
                "core_temperature_c": f"{1.6 + 0.9 * rng.random():.1f}",
                "supplier_lot": f"{name[3:]}7",
                "pieces": 0,
                "note": "",
            }
            if prefix == "LT":
                payload["ph"] = f"{lean_ph:.2f}"
            self.book.write("material.received", name, payload, local(day_of(at), "05:50"), "tamsin")
            left = 1600.0
        self.open[name] = (name, left - kg)
        return {"material_lot": name, "ingredient": ingredient, "mass": kilograms(kg, 1)}
