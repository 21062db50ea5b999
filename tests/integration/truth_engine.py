"""The drying engine behind the question of the truth families: one lot, what its house knows, and the past.

Not a test itself. `Engine` answers tests.truth.runner.score through the same steps as a forecast:
prior of the house, learning of the lot, a run of the members. It reads nothing but KnownLot.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from tests.truth.known import KnownLot
from tests.truth.runner import Forecast

from saltloft.cases.drying_parameters import drying_parameters
from saltloft.facts.loader import load_facts
from saltloft.process.ahead import ANY_ROOM, Habit, habit_of, stages_ahead, wetter_than_set
from saltloft.process.draws import PIECE_SLOTS, Draws, draw
from saltloft.process.learning import Likelihood, LotPrior, Weighing, learn
from saltloft.process.learning.hindsight import Asked, outcomes
from saltloft.process.learning.house import PastLot, pooled
from saltloft.process.learning.level import PastLine
from saltloft.process.learning.observations import fresh_variance
from saltloft.process.learning.recalibrate import Recalibration, recalibration_of
from saltloft.process.learning.record import LOSS, READY, HouseRecord, PastForecast
from saltloft.process.learning.rival import Drawn, past_line
from saltloft.process.learning.share import Experience, Share, readable, seen_of, share_of, taken
from saltloft.process.parameters import DryingParameters
from saltloft.process.piece import Piece
from saltloft.process.programme import AirTrace, Programme, Span, Stage
from saltloft.process.simulate import first_day, simulate
from saltloft.science import statistics

Array = NDArray[np.float64]

MEMBERS, SEED = 200, 1
PIECES, TAGS = 24, 6  # hung of a lot, and tagged of them
# How long a lot is followed: the scorer caps a ready day there, so nobody need look further. [d]
PRACTICE_D, SHORTEST_D, LONGEST_D, TIMES_PRACTICE = 30.0, 46.0, 202.0, 2.7
REST_SLOT0 = 9000
LAST_LOGS = 4  # lots of the room whose logs still tell of its probe


@lru_cache(maxsize=1)
def parameters() -> DryingParameters:
    """The literature's numbers, as in every forecast."""
    return drying_parameters(load_facts())


def piece_of(known: KnownLot) -> Piece:
    """The recipe and the nominal calibre; the engine's own doubts stand for the rest."""
    return Piece(
        diameter_m=Span.of(known.calibre_m),
        length_m=Span.of(known.length_m),
        fat=Span.of(known.fat),
        salt=Span.of(known.salt),
        water=Span.of(known.water),
        protein=Span.of(known.protein),
        casing=known.casing,
    )


def plan_of(known: KnownLot) -> tuple[Stage, ...]:
    """The plan from stuffing on."""
    return tuple(
        Stage(
            name=stage.name,
            duration_d=Span.of(stage.duration_d),
            temperature_c=Span.of(stage.temperature_c),
            relative_humidity=Span.of(stage.relative_humidity),
            air_m_s=Span.of(stage.air_m_s),
        )
        for stage in known.stages
    )


def trace_of(known: KnownLot) -> AirTrace:
    """The log, at the air speed the plan states."""
    log = known.log
    ends = np.cumsum([stage.duration_d for stage in known.stages])
    at = np.minimum(np.searchsorted(ends, log.time_d, side="right"), len(ends) - 1)
    speed = np.array([stage.air_m_s for stage in known.stages])[at]
    return AirTrace(log.time_d, log.temperature_c, log.relative_humidity, speed)


def programme_of(known: KnownLot, habit: Habit = ANY_ROOM) -> Programme:
    """The log as far as it goes, then the plan as the room's log keeps to it."""
    trace = trace_of(known)
    return Programme(stages_ahead(plan_of(known), trace, habit), trace)


def weighings_of(known: KnownLot) -> list[Weighing]:
    """Every reading of every tagged piece, with the scale's division."""
    loss = 1.0 - known.weighings.weight_kg / known.green_kg
    return [
        Weighing(
            day=float(day),
            weight_loss=float(loss[row, column]),
            tag=tag,
            division_kg=known.scale_division_kg,
            green_kg=float(known.green_kg[column]),
        )
        for row, day in enumerate(known.weighings.time_d)
        for column, tag in enumerate(known.tags)
        if np.isfinite(loss[row, column])
    ]


@dataclass
class Engine:
    """A forecaster that remembers the lots of each house.

    Args:
        members: int. Lot draws are half of it.
        alone: bool. True: no lot learns from another.
    """

    members: int = MEMBERS
    alone: bool = False
    kept: dict[str, dict[str, tuple[Likelihood, str, float]]] = field(default_factory=dict)
    lines: dict[str, dict[str, PastLine]] = field(default_factory=dict)
    asked: dict[str, list[Asked]] = field(default_factory=dict)
    came_out: dict[str, dict[str, list[tuple[float, PastForecast]]]] = field(default_factory=dict)
    shares: dict[tuple[str, float], Share] = field(default_factory=dict)
    logs: dict[str, dict[str, tuple[float, float]]] = field(default_factory=dict)

    def prior_of(self, known: KnownLot, day: float) -> LotPrior | None:
        """What the other lots of its house said by a day of the house's calendar."""
        if self.alone:
            return None
        others = self.kept.get(known.house, {})
        past = [
            PastLot(likelihood, product, known.house, max(known.start_day - start, 0.0))
            for lot, (likelihood, product, start) in others.items()
            if lot != known.lot
        ]
        return pooled(past, known.product, known.house) if past else None

    def habit_of(self, known: KnownLot) -> Habit:
        """How the room kept to its set-points during the last lots; this log is noted for others."""
        others = self.logs.setdefault(known.house, {})
        last = [one for lot, one in others.items() if lot != known.lot][-LAST_LOGS:]
        others.pop(known.lot, None)
        others[known.lot] = (wetter_than_set(plan_of(known), trace_of(known)), float(known.log.time_d[-1]))
        return ANY_ROOM if self.alone else habit_of(last)

    def keep(self, known: KnownLot, likelihood: Likelihood | None) -> None:
        """Remember what a lot's readings say; the newest counts."""
        if likelihood is not None:
            mine = self.kept.setdefault(known.house, {})
            mine[known.lot] = (likelihood, known.product, known.start_day)

    def look_back(self, known: KnownLot) -> None:
        """Hold this lot's earlier forecasts against its weighings so far, and note its line."""
        weighings = weighings_of(known)
        line = past_line(seen_of(weighings, parameters()), known.lot, known.product, known.calibre_m)
        self.lines.setdefault(known.house, {})[known.lot] = line
        day, loss = known.mean_loss()
        found = [
            (known.start_day + one.asked_d + past.lead_d, past)
            for one in self.asked.get(known.lot, [])
            for past in outcomes(one, day, loss, reading_sd(known), seed=SEED)
        ]
        self.came_out.setdefault(known.house, {})[known.lot] = found

    def experience_of(self, known: KnownLot) -> Experience:
        """What the house's other lots say of straight lines, and what its forecasts were worth."""
        if self.alone:
            return Experience(known.product, known.calibre_m)
        lines = [line for lot, line in self.lines.get(known.house, {}).items() if lot != known.lot]
        others = self.came_out.get(known.house, {})
        past = [one for lot, found in others.items() if lot != known.lot for one in found]
        past.sort(key=lambda one: one[0])
        record = HouseRecord(tuple(one for _, one in past))
        return Experience(known.product, known.calibre_m, tuple(lines), record)

    def finished(self, lot: KnownLot) -> None:
        """Learn from a lot that was weighed at its target."""
        known = lot
        if self.alone:
            return
        self.look_back(known)
        prior = self.prior_of(known, 0.0)
        programme = programme_of(known)
        learned = learn(
            piece_of(known),
            programme,
            parameters(),
            draw(SEED, known.lot, 2, len(programme.stages)),
            weighings=weighings_of(known),
            prior=prior,
            seed=SEED,
            lot=known.lot,
            correct=False,
        )
        self.keep(known, learned.likelihood)

    def __call__(self, lot: KnownLot, asof_day: float, days: Array) -> Forecast:
        """Mean loss of the tagged pieces as it will be weighed, and when the whole lot is at its target."""
        known = lot
        piece, programme = piece_of(known), programme_of(known, self.habit_of(known))
        weighings = weighings_of(known)
        learned = learn(
            piece,
            programme,
            parameters(),
            draw(SEED, known.lot, self.members, len(programme.stages)),
            weighings=weighings,
            prior=self.prior_of(known, known.start_day + asof_day),
            seed=SEED,
            lot=known.lot,
        )
        self.keep(known, learned.likelihood)
        tagged = np.mean(
            [
                _offset(learned.offsets, known, number, learned.draws.lots)
                for number in range(len(known.tags))
            ],
            axis=0,
        )
        self.look_back(known)
        experience = self.experience_of(known)
        line = experience.line(seen_of(weighings, parameters(), learned.outlier_share))
        rows = readable(weighings, learned.outlier_share)
        share = share_of(experience.record, line, learned.linear, rows)
        self.shares[known.lot, asof_day] = share
        lanes = _lanes(known, piece, programme, (learned.draws, tagged), days)
        drawn = line.draws(learned.draws.lots, seed=SEED, lot=known.lot)
        self.asked.setdefault(known.lot, []).append(
            Asked(
                lot=known.lot,
                product=known.product,
                calibre_mm=1000.0 * known.calibre_m,
                asked_d=asof_day,
                target=known.target_loss,
                time_d=lanes.time_d,
                engine=lanes.tagged,
                rival=drawn,
                tags=known.tags,
            )
        )
        right = recalibration_of(
            experience.record, product=known.product, calibre_mm=1000.0 * known.calibre_m
        )
        dried = _dried(known, lanes, right, asof_day=asof_day, days=days)
        return _answer(known, lanes, dried, drawn, taken(share, len(drawn.slope), seed=SEED, lot=known.lot))


@dataclass(frozen=True)
class _Lanes:
    """What the drying model says: mean loss of the tagged pieces and of all that hang, (times, lots)."""

    time_d: Array
    tagged: Array
    whole: Array


def _offset(offsets: Mapping[str, Array], known: KnownLot, number: int, lots: int) -> Array:
    """Piece draws of one tagged piece, (lots, slots); of a piece never read so far, its prior."""
    found = offsets.get(known.tags[number])
    if found is not None:
        return found
    slots = REST_SLOT0 + 200 + len(PIECE_SLOTS) * number + np.arange(len(PIECE_SLOTS))
    return statistics.normal(SEED, known.lot, np.arange(lots)[:, None], slots[None, :])


def _lanes(
    known: KnownLot, piece: Piece, programme: Programme, learned: tuple[Draws, Array], days: Array
) -> _Lanes:
    """Two lanes a lot draw: the mean of the tagged pieces, and the mean of all that hang."""
    draws, tagged = learned
    lots, slots = draws.lots, np.arange(len(PIECE_SLOTS))
    rest = statistics.normal(SEED, known.lot, np.arange(lots)[:, None], REST_SLOT0 + slots[None, :])
    whole = (TAGS * tagged + (PIECES - TAGS) * rest / np.sqrt(PIECES - TAGS)) / PIECES
    lanes = Draws(np.tile(draws.lot, (2, 1)), np.concatenate([tagged, whole]), draws.stages, pieces_each=1)
    practice = PRACTICE_D * (known.calibre_m / 0.050) ** 1.65
    until = max(float(np.clip(TIMES_PRACTICE * practice, SHORTEST_D, LONGEST_D)), float(days[-1]) + 1.0)
    steps = [np.arange(0.0, 40.0, 1.0), np.arange(40.0, until, 2.0), days, np.array([until])]
    time_d: Array = np.unique(np.round(np.concatenate(steps), 9))
    loss = simulate(piece, programme, parameters(), lanes, time_d).weight_loss
    return _Lanes(time_d, loss[:, :lots], loss[:, lots:])


@dataclass(frozen=True)
class _Dried:
    """The drying model's answer, put right by the house's record.

    Args:
        days: array (days,). Asked days. [d]
        loss: array (lots, days). Mean loss of the tagged pieces as weighed.
        ready: array (lots,). Day all that hangs is at its target. [d]
    """

    days: Array
    loss: Array
    ready: Array


def _dried(known: KnownLot, lanes: _Lanes, right: Recalibration, *, asof_day: float, days: Array) -> _Dried:
    at = np.searchsorted(lanes.time_d, np.round(days, 9))
    loss = lanes.tagged[at].T + reading_sd(known) * _reading_draws(known, lanes.tagged.shape[1], len(days))
    columns = [
        right.corrected(column, LOSS, float(day) - asof_day) for column, day in zip(loss.T, days, strict=True)
    ]
    ready = first_day(lanes.time_d, lanes.whole, known.target_loss, falling=False)
    middle = float(np.quantile(np.minimum(ready, lanes.time_d[-1]), 0.5)) - asof_day
    return _Dried(days, np.array(columns).T, right.corrected(ready, READY, max(middle, 0.5)))


def _reading_draws(known: KnownLot, lots: int, days: int) -> Array:
    """Standard normal errors of the asked readings, array (lots, days)."""
    slots = REST_SLOT0 + 100 + np.arange(days)
    return statistics.normal(SEED, known.lot, np.arange(lots)[:, None], slots[None, :])


def _answer(
    known: KnownLot, lanes: _Lanes, dried: _Dried, drawn: Drawn, by_line: NDArray[np.bool_]
) -> Forecast:
    """Of the lot draws, those that the rival's share takes follow its line, the others the drying model."""
    z = _reading_draws(known, len(by_line), len(dried.days))
    line = drawn.loss(dried.days, drawn.of_tags(known.tags)).T
    line += drawn.visit_sd[:, None] * z[::-1] + reading_sd(known) * z
    loss = np.where(by_line[:, None], line, dried.loss)
    along = drawn.loss(lanes.time_d, drawn.of_whole(known.tags, PIECES))
    ready = first_day(lanes.time_d, along, known.target_loss, falling=False)
    return Forecast(loss, np.where(by_line, ready, dried.ready))


def reading_sd(known: KnownLot) -> float:
    """Error of the mean of six readings. [fraction]"""
    ones = [
        Weighing(1.0, 0.1, division_kg=known.scale_division_kg, green_kg=float(green))
        for green in known.green_kg
    ]
    return float(np.sqrt(np.sum([fresh_variance(one, parameters()) for one in ones])) / len(ones))
