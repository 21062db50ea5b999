"""A part of a split lot, and a lot merged of others: the record that carries on what was stated before.

Weighings, readings, holds, room history and the day of stuffing come from the
line of descent; a hold on the whole holds its parts, also when it is stated
after the split. A merged lot counts the days of its youngest stuffing.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import datetime
from decimal import Decimal
from typing import Any

from saltloft.foundation.units import Mass
from saltloft.plant.analyses import LotAnalysed, PieceMeasured
from saltloft.plant.flow import LotsMerged, LotSplit
from saltloft.plant.hams import HamGroupSaltedOut, HamGroupWeighed
from saltloft.plant.lot_record import Hold, LotRecord, RoomStay
from saltloft.plant.lot_story import room_stays
from saltloft.plant.lots import (
    FreshChilled,
    FreshPacked,
    HoldLifted,
    LotDispatched,
    LotHeld,
    LotReleased,
    LotYielded,
)
from saltloft.plant.readings import PhRead, PieceWeighed, PressedAndCut, WaterActivityRead
from saltloft.plant.stated import Stated, counting

_SERIES: dict[str, type] = {
    "weighings": PieceWeighed,
    "group_weighings": HamGroupWeighed,
    "salted_out": HamGroupSaltedOut,
    "ph_sets": PhRead,
    "water_activities": WaterActivityRead,
    "pressed_and_cut": PressedAndCut,
    "chilled": FreshChilled,
    "packed": FreshPacked,
    "analyses": LotAnalysed,
    "diameters": PieceMeasured,
}


def booked_mass(mg: int) -> Mass:
    """A mass that was allotted, not typed: exact milligrams, written in kilograms."""
    return Mass(mg, format(Decimal(mg).scaleb(-6), "f"), "kg")


def part_record(
    whole: LotRecord, split: Stated[LotSplit], lot: str, mg: int, own: Sequence[Stated[Any]]
) -> LotRecord | None:
    """The record of one part of a split lot: what was measured on the whole was measured on it too.

    Args:
        whole: LotRecord.
        split: Stated of LotSplit.
        lot: str. The part.
        mg: int. Its share of the green weight. [mg]
        own: sequence of Stated. What was stated about the part itself.

    Returns:
        LotRecord, or None when the split names no such part.
    """
    part = next((part for part in split.payload.parts if part.lot == lot), None)
    if part is None:
        return None
    before = [_cut(stay, split.at) for stay in _on_racks(whole.rooms, part.racks) if stay.start < split.at]
    hung = [
        stay for stay in whole.rooms if stay.start < split.at and (stay.end is None or stay.end >= split.at)
    ]
    room = part.room or (max(hung, key=lambda stay: (stay.share, stay.start)).room if hung else "")
    start = [RoomStay(room, split.at, None, part.racks, 1.0, split.entry_id)] if room and hung else []
    pieces = part.pieces or _pieces(whole.pieces, split.payload, lot)
    rooms = (*before, *room_stays(own, start))
    return _carried_on(whole, lot, mg, pieces=pieces, own=own, rooms=rooms, line=(whole.lot, *whole.line))


def _on_racks(stays: Sequence[RoomStay], racks: tuple[str, ...]) -> list[RoomStay]:
    """The stays of some racks, where they were named before; else all of them."""
    named = {rack for stay in stays for rack in stay.racks}
    if not racks or not set(racks) <= named:
        return list(stays)
    found = []
    for stay in stays:
        common = tuple(rack for rack in stay.racks if rack in racks)
        if common or not stay.racks:
            share = len(common) / len(racks) if common else stay.share
            found.append(replace(stay, racks=common, share=share))
    return found


def _pieces(whole: int, split: LotSplit, lot: str) -> int:
    total = sum((part.share for part in split.parts), Decimal(0))
    share = next(part.share for part in split.parts if part.lot == lot)
    return int((Decimal(whole) * share / total).to_integral_value()) if total else 0


def merged_record(
    sources: Sequence[tuple[LotRecord, int]], merge: Stated[LotsMerged], own: Sequence[Stated[Any]]
) -> LotRecord:
    """The record of a lot merged of others.

    Parts of one stuffing come together again with all that was measured on them. A lot merged of
    several stuffings goes on as the youngest of them: an older one's weighings would make it look drier.

    Args:
        sources: sequence of (LotRecord, int). At least one, with what went over of each. [mg]
        merge: Stated of LotsMerged.
        own: sequence of Stated. What was stated about the merged lot itself.
    """
    records = [record for record, _ in sources]
    stuffings = _stuffings(records)
    whole = sum(amount for _, amount in sources)
    youngest = max(records, key=lambda record: (record.made_at, record.lot))
    carrying = sources if len(stuffings) == 1 else [(youngest, whole)]
    pieces = sum(record.pieces for record in records)
    line = tuple(dict.fromkeys(name for record in records for name in (record.lot, *record.line)))
    base = replace(
        youngest,
        holds=_unique_holds(hold for record in records for hold in record.holds),
        releases=youngest.releases if all(record.releases for record in records) else (),
        stuffings=(),
        history=_by_seq(item for record in records for item in record.history),
        last_seq=max([merge.seq, *(record.last_seq for record in records)]),
        **_series([[getattr(record, name) for record, _ in carrying] for name in _SERIES]),
    )
    before = _stays_before(carrying, max(whole, 1), merge.at)
    rooms = (*before, *room_stays(own, _hung_anew(carrying, max(whole, 1), merge)))
    merged = _carried_on(base, merge.payload.lot, whole, pieces=pieces, own=own, rooms=rooms, line=line)
    if len(stuffings) == 1:
        return merged
    return replace(merged, stuffings=tuple(_standing_for(one, merge, own) for one in stuffings))


def _standing_for(stuffing: LotRecord, merge: Stated[LotsMerged], own: Sequence[Stated[Any]]) -> LotRecord:
    """One stuffing of a merged lot by itself: its own past, and what was measured on all of it since."""
    whole = stuffing.green_mass.mg
    rooms = (
        *_stays_before([(stuffing, whole)], whole, merge.at),
        *room_stays(own, _hung_anew([(stuffing, whole)], whole, merge)),
    )
    return _carried_on(
        stuffing,
        stuffing.lot,
        whole,
        pieces=stuffing.pieces,
        own=own,
        rooms=rooms,
        line=stuffing.line,
    )


def _hung_anew(
    carrying: Sequence[tuple[LotRecord, int]], whole: int, merge: Stated[LotsMerged]
) -> list[RoomStay]:
    said = merge.payload
    if said.room:
        return [RoomStay(said.room, merge.at, None, said.racks, 1.0, merge.entry_id)]
    found: list[RoomStay] = []
    for record, mg in carrying:
        for stay in record.rooms:
            # A source that was merged hangs up to that moment.
            if stay.start < merge.at and (stay.end is None or stay.end >= merge.at):
                found.append(
                    replace(
                        stay, start=merge.at, end=None, share=stay.share * mg / whole, entry_id=merge.entry_id
                    )
                )
    return found


def _stuffings(records: Iterable[LotRecord]) -> tuple[LotRecord, ...]:
    """The different stuffings behind some lots, one record each."""
    found: dict[str, LotRecord] = {}
    for record in records:
        for one in record.stuffings or (record,):
            found.setdefault(one.made.entry_id, one)
    return tuple(found.values())


def _series(series: Sequence[Sequence[tuple[Stated[Any], ...]]]) -> dict[str, Any]:
    return {name: _together(one) for name, one in zip(_SERIES, series, strict=True)}


def _together(series: Sequence[tuple[Stated[Any], ...]]) -> tuple[Stated[Any], ...]:
    unique = {item.entry_id: item for one in series for item in one}
    return tuple(sorted(unique.values(), key=lambda item: (item.at, item.seq)))


def _by_seq(items: Iterable[Stated[Any]]) -> tuple[Stated[Any], ...]:
    unique = {item.entry_id: item for item in items}
    return tuple(sorted(unique.values(), key=lambda item: item.seq))


def _unique_holds(holds: Iterable[Hold]) -> tuple[Hold, ...]:
    """Each hold once; one that stands open on any side stands open."""
    found: dict[str, Hold] = {}
    for hold in holds:
        if hold.held.entry_id not in found or hold.open:
            found[hold.held.entry_id] = hold
    return tuple(sorted(found.values(), key=lambda hold: (hold.held.at, hold.held.seq)))


def _cut(stay: RoomStay, at: datetime) -> RoomStay:
    return replace(stay, end=at if stay.end is None else min(stay.end, at))


def _stays_before(sources: Sequence[tuple[LotRecord, int]], whole: int, until: datetime) -> list[RoomStay]:
    """Where the sources hung, each by its share of the whole; a stay they had in common stands once."""
    found: dict[tuple[str, str, datetime], RoomStay] = {}
    for record, mg in sources:
        for stay in record.rooms:
            if stay.start >= until:
                continue
            one = replace(_cut(stay, until), share=stay.share * mg / whole)
            known = found.get((stay.entry_id, stay.room, stay.start))
            if known is not None:
                racks = tuple(dict.fromkeys((*known.racks, *one.racks)))
                one = replace(known, share=min(known.share + one.share, 1.0), racks=racks)
            found[stay.entry_id, stay.room, stay.start] = one
    return list(found.values())


def _carried_on(
    base: LotRecord,
    lot: str,
    mg: int,
    *,
    pieces: int,
    own: Sequence[Stated[Any]],
    rooms: Sequence[RoomStay],
    line: tuple[str, ...],
) -> LotRecord:
    green = booked_mass(mg)
    made = base.made.payload
    # What was weighed in stays beside it: the composition of a part is that of the whole.
    new: dict[str, Any] = {"lot": lot, "green_mass": green, "mass": green}
    new |= {"pieces": pieces, "legs": pieces}
    payload: Any = replace(made, **{name: value for name, value in new.items() if hasattr(made, name)})
    lifted = {item.payload.hold: item for item in counting(own, HoldLifted)}
    holds = [
        hold if not hold.open else Hold(hold.held, lifted.get(hold.held.entry_id))
        for hold in (*base.holds, *(Hold(held) for held in counting(own, LotHeld)))
    ]
    last = [item.seq for item in own] + [later.seq for item in own for later in item.corrections]
    return replace(
        base,
        lot=lot,
        made=replace(base.made, payload=payload),
        green_mass=green,
        pieces=pieces,
        rooms=tuple(sorted(rooms, key=lambda stay: (stay.start, stay.room))),
        holds=tuple(holds),
        releases=(*base.releases, *counting(own, LotReleased)),
        dispatches=counting(own, LotDispatched),
        yields=counting(own, LotYielded),
        history=_by_seq((*base.history, *own)),
        last_seq=max([base.last_seq, *last]),
        line=line,
        ended=next(iter(counting(own, LotSplit)), None),
        **_series([[getattr(base, name), counting(own, sort)] for name, sort in _SERIES.items()]),
    )


def ended_by_merge(record: LotRecord, merge: Stated[LotsMerged]) -> LotRecord:
    """The same lot once it was merged into another: it hangs nowhere any more.

    Args:
        record: LotRecord.
        merge: Stated of LotsMerged.
    """
    rooms = tuple(_cut(stay, merge.at) for stay in record.rooms if stay.start < merge.at)
    return replace(record, rooms=rooms, ended=merge, last_seq=max(record.last_seq, merge.seq))
