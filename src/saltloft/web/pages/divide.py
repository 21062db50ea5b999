"""Moving, splitting and merging a lot, whole or rack by rack."""

from __future__ import annotations

from collections.abc import Mapping

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse
from starlette.responses import Response

from saltloft.foundation.errors import InputError, SaltloftError
from saltloft.foundation.words import say
from saltloft.house import House
from saltloft.jobs import divide as job
from saltloft.jobs import record
from saltloft.plant.flow import LotsMerged, LotSplit, RackMoved, SplitPart
from saltloft.plant.lot_record import LotRecord
from saltloft.plant.lots import LotMoved
from saltloft.plant.sentences import list_words
from saltloft.plant.stated import Draft
from saltloft.web.flow_forms import SentForm, count_of, names_of, number_of, text
from saltloft.web.pages.correct import refusal
from saltloft.web.visitor import SignedInVisitor, Visitor, check_form

routes = APIRouter()
PARTS = ("a", "b")


@routes.get("/lots/{lot}/divide")
def divide_page(request: Request, visitor: SignedInVisitor, lot: str) -> Response:
    """Where it hangs, and what may be done with it."""
    return _page(request, visitor, lot, {})


@routes.post("/lots/{lot}/move")
def move(request: Request, visitor: SignedInVisitor, lot: str, typed: SentForm) -> Response:
    """All of it, or the racks named, to a room."""
    check_form(visitor, text(typed, "csrf"))
    racks, room = names_of(typed, "racks"), text(typed, "room")
    place = text(typed, "place")
    payload: LotMoved | RackMoved = LotMoved(lot, room, racks)
    if len(racks) == 1:
        payload = RackMoved(lot, racks[0], room, place)
    return _enter(request, visitor, lot, typed, payload, then=lot)


@routes.post("/lots/{lot}/split")
def split(request: Request, visitor: SignedInVisitor, lot: str, typed: SentForm) -> Response:
    """Into two parts by shares of any sort."""
    check_form(visitor, text(typed, "csrf"))
    try:
        payload = LotSplit(lot, tuple(_part(typed, part) for part in PARTS), text(typed, "reason"))
    except SaltloftError as error:
        return _page(request, visitor, lot, typed, error)
    return _enter(request, visitor, lot, typed, payload, then=payload.parts[0].lot)


@routes.post("/lots/{lot}/merge")
def merge(request: Request, visitor: SignedInVisitor, lot: str, typed: SentForm) -> Response:
    """With another lot of the same product and recipe."""
    check_form(visitor, text(typed, "csrf"))
    sources = tuple(
        dict.fromkeys((lot, *(value for name, value in typed.items() if name.startswith("with-"))))
    )
    payload = LotsMerged(
        text(typed, "merged"), sources, text(typed, "room"), names_of(typed, "racks"), text(typed, "reason")
    )
    return _enter(request, visitor, lot, typed, payload, then=payload.lot)


def _part(typed: Mapping[str, str], part: str) -> SplitPart:
    share = number_of(typed, f"share-{part}", say("share"))
    if share is None:
        raise InputError(
            say("both parts need their share"),
            allowed=say("pieces, kilograms or per cent, the same for both"),
            key=f"share-{part}",
        )
    return SplitPart(
        lot=text(typed, f"lot-{part}"),
        share=share,
        room=text(typed, f"room-{part}"),
        racks=names_of(typed, f"racks-{part}"),
        pieces=count_of(typed, f"pieces-{part}", say("pieces")),
    )


def _enter(
    request: Request, visitor: Visitor, lot: str, typed: Mapping[str, str], payload: object, *, then: str
) -> Response:
    house: House = request.app.state.house
    draft = Draft(text(typed, "entry_id"), payload, house.now())
    receipt = record.enter(house, visitor.stamp(house), [draft])[0]
    if receipt.status not in ("stored", "already"):
        return _page(request, visitor, lot, typed, refusal(receipt))
    return RedirectResponse(f"/lots/{then}" if visitor.may_read else f"/lots/{then}/divide", 303)


def _page(
    request: Request,
    visitor: Visitor,
    lot: str,
    typed: Mapping[str, str],
    problem: SaltloftError | None = None,
) -> Response:
    house: House = request.app.state.house
    asked = job.dividing(house, lot)
    own, racks = asked.record, asked.record.racks
    cut = max(1, round(0.6 * len(racks)))
    filled = {
        "room": own.room,
        "share-a": "60",
        "share-b": "40",
        "lot-a": asked.parts[0],
        "lot-b": asked.parts[1],
        "room-a": own.room,
        "room-b": own.room,
        "racks-a": ", ".join(racks[:cut]),
        "racks-b": ", ".join(racks[cut:]),
        "merged": asked.merged,
        **typed,
    }
    page: Response = request.app.state.pages.render(
        request,
        "divide.html",
        422 if problem else 200,
        lot=lot,
        sentence=divide_sentence(own, visitor),
        hanging=own.hanging,
        typed=filled,
        rooms=[(room, room) for room in asked.rooms],
        racks=racks,
        like=[(other.lot, _where(other), visitor.units.mass_of(other.green_mass.mg)) for other in asked.like],
        mass_unit=visitor.units.mass,
        may_read=visitor.may_read,
        new_id=house.new_id,
        problem=problem,
    )
    return page


def divide_sentence(own: LotRecord, visitor: Visitor) -> str:
    """Where a lot hangs, and how much of it."""
    amount, unit = visitor.units.mass_of(own.green_mass.mg), visitor.units.mass
    if own.state == "ended":
        return say("{lot} was split or merged; it goes on under other numbers.", lot=own.lot)
    if not own.hanging:
        return say("{lot} hangs nowhere. {amount} {unit} green.", lot=own.lot, amount=amount, unit=unit)
    return say(
        "{lot} hangs in {where}. {amount} {unit} green, {pieces} pieces.",
        lot=own.lot,
        where=_where(own),
        amount=amount,
        unit=unit,
        pieces=own.pieces,
    )


def _where(own: LotRecord) -> str:
    stays = [stay for stay in own.rooms if stay.end is None]
    words = [
        say("{room} (racks {racks})", room=stay.room, racks=list_words(stay.racks))
        if stay.racks
        else stay.room
        for stay in stays
    ]
    return list_words(words)
