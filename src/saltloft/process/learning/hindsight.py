"""A forecast of the past held against what the scale said afterwards, for the house's record."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from saltloft.process.learning.record import LOSS, READY, PastForecast, log_score, rank_of
from saltloft.process.learning.rival import Drawn
from saltloft.process.simulate import first_day
from saltloft.science import statistics

Array = NDArray[np.float64]

_NOISE_SLOT = 13_000


@dataclass(frozen=True)
class Asked:
    """What both models answered on one day about the pieces that are weighed.

    Args:
        lot, product: str.
        calibre_mm: float. Nominal. [mm]
        asked_d: float. [d]
        target: float. Loss at which it is ready, 0..1.
        time_d: array (times,). From about asked_d on, rising. [d]
        engine: array (times, lots). Mean loss of the weighed pieces by the drying model, 0..1.
        rival: Drawn.
        tags: tuple of str. The weighed pieces.
    """

    lot: str
    product: str
    calibre_mm: float
    asked_d: float
    target: float
    time_d: Array
    engine: Array
    rival: Drawn
    tags: tuple[str, ...]


def outcomes(asked: Asked, day: Array, loss: Array, reading_sd: float, *, seed: int) -> list[PastForecast]:
    """What of a forecast came out.

    Args:
        asked: Asked.
        day: array (visits,). All visits so far, rising. [d]
        loss: array (visits,). Mean loss as weighed, 0..1.
        reading_sd: float. Error of such a mean by scale and handling. [1]
        seed: int.

    Returns:
        List of PastForecast, by day: each visit after the asking, and the day of the target if the
        visits show it (straight in the square root of time between the two about it).
    """
    found = []
    for number in np.flatnonzero((day > asked.asked_d + 0.25) & (day <= asked.time_d[-1])):
        found.append(_visit(asked, float(day[number]), float(loss[number]), reading_sd, seed=seed))
    ready = reached(day, loss, asked.target)
    if ready is not None and ready > asked.asked_d + 0.25:
        found.append(_ready(asked, ready))
    return found


def reached(day: Array, loss: Array, target: float) -> float | None:
    """The day on which the weighed pieces were at the target, from visits; None if not seen. [d]

    Args:
        day: array (visits,), rising. [d]
        loss: array (visits,). 0..1.
        target: float, 0..1.
    """
    over = np.flatnonzero(loss >= target)
    if not len(over) or over[0] == 0:
        return None
    after = int(over[0])
    part = (target - loss[after - 1]) / (loss[after] - loss[after - 1])
    root = np.sqrt(day[after - 1]) * (1.0 - part) + np.sqrt(day[after]) * part
    return float(root**2)


def _visit(asked: Asked, day: float, loss: float, reading_sd: float, *, seed: int) -> PastForecast:
    lots = asked.engine.shape[1]
    place = int(np.clip(np.searchsorted(asked.time_d, day), 1, len(asked.time_d) - 1))
    t0, t1 = asked.time_d[place - 1], asked.time_d[place]
    part = (day - t0) / (t1 - t0)
    z = statistics.normal(seed, asked.lot, np.arange(lots)[:, None], np.array([[_NOISE_SLOT + round(day)]]))
    engine = asked.engine[place - 1] * (1.0 - part) + asked.engine[place] * part + reading_sd * z[:, 0]
    rival = asked.rival.loss(np.array([day]), asked.rival.of_tags(asked.tags))[0]
    z = statistics.normal(
        seed, asked.lot, np.arange(len(rival))[:, None], np.array([[_NOISE_SLOT + 500 + round(day)]])
    )
    rival = rival + np.hypot(asked.rival.visit_sd, reading_sd) * z[:, 0]
    return _past(asked, LOSS, day, loss, engine=engine, rival=rival)


def _ready(asked: Asked, ready: float) -> PastForecast:
    engine = first_day(asked.time_d, asked.engine, asked.target, falling=False)
    line = asked.rival.loss(asked.time_d, asked.rival.of_tags(asked.tags))
    rival = first_day(asked.time_d, line, asked.target, falling=False)
    return _past(asked, READY, ready, ready, engine=engine, rival=rival)


def _past(
    asked: Asked, kind: str, day: float, observed: float, *, engine: Array, rival: Array
) -> PastForecast:
    return PastForecast(
        lot=asked.lot,
        product=asked.product,
        calibre_mm=asked.calibre_mm,
        asked_d=asked.asked_d,
        kind=kind,
        lead_d=day - asked.asked_d,
        observed=observed,
        rank=rank_of(engine, observed),
        rank_rival=rank_of(rival, observed),
        log_score_engine=log_score(engine, observed, kind),
        log_score_rival=log_score(rival, observed, kind),
    )
