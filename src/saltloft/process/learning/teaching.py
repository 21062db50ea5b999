"""What the readings of a lot taught of its ready day, and what others would: slopes from one batch.

The lanes are those of learning (half a prior deviation away, column by column); the ready day's
slope follows from how far the target's quantity is moved on that day, over how fast it goes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from saltloft.process.draws import KNOTS_D, LOT_SLOTS, PIECE_SLOTS
from saltloft.process.learning.advice import (
    FAT,
    SAMPLED,
    WEIGHED,
    Option,
    Rows,
    Taught,
    Teaching,
    about_of,
    rows_of,
    spread,
    taught_by,
)
from saltloft.process.learning.columns import LinearModel, LotPrior, State, air_columns, state_of
from saltloft.process.learning.lanes import STEP, error_slopes, lanes_of, lot_lanes, piece_lanes
from saltloft.process.learning.observations import (
    QUANTITIES,
    Measured,
    Observations,
    Weighing,
    fresh_variance,
    observations_of,
)
from saltloft.process.learning.places import PLACE, PLACE_AND_DRIFT, of_piece, with_drift
from saltloft.process.parameters import DryingParameters
from saltloft.process.piece import Piece
from saltloft.process.programme import Programme
from saltloft.process.series import quantity_of
from saltloft.process.simulate import Run, simulate
from saltloft.process.targets import TARGETS

Array = NDArray[np.float64]
Whole = NDArray[np.int64]

KNOTS = slice(len(LOT_SLOTS), len(LOT_SLOTS) + len(KNOTS_D))
# Readings closer than this are one visit. [d]
VISIT_D = 0.25
# Days ahead that are tried; those past the ready day are left out. [d]
AHEAD_D = (0.0, 1.0, 2.0, 3.0, 5.0, 7.0, 10.0, 14.0, 21.0, 28.0)
SOME_PIECES = (3, 6, 12)
# Where nothing was weighed yet: a piece of a kilogram on a scale of two grams, chosen. [kg]
USUAL_DIVISION_KG, USUAL_GREEN_KG = 0.002, 1.0


@dataclass(frozen=True)
class Ground:
    """What is asked about one lot, and what it was learned from.

    Args:
        piece: Piece.
        programme: Programme.
        parameters: DryingParameters.
        target: str. A name of TARGETS.
        ready_d: float. Its median ready day, from stuffing. [d]
        today_d: float. From stuffing. [d]
        weighings: sequence of Weighing. As learned from.
        measured: sequence of Measured. As learned from.
        linear: LinearModel or None. None: nothing was read yet.
        prior: LotPrior or None. What other lots of the house say.
        tags: tuple of str. Pieces whose green weight is known: only these can be weighed as a loss.
        meter_sd: float. Error of a water activity meter, one standard deviation. [1]
        of_loss: bool. Ask about the weight loss on the ready day instead of the day itself.
    """

    piece: Piece
    programme: Programme
    parameters: DryingParameters
    target: str
    ready_d: float
    today_d: float
    weighings: Sequence[Weighing] = ()
    measured: Sequence[Measured] = ()
    linear: LinearModel | None = None
    prior: LotPrior | None = None
    tags: tuple[str, ...] = ()
    meter_sd: float = 0.005
    of_loss: bool = False

    @cached_property
    def state(self) -> State:
        """Columns and prior before any reading; racks and scales as the readings needed them."""
        state = state_of(self.prior or LotPrior.plain(), len(self.programme.stages), {})
        if self.linear is None:
            return state
        linear = self.linear
        return replace(
            state, names=linear.columns, mean=linear.prior_mean, covariance=linear.prior_covariance
        )

    @property
    def point(self) -> Array:
        """Where the slopes are taken, array (draw columns,)."""
        whole = self.state.mean if self.linear is None else self.linear.point
        return whole[: self.state.draws]

    @cached_property
    def days(self) -> tuple[float, ...]:
        """Days on which a reading is tried, from stuffing. [d]"""
        ahead = (round(self.today_d + day, 6) for day in AHEAD_D)
        return tuple(day for day in ahead if 0.5 <= day <= self.ready_d + 0.5)


@dataclass(frozen=True)
class Batch:
    """One batch of the model about the point, with everything read off it.

    Args:
        ground: Ground.
    """

    ground: Ground

    @cached_property
    def tried(self) -> Observations:
        """A weighing, then a water activity sample, on every day tried; values do not matter."""
        weighed = [Weighing(day, 0.2, tag=f"{day}") for day in self.ground.days]
        sampled = [Measured(day, SAMPLED, 0.9, self.ground.meter_sd) for day in self.ground.days]
        return observations_of(weighed, sampled, self.ground.parameters)

    @cached_property
    def columns(self) -> tuple[list[int], list[int]]:
        """Columns of the lot and of the piece that get a lane."""
        ground = self.ground
        knots = set(range(KNOTS.start, KNOTS.stop))
        of_lot = set(lot_lanes(ground.piece, ground.programme, self.tried)) | knots
        return sorted(of_lot), piece_lanes(ground.piece)

    @cached_property
    def run(self) -> Run:
        """The point, then every lane, over the days tried and about the ready day."""
        ground, tried = self.ground, self.tried
        lanes = lanes_of(ground.point, *self.columns, len(ground.programme.stages))
        about = np.round(np.maximum(ground.ready_d + np.array([-1.0, 0.0, 1.0]), 0.25), 6)
        days = np.unique(np.concatenate([tried.time_d, about]))
        return simulate(ground.piece, ground.programme, ground.parameters, lanes, days)

    @cached_property
    def gradient(self) -> Array:
        """Days the ready day moves for each column's standard deviation, array (columns,). [d or %]"""
        ground = self.ground
        values = quantity_of(self.run, "weight_loss_pct" if ground.of_loss else TARGETS[ground.target][0])
        at = int(np.searchsorted(self.run.time_d, ground.ready_d - 1e-5))
        first, last = max(at - 1, 0), min(at + 1, len(values) - 1)
        pace = (values[last, 0] - values[first, 0]) / (self.run.time_d[last] - self.run.time_d[first])
        moved = (values[at, 1:] - values[at, 0]) / STEP
        slope = np.zeros(len(ground.state.names))
        slope[self.columns[0]] = moved[: len(self.columns[0])]
        slope[air_columns(ground.state)] = self._by_air(slope[None, KNOTS], np.array([at]))[0]
        return slope if ground.of_loss else -slope / pace

    @cached_property
    def _air(self) -> tuple[Array, Array]:
        """Slopes of the weight loss at the run's days by the knots, and by the steps of the air."""
        both = error_slopes(self.run, self.ground.parameters)[QUANTITIES.index(WEIGHED)]
        return both[:, : len(KNOTS_D)], both[:, len(KNOTS_D) :]

    def _by_air(self, by_knot: Array, at: Whole) -> Array:
        """Slopes of values by the steps of the air: they feel any error of the loss alike.

        Args:
            by_knot: array (rows, knots). Slopes of the values by the knots. [any unit]
            at: array of int (rows,). Numbers of their days in the run.
        """
        knots, steps = (part[at] for part in self._air)
        of_loss = np.sum(by_knot * knots, axis=1) / np.maximum(np.sum(knots**2, axis=1), 1e-18)
        found: Array = of_loss[:, None] * steps
        return found

    def _slopes(self, table: Array, at: Whole | None = None) -> tuple[Array, Array]:
        """Slopes by all columns and by a piece's draws of values of every lane, (rows, ...).

        Args:
            table: array (rows, lanes). [any unit]
            at: array of int (rows,) or None. Numbers of their days in the run; None: of no day.
        """
        of_lot, of_piece = self.columns
        changes = (table[:, 1:] - table[:, :1]) / STEP
        lot = np.zeros((len(table), len(self.ground.state.names)))
        lot[:, of_lot] = changes[:, : len(of_lot)]
        if at is not None:
            lot[:, air_columns(self.ground.state)] = self._by_air(lot[:, KNOTS], at)
        own = np.zeros((len(table), len(PIECE_SLOTS)))
        own[:, of_piece] = changes[:, len(of_lot) :]
        share = self.ground.parameters.place_share
        for name in PLACE:
            own[:, PIECE_SLOTS.index(name)] = lot[:, LOT_SLOTS.index(name)] * np.sqrt(share / (1.0 - share))
        return lot, own

    @cached_property
    def _tried_slopes(self) -> tuple[Array, Array]:
        """Slopes of the readings tried: weighings of all days, then samples of all days."""
        inside = np.searchsorted(self.run.time_d, np.array(self.ground.days) - 1e-5)
        loss, activity = self.run.weight_loss[inside], self.run.states.water_activity_mean[inside]
        return self._slopes(np.concatenate([loss, activity]), np.tile(inside, 2))

    def weighed(self, number: int, pieces: int) -> Rows:
        """Some known pieces weighed on a day tried; without known pieces, a set weighed as one.

        Args:
            number: int. Of the day among `ground.days`.
            pieces: int.
        """
        ground = self.ground
        lot, own = (slopes[number] for slopes in self._tried_slopes)
        whole = self._with_drift(own, ground.days[number])
        last = ground.weighings[-1] if ground.weighings else None
        usual = replace(last, spread=None) if last is not None else Weighing(1.0, 0.2)
        if usual.green_kg <= 0.0:
            usual = replace(usual, division_kg=USUAL_DIVISION_KG, green_kg=USUAL_GREEN_KG)
        weight = 1.0 / fresh_variance(usual, ground.parameters)
        if not ground.tags:
            group = self._group_of_set(pieces)
            return Rows(lot[None], np.array([weight]), whole[None] / np.sqrt(pieces), np.array([group]))
        tags = ground.tags[:pieces]
        rows = [self._of_tag(tag, lot, own, ground.days[number]) for tag in tags]
        groups = np.array([self._group_of_tag(tag) for tag in tags])
        slopes, offsets = (np.array(part) for part in zip(*rows, strict=True))
        return Rows(slopes, np.full(len(tags), weight), offsets, groups)

    def _with_drift(self, own: Array, day: float) -> Array:
        """Slopes by a piece's draws on a day, with the stretches of its place behind, (slots,)."""
        whole: Array = of_piece(own[None], np.array([day]), self.ground.parameters.place_drift)[0]
        return whole

    def _of_tag(self, tag: str, lot: Array, own: Array, day: float) -> tuple[Array, Array]:
        """Slopes of a tagged piece: what its rack is said to share is not its own."""
        rack = next((one.rack for one in self.ground.weighings if one.tag == tag), "")
        names = self.ground.state.names
        if not rack or f"rack {rack}.{PLACE[0]}" not in names:
            return lot, self._with_drift(own, day)
        lot, own, place = lot.copy(), own.copy(), [PIECE_SLOTS.index(name) for name in PLACE]
        of_rack = with_drift(own[None, place], np.array([day]), self.ground.parameters.place_drift)[0]
        lot[[names.index(f"rack {rack}.{name}") for name in PLACE_AND_DRIFT]] = of_rack
        own[place] = 0.0
        return lot, self._with_drift(own, day)

    def _group_of_tag(self, tag: str) -> int:
        """The number under which a piece was weighed before; one of its own otherwise."""
        for number, one in enumerate(self.ground.weighings):
            if one.tag == tag and self.ground.linear is not None:
                return int(rows_of(self.ground.linear).group[number])
        return 10_000 + self.ground.tags.index(tag)

    def _group_of_set(self, pieces: int) -> int:
        """The number of an untagged set of as many pieces, if there was one."""
        for number, one in enumerate(self.ground.weighings):
            if not one.tag and one.pieces == pieces and self.ground.linear is not None:
                return int(rows_of(self.ground.linear).group[number])
        return 20_000

    def sampled(self, number: int) -> Rows:
        """One piece taken for water activity on a day tried.

        Args:
            number: int. Of the day among `ground.days`.
        """
        lot, own = (slopes[len(self.ground.days) + number] for slopes in self._tried_slopes)
        weight = 1.0 / self.ground.meter_sd**2
        whole = self._with_drift(own, self.ground.days[number])
        return Rows(lot[None], np.array([weight]), whole[None], np.array([30_000]))

    @property
    def analysed(self) -> Rows:
        """The batter's fat analysed in a laboratory."""
        lot, own = self._slopes(np.asarray(self.run.batter.fat)[None])
        error = max(self.ground.parameters.fat_error_analysed.sd, 1e-4)
        # A sample of the batter is no piece: what pieces differ by is not in it.
        return Rows(lot, np.array([1.0 / error**2]), 0.0 * own, np.array([40_000]))


def _inverse(values: Array) -> Array:
    return np.asarray(np.linalg.inv(values), dtype=np.float64)


def teaching(ground: Ground) -> Teaching:
    """What was learned of the ready day, and what could be.

    Args:
        ground: Ground.
    """
    batch, state = Batch(ground), ground.state
    gradient, nothing = batch.gradient, np.zeros_like(state.covariance)
    rows = rows_of(ground.linear) if ground.linear is not None else None
    read = nothing if rows is None else rows.information
    plain = state.covariance.copy()
    width = len(LOT_SLOTS) + len(KNOTS_D)
    plain[:width, :width] = np.eye(width)
    return Teaching(
        ready_d=ground.ready_d,
        alone_d=spread(gradient, nothing, _inverse(plain)),
        prior_d=spread(gradient, nothing, state.precision),
        now_d=spread(gradient, read, state.precision),
        taught=() if rows is None else _taught(ground, rows, gradient),
        options=tuple(_options(batch, rows)),
        of_loss=ground.of_loss,
    )


def _taught(ground: Ground, rows: Rows, gradient: Array) -> tuple[Taught, ...]:
    """Every visit in time order: readings of one sort within VISIT_D are one."""
    named = [(one.day, WEIGHED, one.pieces) for one in ground.weighings]
    named += [(one.day, one.quantity, one.pieces) for one in ground.measured]
    order = sorted(range(len(named)), key=lambda row: (named[row][0], named[row][1]))
    visits: list[list[int]] = []
    for row in order:
        day, quantity, _ = named[row]
        if visits and quantity == named[visits[-1][0]][1] and day - named[visits[-1][0]][0] <= VISIT_D:
            visits[-1].append(row)
        else:
            visits.append([row])
    prior = ground.state.precision
    places = [np.array(visit) for visit in visits]
    doubts = taught_by(rows, places, gradient, prior)
    known = np.zeros(len(named), dtype=np.bool_)
    found, before = [], _inverse(prior)
    for visit, (earlier, later, without) in zip(places, doubts, strict=True):
        known[visit] = True
        after = _inverse(rows.take(known).information + prior)
        about = about_of(ground.state.names, gradient, before, after)
        days, quantity = [named[row][0] for row in visit], named[visit[0]][1]
        pieces = sum(named[row][2] for row in visit)
        found.append(Taught(float(np.mean(days)), quantity, pieces, earlier, later, without, about))
        before = after
    return tuple(found)


def _options(batch: Batch, rows: Rows | None) -> list[Option]:
    """Every reading tried, with the doubt that would be left."""
    ground, gradient = batch.ground, batch.gradient
    prior = ground.state.precision

    def after(more: Rows) -> float:
        return spread(gradient, (more if rows is None else rows.joined(more)).information, prior)

    most = len(ground.tags) or max(SOME_PIECES)
    counts = sorted({min(count, most) for count in SOME_PIECES})
    found = []
    for number, day in enumerate(ground.days):
        found += [Option(day, WEIGHED, count, after(batch.weighed(number, count))) for count in counts]
        found.append(Option(day, SAMPLED, 1, after(batch.sampled(number))))
    if not ground.piece.fat_analysed:
        found.append(Option(ground.today_d, FAT, 1, after(batch.analysed)))
    return found
