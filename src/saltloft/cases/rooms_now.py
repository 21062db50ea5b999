"""Every room at one moment: its air against what it was set to, what hangs there, where readings lack."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from saltloft.cases.lot_air import gap_minutes, loggers_of
from saltloft.cases.open_house import OpenHouse, known_at
from saltloft.foundation.words import say
from saltloft.plant.answers import LotOutlook, RoomNow
from saltloft.plant.house_record import RoomRecord
from saltloft.plant.lot_record import LotRecord
from saltloft.plant.sentences import loss_at, moment_words, number_words

# Common practice, no source: within these a room is as it was set; mean of six hours, ends of a day.
MEAN_HOURS = 6.0
DAY_HOURS = 24.0
MEAN_K, MEAN_POINTS = 1.0, 4.0
ENDS_K, ENDS_POINTS = 3.0, 10.0
SILENT = timedelta(hours=3)
SETTLES = timedelta(hours=6)


class Air(NamedTuple):
    """One quantity of one room in the last day.

    Args:
        last: float or None. The last reading, unit of the quantity.
        at: datetime or None. When.
        mean: float or None. Of the last six hours.
        low, high: float or None. Lowest and highest hour of the last day.
        batches: tuple of str.
    """

    last: float | None
    at: datetime | None
    mean: float | None
    low: float | None
    high: float | None
    batches: tuple[str, ...]


def rooms_now(
    house: OpenHouse, asof: datetime, lots: Sequence[LotRecord], outlooks: Mapping[str, LotOutlook]
) -> tuple[RoomNow, ...]:
    """Every room, by name.

    Args:
        house: OpenHouse.
        asof: datetime, aware.
        lots: sequence of LotRecord. Those that hang.
        outlooks: mapping of lot to LotOutlook. For the present weight; green weight without.
    """
    return tuple(
        _room(house, room, asof, lots, outlooks) for room in house.store.rooms.all(known_at(house, asof))
    )


def _room(
    house: OpenHouse,
    room: RoomRecord,
    asof: datetime,
    lots: Sequence[LotRecord],
    outlooks: Mapping[str, LotOutlook],
) -> RoomNow:
    setting = room.set_at(asof)
    since = None if setting is None else min(setting.at + SETTLES, asof)
    temperature, rh = (
        air_of(house, room.room, "temperature_c", asof, since=since),
        air_of(house, room.room, "rh_pct", asof, since=since),
    )
    there = [lot for lot in lots if any(s.room == room.room and s.end is None for s in lot.rooms)]
    gaps = [gap_minutes(house, room.room, name, asof, DAY_HOURS) for name in ("temperature_c", "rh_pct")]
    set_t = None if setting is None else float(setting.payload.temperature_c)
    set_h = None if setting is None else float(setting.payload.rh_pct)
    look = as_set(temperature, rh, (set_t, set_h), asof, str(house.zone))
    said = (*(setting.entry_ids if setting else ()), *room.defined.entry_ids)
    sources = [*temperature.batches, *rh.batches, *said]
    return RoomNow(
        room=room.room,
        role=room.defined.payload.role,
        read_at=temperature.at,
        temperature_c=temperature.last,
        rh_pct=rh.last,
        set_temperature_c=set_t,
        set_rh_pct=set_h,
        load_kg=sum(_present_kg(lot, room.room, outlooks.get(lot.lot), asof) for lot in there),
        capacity_kg=room.defined.payload.capacity_kg,
        lots=tuple(lot.lot for lot in there),
        longest_gap_min=max(gaps),
        lowest_rh_pct=rh.low,
        highest_rh_pct=rh.high,
        highest_temperature_c=temperature.high,
        expected=look.words,
        state=look.state,
        away=look.number,
        away_unit=look.unit,
        sources=tuple(dict.fromkeys(sources)),
    )


def _present_kg(lot: LotRecord, room: str, outlook: LotOutlook | None, asof: datetime) -> float:
    share = sum(stay.share for stay in lot.rooms if stay.room == room and stay.end is None)
    age_d = (asof - lot.made_at).total_seconds() / 86400.0
    loss = 0.0 if outlook is None else (loss_at(outlook, age_d).p50 or 0.0) / 100.0
    return lot.green_mass.kg * share * (1.0 - loss)


def air_of(
    house: OpenHouse, room: str, quantity: str, asof: datetime, *, since: datetime | None = None
) -> Air:
    """One quantity of one room up to a moment, from all its loggers.

    Args:
        house: OpenHouse.
        room: str.
        quantity: str. 'temperature_c' or 'rh_pct'.
        asof: datetime, aware.
        since: datetime or None. Leave out what was read before; a room takes hours to follow its setting.
    """
    start = max(asof - timedelta(hours=DAY_HOURS), since or asof - timedelta(hours=DAY_HOURS))
    readings = house.store.readings
    loggers = loggers_of(house, room, quantity)
    latest = [found for name in loggers if (found := readings.latest(room, quantity, asof, logger=name))]
    if not latest:
        return Air(None, None, None, None, None, ())
    at, last, batch = max(latest, key=lambda found: found[0])
    traces = [readings.trace(room, quantity, start, asof, logger=name) for name in loggers]
    batches = [b for name in loggers for b in readings.sources(room, quantity, start, asof, logger=name)]
    times, values = (np.concatenate(parts) for parts in zip(*traces, strict=True))
    if not times.size:
        return Air(last, at, None, None, None, (batch,))
    recent = values[times >= asof.timestamp() - MEAN_HOURS * 3600.0]
    mean = float(recent.mean()) if recent.size else None
    low, high = _hour_ends(times, values)
    return Air(last, at, mean, low, high, tuple(dict.fromkeys(batches)))


def _hour_ends(times: NDArray[np.int64], values: NDArray[np.float64]) -> tuple[float, float]:
    """Lowest and highest mean of an hour: a door or a defrost of minutes wakes nobody."""
    hour = (times - times.min()) // 3600
    means = np.bincount(hour, weights=values) / np.maximum(np.bincount(hour), 1)
    there = means[np.bincount(hour) > 0]
    return float(there.min()), float(there.max())


class Look(NamedTuple):
    """Whether a room is as it was set.

    Args:
        words: str.
        state: str. 'look' when it is not, else ''.
        number: float or None. What makes it worth a look, in `unit`.
        unit: str.
    """

    words: str
    state: str = ""
    number: float | None = None
    unit: str = ""


def as_set(
    temperature: Air, rh: Air, setting: tuple[float | None, float | None], asof: datetime, zone: str
) -> Look:
    """Whether a room is as it was set.

    Args:
        temperature, rh: Air. [degC] [%RH]
        setting: tuple of float or None. What it was set to. [degC] [%RH]
        asof: datetime, aware.
        zone: str. IANA zone for the words.
    """
    if temperature.at is None:
        return Look(say("no reading yet"), "look")
    silent = asof - temperature.at
    if silent > SILENT:
        when = moment_words(temperature.at, zone, asof.date())
        return Look(
            say("no reading since {when}", when=when), "look", round(silent / timedelta(hours=1)), "h"
        )
    found = [
        _away(temperature, setting[0], (MEAN_K, ENDS_K), 1, "°C"),
        _away(rh, setting[1], (MEAN_POINTS, ENDS_POINTS), 0, "%RH"),
    ]
    looks = [look for look in found if look is not None]
    if looks:
        return Look(", ".join(look.words for look in looks), "look", looks[-1].number, looks[-1].unit)
    return Look(say("as set") if setting[0] is not None else say("no set point recorded"))


def _away(
    air: Air, wanted: float | None, limits: tuple[float, float], decimals: int, unit: str
) -> Look | None:
    """How far one quantity is from its setting: by its mean, else by the day's ends; None when it is not."""
    if wanted is None:
        return None
    shown = number_words(wanted, decimals)
    if air.mean is not None and abs(air.mean - wanted) > limits[0]:
        words = say(
            "{mean} {unit} in the mean of 6 h, set {wanted} {unit}",
            mean=number_words(air.mean, decimals),
            unit=unit,
            wanted=shown,
        )
        return Look(words, "look", round(air.mean, decimals), unit)
    ends = [end for end in (air.low, air.high) if end is not None]
    worst = max(ends, key=lambda end: abs(end - wanted), default=wanted)
    if abs(worst - wanted) > limits[1]:
        words = say(
            "went to {worst} {unit} in the last 24 h, set {wanted} {unit}",
            worst=number_words(worst, decimals),
            unit=unit,
            wanted=shown,
        )
        return Look(words, "look", round(worst, decimals), unit)
    return None
