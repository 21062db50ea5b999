"""What a room's whole record says of its logger: how often it reads, how fast the room can warm."""

from __future__ import annotations

from datetime import datetime
from typing import NamedTuple
from weakref import WeakKeyDictionary

import numpy as np

from saltloft.cases.lot_air import loggers_of
from saltloft.cases.open_house import OpenHouse
from saltloft.plant.checks.trace import TemperatureTrace
from saltloft.plant.house_record import BatchRecord
from saltloft.store.open import Store
from saltloft.store.readings import series_name

TEMPERATURE = "temperature_c"
# A rise is taken between readings no further apart than this. [s]
RISE_WITHIN_S = 3600.0
# Said of a logger that never read twice: once in five minutes (common practice, no source).
USUAL_S = 300.0


class Habit(NamedTuple):
    """One sealed batch's own habit.

    Args:
        usual_s: float. Median time between readings. [s]
        fastest_c_s: float. Fastest rise between two readings. [degC/s]
    """

    usual_s: float
    fastest_c_s: float


# A sealed batch never changes, so what was once worked out of it holds as long as the store is open.
_HABITS: WeakKeyDictionary[Store, dict[tuple[str, str], Habit]] = WeakKeyDictionary()


def habit_of(house: OpenHouse, batch: BatchRecord, series: str) -> Habit | None:
    """The habit of one series in one sealed batch; None when it has fewer than two readings.

    Args:
        house: OpenHouse.
        batch: BatchRecord.
        series: str. Its name in the batch.
    """
    kept = _HABITS.setdefault(house.store, {})
    key = (batch.batch, series)
    if key not in kept:
        times, values = house.store.readings.rows_of(batch.batch).get(series, (np.empty(0), np.empty(0)))
        if times.size < 2:
            return None
        steps = np.diff(times).astype(np.float64)
        rise = np.diff(values) / steps
        near = rise[steps <= RISE_WITHIN_S]
        kept[key] = Habit(float(np.median(steps)), max(float(near.max(initial=0.0)), 0.0))
    return kept[key]


def temperature_traces(
    house: OpenHouse, room: str, start: datetime, end: datetime, asof: datetime | None
) -> tuple[TemperatureTrace, ...]:
    """The room's temperature by each of its loggers, the room's own first.

    Args:
        house: OpenHouse.
        room: str.
        start, end: datetime, aware.
        asof: datetime or None. Only batches sealed by then count; None: all.

    Returns:
        tuple of TemperatureTrace. Empty when the room has no logger.
    """
    record = house.store.rooms.find(room, asof)
    highest = float(record.defined.payload.highest_temperature_c) if record is not None else float("inf")
    batches = [batch for batch in house.store.readings.all(asof) if batch.counts]
    found = []
    for logger in loggers_of(house, room, TEMPERATURE):
        series = series_name(room, TEMPERATURE, logger)
        habits = [
            habit
            for batch in batches
            if series in batch.sealed.payload.series and (habit := habit_of(house, batch, series)) is not None
        ]
        times, values = house.store.readings.trace(room, TEMPERATURE, start, end, logger=logger, asof=asof)
        found.append(
            TemperatureTrace(
                times_s=times.astype(np.float64),
                temperature_c=values,
                usual_interval_s=float(np.median([habit.usual_s for habit in habits])) if habits else USUAL_S,
                fastest_rise_c_s=max((habit.fastest_c_s for habit in habits), default=0.0),
                highest_c=highest,
                batches=house.store.readings.sources(room, TEMPERATURE, start, end, logger=logger, asof=asof),
                in_check=_in_check(house, room, logger, end, asof),
            )
        )
    return tuple(found)


def _in_check(house: OpenHouse, room: str, logger: str, at: datetime, asof: datetime | None) -> bool:
    """False when the house keeps checks of this room's logger and one throws the readings into doubt."""
    for record in house.store.instruments.all(asof):
        defined = record.defined.payload
        named = record.instrument == logger if logger else defined.room == room
        if defined.type == "logger" and named and not record.in_check_at(at):
            return False
    return True


def joined(traces: tuple[TemperatureTrace, ...]) -> TemperatureTrace:
    """Traces of one logger role through several rooms, one after the other.

    Args:
        traces: tuple of TemperatureTrace. Not empty; in the order the lot went.
    """
    times = np.concatenate([trace.times_s for trace in traces])
    order = np.argsort(times, kind="stable")
    return TemperatureTrace(
        times_s=times[order],
        temperature_c=np.concatenate([trace.temperature_c for trace in traces])[order],
        usual_interval_s=max(trace.usual_interval_s for trace in traces),
        fastest_rise_c_s=max(trace.fastest_rise_c_s for trace in traces),
        highest_c=max(trace.highest_c for trace in traces),
        batches=tuple(dict.fromkeys(batch for trace in traces for batch in trace.batches)),
        in_check=all(trace.in_check for trace in traces),
    )


def nothing_read(highest_c: float) -> TemperatureTrace:
    """The trace of a lot whose rooms no logger read.

    Args:
        highest_c: float. [degC]
    """
    return TemperatureTrace(np.empty(0), np.empty(0), USUAL_S, 0.0, highest_c)
