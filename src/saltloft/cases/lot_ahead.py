"""The air ahead of a lot: what is left of its plan, as its room has kept to such plans so far."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from weakref import WeakKeyDictionary

import numpy as np

from saltloft.cases.lot_air import BIN_S, Stay, air_of_stay, stays_of
from saltloft.cases.open_house import OpenHouse
from saltloft.foundation.words import say
from saltloft.plant.lot_record import LotRecord
from saltloft.plant.recipes import ProductDefined
from saltloft.plant.sentences import number_words
from saltloft.process.ahead import ANY_ROOM, Habit, ahead_of_plan, habit_of, planned, stages_ahead
from saltloft.process.programme import DAY_S, AirTrace, Stage
from saltloft.process.result import Flag
from saltloft.store.open import Store

# So many of the last lots of the product tell how the room keeps to its plan (chosen, no source).
LAST_LOTS = 4
# A room's log this short tells nothing of what it is like for weeks. [d]
LEAST_LOG_D = 2.0
# A lot that stays where it fermented: its air counts this long after the planned end. [d]
SETTLED_D = 2.0


@dataclass(frozen=True)
class RoomHabit:
    """How the room of a lot kept to the product's plan for the lots before it.

    Args:
        habit: Habit. Of any room without such lots.
        lots: tuple of str. Those that told it, oldest first.
        since_d: float. From here on the lot's own log tells of the air ahead; past the log's end
            when none of it does. [d]
        room: str. Where it hangs; empty while it still ferments.
    """

    habit: Habit = ANY_ROOM
    lots: tuple[str, ...] = ()
    since_d: float = 0.0
    room: str = ""


_Key = tuple[str, str, str, str]
# What a lot's log showed holds as long as nothing was added to the journal.
_SHOWN: WeakKeyDictionary[Store, tuple[int, dict[_Key, tuple[float, float] | None]]] = WeakKeyDictionary()


def room_habit(
    house: OpenHouse,
    record: LotRecord,
    product: ProductDefined,
    plan: tuple[Stage, ...],
    *,
    asof: datetime,
    known: datetime | None,
) -> RoomHabit:
    """What the last lots of the same product showed of the room a lot is in, or will go to.

    Args:
        house: OpenHouse.
        record: LotRecord.
        product: ProductDefined.
        plan: tuple of Stage. From stuffing on.
        asof: datetime, aware.
        known: datetime or None. Only what was recorded by then counts; None: all.
    """
    if not record.hanging:
        return RoomHabit()  # nothing lies ahead of it
    telling = _telling(record, product, asof)
    own = telling[-1] if telling and telling[-1].room == stays_of(record, asof)[-1].room else None
    room = "" if own is None else own.room
    before = [
        one
        for one in house.store.lots.summaries("dry_sausage")
        if one.product == record.product and one.made_at < record.made_at and one.hung_at is not None
    ]
    before.sort(key=lambda one: (one.made_at, one.lot), reverse=True)
    found: list[tuple[str, tuple[float, float]]] = []
    for one in before[: 2 * LAST_LOTS]:
        shown = _shown(house, one.lot, product, plan, room=room, asof=asof, known=known)
        if shown is not None:
            found.append((one.lot, shown))
        if len(found) == LAST_LOTS:
            break
    found.reverse()
    start_s = asof.timestamp() + DAY_S if own is None else float(own.start_s)
    return RoomHabit(
        habit=habit_of([shown for _, shown in found]),
        lots=tuple(lot for lot, _ in found),
        since_d=(start_s - record.made_at.timestamp()) / DAY_S,
        room=room,
    )


def _telling(record: LotRecord, product: ProductDefined, asof: datetime) -> list[Stay]:
    """The parts of a lot's stays whose air tells of drying: not where and while it ferments."""
    many = len(product.stages) > 1
    over = record.made_at + timedelta(hours=float(product.stages[0].hours) if many else 0.0)
    found = []
    for number, stay in enumerate(stays_of(record, asof)):
        wait_d = SETTLED_D if many and number == 0 else 0.0
        start = max(stay.start_s, int(over.timestamp() + wait_d * DAY_S))
        if start < stay.end_s:
            found.append(Stay(stay.room, start, stay.end_s))
    return found


def _shown(
    house: OpenHouse,
    lot: str,
    product: ProductDefined,
    plan: tuple[Stage, ...],
    *,
    room: str,
    asof: datetime,
    known: datetime | None,
) -> tuple[float, float] | None:
    """Logged less planned humidity of an earlier lot, and the log's length; None without a log.

    Same room, or wherever it went after fermenting.
    """
    told = house.store.head()
    head = 0 if told is None else told.seq
    at, kept = _SHOWN.get(house.store, (-1, {}))
    if at != head:
        kept = {}
        _SHOWN[house.store] = (head, kept)
    key = (lot, room, asof.isoformat(), "" if known is None else known.isoformat())
    if key not in kept:
        kept[key] = _read(house, lot, product, plan, room=room, asof=asof, known=known)
    return kept[key]


def _read(
    house: OpenHouse,
    lot: str,
    product: ProductDefined,
    plan: tuple[Stage, ...],
    *,
    room: str,
    asof: datetime,
    known: datetime | None,
) -> tuple[float, float] | None:
    record = house.store.lots.find(lot, known)
    if record is None:
        return None
    wetter: list[float] = []
    for stay in _telling(record, product, asof):
        if room and stay.room != room:
            continue
        air = air_of_stay(house, stay, known)
        read = air.measured & np.isfinite(air.rh)
        time_d = np.asarray(
            (air.at_s[read] + BIN_S / 2.0 - record.made_at.timestamp()) / DAY_S, dtype=np.float64
        )
        wetter += np.subtract(air.rh[read], planned(plan, time_d)[1]).tolist()
    days = len(wetter) * BIN_S / DAY_S
    return (float(np.mean(wetter)), days) if days >= LEAST_LOG_D else None


def ahead(plan: tuple[Stage, ...], trace: AirTrace, told: RoomHabit) -> tuple[Stage, ...]:
    """The stages that are left, moved by the lot's own log in its room and by those of lots before it.

    Args:
        plan: tuple of Stage. From stuffing on.
        trace: AirTrace. The lot's log.
        told: RoomHabit.
    """
    return stages_ahead(plan, trace, told.habit, told.since_d)


def ahead_flag(plan: tuple[Stage, ...], trace: AirTrace | None, told: RoomHabit) -> Flag | None:
    """Says what the days to come were taken as; None where the plan stands as it is.

    Args:
        plan: tuple of Stage. From stuffing on.
        trace: AirTrace or None. The lot's log; without one the plan stands, with its own doubt.
        told: RoomHabit.
    """
    if trace is None or not (told.lots or told.since_d < trace.end_d):
        return None
    shift, _, sd = ahead_of_plan(plan, trace, told.habit, told.since_d)
    points = number_words(abs(100.0 * shift), 1)
    values = {"points": points, "doubt": number_words(100.0 * 1.645 * sd, 1), "lots": len(told.lots)}
    if told.lots and shift >= 0.0:
        words = say(
            "The air ahead is taken {points} points of humidity wetter than planned, to within {doubt}: so "
            "the room's log has shown for this lot and {lots} before it.",
            **values,
        )
    elif told.lots:
        words = say(
            "The air ahead is taken {points} points of humidity drier than planned, to within {doubt}: so "
            "the room's log has shown for this lot and {lots} before it.",
            **values,
        )
    elif shift >= 0.0:
        words = say(
            "The air ahead is taken {points} points of humidity wetter than planned, to within {doubt}: so "
            "the room's log has shown for this lot.",
            **values,
        )
    else:
        words = say(
            "The air ahead is taken {points} points of humidity drier than planned, to within {doubt}: so "
            "the room's log has shown for this lot.",
            **values,
        )
    return Flag("air_ahead", None, 1.0, words)
