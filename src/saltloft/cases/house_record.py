"""What a finished lot's forecasts of its own time were worth, made once more as they would have been.

The forecasts of days 7 and 14 are asked again with what had happened by then and what the lots
finished by then had shown, and held against the weighings that came. So the record of a house can be
made again after a rebuild, and a new version of the model is judged by its own forecasts.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from saltloft.cases.drying_parameters import drying_parameters
from saltloft.cases.lot import SEED, LotCase, lot_case, off_racks_at, programme_of
from saltloft.cases.lot_ahead import RoomHabit
from saltloft.cases.lot_air import BIN_S
from saltloft.cases.open_house import OpenHouse
from saltloft.foundation.errors import SaltloftError
from saltloft.process.draws import PIECE_SLOTS, Draws, draw
from saltloft.process.learning import Learned, Likelihood, LotPrior, Weighing, learn
from saltloft.process.learning.hindsight import Asked, outcomes
from saltloft.process.learning.level import PastLine
from saltloft.process.learning.observations import fresh_variance
from saltloft.process.learning.record import PastForecast
from saltloft.process.learning.share import Experience, seen_of
from saltloft.process.parameters import DryingParameters
from saltloft.process.programme import DAY_S
from saltloft.process.simulate import simulate
from saltloft.science import statistics

Array = NDArray[np.float64]
# What a lot started from: the house's prior, and what earlier lots say of straight lines.
Start = tuple[LotPrior | None, tuple[PastLine, ...]]

SORT = "record"
ASKED_D = (7.0, 14.0)
MEMBERS = 100
FIGURES = 6
NEVER = 2.0  # a loss no piece can have
_PIECE_SLOT0 = 14_000


@dataclass(frozen=True)
class Visits:
    """The later visits to the pieces that are followed.

    Args:
        day: array (visits,). Rising. [d]
        loss: array (visits,). Their mean, 0..1.
        names: tuple of str. Tags, or empty for untagged sets.
        pieces: int. How many pieces one such mean is of.
        reading_sd: float. Error of such a mean by scale and handling. [1]
    """

    day: Array
    loss: Array
    names: tuple[str, ...]
    pieces: int
    reading_sd: float


def visits_of(weighings: Sequence[Weighing], parameters: DryingParameters) -> Visits | None:
    """Means of the visits, of the tagged pieces where there are any; None without two visits.

    Args:
        weighings: sequence of Weighing.
        parameters: DryingParameters.

    Notes:
        A visit that saw fewer than half of the tags is left out: another mean of other pieces.
    """
    good = [one for one in weighings if -0.05 < one.weight_loss < 0.75]
    names = tuple(dict.fromkeys(one.tag for one in good if one.tag))
    followed = [one for one in good if one.tag in names] if names else good
    by_visit: dict[int, list[Weighing]] = {}
    for one in followed:
        by_visit.setdefault(round(2.0 * one.day), []).append(one)
    whole = [visit for visit in by_visit.values() if 2 * len(visit) >= len(names)]
    if len(whole) < 2:
        return None
    order = sorted(whole, key=lambda visit: visit[0].day)
    variance = np.mean([fresh_variance(one, parameters) for one in followed])
    pieces = len(names) or int(np.median([sum(one.pieces for one in visit) for visit in order]))
    return Visits(
        day=np.array([np.mean([one.day for one in visit]) for visit in order]),
        loss=np.array([np.median([one.weight_loss for one in visit]) for visit in order]),
        names=names,
        pieces=pieces,
        reading_sd=float(np.sqrt(variance / max(len(names), 1))),
    )


@dataclass(frozen=True)
class Looked:
    """What looking back at a finished lot gives.

    Args:
        past: tuple of PastForecast. Empty for a lot that still hangs or cannot be forecast.
        likelihood: Likelihood or None. What its readings say, straightened about the best point from
            the house's prior instead of the literature's; None without a house's prior.
    """

    past: tuple[PastForecast, ...] = ()
    likelihood: Likelihood | None = None


def looked_back(house: OpenHouse, lot: str, asof: datetime, starts: Mapping[float, Start]) -> Looked:
    """The forecasts of a finished lot, asked again and held against what came.

    Args:
        house: OpenHouse.
        lot: str.
        asof: datetime, aware. Only what was recorded by then counts.
        starts: mapping of the day of asking to what the lot started from then. [d]

    Returns:
        Looked; empty for a lot that still hangs or cannot be forecast.
    """
    try:
        whole = lot_case(house, lot, asof)
        off = off_racks_at(whole.record)
        visits = visits_of(whole.drying.weighings, drying_parameters(house.facts))
        if off is None or off > asof or visits is None:
            return Looked()
        found: list[PastForecast] = []
        for asked_d, start in starts.items():
            moment = whole.record.made_at + timedelta(days=asked_d)
            if moment < off:
                then = _cut(whole, asked_d)
                found += _asked_again(house, then, visits, asked_d, start)
        return Looked(tuple(found), _straightened(house, whole, starts[max(starts)][0]))
    except SaltloftError:
        return Looked()  # a lot without a forecast of its own has no record


def _straightened(house: OpenHouse, whole: LotCase, prior: LotPrior | None) -> Likelihood | None:
    if prior is None:
        return None
    drying, lot = whole.drying, whole.record.lot
    return learn(
        drying.piece,
        drying.programme,
        drying_parameters(house.facts),
        draw(SEED, lot, 2, len(drying.programme.stages)),
        weighings=drying.weighings,
        measured=drying.measured,
        prior=prior,
        seed=SEED,
        lot=lot,
        correct=False,
    ).likelihood


def _cut(whole: LotCase, day: float) -> LotCase:
    """A lot's case with the log and the readings up to a day from stuffing only. [d]

    The air ahead of that day is told from the lot's own log, not from the lots before it.
    """
    air, drying = whole.air, whole.drying
    until_s = whole.record.made_at.timestamp() + DAY_S * day - BIN_S
    seen = slice(int(np.searchsorted(air.at_s, until_s, side="right")))
    log = replace(
        air,
        at_s=air.at_s[seen],
        temperature_c=air.temperature_c[seen],
        rh=air.rh[seen],
        measured=air.measured[seen],
    )
    then = replace(
        drying,
        programme=programme_of(whole.record, whole.product, log, RoomHabit()),
        weighings=tuple(one for one in drying.weighings if one.day <= day),
        measured=tuple(one for one in drying.measured if one.day <= day),
    )
    return replace(whole, air=log, drying=then)


def _asked_again(
    house: OpenHouse,
    then: LotCase,
    visits: Visits,
    asked_d: float,
    start: Start,
) -> list[PastForecast]:
    drying, lot, parameters = then.drying, then.record.lot, drying_parameters(house.facts)
    prior, lines = start
    experience = Experience(then.record.product, float(then.product.calibre_mm) / 1000.0, lines)
    learned = learn(
        drying.piece,
        drying.programme,
        parameters,
        draw(SEED, lot, MEMBERS, len(drying.programme.stages)),
        weighings=drying.weighings,
        measured=drying.measured,
        prior=prior,
        seed=SEED,
        lot=lot,
    )
    wild = learned.outlier_share if drying.weighings else None
    line = experience.line(seen_of(drying.weighings, parameters, wild))
    until = max(float(visits.day[-1]) + 1.0, 2.0 * asked_d)
    time_d = np.unique(np.append(np.arange(0.0, until, 1.0), until))
    lanes = _followed(learned, visits, lot)
    run = simulate(drying.piece, drying.programme, parameters, lanes, time_d)
    target = drying.targets.get("weight_loss_pct")
    asked = Asked(
        lot=lot,
        product=then.record.product,
        calibre_mm=1000.0 * experience.calibre_m,
        asked_d=asked_d,
        target=NEVER if target is None else target / 100.0,
        time_d=time_d,
        engine=run.weight_loss,
        rival=line.draws(learned.draws.lots, seed=SEED, lot=lot),
        tags=visits.names or ("",) * visits.pieces,
    )
    return outcomes(asked, visits.day, visits.loss, visits.reading_sd, seed=SEED)


def _followed(learned: Learned, visits: Visits, lot: str) -> Draws:
    """One lane a lot draw: the mean of the pieces that are followed."""
    lots = learned.draws.lots
    row, slots = np.arange(lots)[:, None], np.arange(len(PIECE_SLOTS))

    def fresh(number: int) -> Array:
        at = _PIECE_SLOT0 + len(PIECE_SLOTS) * number + slots
        return statistics.normal(SEED, lot, row, at[None, :])

    if visits.names:
        each = [learned.offsets.get(name, fresh(number)) for number, name in enumerate(visits.names)]
        mean: Array = np.mean(each, axis=0)
    else:
        mean = fresh(0) / np.sqrt(visits.pieces)
    return Draws(learned.draws.lot, mean, learned.draws.stages, pieces_each=1)


def plain(past: Iterable[PastForecast]) -> list[dict[str, str | float]]:
    """Past forecasts as plain values, in the precision they are kept in."""
    return [
        {name: float(f"{value:.{FIGURES}g}") if isinstance(value, float) else value for name, value in row}
        for row in (asdict(one).items() for one in past)
    ]
