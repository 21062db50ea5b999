"""Live values as a broker brings them: which topic writes which series, and what a payload says.

topics = read_topics("house/d2/temp D2/temperature_c", rooms={"D2"})
read_payload("D2/temperature_c", b'{"value": 13.2, "time": "2026-11-03T06:00:00Z"}')
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from saltloft.foundation.errors import InputError
from saltloft.foundation.words import say

# What a sensor of a room can show at all; beyond it the sensor or its line is at fault. Common practice,
# no source.
BOUNDS = {"temperature_c": (-40.0, 90.0), "rh_pct": (0.0, 100.0)}
# A clock that is ahead by more, or a value that is older, is refused. Common practice, no source. [s]
MOST_AHEAD_S = 120
MOST_LATE_S = 31 * 86_400
MOST_BYTES = 256
_NUMBER = re.compile(rb"-?\d{1,9}(\.\d{1,12})?")

FOREIGN, NONSENSE, BEYOND, AHEAD, TOO_OLD, NO_MOMENT, OTHER_VALUE = (
    "foreign_topic",
    "nonsense",
    "beyond_bounds",
    "ahead",
    "too_old",
    "no_moment",
    "other_value",
)


@dataclass(frozen=True)
class Said:
    """What one payload says.

    Args:
        value: float. [unit of the series]
        at: int or None. Its moment; None when the payload names none. [s since 1970 UTC]
    """

    value: float
    at: int | None


class Refused(Exception):
    """A value that is not taken.

    Args:
        reason: str. One of FOREIGN, NONSENSE, BEYOND, AHEAD, TOO_OLD, NO_MOMENT, OTHER_VALUE.
    """

    def __init__(self, reason: str) -> None:
        self.reason = reason
        super().__init__(reason)


def refusal_words(reason: str) -> str:
    """One clause for a reason of `Refused`."""
    words = {
        FOREIGN: say("from a topic that mqtt_topics does not name"),
        NONSENSE: say("neither a number nor JSON with value and time"),
        BEYOND: say("beyond what such a sensor can show"),
        AHEAD: say("more than two minutes ahead of the house's clock"),
        TOO_OLD: say("older than 31 days"),
        NO_MOMENT: say("kept by the broker, without a time of its own"),
        OTHER_VALUE: say("another value for a moment that has one"),
    }
    return words.get(reason, reason)


def read_topics(text: str, rooms: Collection[str]) -> dict[str, str]:
    """Series by topic, from the setting's lines 'TOPIC ROOM/quantity' or 'TOPIC ROOM/quantity/LOGGER'.

    Args:
        text: str. Empty lines are skipped.
        rooms: collection of str. The rooms the house knows.

    Raises:
        InputError: a line that is no pair, a wildcard, an unknown room or quantity, a topic or series twice.
    """
    topics: dict[str, str] = {}
    for number, line in enumerate(text.splitlines(), start=1):
        if not line.strip():
            continue
        topic, _, series = line.strip().rpartition(" ")
        topic, parts = topic.strip(), series.split("/")
        wrong = _fault(topic, parts, rooms)
        if not wrong and topic in topics:
            wrong = say("the topic comes twice")
        if not wrong and series in topics.values():
            wrong = say("another topic writes this series already")
        if wrong:
            raise InputError(
                wrong,
                got=line.strip(),
                allowed=say("TOPIC ROOM/temperature_c or TOPIC ROOM/rh_pct, one topic for one series"),
                do=say("mend mqtt_topics in house.toml or the environment"),
                key="mqtt_topics",
                line=number,
            )
        topics[topic] = series
    return topics


def _fault(topic: str, parts: list[str], rooms: Collection[str]) -> str:
    if not topic or len(parts) not in (2, 3) or not all(parts):
        return say("a line of mqtt_topics is no topic and series")
    if set(topic) & set("+#\0") or len(topic.encode()) > 1000:
        return say("a topic of mqtt_topics has a wildcard or is too long")
    if parts[1] not in BOUNDS:
        return say("the quantity is not one that a series holds")
    if parts[0] not in rooms:
        return say("the house has no such room")
    return ""


def read_payload(series: str, payload: bytes) -> Said:
    """The value, and its moment when it names one.

    Args:
        series: str. 'ROOM/quantity' or 'ROOM/quantity/LOGGER'.
        payload: bytes. A number such as '13.2', or JSON {"value": 13.2, "time": ...} with an ISO moment
            with offset, or seconds since 1970 UTC.

    Raises:
        Refused: NONSENSE or BEYOND.
    """
    if len(payload) > MOST_BYTES:
        raise Refused(NONSENSE)
    plain = _NUMBER.fullmatch(payload.strip())
    said = Said(float(payload), None) if plain else _from_json(payload)
    lowest, highest = BOUNDS[series.split("/")[1]]
    if not lowest <= said.value <= highest:
        raise Refused(BEYOND)
    return said


def _from_json(payload: bytes) -> Said:
    try:
        found = json.loads(payload.decode("utf-8"), object_pairs_hook=_once, parse_constant=_no_constant)
    except (ValueError, RecursionError):
        raise Refused(NONSENSE) from None
    if not isinstance(found, dict) or set(found) != {"value", "time"}:
        raise Refused(NONSENSE)
    value, time = found["value"], found["time"]
    if type(value) not in (int, float) or not math.isfinite(value):
        raise Refused(NONSENSE)
    return Said(float(value), _moment(time))


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        raise ValueError("a key comes twice")
    return found


def _no_constant(name: str) -> Any:
    raise ValueError(name)


def _moment(time: object) -> int:
    if type(time) is int and 0 <= time < 100_000_000_000:
        return time
    try:
        moment = datetime.fromisoformat(time) if isinstance(time, str) else None
        if moment is None or moment.tzinfo is None:
            raise Refused(NONSENSE)
        return int(moment.timestamp())
    except (ValueError, OverflowError):
        raise Refused(NONSENSE) from None


def moment_of(said: Said, now: datetime, *, fresh: bool) -> int:
    """The moment a value belongs to. [s since 1970 UTC]

    Args:
        said: Said.
        now: datetime, aware. The house's clock.
        fresh: bool. False when the broker may have kept the value, so that it was not measured now.

    Raises:
        Refused: NO_MOMENT, AHEAD or TOO_OLD.
    """
    clock = int(now.timestamp())
    if said.at is None:
        if not fresh:
            raise Refused(NO_MOMENT)
        return clock
    if said.at > clock + MOST_AHEAD_S:
        raise Refused(AHEAD)
    if said.at < clock - MOST_LATE_S:
        raise Refused(TOO_OLD)
    return said.at
