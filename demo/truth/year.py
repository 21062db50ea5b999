"""The whole year of the truth: every lot in its room, every room under its load.

Half-hour steps for the pieces, ten-minute steps for the air between them.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

import numpy as np

from demo.clock import END, START, STEP_SECONDS, STEPS, ZONE, local, moment_of, step_of
from demo.draws import stream
from demo.house import ROOM_INDEX, ROOMS
from demo.plan import OWN_GREEN_KG, LotPlan, lot_plans, next_working_moment
from demo.truth.acid import Acidification, acidification
from demo.truth.rooms import TRIP_TO, RoomAir
from demo.truth.sausage import PIECES, SHARES, Pieces, advance, composition, gather, pieces_of
from demo.truth.sorption import Array, water_activity

DRY_STEP = 3
"""Air steps in one drying step."""
AFTERLIFE = timedelta(days=12)
"""How long the truth follows a lot as if it still hung, after it came down."""
KEEP_EVERY = 4
"""Drying steps between kept weights: two hours."""


@dataclass
class LotLife:
    """One lot from stuffing to the rack it leaves from.

    Args:
        plan: LotPlan.
        acid: Acidification.
        stays: list of (room, start UTC). In order; the first is the fermenting room.
        ended_at: datetime. When it came off the racks, UTC.
        hours: array (k,). Hours from stuffing of the kept values. [h]
        loss: array (k, pieces). Weight lost. [0..1]
        activity: array (k, 4). Water activity: homogenised, core, rim, and the rim's stiffness.
        green_kg: array (pieces,). Green weight of each piece. [kg]
        fat: float. Of the batter as it really is. [0..1]
    """

    plan: LotPlan
    acid: Acidification
    stays: list[tuple[str, datetime]]
    ended_at: datetime = END
    hours: Array = field(default_factory=lambda: np.zeros(0))
    loss: Array = field(default_factory=lambda: np.zeros((0, PIECES)))
    activity: Array = field(default_factory=lambda: np.zeros((0, 4)))
    green_kg: Array = field(default_factory=lambda: np.zeros(PIECES))
    fat: float = 0.0

    def loss_at(self, moment: datetime, pieces: slice | int = slice(None)) -> Array:
        """Loss of the pieces at a UTC moment. [0..1]"""
        hour = (moment - self.plan.made_at).total_seconds() / 3600
        index = float(np.interp(hour, self.hours, np.arange(self.hours.size)))
        low = min(int(index), self.hours.size - 2)
        share = index - low
        kept = self.loss[low] * (1 - share) + self.loss[low + 1] * share
        return np.asarray(kept[pieces])

    def activity_at(self, moment: datetime) -> Array:
        """Homogenised, core and rim water activity and rim stiffness at a UTC moment."""
        hour = (moment - self.plan.made_at).total_seconds() / 3600
        return np.array([np.interp(hour, self.hours, self.activity[:, column]) for column in range(4)])

    def ready_day(self, loss: float) -> float | None:
        """Days from stuffing to a mean loss of all pieces; None when it came off before or never. [d]"""
        mean = self.loss.mean(axis=1)
        over = np.flatnonzero(mean >= loss)
        if not over.size:
            return None
        last = int(over[0])
        if last == 0:
            return 0.0
        share = (loss - mean[last - 1]) / (mean[last] - mean[last - 1])
        return float(self.hours[last - 1] + share * (self.hours[last] - self.hours[last - 1])) / 24


@dataclass
class Year:
    """All that really happened: lots and air."""

    seed: int
    lots: list[LotLife]
    air: RoomAir


def first_low_set(plan: LotPlan, acid: Acidification) -> float:
    """Hours from stuffing to the first reading round that finds every core at or below 5.28. [h]"""
    for hour in reading_hours(plan):
        if acid.core(hour) + 1.6 * acid.piece_spread <= 5.28:
            return hour
    return 130.0


def reading_hours(plan: LotPlan) -> list[float]:
    """Hours from stuffing at which pH is read, at 07:30, 13:30 or 15:30 of the house. [h]"""
    if plan.name == "AL-0310":
        return [18, 26, 42, 48, 68, 72, 80]
    return [18, 26, *(42 + 24 * day + extra for day in range(5) for extra in (0, 6))]


def _ferment_end(plan: LotPlan, acid: Acidification) -> datetime:
    if plan.name == "AL-0310":
        return plan.made_at + timedelta(hours=80, minutes=30)
    earliest = plan.made_at + timedelta(hours=max(plan.line.ferment_h, first_low_set(plan, acid) + 0.5))
    return min(moment for clock in ("06:30", "14:00", "20:00") if (moment := _next(earliest, clock)))


def _next(moment: datetime, clock: str) -> datetime:
    """First such wall-clock time at or after a UTC moment; racks are carried on any day."""
    day = moment.astimezone(ZONE).date()
    at = local(day, clock)
    return at if at >= moment else local(day + timedelta(days=1), clock)


def _life(seed: int, plan: LotPlan) -> LotLife:
    acid = acidification(seed, plan)
    out = _ferment_end(plan, acid)
    stays = [(plan.ferment_room, plan.made_at), (plan.drying_room, out)]
    if plan.ageing_after_days is not None:
        stays.append(("A1", next_working_moment(out + timedelta(days=plan.ageing_after_days), "10:00")))
    return LotLife(plan, acid, stays)


def fermenting_sets() -> list[tuple[datetime, str, float, float]]:
    """Every change of the fermenting rooms' settings: moment, room, degC, RH 0..1."""
    changes = []
    day = START.astimezone(ZONE).date()
    while local(day, "00:00") < END:
        weekly = {0: ("F1", 24.0), 2: ("F1", 22.0), 5: ("F1", 20.0)}
        if day.weekday() in weekly:
            room, temperature = weekly[day.weekday()]
            changes.append((local(day, "13:00" if day.weekday() != 5 else "08:00"), room, temperature, 0.92))
        day += timedelta(days=1)
    changes.append((local(date(2026, 3, 12), "13:30"), "F2", 24.0, 0.92))
    changes.append((local(date(2026, 3, 13), "22:00"), "F2", 22.0, 0.92))
    return sorted(changes)


def drying_sets() -> list[tuple[datetime, str, float, float]]:
    """Changes of the drying rooms' settings over the year."""
    after = TRIP_TO + timedelta(minutes=20)
    return [
        (after, "D2", 14.0, 0.78),
        (after + timedelta(hours=18), "D2", 14.0, 0.80),
        (after + timedelta(hours=36), "D2", 14.0, 0.82),
    ]


def _set_rooms(air: RoomAir) -> None:
    for moment, room, temperature, rh in [*fermenting_sets(), *drying_sets()]:
        air.set_temperature_c[step_of(moment) :, ROOM_INDEX[room]] = temperature
        air.set_rh[step_of(moment) :, ROOM_INDEX[room]] = rh


def _earlier_load(step: int) -> Array:
    """Evaporation of what hung before the records begin and of the hams. [kg/h]"""
    days = step * STEP_SECONDS / 86400
    load = np.zeros(len(ROOMS))
    fading = np.exp(-days / 22.0)
    load[ROOM_INDEX["D1"]], load[ROOM_INDEX["D2"]] = 3.2 * fading, 3.6 * fading
    load[ROOM_INDEX["A1"]] = 3.0 * np.exp(-days / 45.0)
    for name, kg_h in (("H1", 0.15), ("H2", 0.9), ("H3", 0.6), ("H4", 0.9)):
        load[ROOM_INDEX[name]] = kg_h
    return load


class _Hall:
    """The lots that hang at one time, side by side, and the book of what they did."""

    def __init__(self, seed: int, lives: list[LotLife]) -> None:
        self.seed, self.lives = seed, lives
        self.all = gather([pieces_of(seed, life.plan) for life in lives])
        self.kept: list[list[tuple[float, Array, Array]]] = [[] for _ in lives]
        self.hanging: list[int] = []
        self.next = 0
        self.picked = np.zeros(0, dtype=np.int64)
        self.state: Pieces = self.all.take(self.picked)
        self.rooms = np.zeros(0, dtype=np.int64)
        self.kg = np.zeros(0)

    def arrange(self, moment: datetime) -> None:
        """Hang what has come, move what goes, and look up each piece's room."""
        self.all.put(self.picked, self.state)
        while self.next < len(self.lives) and self.lives[self.next].plan.made_at <= moment:
            self.hanging.append(self.next)
            self.next += 1
        self.hanging = [index for index in self.hanging if self.lives[index].ended_at + AFTERLIFE > moment]
        self.picked = np.concatenate(
            [np.arange(index * PIECES, (index + 1) * PIECES) for index in self.hanging]
            or [np.zeros(0, np.int64)]
        )
        self.state = self.all.take(self.picked)
        self.rooms = np.repeat([self._room(index, moment) for index in self.hanging], PIECES).astype(np.int64)
        # What came down loads the room no more; the truth still asks how it would have gone on.
        each = [
            self.lives[index].plan.green_kg / PIECES * (self.lives[index].ended_at > moment)
            for index in self.hanging
        ]
        self.kg = np.repeat(each, PIECES) * self.state.dry

    def _room(self, index: int, moment: datetime) -> int:
        names = [room for room, start in self.lives[index].stays if start <= moment]
        return ROOM_INDEX[names[-1]]

    def keep(self, moment: datetime) -> None:
        """Note loss and water activities of all that hangs."""
        loss = self.state.loss.reshape(-1, PIECES)
        mean = sum(share * self.state.water[part] for part, share in enumerate(SHARES))
        salt = sum(share * self.state.salt[part] for part, share in enumerate(SHARES))
        other = self.state.other_mol
        whole = water_activity(np.asarray(mean), np.asarray(salt), other)
        core = water_activity(self.state.water[2], self.state.salt[2], other)
        rim = water_activity(self.state.water[0], self.state.salt[0], other)
        four = np.stack([whole, core, rim, self.state.stiff]).reshape(4, -1, PIECES).mean(axis=2).T
        for row, index in enumerate(self.hanging):
            hours = (moment - self.lives[index].plan.made_at).total_seconds() / 3600
            self.kept[index].append((hours, loss[row].copy(), four[row].copy()))

    def take_down(self, moment: datetime) -> None:
        """Each morning the curer judges by the tagged pieces; what he calls ready comes down at 08:00."""
        losses = self.state.loss.reshape(-1, PIECES)[:, :6].mean(axis=1)
        for row, index in enumerate(self.hanging):
            life = self.lives[index]
            if life.ended_at < END:
                continue
            wish = life.plan.line.target_loss_pct / 100
            if losses[row] >= wish + 0.004 * stream(self.seed, "hand", life.plan.name).standard_normal():
                life.ended_at = next_working_moment(moment + timedelta(hours=1), "08:00")


def simulate(seed: int) -> Year:
    """Live through the whole year.

    Args:
        seed: int. Seed of the whole house.
    """
    lives = [_life(seed, plan) for plan in lot_plans()]
    air = RoomAir(seed)
    _set_rooms(air)
    hall = _Hall(seed, lives)
    changes = {step_of(start) // DRY_STEP + 1 for life in lives for _, start in life.stays}
    evaporated = np.zeros(len(ROOMS))
    seconds = float(DRY_STEP * STEP_SECONDS)
    for turn in range(STEPS // DRY_STEP):
        first = turn * DRY_STEP
        moment = moment_of(first)
        clock = moment.astimezone(ZONE)
        if turn in changes or (clock.hour, clock.minute) in ((8, 0), (8, 30)):
            hall.arrange(moment)
        if turn % KEEP_EVERY == 0 or turn in changes:
            hall.keep(moment)
        if (clock.hour, clock.minute) == (7, 0):
            hall.take_down(moment)
        load = evaporated + _earlier_load(first)
        for index in range(first, first + DRY_STEP):
            air.step(index, load)
        evaporated = _dry(hall, air, first, seconds)
    _close(seed, hall)
    return Year(seed, lives, air)


def _dry(hall: _Hall, air: RoomAir, first: int, seconds: float) -> Array:
    if not hall.picked.size:
        return np.zeros(len(ROOMS))
    window = slice(first, first + DRY_STEP)
    temperature = air.temperature_c[window].mean(axis=0)[hall.rooms]
    rh = air.rh[window].mean(axis=0)[hall.rooms]
    given = advance(hall.state, temperature, rh, air.air_m_s[first][hall.rooms], seconds)
    return np.bincount(hall.rooms, weights=given * hall.kg, minlength=len(ROOMS)) / (seconds / 3600)


def _close(seed: int, hall: _Hall) -> None:
    for life, kept in zip(hall.lives, hall.kept, strict=True):
        if kept:
            life.hours = np.array([row[0] for row in kept])
            life.loss = np.array([row[1] for row in kept])
            life.activity = np.array([row[2] for row in kept])
        rng = stream(seed, "green", life.plan.name)
        life.fat = composition(seed, life.plan)[1]
        life.green_kg = life.plan.line.piece_kg * (1 + 0.030 * rng.standard_normal(PIECES))
        for piece, kg in OWN_GREEN_KG.get(life.plan.name, {}).items():
            life.green_kg[piece] = kg
