"""Does the early warning know the rims of the invented year? Hits and false alarms against its truth.

    python -m benchmarks.early_warning [--seed N] [--day D] [--lots M] [--json FILE]

The truth of the demo house is another model, with a rim that stiffens for good
and a stiffening of every lot's own that nothing measured tells. Each lot is
forecast on day D from its room's air up to then and six weighed pieces; the
shares of its warnings are held against the rim that the truth's pieces have on
their ready day, as the curer of that house cuts it. Nothing is fitted here.
"""

from __future__ import annotations

import argparse
import json
import time
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import timedelta
from pathlib import Path

import numpy as np
from demo.build import SHIPPED_SEED
from demo.clock import STEPS, step_of
from demo.house import ROOM_INDEX
from demo.truth.year import LotLife, Year, simulate

from saltloft.cases.drying_parameters import drying_parameters
from saltloft.facts.loader import load_facts
from saltloft.process.ahead import stages_ahead
from saltloft.process.ensemble import forecast
from saltloft.process.hand_skill import THICK_RIM_MM, rank_correlation, ranking_area
from saltloft.process.learning import Weighing
from saltloft.process.piece import Piece
from saltloft.process.programme import AirTrace, Programme, Span, Stage
from saltloft.science.statistics import uniform

WARNINGS = ("hardening_ahead", "case_hardening", "hollow_centre")
WARNED = 0.5  # a warning counts as given when so many of the computed cases show it
CARRY_ON_D = 30.0
DRAWS = 400


@dataclass(frozen=True)
class Warned:
    """One lot's warnings beside the rim it came to have.

    Args:
        lot, line: str.
        rim_mm: float. Of the truth's mean piece on its ready day, as the house's curer cuts it. [mm]
        shares: mapping of a warning to its share of computed cases, 0..1.
        index, rim: float. Computed case-hardening index and rim water activity on the median ready day.
        day: float. Median day from which `hardening_ahead` is given; nan without. [d]
        ready_d: float. The truth's. [d]
    """

    lot: str
    line: str
    rim_mm: float
    shares: dict[str, float]
    index: float
    rim: float
    day: float
    ready_d: float


@dataclass(frozen=True)
class Count:
    """A warning against thick rims.

    Args:
        hits, missed, false, silent: int. Thick and warned, thick and not; thin and warned, thin and not.
        area, area_low, area_high: float. Chance that a thick rim had the larger share than a thin one,
            and its 90 % interval by drawing lots; nan without both sorts.
        rank: float. Rank correlation of the share with the rim; nan where one does not vary.
    """

    hits: int
    missed: int
    false: int
    silent: int
    area: float
    area_low: float
    area_high: float
    rank: float


def rim_mm_of(life: LotLife, day: float) -> float:
    """The rim the house's curer would cut on a day: the same law as the demo's records. [mm]"""
    return 0.5 + 1.6 * float(np.interp(24.0 * day, life.hours, life.activity[:, 3]))


def programme_of(year: Year, life: LotLife, day: float) -> Programme:
    """The air the lot hung in, hour by hour up to a day, then its plan as the room keeps to it."""
    made, line = life.plan.made_at, life.plan.line
    hours = np.arange(0.0, 24.0 * day + 1e-9, 1.0)
    moments = [made + timedelta(hours=float(hour)) for hour in hours]
    steps = np.array([min(step_of(moment), STEPS - 1) for moment in moments])
    names = [[room for room, start in life.stays if start <= moment][-1] for moment in moments]
    rooms = np.array([ROOM_INDEX[name] for name in names])
    air = year.air
    trace = AirTrace(
        hours / 24.0, air.temperature_c[steps, rooms], air.rh[steps, rooms], air.air_m_s[steps, rooms]
    )
    ferment_d = line.ferment_h / 24.0
    plan = (
        _stage("fermentation", ferment_d, line.ferment_c, 0.92, 0.40),
        _stage("drying", line.dry_days + CARRY_ON_D, 14.0, 0.815, 0.18),
    )
    moved_d = (life.stays[1][1] - made).total_seconds() / 86400.0
    return Programme(stages_ahead(plan, trace, since_d=min(max(moved_d, ferment_d), day)), trace)


def _stage(name: str, days: float, celsius: float, humidity: float, speed: float) -> Stage:
    return Stage(name, Span.of(days), Span.of(celsius), Span.of(humidity), Span.of(speed))


def warned(year: Year, life: LotLife, day: float, members: int = 200) -> Warned | None:
    """Forecast one lot on a day and read its warnings; None when it was ready by then or never."""
    line = life.plan.line
    ready = life.ready_day(line.target_loss_pct / 100.0)
    if ready is None or ready <= day:
        return None
    piece = Piece(
        diameter_m=Span.of(line.calibre_mm / 1000.0),
        length_m=Span.of(line.length_mm / 1000.0),
        fat=Span.of(line.fat_pct / 100.0),
        salt=Span.of(line.salt_pct / 100.0),
        sugar=Span.of(line.dextrose_g_kg / 1000.0),
        casing=line.casing,
        mould=True,
    )
    found = forecast(
        piece,
        programme_of(year, life, day),
        drying_parameters(load_facts()),
        targets={"weight_loss_pct": line.target_loss_pct},
        weighings=_weighings(life, day),
        members=members,
        seed=1,
        lot=life.plan.name,
    )
    flags = {flag.code: flag for flag in found.flags}
    ahead = flags.get("hardening_ahead")
    middle = found.targets["weight_loss_pct"].mean.p50 or found.horizon_d
    index, rim = (
        float(np.interp(middle, found.time_d, found.bands[name].mean_p50))
        for name in ("case_hardening", "water_activity_rim")
    )
    return Warned(
        lot=life.plan.name,
        line=line.code,
        rim_mm=rim_mm_of(life, ready),
        shares={name: flags[name].share if name in flags else 0.0 for name in WARNINGS},
        index=index,
        rim=rim,
        day=float("nan") if ahead is None or ahead.at_d is None else ahead.at_d,
        ready_d=ready,
    )


def _weighings(life: LotLife, day: float) -> list[Weighing]:
    """Six tagged pieces to 5 g on days 4 and 7 and on the day asked."""
    found = []
    for at in sorted({one for one in (4.0, 7.0, day) if one <= day}):
        losses = life.loss_at(life.plan.made_at + timedelta(days=at), slice(0, 6))
        for tag in range(6):
            green = float(life.green_kg[tag])
            kept = round((1.0 - float(losses[tag])) * green / 0.005) * 0.005
            found.append(Weighing(at, 1.0 - kept / green, 1, str(tag), division_kg=0.005, green_kg=green))
    return found


def count(found: Sequence[Warned], score: np.ndarray, name: str) -> Count:
    """Hits and false alarms of one score.

    Args:
        found: sequence of Warned.
        score: array (lots,). Larger where a thick rim is to be feared; at WARNED or more it is a warning.
        name: str. Keys the draws of lots.
    """
    rim = np.array([one.rim_mm for one in found])
    thick, told = rim >= THICK_RIM_MM, score >= WARNED
    drawn = []
    for draw in range(DRAWS):
        picked = np.floor(uniform(1, name, draw, np.arange(len(found))) * len(found)).astype(int)
        area = ranking_area(score[picked], thick[picked])
        if area is not None:
            drawn.append(area)
    low, high = np.quantile(drawn, (0.05, 0.95)) if drawn else (np.nan, np.nan)
    area, rank = ranking_area(score, thick), rank_correlation(score, rim)
    return Count(
        int((thick & told).sum()),
        int((thick & ~told).sum()),
        int((~thick & told).sum()),
        int((~thick & ~told).sum()),
        np.nan if area is None else area,
        float(low),
        float(high),
        np.nan if rank is None else rank,
    )


def counts(found: Sequence[Warned]) -> dict[str, Count]:
    """Every warning, and index and rim as rankings, over all lots and within each line."""
    groups = {"all": list(found)}
    for line in sorted({one.line for one in found}):
        groups[line] = [one for one in found if one.line == line]
    told = {}
    for group, some in groups.items():
        for name in WARNINGS:
            told[f"{group} {name}"] = count(some, np.array([one.shares[name] for one in some]), name)
        told[f"{group} index"] = count(some, np.array([one.index for one in some]), "index")
        told[f"{group} dry rim"] = count(some, np.array([1.3 - one.rim for one in some]), "rim")
    return told


def table(found: Sequence[Warned]) -> str:
    """The figures as lines of text."""
    lines = [f"{'':26}  hits missed false silent   area (90 %)            rank"]
    lines += [
        f"{name:26} {one.hits:5} {one.missed:6} {one.false:5} {one.silent:6}   {one.area:.2f} "
        f"({one.area_low:.2f} to {one.area_high:.2f})   {one.rank:+.2f}"
        for name, one in counts(found).items()
    ]
    before = [one.ready_d - one.day for one in found if np.isfinite(one.day)]
    middle = float(np.median(before)) if before else float("nan")
    return "\n".join([*lines, f"hardening_ahead begins {middle:.0f} d before the ready day, in the median"])


def scored(seed: int, day: float, most_lots: int = 0) -> list[Warned]:
    """Every lot of a year that was not ready by a day, or evenly picked ones."""
    year = simulate(seed)
    step = max(1, len(year.lots) // most_lots) if most_lots else 1
    return [one for life in year.lots[::step] if (one := warned(year, life, day)) is not None]


def main() -> None:
    """Score one seed and print the figures."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.early_warning", description=__doc__)
    parser.add_argument("--seed", type=int, default=SHIPPED_SEED)
    parser.add_argument("--day", type=float, default=10.0, help="day of the forecast, from stuffing")
    parser.add_argument("--lots", type=int, default=0, help="at most about so many lots; 0: all")
    parser.add_argument("--json", type=Path, help="also write every lot here")
    given = parser.parse_args()
    start = time.perf_counter()
    found = scored(given.seed, given.day, given.lots)
    print(
        f"seed {given.seed}, day {given.day:g}, {len(found)} lots; {THICK_RIM_MM:g} mm or more is a thick rim"
    )
    print(table(found))
    print(f"wall_s {time.perf_counter() - start:.0f}")
    if given.json:
        given.json.write_text(json.dumps([asdict(one) for one in found], indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
