"""A logger file and pH readings without a house: `judge --from CASE.toml`.

start = "2026-03-10T14:00+01:00"
market = "us"                    # us or ca; both when left out
[room]
log = "F2.csv"                   # beside the case file
second_log = "F2-b.csv"          # optional
zone = "Europe/Dublin"           # of the loggers' clocks, when the files don't say
highest_temperature_c = 35       # what the room can reach
[plan]
core_readings = 5
ph_guard = 0.02
longest_gap_minutes = 15
[[reading]]
at = "2026-03-13T21:30+01:00"
ph = 5.28                        # the highest of the pieces
pieces = 5
where = "core"
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import numpy as np

from saltloft.cases.case_file import Table, read_case
from saltloft.cases.keys import Number, Schema, Section, Text
from saltloft.foundation.errors import InputError
from saltloft.foundation.words import say
from saltloft.plant.checks.degree_hours_count import EndingPlan
from saltloft.plant.checks.trace import PhSet, TemperatureTrace
from saltloft.plant.readings import PH_PLACES
from saltloft.store.loggers.model import ReadOptions, Series
from saltloft.store.loggers.reader import read_log

LARGEST_LOG = 50_000_000
RISE_WITHIN_S = 3600.0


def _moment_hint() -> str:
    return say("a moment with its offset, such as 2026-03-10T14:00+01:00")


def _celsius() -> str:
    return say("degrees Celsius: 95 degF is 35")


SCHEMA: Schema = {
    "start": Text(required=True),
    "market": Text(("us", "ca")),
    "room": Section(
        {
            "log": Text(required=True),
            "second_log": Text(),
            "zone": Text(),
            "highest_temperature_c": Number(5, 60, required=True, hint=_celsius),
        },
        required=True,
    ),
    "plan": Section(
        {
            "core_readings": Number(1, 50, whole=True),
            "ph_guard": Number(0, 0.3),
            "longest_gap_minutes": Number(1, 240),
        }
    ),
    "reading": Section(
        {
            "at": Text(required=True),
            "ph": Number(3.5, 7.5, required=True),
            "pieces": Number(1, 1000, whole=True),
            "where": Text(PH_PLACES),
        },
        many=True,
    ),
}


@dataclass(frozen=True)
class Deviation:
    """What a deviation case asks.

    Args:
        title: str.
        markets: tuple of str.
        start_s: float. Entry to the room. [s]
        at_s: float. The last moment that was recorded. [s]
        plan: EndingPlan.
        first, second: TemperatureTrace; second may be None.
        sets: tuple of PhSet. Every meter is taken to be in check: the file says nothing else.
        understood: tuple of str. What the logger reader took the files for.
    """

    title: str
    markets: tuple[str, ...]
    start_s: float
    at_s: float
    plan: EndingPlan
    first: TemperatureTrace
    second: TemperatureTrace | None
    sets: tuple[PhSet, ...]
    understood: tuple[str, ...]


def read_deviation(path: Path) -> Deviation:
    """Read a deviation case and the logger files beside it.

    Args:
        path: Path. The TOML file.

    Raises:
        InputError, UnknownName: with key, line, what came and what is allowed.
    """
    file = read_case(path, SCHEMA)
    room, plan = file.section("room"), file.section("plan")
    start = _moment(file, "start")
    understood: list[str] = []
    first = _trace(path, room, "log", understood)
    second = _trace(path, room, "second_log", understood) if "second_log" in room else None
    sets = tuple(_set(table) for table in file.sections("reading"))
    last = max([float(first.times_s[-1]), *(one.at_s for one in sets)])
    market = file.text("market")
    return Deviation(
        title=file.text("title") or path.stem,
        markets=(market,) if market else ("us", "ca"),
        start_s=start,
        at_s=last,
        plan=EndingPlan(
            plan.whole("core_readings") or 1,
            plan.number("ph_guard") or 0.0,
            60.0 * (plan.number("longest_gap_minutes") or 15.0),
        ),
        first=first,
        second=second,
        sets=sets,
        understood=tuple(understood),
    )


def _moment(table: Table, key: str) -> float:
    text = table.text(key) or ""
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        moment = None
    if moment is None or moment.tzinfo is None:
        raise table.refusal(key, say("the moment cannot be read"), got=f"'{text}'", allowed=_moment_hint())
    return moment.timestamp()


def _set(table: Table) -> PhSet:
    highest = table.number("ph")
    assert highest is not None
    return PhSet(
        at_s=_moment(table, "at"),
        values=(highest,) * (table.whole("pieces") or 1),
        where=table.text("where") or "core",
        entry_id=table.name,
    )


def _trace(path: Path, room: Table, key: str, understood: list[str]) -> TemperatureTrace:
    name = room.text(key) or ""
    log = path.parent / name
    if not log.is_file():
        raise room.refusal(
            key, say("the logger file is not there"), got=name, do=say("put it beside the case")
        )
    if log.stat().st_size > LARGEST_LOG:
        raise room.refusal(key, say("the logger file is too large"), got=f"{log.stat().st_size / 1e6:.0f} MB")
    options = ReadOptions(file_name=log.name, zone=room.text("zone") or "", room="room", role="fermenting")
    reading = read_log(log.read_bytes(), options)
    if reading.blocked:
        question = next(one for one in reading.questions if one.blocking)
        raise InputError(f"{log.name}: {question.words}", key=room.dotted(key), do=say("give room.zone"))
    series = [one for one in reading.series if one.quantity == "temperature_c"]
    if len(series) != 1:
        raise room.refusal(
            key, say("one temperature is needed"), got=", ".join(one.channel for one in series) or "none"
        )
    understood += [f"{log.name}: {words}" for words in reading.understood]
    highest = room.number("highest_temperature_c")
    assert highest is not None
    return _as_trace(series[0], highest)


def _as_trace(series: Series, highest_c: float) -> TemperatureTrace:
    times = series.times_s.astype(np.float64)
    steps = np.diff(times)
    rise = np.diff(series.values) / steps if steps.size else np.empty(0)
    fastest = float(rise[steps <= RISE_WITHIN_S].max(initial=0.0))
    usual = float(series.interval_s or 300)
    return TemperatureTrace(times, series.values, usual, max(fastest, 0.0), highest_c, (series.name,))
