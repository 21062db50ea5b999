"""What the floor is shown: the next thing to do, and everything that can be weighed or read."""

from __future__ import annotations

from dataclasses import dataclass

from saltloft.cases.open_house import OpenHouse
from saltloft.foundation.words import say
from saltloft.plant.house_record import InstrumentRecord
from saltloft.plant.lot_record import LotRecord
from saltloft.plant.rounds import FloorTask, TaggedPiece, floor_tasks, tagged_pieces
from saltloft.plant.sentences import day_words, list_words
from saltloft.plant.trade_words import cut_words


@dataclass(frozen=True)
class Hanging:
    """One hanging lot as the floor sees it.

    Args:
        lot: str.
        room: str.
        racks: tuple of str.
        pieces: tuple of TaggedPiece.
        scale: str. The scale it was last weighed on; empty when never.
        meter: str. The pH meter it was last read with; empty when never.
        last_ph: float or None. Highest of its last core set.
        last_press: str. What was said when it was last pressed and cut; empty when never.
    """

    lot: str
    room: str
    racks: tuple[str, ...]
    pieces: tuple[TaggedPiece, ...]
    scale: str
    meter: str
    last_ph: float | None
    last_press: str = ""


def tasks(house: OpenHouse) -> tuple[FloorTask, ...]:
    """Everything due now, the longest overdue pH first, then the weighings room by room."""
    now = house.now()
    warm = {room.room for room in house.store.rooms.all() if room.defined.payload.role == "fermenting"}
    due = [
        task
        for record in house.store.lots.hanging()
        for task in floor_tasks(record, now, house.zone, ferments=record.room in warm)
    ]
    return tuple(sorted(due, key=lambda task: (task.sort != "ph", task.room, task.due_at, task.lot)))


def hanging(house: OpenHouse) -> tuple[Hanging, ...]:
    """Every hanging lot of dry sausage, youngest first."""
    records = [record for record in house.store.lots.hanging() if record.family == "dry_sausage"]
    return tuple(_hanging(record, house) for record in reversed(records))


def _hanging(record: LotRecord, house: OpenHouse) -> Hanging:
    core = [item for item in record.ph_sets if item.payload.where == "core"]
    return Hanging(
        lot=record.lot,
        room=record.room,
        racks=record.racks,
        pieces=tagged_pieces(record, house.now()),
        scale=record.weighings[-1].payload.instrument if record.weighings else "",
        meter=record.ph_sets[-1].payload.instrument if record.ph_sets else "",
        last_ph=max(float(value) for value in core[-1].payload.values) if core else None,
        last_press=_last_press(record, house),
    )


def _last_press(record: LotRecord, house: OpenHouse) -> str:
    if not record.pressed_and_cut:
        return ""
    last = record.pressed_and_cut[-1]
    today = house.now().astimezone(house.zone).date()
    day = day_words(last.at.astimezone(house.zone).date(), today)
    pressed = " ".join(str(value) for value in last.payload.press)
    seen = list_words([part for part in (pressed, cut_words(last.payload)) if part])
    return say("Last {day}: {seen}.", day=day, seen=seen or say("no word"))


def instruments(house: OpenHouse, kind: str) -> tuple[str, ...]:
    """Names of the instruments of one type, those in check first.

    Args:
        house: OpenHouse.
        kind: str. One of plant.instruments.INSTRUMENT_TYPES.
    """
    now = house.now()
    found = [record for record in house.store.instruments.all() if record.defined.payload.type == kind]

    def order(record: InstrumentRecord) -> tuple[bool, str]:
        return (not record.in_check_at(now), record.instrument)

    return tuple(record.instrument for record in sorted(found, key=order))
