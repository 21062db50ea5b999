"""Whole answers: one forecast, one calibration, and the morning of a house of 300 lots."""

from __future__ import annotations

import resource
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from benchmarks.drying.case import DAYS, PIECE, SEED, best_s, jumping_log, last_stage
from saltloft.cases.drying_parameters import drying_parameters, kill_models
from saltloft.facts.loader import load_facts
from saltloft.process.draws import draw
from saltloft.process.ensemble import forecast
from saltloft.process.kept_learned import Kept
from saltloft.process.learning import Weighing, learn
from saltloft.process.programme import AirTrace, Programme
from saltloft.store.member_states import MemberStates

LOTS, LOT_MEMBERS, THREADS = 300, 500, 2
FORECAST_MEMBERS = 400
TARGETS = {"weight_loss_pct": 35.0}
# A house weighs a lot twice in its first week, then weekly; the last time this long ago. [d]
WEIGHED_D = (3.0, 6.0, *np.arange(13.0, DAYS - 3.0, 7.0))


@dataclass(frozen=True)
class Lot:
    """One lot of the benchmark's house.

    Args:
        name: str.
        log: AirTrace. Hourly, one day longer than the morning it is first looked at.
        weighings: tuple of Weighing.
    """

    name: str
    log: AirTrace
    weighings: tuple[Weighing, ...]

    def programme(self, days: float) -> Programme:
        """Its log up to a day, then the last stage. [d]"""
        seen = self.log.time_d <= days
        trace = AirTrace(
            self.log.time_d[seen],
            self.log.temperature_c[seen],
            self.log.relative_humidity[seen],
            self.log.air_m_s,
        )
        return Programme((last_stage(),), trace)


def weighed(days: tuple[float, ...], pace_d: float = 16.0) -> tuple[Weighing, ...]:
    """Six tagged pieces weighed together on some days, drying at a plain exponential pace."""
    losses = [0.41 * (1.0 - float(np.exp(-day / pace_d))) for day in days]
    return tuple(
        Weighing(float(day), loss, pieces=6, division_kg=0.005, green_kg=6.0)
        for day, loss in zip(days, losses, strict=True)
    )


def answer(lot: Lot, days: float, kept: Kept | None, keep: Callable[[Kept], None] | None) -> object:
    """The forecast of a lot as the morning asks for it."""
    return forecast(
        PIECE,
        lot.programme(days),
        drying_parameters(load_facts()),
        targets=TARGETS,
        weighings=lot.weighings,
        members=LOT_MEMBERS,
        seed=SEED,
        lot=lot.name,
        kill=kill_models(load_facts()),
        kept=kept,
        keep=keep,
    )


def one_lot() -> dict[str, float]:
    """Warm times of a single lot: forecast with 400 members, calibration on twelve weighings. [ms]"""
    parameters = drying_parameters(load_facts())
    lot = Lot("one", jumping_log(), weighed(tuple(np.linspace(3.0, 58.0, 12))))
    programme = lot.programme(60.0)

    def forecasting() -> object:
        return forecast(PIECE, programme, parameters, targets=TARGETS, members=FORECAST_MEMBERS)

    def learning() -> object:
        plain = draw(SEED, lot.name, FORECAST_MEMBERS, len(programme.stages))
        return learn(PIECE, programme, parameters, plain, weighings=lot.weighings, seed=SEED, lot=lot.name)

    forecasting()
    learning()
    return {
        "calibration_ms": 1e3 * best_s(learning, 10),
        "forecast_400_ms": 1e3 * best_s(forecasting, 10),
    }


def morning() -> dict[str, float]:
    """300 lots on two threads from nothing, and one day later from what was kept. [s]

    No lot is weighed in between, no reading comes late and the house's prior stands still: where one
    of these moves, a lot costs as from nothing. What is kept is written and read back as the house does.
    """
    lots = [
        Lot(f"L{number}", jumping_log(DAYS + 1, seed=1000 + number), weighed(WEIGHED_D, 12.0 + number % 9))
        for number in range(LOTS)
    ]
    with tempfile.TemporaryDirectory(prefix="saltloft-morning-") as folder:
        shelf = MemberStates(Path(folder, "states"))

        def look(lot: Lot, days: float) -> None:
            body = shelf.get(lot.name)
            kept = None if body is None else Kept.from_bytes(body)
            answer(lot, days, kept, lambda left: _put(shelf, lot.name, left))

        figures = {}
        for name, days in (("morning_s", float(DAYS)), ("morning_next_s", DAYS + 1.0)):
            with ThreadPoolExecutor(THREADS) as pool:
                begun = time.perf_counter()
                list(pool.map(look, lots, [days] * len(lots)))
                figures[name] = time.perf_counter() - begun
        kept_bytes = sum(path.stat().st_size for path in shelf.folder.iterdir())
    return figures | {"kept_mb": kept_bytes / 1e6}


def _put(shelf: MemberStates, lot: str, left: Kept) -> None:
    if not shelf.put(lot, left.to_bytes()):
        raise SystemExit("no room for what is kept")


def peak_mb() -> float:
    """The most memory this process has held. [MB]"""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
