"""From a lot's statements to its record: who hung it where, what was measured, what stands open."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from saltloft.foundation.units import Mass
from saltloft.plant import flow
from saltloft.plant.analyses import LotAnalysed, PieceMeasured
from saltloft.plant.hams import HamGroupSalted, HamGroupSaltedOut, HamGroupWeighed
from saltloft.plant.lot_record import Hold, LotRecord, RoomStay
from saltloft.plant.lots import (
    FreshChilled,
    FreshMade,
    FreshPacked,
    HoldLifted,
    LotDispatched,
    LotHeld,
    LotHung,
    LotMade,
    LotMoved,
    LotReleased,
    LotYielded,
)
from saltloft.plant.readings import PhRead, PieceWeighed, PressedAndCut, WaterActivityRead
from saltloft.plant.stated import Stated, counting

FAMILIES: dict[type, str] = {
    LotMade: "dry_sausage",
    HamGroupSalted: "ham",
    FreshMade: "fresh_sausage",
}


def lot_record(lot: str, statements: Sequence[Stated[Any]]) -> LotRecord | None:
    """The record of one lot from everything stated about it.

    Args:
        lot: str.
        statements: sequence of Stated, by seq. All about this lot.

    Returns:
        LotRecord, or None when nothing that counts made the lot.
    """
    made = _made(statements)
    if made is None:
        return None
    green, pieces, recipe = _start(made.payload)
    return LotRecord(
        lot=lot,
        family=FAMILIES[type(made.payload)],
        product=made.payload.product,
        recipe=recipe,
        made=made,
        green_mass=green,
        pieces=pieces,
        rooms=room_stays(statements),
        weighings=counting(statements, PieceWeighed),
        group_weighings=counting(statements, HamGroupWeighed),
        salted_out=counting(statements, HamGroupSaltedOut),
        ph_sets=counting(statements, PhRead),
        water_activities=counting(statements, WaterActivityRead),
        pressed_and_cut=counting(statements, PressedAndCut),
        chilled=counting(statements, FreshChilled),
        packed=counting(statements, FreshPacked),
        holds=_holds(statements),
        releases=counting(statements, LotReleased),
        dispatches=counting(statements, LotDispatched),
        yields=counting(statements, LotYielded),
        history=tuple(statements),
        last_seq=_last_seq(statements),
        analyses=counting(statements, LotAnalysed),
        diameters=counting(statements, PieceMeasured),
        ended=next(iter(counting(statements, flow.LotSplit)), None),
    )


def _made(statements: Sequence[Stated[Any]]) -> Stated[Any] | None:
    for sort in FAMILIES:
        found: tuple[Stated[Any], ...] = counting(statements, sort)
        if found:
            return found[0]
    return None


def _start(payload: LotMade | HamGroupSalted | FreshMade) -> tuple[Mass, int, str]:
    if isinstance(payload, LotMade):
        return payload.green_mass, payload.pieces, payload.recipe
    if isinstance(payload, HamGroupSalted):
        return payload.green_mass, payload.legs, ""
    return payload.mass, 0, payload.recipe


def _last_seq(statements: Sequence[Stated[Any]]) -> int:
    own = [item.seq for item in statements]
    later = [correction.seq for item in statements for correction in item.corrections]
    return max(own + later, default=0)


def _holds(statements: Sequence[Stated[Any]]) -> tuple[Hold, ...]:
    lifted = {item.payload.hold: item for item in counting(statements, HoldLifted)}
    return tuple(Hold(held, lifted.get(held.entry_id)) for held in counting(statements, LotHeld))


@dataclass(frozen=True)
class _Step:
    """One change of place: to a room (all racks when none are named), or off the racks."""

    at: datetime
    room: str
    racks: tuple[str, ...]
    entry_id: str


def _steps(statements: Sequence[Stated[Any]]) -> list[_Step]:
    steps: list[tuple[datetime, int, _Step]] = []
    for item in statements:
        if item.struck:
            continue
        said = item.payload
        room: str | None = None
        racks: tuple[str, ...] = ()
        if isinstance(said, LotHung | LotMoved):
            room, racks = said.room, said.racks
        elif isinstance(said, flow.RackMoved):
            room, racks = said.room, (said.rack,)
        elif isinstance(said, HamGroupSalted | HamGroupSaltedOut) or (
            isinstance(said, FreshChilled) and said.room
        ):
            room = said.room
        elif isinstance(said, FreshPacked | flow.LotSplit) or (
            isinstance(said, LotYielded) and said.last and said.into in ("pack", "stock")
        ):
            room = ""
        if room is not None:
            steps.append((item.at, item.seq, _Step(item.at, room, racks, item.entry_id)))
    return [step for _, _, step in sorted(steps, key=lambda entry: entry[:2])]


def room_stays(statements: Sequence[Stated[Any]], start: Sequence[RoomStay] = ()) -> tuple[RoomStay, ...]:
    """Where the lot, rack by rack, hung from when to when.

    A step without racks moves everything; one with racks moves only these, and
    a lot hung in two parts has two stays open at once. Shares are by rack count.

    Args:
        statements: sequence of Stated.
        start: sequence of RoomStay. Where it hung when these statements began.
    """
    steps = _steps(statements)
    named = {rack for step in steps for rack in step.racks} | {rack for stay in start for rack in stay.racks}
    open_stays: list[RoomStay] = list(start)
    closed: list[RoomStay] = []
    for step in steps:
        staying: list[RoomStay] = []
        for stay in open_stays:
            left = tuple(rack for rack in stay.racks if rack not in step.racks) if step.racks else ()
            moves_nothing = bool(step.racks) and left == stay.racks and bool(stay.racks or stay in start)
            if moves_nothing:
                staying.append(stay)
                continue
            closed.append(replace(stay, end=step.at))
            if left:
                staying.append(replace(stay, start=step.at, racks=left, share=len(left) / len(named)))
        moved = step.racks or tuple(rack for stay in open_stays for rack in stay.racks)
        open_stays = staying
        if step.room:
            share = len(moved) / len(named) if moved else 1.0
            open_stays = [*staying, RoomStay(step.room, step.at, None, moved, share, step.entry_id)]
    return tuple(sorted(_joined(closed + open_stays), key=lambda stay: (stay.start, stay.room)))


def _joined(stays: list[RoomStay]) -> list[RoomStay]:
    """Leave out stays of no length (two statements of the same moment)."""
    return [stay for stay in stays if stay.end is None or stay.end > stay.start]
