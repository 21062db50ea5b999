"""How honest is the forecast? Hold back what was weighed after day 7, and compare with it and with the truth.

    python -m benchmarks.demo_honesty [--seed N] [--lots M] [--live] [--json FILE]

For one seed: lives through the invented year, builds its house through the
public jobs, forecasts lots from their records up to day 7 and their rooms'
logs, and counts how many later weighings of single pieces fall inside the
band of a piece picked at random (5 to 95 %), how many visits' means fall
inside the band of six such pieces' mean, and how far the median ready day
lies from the true one. Day 7 counts from stuffing. Nothing is fitted here.
With --live the rooms' logs end on day 7 too: the air ahead has to be foretold.
"""

from __future__ import annotations

import argparse
import itertools
import json
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, timedelta
from pathlib import Path

import numpy as np
from demo.build import SHIPPED_SEED, write_files
from demo.clock import TODAY
from demo.truth.year import LotLife, simulate

from saltloft.cases.lot_weighings import LossReading, losses
from saltloft.cli.demo_house import build_demo_house, read_demo_files
from saltloft.foundation.errors import SaltloftError
from saltloft.house import House
from saltloft.jobs.forecast import forecast
from saltloft.plant.answers import LotOutlook

HELD_BACK_AFTER_D = 7.0
NORMAL_90 = 1.645


@dataclass(frozen=True)
class LotScore:
    """One lot's forecast against what came.

    Args:
        lot: str.
        pieces, pieces_inside: int. Single weighings after day 7, and those inside the piece's band.
        visits, visits_inside: int. The same for the mean of the tagged pieces of a visit.
        ready_error_d: float or None. Median forecast less true ready day; None when it has no median. [d]
        true_ready_d: float or None. [d]
        ready_inside: bool or None. Whether the true ready day lies in the lot's band.
    """

    lot: str
    pieces: int
    pieces_inside: int
    visits: int
    visits_inside: int
    ready_error_d: float | None
    true_ready_d: float | None
    ready_inside: bool | None


@dataclass(frozen=True)
class Curve:
    """The forecast's weight loss over time.

    Args:
        outlook: LotOutlook.
    """

    outlook: LotOutlook

    def at(self, quantile: str, day: float) -> float:
        """One of the band's lines at a day from stuffing. [%]"""
        band = self.outlook.result.bands["weight_loss_pct"]
        return float(np.interp(day, self.outlook.result.time_d, getattr(band, quantile)))

    def holds_mean_of(self, visit: Sequence[LossReading]) -> bool:
        """Whether the lot mean's band, widened by what so few pieces add, holds their mean."""
        day = float(np.mean([one.day for one in visit]))
        middle = self.at("mean_p50", day)
        piece = (self.at("p95", day) - self.at("p05", day)) / (2 * NORMAL_90)
        below, above = middle - self.at("mean_p05", day), self.at("mean_p95", day) - middle
        own = max(piece**2 - ((below + above) / (2 * NORMAL_90)) ** 2, 0.0) / len(visit)
        low = middle - float(np.hypot(below, NORMAL_90 * np.sqrt(own)))
        high = middle + float(np.hypot(above, NORMAL_90 * np.sqrt(own)))
        return low <= 100 * float(np.mean([one.loss for one in visit])) <= high


def score(outlook: LotOutlook, readings: Sequence[LossReading], life: LotLife) -> LotScore:
    """Compare one lot's forecast with its later weighings and its truth."""
    later = [reading for reading in readings if reading.day > HELD_BACK_AFTER_D]
    band = Curve(outlook)
    inside = sum(band.at("p05", one.day) <= 100 * one.loss <= band.at("p95", one.day) for one in later)
    visits = [list(group) for _, group in itertools.groupby(later, key=lambda one: one.at.date())]
    visits_inside = sum(band.holds_mean_of(visit) for visit in visits)
    truth = life.ready_day(life.plan.line.target_loss_pct / 100)
    mean = outlook.result.targets[outlook.target_name].mean
    error = None if mean.p50 is None or truth is None else mean.p50 - truth
    held = None
    if truth is not None and mean.p05 is not None:
        held = bool(mean.p05 <= truth <= (np.inf if mean.p95 is None else mean.p95))
    return LotScore(outlook.lot, len(later), inside, len(visits), visits_inside, error, truth, held)


def scores(seed: int, most_lots: int, *, live: bool = False) -> Iterator[LotScore]:
    """Score every lot of a seed's house that was weighed after day 7, or evenly picked ones.

    Args:
        seed: int.
        most_lots: int. 0: all.
        live: bool. True: nothing recorded after day 7 counts, the rooms' logs included.
    """
    with tempfile.TemporaryDirectory(prefix="saltloft-honesty-") as place:
        year = simulate(seed)
        write_files(seed, year, Path(place, "files"))
        build_demo_house(Path(place, "house"), read_demo_files(Path(place, "files")), lambda _: None)
        lives = [life for life in year.lots if (TODAY - life.plan.made_at).days > HELD_BACK_AFTER_D + 2]
        step = max(1, len(lives) // most_lots) if most_lots else 1
        with House.open(Path(place, "house")) as house:
            for life in lives[::step]:
                readings = losses(house.store.lots.get(life.plan.name))
                try:
                    made = life.plan.made_at.astimezone(UTC)
                    asof = made + timedelta(days=HELD_BACK_AFTER_D) if live else None
                    outlook = forecast(house, life.plan.name, asof, weighed_until_d=HELD_BACK_AFTER_D)
                except SaltloftError as refusal:
                    print(f"{life.plan.name}: no forecast: {refusal.message}", file=sys.stderr)
                    continue
                yield score(outlook, readings, life)


def summary(found: Sequence[LotScore]) -> dict[str, float]:
    """The figures for the docs."""
    errors = np.array([one.ready_error_d for one in found if one.ready_error_d is not None])
    relative = np.array(
        [one.ready_error_d / one.true_ready_d for one in found if one.ready_error_d and one.true_ready_d]
    )
    held = [one.ready_inside for one in found if one.ready_inside is not None]
    return {
        "lots": len(found),
        "weighings_held_back": sum(one.pieces for one in found),
        "share_of_weighings_inside_90": sum(one.pieces_inside for one in found)
        / sum(o.pieces for o in found),
        "share_of_visit_means_inside_90": sum(o.visits_inside for o in found) / sum(o.visits for o in found),
        "ready_days_compared": len(errors),
        "ready_error_median_d": float(np.median(errors)),
        "ready_error_mean_absolute_d": float(np.mean(np.abs(errors))),
        "ready_error_median_relative": float(np.median(relative)),
        "share_of_true_ready_days_inside_90": float(np.mean(held)),
    }


def main() -> None:
    """Score one seed and print the figures."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.demo_honesty", description=__doc__)
    parser.add_argument("--seed", type=int, default=SHIPPED_SEED)
    parser.add_argument("--lots", type=int, default=0, help="at most about so many lots; 0: all")
    parser.add_argument("--live", action="store_true", help="end the rooms' logs on day 7 too")
    parser.add_argument("--json", type=Path, help="also write every lot's score here")
    given = parser.parse_args()
    start = time.perf_counter()
    found = list(scores(given.seed, given.lots, live=given.live))
    figures = {"seed": given.seed, **summary(found), "wall_s": time.perf_counter() - start}
    for name, value in figures.items():
        print(f"{name:36} {value:.3f}" if isinstance(value, float) else f"{name:36} {value}")
    by_line = itertools.groupby(sorted(found, key=lambda one: one.lot[:2]), key=lambda one: one.lot[:2])
    for line, group in by_line:
        part = summary(list(group))
        print(
            f"{line}: {part['lots']} lots, weighings inside {part['share_of_weighings_inside_90']:.2f}, "
            f"ready error median {part['ready_error_median_d']:+.1f} d, "
            f"absolute {part['ready_error_mean_absolute_d']:.1f} d"
        )
    if given.json:
        given.json.write_text(json.dumps([asdict(one) for one in found], indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
