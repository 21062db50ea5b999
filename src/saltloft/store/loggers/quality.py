"""What is worth a look in a series: gaps, flat lines, jumps, a saturated sensor."""

from __future__ import annotations

import numpy as np

from saltloft.foundation.words import say
from saltloft.store.loggers.model import HUMIDITY, TEMPERATURE, Flag, Series, SeriesGap

# Common practice, no source: how long a humidity may stay the same to its last digit, and how fast air moves.
FLAT_SECONDS = 6 * 3600
FASTEST_C_MIN = 5.0
FASTEST_RH_MIN = 20.0
_SATURATED_PCT = 99.5
_MOST_JUMPS = 20


def find_gaps(series: Series) -> tuple[SeriesGap, ...]:
    """Every step longer than one and a half times the usual one."""
    if series.interval_s <= 0:
        return ()
    steps = np.diff(series.times_s)
    return tuple(
        SeriesGap(series.name, int(series.times_s[place]), int(series.times_s[place + 1]))
        for place in np.flatnonzero(steps > 1.5 * series.interval_s).tolist()
    )


def find_flags(series: Series) -> tuple[Flag, ...]:
    """Flat lines of humidity and jumps of either quantity."""
    if series.times_s.size < 2:
        return ()
    return (*_flat(series), *_jumps(series))


def _flat(series: Series) -> list[Flag]:
    if series.quantity != HUMIDITY:
        return []
    changed = np.flatnonzero(np.diff(series.values) != 0.0)
    starts = np.concatenate(([0], changed + 1))
    ends = np.concatenate((changed, [series.values.size - 1]))
    lasted = series.times_s[ends] - series.times_s[starts]
    found = []
    for place in np.flatnonzero(lasted > FLAT_SECONDS).tolist():
        value = float(series.values[starts[place]])
        code = "saturated" if value >= _SATURATED_PCT else "flat"
        words = say(
            "{room} shows the same {value} % RH for {hours} h: the sensor may be wet or stuck.",
            room=series.room,
            value=f"{value:g}",
            hours=f"{lasted[place] / 3600:.1f}",
        )
        start, end = int(series.times_s[starts[place]]), int(series.times_s[ends[place]])
        found.append(Flag(code, series.name, start, end, words))
    return found


def _jumps(series: Series) -> list[Flag]:
    minutes = np.maximum(np.diff(series.times_s) / 60.0, 1.0)
    moved = np.abs(np.diff(series.values))
    limit = FASTEST_C_MIN if series.quantity == TEMPERATURE else FASTEST_RH_MIN
    unit = "°C" if series.quantity == TEMPERATURE else "% RH"
    found = []
    for place in np.flatnonzero(moved / minutes > limit)[:_MOST_JUMPS].tolist():
        words = say(
            "{room} moves from {before} to {after} {unit} in {minutes} min: door, defrost or fault.",
            room=series.room,
            before=f"{series.values[place]:g}",
            after=f"{series.values[place + 1]:g}",
            unit=unit,
            minutes=f"{minutes[place]:g}",
        )
        start, end = int(series.times_s[place]), int(series.times_s[place + 1])
        found.append(Flag("jump", series.name, start, end, words))
    return found
