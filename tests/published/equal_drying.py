"""Is 18 degC at 80 %RH the same as 12 degC at 70 %? The figures of docs/models/equal-drying.md.

`python -m tests.published.equal_drying` writes the page's two tables. Drying by the engine, 200
pieces, seed 1, air known at the piece; growth by the limits and rates of the fact rows.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from tests.drying_cases import piece, stage, trial_parameters

from saltloft.facts.loader import load_facts
from saltloft.process.draws import draw
from saltloft.process.programme import Programme
from saltloft.process.simulate import Run, first_day, simulate
from saltloft.science.growth import (
    Cardinal,
    CardinalGrowth,
    GrowthGate,
    SquareRootGrowth,
    cardinal_rate_h,
    growth_possible,
    square_root_rate_h,
)

Array = NDArray[np.float64]

ROOMS = {"18 °C, 80 %": (18.0, 0.80), "12 °C, 70 %": (12.0, 0.70)}
CALIBRES = (50.0, 80.0)
NAMES = {
    "salmonella": "Salmonella",
    "escherichia_coli": "E. coli",
    "listeria_monocytogenes": "L. monocytogenes",
    "staphylococcus_aureus": "S. aureus",
    "clostridium_botulinum": "C. botulinum (proteolytic)",
}
DAYS = np.unique(np.concatenate([np.arange(0.0, 10.0, 0.25), np.arange(10.0, 401.0, 1.0)]))
PH, WATER_ACTIVITY = 5.0, 0.96


@lru_cache(maxsize=8)
def run_of(calibre_mm: float, room: str) -> Run:
    """200 pieces: 2.5 d at 22 degC and 92 %RH, then the room, 0.15 m/s."""
    celsius, humidity = ROOMS[room]
    programme = Programme((stage(2.5, 22.0, 0.92, 0.3), stage(398.0, celsius, humidity, 0.15)))
    return simulate(piece(calibre_mm), programme, trial_parameters(), draw(1, "case", 200, 2), DAYS)


def quantiles(days: Array) -> str:
    """Median and 5 to 95 % of a day; 'after 400' where a piece never gets there."""
    low, middle, high = (
        f"{day:.0f}" if np.isfinite(day) else "after 400"
        for day in np.quantile(days, (0.05, 0.5, 0.95), method="inverted_cdf")
    )
    return f"{middle} ({low} to {high})"


@dataclass(frozen=True)
class Dried:
    """One row of the first table."""

    calibre_mm: float
    room: str
    day: Array
    rim: float
    core: float
    index: float


def dried() -> list[Dried]:
    """Days to 35 % loss, and what the median piece is like on its day."""
    found = []
    for calibre in CALIBRES:
        for room in ROOMS:
            run = run_of(calibre, room)
            day = first_day(DAYS, run.states.weight_loss, 0.35, falling=False)
            place = int(np.searchsorted(DAYS, np.quantile(day, 0.5, method="inverted_cdf")))
            rim, core = (
                float(np.median(values[place]))
                for values in (run.states.water_activity_rim, run.states.water_activity_core)
            )
            index = float(np.median(run.states.case_hardening.max(axis=0)))
            found.append(Dried(calibre, room, day, rim, core, index))
    return found


def gate_of(organism: str) -> GrowthGate:
    """The limits of one organism; lactic acid is left out."""
    number = load_facts().number
    return GrowthGate(
        number(f"growth.{organism}.gate_temperature"),
        number(f"growth.{organism}.gate_ph"),
        number(f"growth.{organism}.gate_water_activity"),
    )


def rate_h(organism: str, celsius: float) -> float:
    """Growth rate at pH 5.0 and water activity 0.96, without lactate and nitrite. [1/h]"""
    n, own = load_facts().number, f"growth.{organism}."
    if organism == "listeria_monocytogenes":
        model = SquareRootGrowth(
            n(own + "rate_25c"),
            n(own + "temperature_root"),
            np.inf,
            n(own + "water_activity_root"),
            n(own + "ph_root"),
            n(own + "undissociated_lactic_max"),
            n(own + "nitrite_max"),
        )
        return float(
            square_root_rate_h(
                celsius, PH, WATER_ACTIVITY, undissociated_lactic_mol_m3=0.0, nitrite_mg_kg=0.0, model=model
            )
        )
    cardinals = (
        Cardinal(*(n(f"{own}{name}_{end}") for end in ("min", "optimum", "max")))
        for name in ("temperature", "ph", "water_activity")
    )
    return float(
        cardinal_rate_h(celsius, PH, WATER_ACTIVITY, CardinalGrowth(n(own + "rate_optimum"), *cardinals))
    )


def last_day(organism: str, calibre_mm: float, room: str, place: str) -> float:
    """Day until which the limits leave growth open at a place of the wettest piece in twenty.

    pH 5.0 everywhere; infinity when it stays open for 400 days, 0 when temperature or pH close it.
    """
    gate, run = gate_of(organism), run_of(calibre_mm, room)
    states = run.states
    values = states.water_activity_core if place == "core" else states.water_activity_rim
    celsius = np.where(DAYS < 2.5, 22.0, ROOMS[room][0])
    wet = np.quantile(values, 0.95, axis=1)
    open_then = growth_possible(celsius, PH, wet, 0.0, gate)
    last = np.flatnonzero(open_then)
    if not last.size:
        return 0.0
    return float(DAYS[last[-1]]) if last[-1] < len(DAYS) - 1 else np.inf


def drying_table() -> str:
    """The page's first table."""
    lines = [
        "| calibre | room | days to 35 % loss, median (5 to 95 % of pieces) | rim a_w then | core a_w then "
        "| largest index E |",
        "|---|---|---|---|---|---|",
    ]
    lines += [
        f"| {row.calibre_mm:.0f} mm | {row.room} | {quantiles(row.day)} | {row.rim:.3f} | {row.core:.3f} "
        f"| {row.index:.2f} |"
        for row in dried()
    ]
    return "\n".join(lines) + "\n"


def _until(organism: str, room: str, place: str) -> str:
    days = [last_day(organism, calibre, room, place) for calibre in CALIBRES]
    return " / ".join(f"{day:.0f}" if np.isfinite(day) else "over 400" for day in days)


def _doubling(organism: str, room: str) -> str:
    rate = rate_h(organism, ROOMS[room][0])
    return f"{np.log(2.0) / rate:.0f}" if rate > 0.0 else "none computed"


def growth_table() -> str:
    """The page's second table."""
    warm, cold = ROOMS
    lines = [
        f"| organism | limits: °C, pH, a_w | core open until day, {warm} | {cold} "
        f"| rim open until day, {warm} | {cold} | hours to double, 18 °C | 12 °C |",
        "|---|---|---|---|---|---|---|---|",
    ]
    for organism, name in NAMES.items():
        gate = gate_of(organism)
        cells = [_until(organism, room, place) for place in ("core", "rim") for room in ROOMS]
        hours = [_doubling(organism, room) for room in ROOMS]
        limits = f"{gate.temperature_c:g}, {gate.ph:g}, {gate.water_activity:g}"
        lines.append(f"| {name} | {limits} | {' | '.join(cells)} | {' | '.join(hours)} |")
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    sys.stdout.write(drying_table() + "\n" + growth_table())
