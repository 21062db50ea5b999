"""`score`: hold a forecaster against a family of truths, in time order."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from tests.truth.baselines import Dressed, baselines, weighed
from tests.truth.families import make_lots
from tests.truth.known import KnownLot, Lot
from tests.truth.report import Report, Row, summarise
from tests.truth.scores import BAND, crps, place_in, samples_of_quantiles
from tests.truth.weighing import ASOF_D, LEADS_D

Array = NDArray[np.float64]

FEWEST_LOTS = 8


@dataclass(frozen=True)
class Forecast:
    """What a forecaster answers.

    Args:
        loss: array (members, days). Mean loss of the tagged pieces *as it will be weighed*, 0..1.
        target_day: array (members,). Day the whole lot's mean is at its target; inf for never. [d]
        piece_loss: array (members, days, tags) or None. The same of each tagged piece, 0..1.
    """

    loss: Array
    target_day: Array
    piece_loss: Array | None = None

    @staticmethod
    def of_quantiles(levels: Array, loss: Array, target_day: Array) -> Forecast:
        """From quantiles at rising levels: loss (levels, days), target_day (levels,)."""
        columns = [samples_of_quantiles(levels, column) for column in loss.T]
        return Forecast(np.array(columns).T, samples_of_quantiles(levels, target_day))


class Forecaster(Protocol):
    """Anything that can be asked about a lot.

    It may also have a method `finished(lot: KnownLot) -> None`; that is called, in calendar order,
    with the whole record of each lot once it was weighed at its target, so that it may learn.
    """

    def __call__(self, lot: KnownLot, asof_day: float, days: Array) -> Forecast:
        """Forecast a lot, cut at `asof_day`, for `days` after it."""
        ...


def score(
    forecaster: Forecaster,
    family: str,
    lots: int = 200,
    *,
    seed: int,
    asof_days: tuple[float, ...] = ASOF_D,
) -> Report:
    """Ask a forecaster about every lot of a family and compare with what was weighed and when it was ready.

    Args:
        forecaster: Forecaster.
        family: str. A name in families.FAMILIES.
        lots: int. Eight or more.
        seed: int. See README.md for which seeds may be used for what.
        asof_days: tuple of float. Of (3, 7, 14). [d]

    Returns:
        Report.

    Raises:
        ValueError: too few lots to dress the baselines, or an answer of the wrong shape.
    """
    if lots < FEWEST_LOTS:
        raise ValueError(f"{lots} lots are too few to dress the baselines, {FEWEST_LOTS} are needed")
    made = make_lots(family, lots, seed)
    answers = _ask(forecaster, made, asof_days)
    rows: list[Row] = []
    tie = np.random.Generator(np.random.Philox(seed))
    for asof in asof_days:
        dressed = baselines(made, asof, asof + np.array(LEADS_D))
        for number, lot in enumerate(made):
            others = {name: ensembles[number] for name, ensembles in dressed.items()}
            rows.extend(_rows(number, lot, asof, answers[number, asof], others=others, tie=tie))
    ready = sum(lot.truth.target_day <= asof for lot in made for asof in asof_days)
    return summarise(rows, family, seed, lots, ready)


def _ask(
    forecaster: Forecaster, lots: list[Lot], asof_days: tuple[float, ...]
) -> dict[tuple[int, float], Forecast]:
    """All questions in calendar order, a finished lot handed over before the next question."""
    events: list[tuple[float, int, int, float]] = []
    for number, lot in enumerate(lots):
        events += [(lot.known.start_day + asof, 1, number, asof) for asof in asof_days]
        last = float(lot.known.weighings.time_d[-1])
        events.append((lot.known.start_day + last, 0, number, last))
    learn = getattr(forecaster, "finished", None)
    answers = {}
    for _, is_question, number, day in sorted(events):
        seen = lots[number].known.as_of(day)
        if not is_question:
            if learn is not None:
                learn(seen)
            continue
        days = day + np.array(LEADS_D)
        answers[number, day] = _checked(forecaster(seen, day, days), len(days))
    return answers


def _checked(answer: Forecast, days: int) -> Forecast:
    """The answer, if its shapes and numbers can be scored."""
    if answer.loss.ndim != 2 or answer.loss.shape[1] != days or len(answer.loss) < 2:
        raise ValueError(f"loss must be (members, {days}), got {answer.loss.shape}")
    if answer.target_day.ndim != 1 or len(answer.target_day) < 2:
        raise ValueError(f"target_day must be (members,), got {answer.target_day.shape}")
    if not np.isfinite(answer.loss).all() or np.isnan(answer.target_day).any():
        raise ValueError("a forecast holds something that is no number")
    return answer


def _rows(
    number: int,
    lot: Lot,
    asof: float,
    answer: Forecast,
    *,
    others: dict[str, Dressed],
    tie: np.random.Generator,
) -> Iterator[Row]:
    """One row for the ready day if it is still to come, one a lead for the loss, one a lead and piece."""
    cap, days = lot.truth.horizon_d, asof + np.array(LEADS_D)
    known = lot.known
    if lot.truth.target_day > asof:
        ready = {name: np.minimum(other.ready_d, cap) for name, other in others.items()}
        mine = np.minimum(answer.target_day, cap)
        observed = min(lot.truth.target_day, cap)
        yield _row(
            "ready", number, known, (asof, np.nan), samples=mine, observed=observed, others=ready, tie=tie
        )
    seen = weighed(lot, days)
    for column in np.flatnonzero(np.isfinite(seen)):
        loss = {name: other.loss[column] for name, other in others.items()}
        mine, when = answer.loss[:, column], (asof, LEADS_D[column])
        if min(len(them) for them in loss.values()) > 1:
            yield _row(
                "weighed", number, known, when, samples=mine, observed=seen[column], others=loss, tie=tie
            )
    if answer.piece_loss is None:
        return
    for column, tag in product(np.flatnonzero(np.isfinite(seen)), range(len(known.tags))):
        mine, when = answer.piece_loss[:, column, tag], (asof, LEADS_D[column])
        observed = float(lot.truth.asked_loss[np.searchsorted(lot.truth.asked_day, days[column]), tag])
        yield _row("piece", number, known, when, samples=mine, observed=observed, others={}, tie=tie)


def house_number(known: KnownLot) -> int:
    """The number in the house's name."""
    return int(known.house.split()[-1])


def _row(
    quantity: str,
    number: int,
    known: KnownLot,
    when: tuple[float, float],
    *,
    samples: Array,
    observed: float,
    others: dict[str, Array],
    tie: np.random.Generator,
) -> Row:
    """One line of scores; `when` is as-of day and lead [d]."""
    low, middle, high = np.quantile(samples, [BAND[0], 0.5, BAND[1]])
    return Row(
        quantity=quantity,
        lot=number,
        house=house_number(known),
        calibre_mm=1000.0 * known.calibre_m,
        asof_d=when[0],
        lead_d=when[1],
        observed=float(observed),
        low=float(low),
        middle=float(middle),
        high=float(high),
        crps=crps(samples, observed),
        place=place_in(samples, observed, float(tie.random())),
        other_error={name: abs(float(np.median(them)) - observed) for name, them in others.items()},
        other_crps={name: crps(them, observed) for name, them in others.items()},
    )
