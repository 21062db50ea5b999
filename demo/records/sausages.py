"""A dry lot's own story as it was written down: made, hung, read, weighed, moved, cut, taken down."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from demo.clock import TODAY, day_of, local
from demo.draws import stream
from demo.plan import WRONG_CASING_LOT
from demo.records import blemishes
from demo.records.book import Book, Plain, kilograms, mass
from demo.records.recipes import backfat_share, doses
from demo.records.setup import METER_A_BACK, METER_A_FAILED, SCALE_OFF
from demo.records.stock import Stock
from demo.truth.sausage import composition
from demo.truth.year import LotLife, reading_hours

TAGGED = 6
METER_A_LOTS = ("RO-0304", "RO-0306", "HA-0309", "AL-0310")
"""The four lots read with meter A between its last good check and the one it failed."""
AL_0310 = {
    18: ("5.69", "5.70", "5.71", "5.72", "5.73"),
    26: ("5.60", "5.61", "5.62", "5.63", "5.64"),
    42: ("5.49", "5.50", "5.51", "5.52", "5.53"),
    48: ("5.47", "5.48", "5.49", "5.50", "5.51"),
    68: ("5.27", "5.29", "5.31", "5.32", "5.36"),
    72: ("5.22", "5.24", "5.25", "5.26", "5.28"),
    80: ("5.20", "5.23", "5.24", "5.25", "5.28"),
}
"""The stuck Alder, reading by reading; the last with meter B."""


@dataclass
class Writer:
    """Writes one lot's records.

    Args:
        book: Book.
        stock: Stock.
        life: LotLife.
    """

    book: Book
    stock: Stock
    life: LotLife

    def __post_init__(self) -> None:
        self.name = self.life.plan.name
        self.rng = stream(self.book.seed, "records", self.name)
        self.tags = blemishes.tags(self.name, self.rng)
        place = self.rng.integers(1, 9)
        self.racks = [f"R{place}", f"R{place + 1}"]
        self.scale, self.division_mg, self.places = (
            ("S1", 5000, 3) if self.life.plan.line.code == "YE" else ("S2", 1000, 3)
        )

    def write(self) -> None:
        """All of it, up to today."""
        self._made()
        self._green()
        self._acid()
        self._moves()
        self._weighings()
        self._late()
        if self.name == WRONG_CASING_LOT:
            blemishes.wrong_casing_found(self)
        if self.life.ended_at < TODAY:
            self._taken_down()
            self._analysed()
        self._calipers()

    def _note(self, kind: str, payload: Plain, at: datetime, by: str) -> str:
        return self.book.write(kind, self.name, {"lot": self.name} | payload, at, by)

    def _made(self) -> None:
        plan, line = self.life.plan, self.life.plan.line
        at = plan.made_at
        meat = plan.green_kg * 1.006 / (1 + sum(doses(line).values()) / 1000)
        fat = round(meat * backfat_share(line), 1)
        start_ph = self.life.acid.start_ph
        consumed = [
            self.stock.meat("lean trim", "lean trim", round(meat - fat, 1), at, start_ph - 0.02),
            self.stock.meat("backfat", "backfat", fat, at, start_ph),
        ]
        for name, amount in doses(line).items():
            consumed += self.stock.draw(name, name, round(meat * amount / 1000, 2), at)
        culture = next(part["material_lot"] for part in consumed if part["ingredient"] == "starter culture")
        self._note(
            "lot.made",
            {
                "product": line.product,
                "recipe": f"{line.product}-1",
                "consumed": consumed,
                "green_mass": kilograms(plan.green_kg, 0, 500_000),
                "pieces": plan.pieces,
                "batter_ph": f"{start_ph:.2f}",
                "batter_temperature_c": f"{-0.8 + 0.8 * self.rng.random():.1f}",
                "fat_pct": f"{self._analysed_fat():.1f}",
                "casing_lot": self._casing(),
                "culture_lot": culture,
            },
            at,
            "maren@tablet-make",
        )
        self._note("lot.hung", {"room": plan.ferment_room, "racks": self.racks}, at, "besnik@phone-besnik")

    def _analysed_fat(self) -> float:
        if self.name == "AL-0310":
            return 27.0
        return self.life.fat * 100 + 0.6 * float(self.rng.standard_normal())

    def _casing(self) -> str:
        if self.name == WRONG_CASING_LOT:
            return self.stock.casing("CAS-50-19", self.life.plan.made_at, "bundle marked 50")
        day = day_of(self.life.plan.made_at)
        bundle = 10 + ((day.year - 2025) * 12 + day.month - 11) // 2
        return self.stock.casing(f"CAS-{self.life.plan.line.calibre_mm:g}-{bundle}", self.life.plan.made_at)

    def _weigh(self, at: datetime, tag: int, true_kg: float, green: int = 0) -> None:
        reading = true_kg * (1 + 0.0008 * float(self.rng.standard_normal()))
        if self.scale == "S2" and SCALE_OFF[0] <= at < SCALE_OFF[1]:
            reading *= 1.004
        step = self.division_mg / 1e6
        number = f"{round(reading / step) * step:.{self.places}f}"
        payload = {
            "mass": mass(number, "kg", self.division_mg),
            "instrument": self.scale,
            "tag": str(self.tags[tag]),
            "pieces": 1,
            "green": green,
            "rack": self.racks[tag % 2],
            "kept": 0,
        }
        blemishes.weighing(self, payload, at, tag)

    def _green(self) -> None:
        for tag in range(TAGGED):
            at = self.life.plan.made_at + timedelta(minutes=15, seconds=35 * tag)
            self._weigh(at, tag, float(self.life.green_kg[tag]), green=1)

    def weighing_times(self) -> list[datetime]:
        """When the tagged pieces are weighed: every few days, later each week, and when taken down."""
        first = day_of(self.life.plan.made_at)
        minute = int(self.rng.integers(0, 50))
        times: list[datetime] = []
        for age in [1, 2, 4, 7, 9, 11, 14, *range(21, 150, 7)]:
            day = first + timedelta(days=age)
            if day.weekday() == 6:
                day += timedelta(days=1)
            at = local(day, f"09:{minute:02d}")
            if at < min(self.life.ended_at - timedelta(days=1), TODAY) and (not times or at > times[-1]):
                times.append(at)
        if self.life.ended_at < TODAY:
            times.append(self.life.ended_at - timedelta(minutes=40))
        return times

    def _weighings(self) -> None:
        for at in self.weighing_times():
            loss = self.life.loss_at(at)
            order = blemishes.order_on_hooks(self.name, self.tags, at)
            for tag in range(TAGGED):
                piece = order[tag]
                true = float(self.life.green_kg[piece] * (1 - loss[piece]))
                self._weigh(at + timedelta(seconds=35 * tag), tag, true)

    def _meter(self, at: datetime) -> str:
        last_good = local(day_of(METER_A_FAILED) - timedelta(days=10), "06:00")
        if last_good <= at < METER_A_FAILED:
            return "pH-A" if self.name in METER_A_LOTS else "pH-B"
        if METER_A_FAILED <= at < METER_A_BACK:
            return "pH-B"
        return "pH-A" if int(self.name[3:]) % 2 else "pH-B"

    def ph_set(self, at: datetime, mean: float, where: str = "core", kept: int = 0) -> str:
        """Five pieces read together."""
        spread = self.life.acid.piece_spread
        values = [f"{mean + spread * float(self.rng.standard_normal()):.2f}" for _ in range(5)]
        return self._read(at, values, where, kept)

    def _read(self, at: datetime, values: list[str], where: str, kept: int = 0) -> str:
        payload = {"values": values, "where": where, "instrument": self._meter(at), "kept": kept}
        return self._note("ph.read", payload, at, "ilo" if kept else "maren@tablet-make")

    def _acid(self) -> None:
        acid, made = self.life.acid, self.life.plan.made_at
        if self.name == "AL-0310":
            for age, values in AL_0310.items():
                self._read(made + timedelta(hours=age), list(values), "core")
            self._read(made + timedelta(hours=48, minutes=6), ["5.28"], "test_mince")
            return
        out = self.life.stays[1][1]
        for hour in reading_hours(self.life.plan):
            at = made + timedelta(hours=hour)
            if at >= out:
                break
            blemishes.acid_set(self, at, hour, acid.core(hour))
            if acid.core(hour) + 1.6 * acid.piece_spread <= 5.28 and hour >= self.life.plan.line.ferment_h:
                break
        last = out - timedelta(minutes=25)
        if all(
            abs((last - made).total_seconds() / 3600 - hour) > 1.0 for hour in reading_hours(self.life.plan)
        ):
            self.ph_set(last, acid.core((last - made).total_seconds() / 3600))

    def _moves(self) -> None:
        for room, start in self.life.stays[1:]:
            if start < self.life.ended_at:
                self._note("lot.moved", {"room": room, "racks": self.racks}, start, "besnik@phone-besnik")

    def _late(self) -> None:
        """Water activity, pH and the press-and-cut of the last third."""
        target = self.life.plan.line.target_loss_pct / 100
        for at in self.weighing_times()[-8:]:
            loss = float(self.life.loss_at(at).mean())
            if loss > 0.72 * target:
                self.water_activity(at + timedelta(minutes=12))
                self._press(at + timedelta(minutes=15), loss / target)
            if loss > 0.9 * target and at.weekday() != 5:
                hours = (at - self.life.plan.made_at).total_seconds() / 3600
                self.ph_set(at + timedelta(minutes=18), self.life.acid.core(hours))

    def water_activity(self, at: datetime) -> None:
        """One ground sample."""
        value = float(self.life.activity_at(at)[0]) + 0.0015 * float(self.rng.standard_normal())
        payload = {
            "value": f"{value:.3f}",
            "sample": "ground",
            "instrument": "aw-1",
            "sample_temperature_c": "25.0",
            "kept": 0,
        }
        self._note("water_activity.read", payload, at, "ilo@office")

    def _press(self, at: datetime, share: float) -> None:
        stiff = float(self.life.activity_at(at)[3])
        feel = np.clip(np.round(1 + 3.6 * share + 0.35 * self.rng.standard_normal(3)), 1, 5)
        # A stream of its own: what is seen in the cut moves no weighing.
        eye = stream(self.book.seed, "cut", self.name, at)
        ring = int(np.clip(np.round(0.9 * stiff + 0.4 * eye.standard_normal()), 0, 2))
        payload = {
            "press": [int(value) for value in feel],
            "rim_mm": f"{max(0.0, 0.5 + 1.6 * stiff):.1f}",
            "ring": ring,
            "hollow": int(stiff > 1.2 and eye.random() < 0.3),
            "smear": int(eye.random() < 0.02),
            "colour": "grey_rim" if ring == 2 and eye.random() < 0.5 else "even",
            "good": 1 if share > 0.985 else 0,
            "note": "",
            "tag": "",
            "kept": 0,
        }
        self._note("lot.pressed_and_cut", payload, at, "maren@tablet-rooms")

    def _analysed(self) -> None:
        """One lot in four goes to the laboratory when it comes down: three pieces, ground."""
        if int(self.name[3:]) % 4:
            return
        at = self.life.ended_at + timedelta(days=4, hours=2)
        lost = float(self.life.loss_at(self.life.ended_at).mean())
        water, fat, solids = composition(self.book.seed, self.life.plan)
        salt = self.life.plan.line.salt_pct / 100
        # Sugar, acid and spice are no protein; the rest of the fat-free salt-free solids nearly all is.
        parts = (water - lost, 0.955 * (solids - 0.014), fat, salt)
        laboratory = stream(self.book.seed, "laboratory", self.name).standard_normal(4)
        found = [100 * part / (1 - lost) + 0.3 * z for part, z in zip(parts, laboratory, strict=True)]
        payload = {
            "moisture_pct": f"{found[0]:.1f}",
            "protein_pct": f"{found[1]:.1f}",
            "fat_pct": f"{found[2]:.1f}",
            "salt_pct": f"{max(found[3], 0.5):.1f}",
            "sample": "ground",
            "analyst": "laboratory",
            "method": "oven, Kjeldahl, Soxhlet, chloride",
            "document": f"demo report {self.name}",
            "pieces": 3,
            "kept": 0,
        }
        self._note("lot.analysed", payload, at, "ilo@office")

    def _calipers(self) -> None:
        """The first two tagged pieces of a thick lot are measured across at each later weighing."""
        if self.life.plan.line.code != "YE":
            return
        eye = stream(self.book.seed, "calipers", self.name)
        for at in self.weighing_times()[6::3]:
            loss = self.life.loss_at(at)
            for tag in range(2):
                # Length holds, density hardly changes: the section follows the volume (trade arithmetic).
                shrunk = self.life.plan.line.calibre_mm * float(np.sqrt(1 - 1.04 * loss[tag]))
                wide, narrow = (shrunk + 0.6 * eye.standard_normal() + out for out in (0.8, -0.8))
                payload = {
                    "diameter_mm": f"{wide:.1f}",
                    "tag": str(self.tags[tag]),
                    "other_mm": f"{narrow:.1f}",
                    "kept": 0,
                }
                self._note("piece.measured", payload, at + timedelta(minutes=6 + tag), "maren@tablet-rooms")

    def _taken_down(self) -> None:
        at = self.life.ended_at + timedelta(minutes=30)
        left = self.life.plan.green_kg * (1 - float(self.life.loss_at(self.life.ended_at).mean()))
        parts = {"pack": 0.962, "ends": 0.022, "sample": 0.004, "waste": 0.010}
        for number, (into, share) in enumerate(parts.items()):
            kg = left * share * (1 + 0.004 * float(self.rng.standard_normal()))
            self._note(
                "lot.yielded",
                {"mass": kilograms(kg, 1, 100_000), "into": into, "last": 1 if into == "pack" else 0},
                at + timedelta(minutes=number),
                "tamsin",
            )


def finished_kg(life: LotLife) -> float:
    """What goes to the packing room of a lot that came down. [kg]"""
    return life.plan.green_kg * (1 - float(life.loss_at(life.ended_at).mean())) * 0.962
