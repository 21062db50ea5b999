"""From the logger's clock to UTC: zones, the two clock changes a year, lost dates."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError, available_timezones

import numpy as np
import numpy.typing as npt

from saltloft.foundation.errors import InputError, UnknownName
from saltloft.foundation.words import say
from saltloft.store.loggers.model import Question, ReadOptions
from saltloft.store.loggers.steps import usual_step

FOLLOWS, STANDARD = "follows", "standard"
_Local = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Change:
    """One change of a zone's offset.

    Args:
        at_s: int. The moment. [s, UTC]
        before_s: int. Offset before it. [s]
        after_s: int. Offset after it. [s]
    """

    at_s: int
    before_s: int
    after_s: int

    @property
    def forward(self) -> bool:
        """True in spring: an hour of the local clock does not exist."""
        return self.after_s > self.before_s

    @property
    def window(self) -> tuple[int, int]:
        """Local seconds from and to which the clock is skipped (spring) or shown twice (autumn). [s]"""
        low, high = sorted((self.before_s, self.after_s))
        return self.at_s + low, self.at_s + high


@dataclass(frozen=True)
class Evidence:
    """What the order of the rows says about the clock.

    Args:
        follows: tuple of str. Sentences that it follows summer time.
        standard: tuple of str. Sentences that it stays on standard time.
        repeated_spring: tuple of str. Days on which the hour after the spring change appears twice.
    """

    follows: tuple[str, ...] = ()
    standard: tuple[str, ...] = ()
    repeated_spring: tuple[str, ...] = ()


def zone_named(name: str) -> ZoneInfo:
    """The zone of an IANA name such as 'Europe/Vienna' or of 'UTC'.

    Raises:
        UnknownName: with the nearest names.
    """
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise UnknownName("time zone", name, available_timezones(), key="zone") from error


@lru_cache(maxsize=64)
def changes(name: str, first_s: int, last_s: int) -> tuple[int, tuple[Change, ...]]:
    """Offset at the start, and every change of offset between two moments.

    Args:
        name: str. IANA name.
        first_s: int. [s, UTC]
        last_s: int. [s, UTC]

    Returns:
        (offset at first_s [s], tuple of Change).
    """
    zone = zone_named(name)

    def offset(moment_s: int) -> int:
        local = datetime.fromtimestamp(moment_s, UTC).astimezone(zone).utcoffset()
        return int((local or timedelta()).total_seconds())

    found = []
    # Seven days: no zone has changed twice within a week since loggers exist.
    step = 7 * 86400
    for start in range(first_s, last_s, step):
        low, high = start, min(start + step, last_s)
        if offset(low) == offset(high):
            continue
        before = offset(low)
        while high - low > 1:
            middle = (low + high) // 2
            low, high = (middle, high) if offset(middle) == before else (low, middle)
        found.append(Change(high, before, offset(high)))
    return offset(first_s), tuple(found)


def changes_around(local: _Local, name: str) -> tuple[int, tuple[Change, ...]]:
    """`changes` over the span of some local times, three days wider, to whole weeks."""
    week = 7 * 86400
    first = int(np.nanmin(local) // week - 1) * week
    last = int(np.nanmax(local) // week + 2) * week
    return changes(name, first, last)


def look_for_evidence(local: _Local, name: str) -> Evidence:
    """What one series of local times, in file order, says about its clock.

    Args:
        local: float64 array (n,). Local times in the order of the file, without NaN. [s]
        name: str. IANA name.
    """
    follows, standard, repeated = [], [], []
    step = usual_step(local) or 3600
    for change in changes_around(local, name)[1]:
        low, high = change.window
        day = np.datetime64(low, "s").astype("datetime64[D]")
        inside = np.flatnonzero((local >= low) & (local < high))
        before, after = _near(local, low, -step), _near(local, high, step)
        if change.forward:
            if inside.size:
                standard.append(say("it shows times that summer time skips on {day}", day=day))
            elif before and after:
                follows.append(say("it skips the hour of the spring change on {day}", day=day))
            if not inside.size and _passes(local, high, high + (high - low)) > 1:
                repeated.append(str(day))
        elif inside.size:
            passes = _passes(local, low, high)
            if passes > 1:
                follows.append(say("it shows the hour of the autumn change on {day} twice", day=day))
            elif before and after:
                standard.append(say("it shows the hour of the autumn change on {day} only once", day=day))
    return Evidence(tuple(follows), tuple(standard), tuple(repeated))


def _near(local: _Local, edge: float, reach: float) -> bool:
    """True when a reading stands within one and a half steps before (reach < 0) or after the edge.

    Steps longer than an hour tell nothing about an hour.
    """
    if abs(reach) > 3600:
        return False
    low, high = sorted((edge, edge + 1.5 * reach))
    return bool(np.any((local >= low) & (local <= high)))


def _passes(local: _Local, low: float, high: float) -> int:
    """How often the clock ran through a window: one more than its steps back within it."""
    inside = local[(local >= low) & (local < high)]
    return 1 + int(np.sum(_steps_back(inside, usual_step(local))))


def _steps_back(inside: _Local, step: int) -> npt.NDArray[np.bool_]:
    """Where the clock goes back; with a step of an hour, standing still is going back."""
    return np.diff(inside) <= 0 if step >= 3600 else np.diff(inside) < 0


def to_utc(local: _Local, name: str, clock: str, spring_repeat: str = "") -> tuple[_Local, int]:
    """Local times of one series, in file order, as UTC.

    Args:
        local: float64 array (n,). Without NaN. [s]
        name: str. IANA name.
        clock: str. FOLLOWS summer time, or stays on STANDARD time.
        spring_repeat: str. 'standard_after' takes what follows a spring hour shown twice as standard time.

    Returns:
        (UTC times with NaN where the local time does not exist or stands in a repeated hour without an
        order [s], how many rows of a repeated hour were placed by their order).
    """
    start, found = changes_around(local, name)
    if clock == STANDARD:
        offsets = [start, *(change.after_s for change in found), *(change.before_s for change in found)]
        # Standard time is the smaller of the year's two offsets.
        base = min(offsets) if found else _standard_offset(name, float(np.nanmin(local)))
        return local - base, 0
    offset = np.full(local.size, start, np.float64)
    for change in found:
        offset[local >= change.window[1]] = change.after_s
    utc = local - offset
    resolved = 0
    for change in found:
        low, high = change.window
        inside = np.flatnonzero((local >= low) & (local < high))
        if change.forward:
            utc[inside] = np.nan
            if spring_repeat == "standard_after":
                _standard_after(local, utc, high, change)
            continue
        if inside.size:
            second = _second_pass(local, inside, low, high)
            if second is None:
                utc[inside] = np.nan
            else:
                utc[inside] = local[inside] - np.where(second, change.after_s, change.before_s)
                resolved += inside.size
    return utc, resolved


def _second_pass(
    local: _Local, inside: npt.NDArray[np.intp], low: float, high: float
) -> npt.NDArray[np.bool_] | None:
    """For rows in the hour shown twice: True in its second pass; None when nothing tells."""
    step = usual_step(local) or 3600
    back = _steps_back(local[inside], step)
    if back.any():
        return np.concatenate(([False], np.cumsum(back) > 0))
    before, after = _near(local, low, -step), _near(local, high, step)
    if before == after:
        return None
    return np.full(inside.size, after)


def _standard_after(local: _Local, utc: _Local, high: float, change: Change) -> None:
    window = np.flatnonzero((local >= high) & (local < high + 3600))
    back = np.flatnonzero(np.diff(local[window]) < 0)
    if back.size:
        first = int(window[back[0] + 1])
        utc[first:] = local[first:] - change.before_s


def _standard_offset(name: str, local_s: float) -> int:
    moment = datetime.fromtimestamp(local_s, UTC).astimezone(zone_named(name))
    offset = moment.utcoffset() or timedelta()
    return int((offset - (moment.dst() or timedelta())).total_seconds())


def choose_clock(
    evidence: Sequence[Evidence], options: ReadOptions, zone: str
) -> tuple[str, list[str], list[Question]]:
    """Whether the logger's clock follows summer time, from all series of a file.

    Args:
        evidence: sequence of Evidence.
        options: ReadOptions. Answer 'clock'.
        zone: str. IANA name, for what is said.

    Returns:
        (FOLLOWS or STANDARD, sentences understood, questions).
    """
    answered = options.answers.get("clock", "")
    if answered:
        if answered not in (FOLLOWS, STANDARD):
            raise InputError(
                say("a clock follows summer time or stays on standard time"),
                got=f"'{answered}'",
                allowed=f"{FOLLOWS}, {STANDARD}",
                key="clock",
            )
        return answered, [_clock_words(answered, zone, say("as you answered"))], []
    follows = [words for one in evidence for words in one.follows]
    standard = [words for one in evidence for words in one.standard]
    if follows and standard:
        question = say(
            "The logger's clock gives two signs: {follows}, but {standard}. Does it follow summer time?",
            follows=follows[0],
            standard=standard[0],
        )
        return FOLLOWS, [], [Question("clock", question, (FOLLOWS, STANDARD))]
    if standard:
        return STANDARD, [_clock_words(STANDARD, zone, standard[0])], []
    reason = follows[0] if follows else say("nothing in the file says otherwise")
    return FOLLOWS, [_clock_words(FOLLOWS, zone, reason)], []


def _clock_words(clock: str, zone: str, reason: str) -> str:
    if clock == STANDARD:
        return say("Times are standard time of {zone} all year: {reason}.", zone=zone, reason=reason)
    return say("Times are the clock of {zone}, with its summer time: {reason}.", zone=zone, reason=reason)
