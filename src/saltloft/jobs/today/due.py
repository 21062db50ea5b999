"""What is due: pH, weighings, press and cut, checks, calibrations, hams out of salt, fresh use-by days."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from datetime import date, timedelta

from saltloft.cases.house_day import HouseDay
from saltloft.foundation.words import say
from saltloft.plant.answers import DayItem
from saltloft.plant.lot_record import LotRecord
from saltloft.plant.rounds import FloorTask, floor_tasks
from saltloft.plant.sentences import day_words, moment_words
from saltloft.plant.stated import Stated

# Pieces to weigh when none is tagged: common practice, no source.
PIECES = 6
# Common practice, no source: a lot within a week of its target is pressed, one piece cut.
PRESS_WITHIN_D = 7.0
USE_BY_WITHIN_D = 3
# What is booked here for longer than this past its use-by is a matter of the books, not of this morning.
USE_BY_OVER_D = 7
# A round noted on this many of the last fourteen days is the house's habit.
HABIT_DAYS = 10


def due(day: HouseDay) -> list[DayItem]:
    """Everything due until the end of the day, in the order of the day's work."""
    return [
        *_floor(day, "ph"),
        *_checks(day),
        *_calibrations(day),
        *_floor(day, "weigh"),
        *_press_and_cut(day),
        *_hams_out(day),
        *_use_by(day),
        *_not_chilled(day),
    ]


def _floor(day: HouseDay, sort: str) -> Iterator[DayItem]:
    """What the racks owe: the same list the floor sees, in the words of the sheet."""
    roles = {room.room: room.role for room in day.rooms}
    owed = [
        (lot, task)
        for lot in day.hanging
        for task in floor_tasks(lot, day.at, day.zone, ferments=roles.get(lot.room) == "fermenting")
        if task.sort == sort
    ]
    # Room by room, as they are walked.
    for lot, task in sorted(owed, key=lambda pair: pair[1].room):
        yield _ph(day, lot, task) if sort == "ph" else _weighing(day, lot, task)


def _ph(day: HouseDay, lot: LotRecord, task: FloorTask) -> DayItem:
    core = [item for item in lot.ph_sets if item.payload.where == "core"]
    product = day.products.get(lot.product)
    count = product.plan.core_readings if product else 5
    before = say("no core reading yet")
    if core:
        when = moment_words(core[-1].at, str(day.zone), day.day)
        before = say("last core {ph} at {when}", ph=max(core[-1].payload.values), when=when)
    words = say(
        "Read core pH of {count} pieces in {room} at {when}: {before}.",
        count=count,
        room=task.room,
        when=moment_words(max(task.due_at, day.at), str(day.zone), day.day),
        before=before,
    )
    sources = core[-1].entry_ids if core else _hung(lot)
    return DayItem("due", lot.lot, float(count), say("core pH"), words, sources)


def _weighing(day: HouseDay, lot: LotRecord, task: FloorTask) -> DayItem:
    pieces = len(task.pieces) or PIECES
    ago = say("never weighed since it was hung")
    if task.last_at is not None:
        ago = say("last weighed {when}", when=day_words(day.local(task.last_at), day.day))
    words = say(
        "Weigh {pieces} pieces in {room}: {ago}, day {age}.",
        pieces=pieces,
        room=task.room,
        ago=ago,
        age=round(day.age_d(lot)),
    )
    last = [item for item in lot.weighings if item.at == task.last_at]
    sources = tuple(entry for item in last for entry in item.entry_ids) or _hung(lot)
    return DayItem("due", lot.lot, float(pieces), say("pieces"), words, sources)


def _hung(lot: LotRecord) -> tuple[str, ...]:
    return (*lot.made.entry_ids, *(stay.entry_id for stay in lot.rooms[:1]))


def _checks(day: HouseDay) -> Iterator[DayItem]:
    """Rounds that the house notes nearly every day and that are missing since their last usual time."""
    known: dict[str, list[Stated]] = defaultdict(list)  # type: ignore[type-arg]
    for item in day.checks:
        known[item.payload.check].append(item)
    for name, items in sorted(known.items()):
        days = {day.local(item.at) for item in items if item.at < day.at - timedelta(days=1)}
        last = items[-1]
        expected = last.at + timedelta(days=1)
        if len(days) < HABIT_DAYS or day.local(expected) > day.day:
            continue
        late = day.at - expected
        words = (
            say("'{check}' was last noted {when}; it is missing since.", check=name,
                when=moment_words(last.at, str(day.zone), day.day))
            if late > timedelta(hours=2)
            else say("'{check}' at about {when}.", check=name,
                     when=moment_words(expected, str(day.zone), day.day))
        )  # fmt: skip
        yield DayItem(
            "due", last.payload.room or name, float(len(days)), say("of 14 d noted"), words, last.entry_ids
        )


def _calibrations(day: HouseDay) -> Iterator[DayItem]:
    for record in day.instruments:
        due_at = record.due_at()
        every = record.defined.payload.check_every_days
        if due_at is None:
            yield DayItem(
                "due",
                record.instrument,
                float(every),
                say("d between checks"),
                say("{instrument} was never checked: no reading of it counts.", instrument=record.instrument),
                record.defined.entry_ids,
            )
        elif day.local(due_at) <= day.day:
            last = record.checks[-1]
            yield DayItem(
                "due",
                record.instrument,
                float((day.day - day.local(last.at)).days),
                say("d since check"),
                say(
                    "Check {instrument}: last {when}, every {days} d. Readings after that do not count.",
                    instrument=record.instrument,
                    when=day_words(day.local(last.at), day.day),
                    days=every,
                ),
                (*last.entry_ids, *record.defined.entry_ids),
            )


def _press_and_cut(day: HouseDay) -> Iterator[DayItem]:
    for lot in day.hanging:
        outlook = day.outlooks.get(lot.lot)
        middle = outlook.result.targets[outlook.target_name].mean.p50 if outlook else None
        if outlook is None or middle is None or middle - outlook.age_d > PRESS_WITHIN_D:
            continue
        last = lot.pressed_and_cut[-1] if lot.pressed_and_cut else None
        if last is not None and day.at - last.at < timedelta(days=PRESS_WITHIN_D):
            continue
        yield DayItem(
            "due",
            lot.lot,
            1.0,
            say("piece"),
            say("Press three places and cut one piece: its target is near or behind."),
            (*outlook.used_entries, *(last.entry_ids if last else ())),
        )


def _hams_out(day: HouseDay) -> Iterator[DayItem]:
    for lot in day.family("ham"):
        if lot.salted_out:
            continue
        planned = getattr(lot.made.payload, "planned_days", 0)
        out = day.local(lot.made_at) + timedelta(days=planned)
        if out <= day.day:
            yield DayItem(
                "due",
                lot.lot,
                float(lot.pieces),
                say("legs"),
                say(
                    "Take {legs} legs out of salt: in since {since}, {days} d planned.",
                    legs=lot.pieces,
                    since=day_words(day.local(lot.made_at), day.day),
                    days=planned,
                ),
                lot.made.entry_ids,
            )


def _use_by(day: HouseDay) -> Iterator[DayItem]:
    for lot in day.family("fresh_sausage"):
        left = sum(item.payload.mass.mg for item in lot.packed) - lot.dispatched_mg
        if not lot.packed or left <= 0:
            continue
        last = lot.packed[-1]
        use_by = date.fromisoformat(last.payload.use_by)
        days = (use_by - day.day).days
        if -USE_BY_OVER_D <= days <= USE_BY_WITHIN_D:
            words = (
                say("{kg} kg packed, use by {day}.", kg=round(left / 1e6), day=day_words(use_by, day.day))
                if days >= 0
                else say(
                    "{kg} kg is still booked here and its use-by {day} is over.",
                    kg=round(left / 1e6),
                    day=day_words(use_by, day.day),
                )
            )
            sources = [entry for item in (*lot.packed, *lot.dispatches) for entry in item.entry_ids]
            yield DayItem("due", lot.lot, float(days), say("d to use-by"), words, tuple(sources))


def _not_chilled(day: HouseDay) -> Iterator[DayItem]:
    for lot in day.family("fresh_sausage"):
        if lot.chilled or lot.packed or day.at - lot.made_at > timedelta(days=3):
            continue
        yield DayItem(
            "due",
            lot.lot,
            1.0,
            say("core °C"),
            say(
                "Read its core in the cold store: made {when}, none read yet.",
                when=moment_words(lot.made_at, str(day.zone), day.day),
            ),
            lot.made.entry_ids,
        )
