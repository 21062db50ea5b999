"""*Trace*: any number up and down, suspect times, what a scanned tag opens, tags and events."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Query, Request
from pydantic import BaseModel
from starlette.responses import JSONResponse, RedirectResponse, Response

from saltloft.foundation.errors import InputError, SaltloftError, UnknownName
from saltloft.foundation.words import say
from saltloft.house import House
from saltloft.jobs import standards, trace
from saltloft.papers.tags import tags_pdf
from saltloft.plant.digital_link import ASSET, GTIN, LinkKey
from saltloft.plant.sentences import caution
from saltloft.plant.trace import DOWN, UP
from saltloft.plant.trace_words import kept_words, trace_sentence
from saltloft.plant.traced import Traced
from saltloft.web.pages.papers import paper_size
from saltloft.web.quantities import Units
from saltloft.web.trace_view import (
    MOST_ROWS,
    hit_lines,
    href_of,
    lines_of,
    mass_words,
    picture_of,
    recall_href,
    thing_href,
)
from saltloft.web.visitor import SignedInVisitor, Visitor

routes = APIRouter()
Starts = Annotated[list[str], Query()]


def _house(request: Request) -> House:
    house: House = request.app.state.house
    return house


@routes.get("/trace")
def trace_page(
    request: Request, visitor: SignedInVisitor, node: str = "", way: str = DOWN, q: str = ""
) -> Response:
    """Search by any number; one thing up or down with everything on one screen."""
    house = _house(request)
    problem: SaltloftError | None = None
    hits: list[trace.Hit] = []
    if q.strip():
        try:
            hits = trace.find(house, q)
        except SaltloftError as error:
            problem = error
        if hits and (len(hits) == 1 or hits[0].node.lower() == q.strip().lower()):
            return RedirectResponse(href_of(hits[0].node), status_code=303)
        if not hits and problem is None:
            problem = InputError(
                say("nothing has this number"),
                got=q.strip(),
                do=say("type the number below the code, or the beginning of it"),
                key="q",
            )
    found = None
    if node:
        try:
            found = trace.trace(house, [node], UP if way == UP else DOWN)
        except UnknownName as error:
            problem, q = error, node
    page: Response = request.app.state.pages.render(
        request,
        "trace.html",
        404 if node and found is None else 200,
        q=q,
        problem=problem,
        hits=hit_lines(hits),
        node=node,
        caution=caution(),
        **_shown(found, visitor.units),
    )
    return page


def _shown(found: Traced | None, units: Units) -> dict[str, Any]:
    """What the template says about a trace; the search field alone without one."""
    if found is None:
        sentence = say("Type any number of a tag, a pack or a paper.")
        return {"way": DOWN, "sentence": sentence, "kept": "", "picture": None, "lines": [], "more": 0}
    mass, node = mass_words(units), found.flow.starts[0]
    return {
        "way": found.flow.direction,
        "sentence": trace_sentence(found, mass),
        "kept": kept_words(found, mass),
        "picture": picture_of(found, units) if len(found.rows) > 1 else None,
        "lines": lines_of(found, units),
        "more": max(len(found.rows) - MOST_ROWS, 0),
        "recall_href": recall_href([node]),
        "other_href": href_of(node, UP if found.down else DOWN),
        "thing_href": thing_href(node, found.flow.nodes[node].sort),
    }


class SuspectForm(BaseModel):
    """What the form of a suspect time sends."""

    suspect: str = ""
    name: str = ""
    since: str = ""
    until: str = ""


@routes.get("/trace/suspect")
def suspect_page(
    request: Request, visitor: SignedInVisitor, asked: Annotated[SuspectForm, Query()]
) -> Response:
    """What a suspect instrument, room, line, supplier or shift had to do with in a time; then its recall."""
    house = _house(request)
    problem: SaltloftError | None = None
    found: list[str] | None = None
    if asked.suspect:
        try:
            since, until = _moment(house, asked.since), _moment(house, asked.until)
            found = trace.scope(house, asked.suspect, asked.name.strip(), since, until)
        except SaltloftError as error:
            problem = error
    page: Response = request.app.state.pages.render(
        request,
        "suspect.html",
        422 if problem else 200,
        problem=problem,
        typed=asked,
        sorts=(
            ("instrument", say("an instrument")),
            ("room", say("a room")),
            ("line", say("a line or slicer")),
            ("supplier", say("a supplier")),
            ("shift", say("a shift: all that was made")),
        ),
        found=found,
        recall_href=recall_href(found) if found else "",
    )
    return page


def _moment(house: House, text: str) -> datetime:
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        raise InputError(
            say("the time cannot be read"), got=f"'{text}'", allowed=say("a day and an hour"), key="since"
        ) from None
    return moment if moment.tzinfo else moment.replace(tzinfo=house.zone)


def base_of(request: Request) -> str:
    """Where tags of this house lead: as set, else where this page was asked for."""
    return _house(request).settings.text("tag_address") or str(request.base_url).rstrip("/")


@routes.get("/tags.pdf")
def tags_page(request: Request, visitor: SignedInVisitor, of: str, count: int = 1) -> Response:
    """Rack tags, ham tags or labels as a PDF."""
    house = _house(request)
    prefix = house.settings.text("gs1_company_prefix")
    sheet = standards.tags(house, of, base=base_of(request), prefix=prefix, count=count)
    body = tags_pdf(sheet, paper=paper_size(visitor.units))
    headers = {"Content-Disposition": 'inline; filename="tags.pdf"'}
    return Response(body, media_type="application/pdf", headers=headers)


@routes.get("/trace/events.json")
def events_file(request: Request, visitor: SignedInVisitor, of: Starts) -> Response:
    """The events above and below some things, as EPCIS 2.0."""
    made = standards.events(_house(request), of, base=base_of(request))
    headers = {"Content-Disposition": 'attachment; filename="events.jsonld"'}
    return JSONResponse(made, media_type="application/ld+json", headers=headers)


@routes.get("/g/{number}")
def plain_tag(request: Request, visitor: SignedInVisitor, number: str) -> Response:
    """What a tag without a trade item number opens."""
    return _open(visitor, trace.find(_house(request), number), number)


@routes.get("/01/{gtin}")
def product_tag(request: Request, visitor: SignedInVisitor, gtin: str) -> Response:
    """A pack's code without a lot: what was made of it."""
    return _of_key(request, visitor, LinkKey(GTIN, gtin))


@routes.get("/01/{gtin}/10/{lot}")
def lot_tag(request: Request, visitor: SignedInVisitor, gtin: str, lot: str) -> Response:
    """What the tag of a rack, or the label of a pack, opens."""
    return _of_key(request, visitor, LinkKey(GTIN, gtin, lot))


@routes.get("/01/{gtin}/10/{lot}/21/{serial}")
def ham_tag(request: Request, visitor: SignedInVisitor, gtin: str, lot: str, serial: str) -> Response:
    """What the tag of one ham opens: its group."""
    return _of_key(request, visitor, LinkKey(GTIN, gtin, lot, serial))


@routes.get("/8004/{asset}")
def rack_sticker(request: Request, visitor: SignedInVisitor, asset: str) -> Response:
    """What a rack's own sticker opens: the lot that hangs on it now."""
    return _of_key(request, visitor, LinkKey(ASSET, asset))


def _of_key(request: Request, visitor: Visitor, key: LinkKey) -> Response:
    return _open(visitor, trace.of_key(_house(request), key), key.lot or key.value)


def _open(visitor: Visitor, hits: list[trace.Hit], number: str) -> Response:
    """The page of the thing; who only weighs gets the form for it."""
    if not visitor.may_read:
        lots = [hit.node for hit in hits if hit.sort == "lot"]
        return RedirectResponse(f"/enter/weigh?{urlencode({'lot': lots[0]})}" if lots else "/next", 303)
    if len(hits) == 1 or (hits and hits[0].node == number):
        return RedirectResponse(thing_href(hits[0].node, hits[0].sort), 303)
    return RedirectResponse(f"/trace?{urlencode({'q': number})}", 303)
