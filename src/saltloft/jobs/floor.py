"""What the floor is shown: the next thing to do, and everything that can be weighed or read."""

from __future__ import annotations

from dataclasses import dataclass

from saltloft.cases.open_house import OpenHouse
from saltloft.foundation.errors import UnknownName
from saltloft.foundation.words import say
from saltloft.plant.digital_link import read_address, read_brackets
from saltloft.plant.house_record import InstrumentRecord
from saltloft.plant.instruments import TareWeighed
from saltloft.plant.lot_record import LotRecord
from saltloft.plant.rounds import FloorTask, TaggedPiece, floor_tasks, tagged_pieces
from saltloft.plant.sentences import day_words, list_words
from saltloft.plant.stated import Stated
from saltloft.plant.trade_words import cut_words
from saltloft.store.listing import Listing


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


@dataclass(frozen=True)
class Tare:
    """A rack, trolley or hook, weighed empty.

    Args:
        carrier, sort: str.
        last: Stated of TareWeighed. Its tare now.
        before: Stated of TareWeighed or None. The weighing before that.
    """

    carrier: str
    sort: str
    last: Stated[TareWeighed]
    before: Stated[TareWeighed] | None

    @property
    def change_mg(self) -> int:
        """How much heavier it weighs than the time before. [mg]"""
        return 0 if self.before is None else self.last.payload.mass.mg - self.before.payload.mass.mg


def tares(house: OpenHouse) -> tuple[Tare, ...]:
    """Every rack, trolley and hook that was weighed empty, by its tag."""
    known: dict[str, list[Stated[TareWeighed]]] = {}
    for said in Listing(house.store.database, ("tare.weighed/1",), TareWeighed).all():
        known.setdefault(said.payload.carrier, []).append(said)
    return tuple(
        Tare(carrier, said[-1].payload.sort, said[-1], said[-2] if len(said) > 1 else None)
        for carrier, said in sorted(known.items())
    )


@dataclass(frozen=True)
class Scanned:
    """What a tag leads to.

    Args:
        lot: str.
        tag: str. Of one piece; empty for a whole lot or rack.
        sort: str. 'weigh' or 'ph': what is due, else to be weighed.
    """

    lot: str
    tag: str
    sort: str


def scanned(house: OpenHouse, text: str) -> Scanned:
    """The job behind a tag: its address as scanned, the line below its code, or what was typed.

    Args:
        house: OpenHouse.
        text: str. A Digital Link of a lot, a piece or a rack; or a lot, lot and tag, or a rack's name.

    Raises:
        InputError: a number with a wrong check digit.
        UnknownName: no hanging lot, piece or rack of that name.
    """
    typed = text.strip()
    lot, tag = _named(typed)
    hung = {record.lot: record for record in house.store.lots.hanging()}
    known = {name.casefold(): name for name in hung}
    found = known.get(lot.casefold()) or _on_rack(lot, tuple(hung.values()))
    if found is None and not tag:
        # The tag of a piece alone, where only one hanging lot has it.
        holding = [name for name, record in hung.items() if lot in _tags(record)]
        found, tag = (holding[0], lot) if len(holding) == 1 else (None, "")
    if found is None:
        raise UnknownName("hanging lot, piece or rack", typed, list(hung))
    due = next((task.sort for task in tasks(house) if task.lot == found), "weigh")
    return Scanned(found, tag if tag in _tags(hung[found]) else "", "weigh" if tag else due)


def _named(typed: str) -> tuple[str, str]:
    key = read_address(typed) or read_brackets(typed)
    if key is not None:
        return key.lot or key.value, key.serial
    lot, _, tag = typed.partition(" ")
    return lot, tag.strip().removeprefix("#")


def _on_rack(name: str, records: tuple[LotRecord, ...]) -> str | None:
    """The one hanging lot on a rack of that name (an asset number ends in it)."""
    holding = [
        record.lot for record in records for rack in record.racks if rack and name in (rack, f"R{rack}")
    ]
    return holding[0] if len(set(holding)) == 1 else None


def _tags(record: LotRecord) -> set[str]:
    return {item.payload.tag for item in record.weighings if item.payload.tag}
