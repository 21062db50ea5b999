"""*Today*: what worries me, what is due, what is ready, what to make; the rooms, hams and fresh batches."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse
from starlette.responses import Response

from saltloft.foundation.words import say
from saltloft.house import House
from saltloft.papers.day_sheet import day_sentence, yield_grid
from saltloft.plant.answers import DayItem, DaySheet
from saltloft.web.errors import SignInNeeded
from saltloft.web.lanes import pictured
from saltloft.web.morning import morning_of
from saltloft.web.other_lots import fresh_grid, ham_grid
from saltloft.web.pages.rooms import card
from saltloft.web.quantities import Units, plain
from saltloft.web.states import state_word
from saltloft.web.visitor import SignedInVisitor

routes = APIRouter()
NEXT_LANES = 9


@routes.get("/")
def start(request: Request) -> Response:
    """Each person's first page."""
    visitor = request.state.visitor
    if visitor is None:
        raise SignInNeeded
    return RedirectResponse("/next" if visitor.role == "room_hand" else "/today", 303)


@routes.get("/today")
def today_page(request: Request, visitor: SignedInVisitor) -> Response:
    """The morning on one page."""
    house: House = request.app.state.house
    morning = morning_of(request)
    if morning is None:
        return gathering(request)
    day = morning.day
    page: Response = request.app.state.pages.render(
        request,
        "today.html",
        pending=morning.pending,
        sentence=visitor.units.words(day_sentence(day)),
        freshness=morning.freshness,
        lanes=pictured(day.lots[:NEXT_LANES], day.day, "next"),
        groups=groups(day, visitor.units),
        rooms=[card(room, house, visitor.units) for room in day.rooms],
        hams=ham_grid(day.hams),
        fresh=fresh_grid(day.fresh, visitor.units, day.day),
        yields=yield_grid(day.yields, visitor.units.system),
        may_enter=visitor.may_enter,
    )
    return page


def gathering(request: Request) -> Response:
    """What stands there until the worker has kept the first day sheet."""
    page: Response = request.app.state.pages.render(request, "gathering.html")
    return page


@dataclass(frozen=True)
class ItemLine:
    """One item as the page shows it."""

    subject: str
    href: str
    because: str
    amount: str
    unit: str
    sources: tuple[str, ...]


def groups(day: DaySheet, units: Units) -> list[dict[str, Any]]:
    """The four groups of the morning, each with its state, its items and what to say when empty."""
    known = {room.room for room in day.rooms}
    lots = {*(row.lot for row in day.yields), *(lot.lot for lot in day.lots)}
    lots |= {ham.lot for ham in day.hams} | {batch.lot for batch in day.fresh}
    titles = (
        ("worry", "look", say("What worries me"), say("Nothing stands out from what was recorded.")),
        ("due", "due", say("What is due"), say("Nothing is due today.")),
        ("ready", "ready", say("What is ready"), say("No lot is near its target.")),
        ("make", "waiting", say("What to make"), say("Nothing is planned.")),
    )
    return [
        {
            "title": title,
            "mark": mark,
            "word": state_word(mark),
            "items": [_line(item, lots, known, units) for item in day.of_kind(kind)],
            "empty": empty,
        }
        for kind, mark, title, empty in titles
    ]


def _line(item: DayItem, lots: set[str], rooms: set[str], units: Units) -> ItemLine:
    href = f"/lots/{item.subject}" if item.subject in lots else ""
    href = href or (f"/rooms#{item.subject}" if item.subject in rooms else "")
    amount, unit = "", item.unit
    if item.number is not None:
        whole = float(item.number).is_integer()
        value, unit = units.amount(item.number, item.unit)
        amount = plain(value, 0 if whole else 1 if abs(item.number) >= 1 else 2)
    return ItemLine(item.subject, href, units.words(item.because), amount, unit, item.sources)
