"""The air of a lot: what the room really is, what hangs at each place, what the probe says."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray
from scipy.signal import lfilter

from tests.truth.houses import PLACES, LotDraw
from tests.truth.known import Move, RoomLog, Stage

Array = NDArray[np.float64]
HOURS = 24


@dataclass(frozen=True)
class Room:
    """The room hour by hour; arrays (hours + 1,) at the hours from stuffing.

    Args:
        temperature_c: True. [degC]
        relative_humidity: True, 0..1.
        air_m_s: Stated speed where the fans run, next to nothing where they stand. [m/s]
        exchange: 1 with the fans on, under 1 where still air clings to the pieces, 0..1.
    """

    temperature_c: Array
    relative_humidity: Array
    air_m_s: Array
    exchange: Array


def _set_points(stages: tuple[Stage, ...], hours: Array) -> tuple[Array, Array, Array]:
    ends = np.cumsum([stage.duration_d for stage in stages]) * HOURS
    which = np.minimum(np.searchsorted(ends, hours, side="right"), len(stages) - 1)
    rows = np.array([(s.temperature_c, s.relative_humidity, s.air_m_s) for s in stages])[which]
    return rows[:, 0], rows[:, 1], rows[:, 2]


def _slowly(values: Array, hours: float) -> Array:
    """A first-order lag of this time constant, starting at rest."""
    keep = np.exp(-1.0 / hours)
    return np.asarray(lfilter([1.0 - keep], [1.0, -keep], values, zi=[keep * values[0]])[0])


def _wander(rng: Generator, count: int, spread: float, hours: float) -> Array:
    """A stationary random walk with memory: standard deviation and time constant as given."""
    keep = np.exp(-1.0 / hours)
    kicks = rng.normal(0.0, spread * np.sqrt(1.0 - keep**2), count)
    kicks[0] = rng.normal(0.0, spread)
    return np.asarray(lfilter([1.0], [1.0, -keep], kicks))


def _loadings(rng: Generator, count: int) -> Array:
    """Fresh sausage is hung into the room every week or so: RH jumps and comes back in a day or two."""
    push = np.zeros(count)
    push[rng.random(count) < 1.0 / (7 * HOURS)] = 1.0
    push *= rng.uniform(0.02, 0.07, count)
    keep = np.exp(-1.0 / (1.2 * HOURS))
    return np.asarray(lfilter([1.0], [1.0, -keep], push))


def true_room(lot: LotDraw, days: int, fans_stop: bool) -> Room:
    """The room a lot hangs in, hour by hour.

    Args:
        lot: LotDraw.
        days: int. Length. [d]
        fans_stop: bool. The fans also stand still at times that nobody logs.

    Returns:
        Room.
    """
    rng, count = lot.rng, days * HOURS + 1
    hours = np.arange(count, dtype=float)
    set_c, set_rh, air = _set_points(lot.product.stages, hours)
    season = np.sin(2.0 * np.pi * (lot.start_day + hours / HOURS) / 365.0)
    daily = np.sin(2.0 * np.pi * (hours + rng.uniform(0, HOURS)) / HOURS)
    temperature = _slowly(set_c, 5.0) + _wander(rng, count, 0.3, 48.0) + 0.4 * daily + 0.5 * season
    humidity = _slowly(set_rh, 3.0) + lot.house.humidity_offset + _wander(rng, count, 0.012, 48.0)
    humidity += 0.012 * season - 0.015 * daily + _loadings(rng, count)
    off = _fan_stops(rng, count, lot.house.fan_off_nights) if fans_stop else np.zeros(count, dtype=bool)
    return Room(
        temperature_c=temperature,
        relative_humidity=np.clip(humidity, 0.40, 0.97),
        air_m_s=np.where(off, 0.03, air),
        exchange=np.where(off, 0.35, 1.0),
    )


def _fan_stops(rng: Generator, count: int, nights: bool) -> NDArray[np.bool_]:
    """Failures of 6 to 40 h every 20 days or so, and in some houses every night of some weeks."""
    off = np.zeros(count, dtype=bool)
    for start in np.flatnonzero(rng.random(count) < 1.0 / (20 * HOURS)):
        off[start : start + int(rng.integers(6, 41))] = True
    if nights:
        hour = np.arange(count)
        week = rng.random(count // (7 * HOURS) + 1) < 0.5
        off |= week[hour // (7 * HOURS)] & ((hour + 10) % HOURS < 6)
    return off


@dataclass(frozen=True)
class Places:
    """Where each piece hangs on each day.

    Args:
        place: array of int (days, pieces). Number in PLACES during that day.
        moves: tuple of Move. What the house wrote down of the tagged pieces.
    """

    place: NDArray[np.int64]
    moves: tuple[Move, ...]


def hang(lot: LotDraw, days: int, racks_move: bool) -> Places:
    """Hang the three racks, and swap them now and then where they move.

    Args:
        lot: LotDraw.
        days: int.
        racks_move: bool. Racks change places every 5 to 16 days; three swaps in four are written down.

    Returns:
        Places.
    """
    rng = lot.rng
    here = rng.choice(len(PLACES), 3, replace=False)
    by_rack = np.empty((days, 3), dtype=np.int64)
    moves = [(0.0, here.copy())]
    every = int(rng.integers(5, 17))
    for day in range(days):
        if racks_move and day and day % every == 0:
            here = np.roll(here, 1) if rng.random() < 0.6 else rng.choice(len(PLACES), 3, replace=False)
            if rng.random() < 0.75:
                moves.append((float(day), here.copy()))
        by_rack[day] = here
    noted = [
        Move(day, f"T{tag + 1}", PLACES[places[lot.rack[piece]]])
        for day, places in moves
        for tag, piece in enumerate(lot.tagged)
    ]
    return Places(by_rack[:, lot.rack], tuple(noted))


def logged(lot: LotDraw, room: Room, drifting: bool) -> RoomLog:
    """What the probe wrote: biased, noisy, in steps, with a hole now and then.

    Args:
        lot: LotDraw.
        room: Room.
        drifting: bool. The probe also drifts, from zero at each half-yearly check.

    Returns:
        RoomLog at the house's own step. The fans' stops are not in it.
    """
    rng, home = lot.rng, lot.house
    hours = np.arange(0.0, len(room.temperature_c) - 1 + 1e-9, home.log_minutes / 60.0)
    whole = np.arange(len(room.temperature_c), dtype=float)
    temperature = np.interp(hours, whole, room.temperature_c) + home.probe_temperature_k
    humidity = np.interp(hours, whole, room.relative_humidity) + home.probe_humidity
    if drifting:
        humidity += home.probe_drift_per_d * np.mod(lot.start_day + hours / HOURS, 182.0)
    temperature += rng.normal(0.0, 0.1, len(hours))
    humidity += rng.normal(0.0, 0.004, len(hours))
    kept = np.ones(len(hours), dtype=bool)
    for start in np.flatnonzero(rng.random(len(hours)) < home.log_minutes / 60.0 / (40 * HOURS)):
        kept[start + 1 : start + 1 + int(rng.integers(1, 9) * 60 / home.log_minutes)] = False
    return RoomLog(
        time_d=hours[kept] / HOURS,
        temperature_c=np.round(temperature[kept], 1),
        relative_humidity=np.clip(np.round(humidity[kept], 3), 0.0, 1.0),
    )
