"""The air a lot hung in: its rooms' logs in turn, in half hours, with every gap filled, named and counted."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from saltloft.cases.open_house import OpenHouse
from saltloft.foundation.words import say
from saltloft.plant.house_record import RoomRecord
from saltloft.plant.lot_record import LotRecord

Array = NDArray[np.float64]

BIN_S = 1800
# A hole up to this long is bridged by a straight line between its neighbours: the meat does not feel it.
BRIDGE_S = 2 * 3600
# RH sensors that stand at their top end for hours are wet or broken; what they say is no reading.
STUCK_RH_PCT = 99.5
STUCK_S = 3 * 3600


@dataclass(frozen=True)
class Stay:
    """Where the largest part of a lot hung, from when to when.

    Args:
        room: str.
        start_s, end_s: int. Seconds since 1970, UTC. [s]
    """

    room: str
    start_s: int
    end_s: int


@dataclass(frozen=True)
class Hole:
    """A stretch without a reading that counts, and what was taken instead.

    Args:
        start_s, end_s: int. Seconds since 1970, UTC. [s]
        words: str.
    """

    start_s: int
    end_s: int
    words: str


@dataclass(frozen=True)
class LoggedAir:
    """Half hours from hanging to `asof`, every one with a value.

    Args:
        at_s: array (bins,). Start of each half hour, seconds since 1970, UTC. [s]
        temperature_c: array (bins,). [degC]
        rh: array (bins,). 0..1.
        measured: array of bool (bins,). False where it was filled by more than a short bridge.
        holes: tuple of Hole.
        batches: tuple of str. Sealed batches the readings came from.
        sets: tuple of str. Entry ids of the room settings used.
    """

    at_s: NDArray[np.int64]
    temperature_c: Array
    rh: Array
    measured: NDArray[np.bool_]
    holes: tuple[Hole, ...]
    batches: tuple[str, ...]
    sets: tuple[str, ...]

    @property
    def measured_share(self) -> float:
        """Share of the time for which a reading counts, 0..1; 0 before anything was logged."""
        return float(self.measured.mean()) if self.measured.size else 0.0


def stays_of(record: LotRecord, asof: datetime) -> tuple[Stay, ...]:
    """The path of the lot's largest part through the rooms, up to `asof`, without overlap.

    Args:
        record: LotRecord.
        asof: datetime, aware.
    """
    borders = sorted(
        {stay.start for stay in record.rooms} | {stay.end for stay in record.rooms if stay.end} | {asof}
    )
    found: list[Stay] = []
    for start, end in itertools.pairwise(borders):
        if start >= asof:
            break
        there = [
            stay for stay in record.rooms if stay.start <= start and (stay.end is None or stay.end >= end)
        ]
        if not there:
            continue
        room = max(there, key=lambda stay: (stay.share, stay.start)).room
        if found and found[-1].room == room and found[-1].end_s == int(start.timestamp()):
            found[-1] = Stay(room, found[-1].start_s, int(end.timestamp()))
        else:
            found.append(Stay(room, int(start.timestamp()), int(end.timestamp())))
    return tuple(found)


def logged_air(house: OpenHouse, record: LotRecord, asof: datetime, known: datetime | None) -> LoggedAir:
    """Everything the room logs say of the air a lot hung in, up to `asof`.

    Args:
        house: OpenHouse.
        record: LotRecord.
        asof: datetime, aware.
        known: datetime or None. Only batches sealed by then count; None: all.
    """
    parts = [air_of_stay(house, stay, known) for stay in stays_of(record, asof)]
    parts = [part for part in parts if part.at_s.size]
    if not parts:
        nothing = np.empty(0)
        return LoggedAir(np.empty(0, np.int64), nothing, nothing, np.empty(0, np.bool_), (), (), ())
    return LoggedAir(
        at_s=np.concatenate([part.at_s for part in parts]),
        temperature_c=np.concatenate([part.temperature_c for part in parts]),
        rh=np.concatenate([part.rh for part in parts]),
        measured=np.concatenate([part.measured for part in parts]),
        holes=tuple(hole for part in parts for hole in part.holes),
        batches=tuple(dict.fromkeys(batch for part in parts for batch in part.batches)),
        sets=tuple(dict.fromkeys(entry for part in parts for entry in part.sets)),
    )


def air_of_stay(house: OpenHouse, stay: Stay, known: datetime | None) -> LoggedAir:
    first = stay.start_s // BIN_S * BIN_S
    at_s = np.arange(first, max(stay.end_s, first + BIN_S), BIN_S, dtype=np.int64)
    temperature, batches_t = _binned(house, stay, "temperature_c", at_s, known)
    rh, batches_h = _binned(house, stay, "rh_pct", at_s, known)
    room = house.store.rooms.find(stay.room, known)
    temperature, held_t, sets_t = _filled(temperature, at_s, room, "temperature_c")
    rh, held_h, sets_h = _filled(rh, at_s, room, "rh_pct")
    measured = held_t & held_h
    return LoggedAir(
        at_s,
        temperature,
        np.clip(rh / 100.0, 0.2, 1.0),
        measured,
        _holes(at_s, measured, stay),
        tuple(dict.fromkeys((*batches_t, *batches_h))),
        tuple(dict.fromkeys((*sets_t, *sets_h))),
    )


def _binned(
    house: OpenHouse, stay: Stay, quantity: str, at_s: NDArray[np.int64], known: datetime | None
) -> tuple[Array, tuple[str, ...]]:
    """Half-hour means of the room's own logger, of a second one where the first is silent; NaN else."""
    start = datetime.fromtimestamp(int(at_s[0]), UTC)
    end = datetime.fromtimestamp(int(at_s[-1]) + BIN_S - 1, UTC)
    values = np.full(at_s.size, np.nan)
    used: list[str] = []
    for logger in loggers_of(house, stay.room, quantity):
        times, read, batches = house.store.readings.traced(
            stay.room, quantity, start, end, logger=logger, asof=known
        )
        if not times.size:
            continue
        if quantity == "rh_pct":
            times, read = without_stuck(times, read)
        mean = _means(times, read, at_s)
        fresh = np.isnan(values) & ~np.isnan(mean)
        if fresh.any():
            values[fresh] = mean[fresh]
            used += batches
    return values, tuple(used)


def loggers_of(house: OpenHouse, room: str, quantity: str) -> list[str]:
    """The loggers that ever read a quantity in a room, the room's own ('') first."""
    front = f"{room}/{quantity}"
    names = [name for name in house.store.readings.series_names() if name.split("/")[:2] == [room, quantity]]
    return sorted(name.removeprefix(front).lstrip("/") for name in names)


def _means(times: NDArray[np.int64], values: Array, at_s: NDArray[np.int64]) -> Array:
    place = (times - at_s[0]) // BIN_S
    inside = (place >= 0) & (place < at_s.size)
    count = np.bincount(place[inside], minlength=at_s.size)
    total = np.bincount(place[inside], weights=values[inside], minlength=at_s.size)
    with np.errstate(invalid="ignore", divide="ignore"):
        mean: Array = np.where(count > 0, total / count, np.nan)
    return mean


def without_stuck(times: NDArray[np.int64], values: Array) -> tuple[NDArray[np.int64], Array]:
    """RH readings less those that stand still at the sensor's top for three hours or more.

    Args:
        times: array (readings,). [s]
        values: array (readings,). [%RH]
    """
    if not times.size:
        return times, values
    run = np.concatenate(([0], np.cumsum((np.diff(values) != 0.0) | (np.diff(times) > BRIDGE_S))))
    first = np.flatnonzero(np.diff(run, prepend=-1))
    last = np.append(first[1:], times.size) - 1
    long = (times[last] - times[first] >= STUCK_S) & (values[first] >= STUCK_RH_PCT)
    keep = ~long[run]
    return times[keep], values[keep]


def _filled(
    values: Array, at_s: NDArray[np.int64], room: RoomRecord | None, quantity: str
) -> tuple[Array, NDArray[np.bool_], tuple[str, ...]]:
    """Short holes bridged by a line; long ones by what the room was set to, else by their neighbours."""
    known = ~np.isnan(values)
    if not known.any() and (room is None or not room.settings):
        return np.full(at_s.size, np.nan), known, ()
    bridged = known.copy()
    for start, end in _runs(~known):
        if start > 0 and end < at_s.size and (end - start) * BIN_S <= BRIDGE_S:
            bridged[start:end] = True
    filled = np.interp(at_s, at_s[known], values[known]) if known.any() else np.full(at_s.size, np.nan)
    sets: list[str] = []
    for index in np.flatnonzero(~bridged):
        setting = None if room is None else room.set_at(datetime.fromtimestamp(int(at_s[index]), UTC))
        if setting is not None:
            payload = setting.payload
            filled[index] = float(payload.temperature_c if quantity == "temperature_c" else payload.rh_pct)
            sets.append(setting.entry_id)
    return filled, bridged, tuple(dict.fromkeys(sets))


def _runs(flags: NDArray[np.bool_]) -> Sequence[tuple[int, int]]:
    """Start and end (exclusive) of every run of True."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], flags, [False]))))
    return [(int(start), int(end)) for start, end in zip(edges[::2], edges[1::2], strict=True)]


def _holes(at_s: NDArray[np.int64], measured: NDArray[np.bool_], stay: Stay) -> tuple[Hole, ...]:
    words = say("{room}: taken as set, with wider doubt", room=stay.room)
    return tuple(
        Hole(max(int(at_s[start]), stay.start_s), min(int(at_s[end - 1]) + BIN_S, stay.end_s), words)
        for start, end in _runs(~measured)
    )


def gap_minutes(house: OpenHouse, room: str, quantity: str, until: datetime, hours: float) -> float:
    """The longest stretch without a reading of a room in the last hours before a moment. [min]

    Args:
        house: OpenHouse.
        room: str.
        quantity: str. 'temperature_c' or 'rh_pct'.
        until: datetime, aware.
        hours: float. [h]
    """
    start = until - timedelta(hours=hours)
    found = [
        house.store.readings.trace(room, quantity, start, until, logger=logger)[0]
        for logger in loggers_of(house, room, quantity)
    ]
    times = np.unique(np.concatenate([np.empty(0, np.int64), *found]))
    borders = np.concatenate(([start.timestamp()], times, [until.timestamp()]))
    return float(np.max(np.diff(borders))) / 60.0
