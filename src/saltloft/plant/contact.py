"""What else was in contact with a thing: the same batch, line and day, an open piece on a counter slicer.

A contact is no amount: nothing was weighed from one into the other. It widens a
scope by what may have touched it, and says through what and when.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

SLICING, PACKING, COUNTER, MAKING = "slicing", "packing", "counter", "making"
# Why something counts as a contact, the closest first.
OPEN_PIECE, TOUCHED_IT, AFTER, BEFORE, SAME_DAY = "open_piece", "touched_it", "after", "before", "same_day"


@dataclass(frozen=True)
class Run:
    """A stretch of time in which a thing was on a line.

    Args:
        node: str. What ran.
        sort: str. SLICING, PACKING, COUNTER or MAKING.
        line: str. Empty when the record names none.
        start: datetime, aware.
        end: datetime or None. None: it still lies open, or the record says no end.
        entry_id: str.
        made: str. What came of it, such as the slices or the pack lot; may be empty.
        tag: str. A single piece; may be empty.
    """

    node: str
    sort: str
    line: str
    start: datetime
    end: datetime | None
    entry_id: str
    made: str = ""
    tag: str = ""


@dataclass(frozen=True)
class Contact:
    """Something that may have touched what is traced.

    Args:
        run: Run. Its own run.
        through: Run. The run of what is traced that it met.
        why: str. OPEN_PIECE: it ran over a slicer on which a traced piece lay open; TOUCHED_IT: a traced
            thing ran where this piece lay open; AFTER and BEFORE: same line and day; SAME_DAY: made on the
            same day, on machines the record does not name.
    """

    run: Run
    through: Run
    why: str


def contacts_of(scope: Collection[str], runs: Iterable[Run], zone: ZoneInfo, now: datetime) -> list[Contact]:
    """What ran where and when something of the scope ran, and is not of the scope itself.

    Args:
        scope: collection of str. Nodes that are traced.
        runs: iterable of Run. Of the whole house in the days concerned.
        zone: ZoneInfo. In which days are counted.
        now: datetime, aware. End of what still lies open.

    Returns:
        list of Contact, one for each other run, by the closest reason; by time.
    """
    every, chosen = list(runs), set(scope)
    ours = [run for run in every if run.node in chosen or run.made in chosen]
    found: dict[tuple[str, str, str], Contact] = {}
    for other in every:
        if other.node in chosen or other.made in chosen:
            continue
        met = [contact for own in ours if (contact := _met(own, other, zone, now)) is not None]
        if met:
            closest = min(met, key=lambda contact: _RANK[contact.why])
            found[other.node, other.made, other.entry_id] = closest
    return sorted(
        found.values(), key=lambda contact: (_RANK[contact.why], contact.run.start, contact.run.node)
    )


_RANK = {why: rank for rank, why in enumerate((OPEN_PIECE, TOUCHED_IT, AFTER, BEFORE, SAME_DAY))}


def _met(own: Run, other: Run, zone: ZoneInfo, now: datetime) -> Contact | None:
    if own.line and own.line == other.line:
        if _overlap(own, other, now):
            if own.sort == COUNTER:
                return Contact(other, own, OPEN_PIECE)
            if other.sort == COUNTER:
                return Contact(other, own, TOUCHED_IT)
        if _share_a_day(own, other, zone, now):
            return Contact(other, own, AFTER if other.start >= own.start else BEFORE)
        return None
    if own.sort == other.sort == MAKING and _day(own.start, zone) == _day(other.start, zone):
        return Contact(other, own, SAME_DAY)
    return None


def _overlap(one: Run, other: Run, now: datetime) -> bool:
    return one.start <= _end(other, now) and other.start <= _end(one, now)


def _end(run: Run, now: datetime) -> datetime:
    # A run without an end is taken to its start; only what lies open on a counter goes on.
    return run.end or (max(now, run.start) if run.sort == COUNTER else run.start)


def _share_a_day(one: Run, other: Run, zone: ZoneInfo, now: datetime) -> bool:
    first = max(_day(one.start, zone), _day(other.start, zone))
    return first <= min(_day(_end(one, now), zone), _day(_end(other, now), zone))


def _day(moment: datetime, zone: ZoneInfo) -> str:
    return moment.astimezone(zone).date().isoformat()
