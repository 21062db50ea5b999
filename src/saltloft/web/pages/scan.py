"""Scan a tag, or type what stands below its code: the right job opens. Racks and hooks weighed empty."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, Form, Request
from fastapi.responses import RedirectResponse
from pydantic import BaseModel
from starlette.responses import Response

from saltloft.foundation.errors import InputError, SaltloftError
from saltloft.foundation.units import mass
from saltloft.foundation.words import say, say_many
from saltloft.house import House
from saltloft.jobs import floor, lots, record
from saltloft.jobs.floor import Tare
from saltloft.plant.instruments import CARRIER_SORTS, TareWeighed
from saltloft.plant.sentences import moment_words
from saltloft.plant.stated import Draft
from saltloft.web.visitor import SignedInVisitor, Visitor, check_form

routes = APIRouter()
# The camera is this page's only; every other page forbids it.
CAMERA = "camera=(self), microphone=(), geolocation=(), payment=()"


@routes.get("/scan")
def scan(request: Request, visitor: SignedInVisitor, code: str = "") -> Response:
    """The camera's page; with a code, the way to its job."""
    problem: SaltloftError | None = None
    if code.strip():
        try:
            found = floor.scanned(request.app.state.house, code[:300])
            query = {"lot": found.lot, **({"tag": found.tag} if found.tag else {})}
            return RedirectResponse(f"/enter/{found.sort}?{urlencode(query)}", 303)
        except SaltloftError as error:
            problem = error
    page: Response = request.app.state.pages.render(
        request, "scan.html", 404 if problem else 200, problem=problem, code=code
    )
    page.headers["Permissions-Policy"] = CAMERA
    return page


@dataclass(frozen=True)
class TareLine:
    """One rack, trolley or hook in words."""

    carrier: str
    sort: str
    mass: str
    words: str
    changed: bool


def sort_words(sort: str) -> str:
    """What carries pieces, as people say it."""
    words = {"rack": say("rack"), "trolley": say("trolley"), "hook": say("hook"), "crate": say("crate")}
    return words.get(sort, sort)


class TareForm(BaseModel):
    """One thing weighed empty."""

    csrf: str
    entry_id: str = ""
    carrier: str = ""
    sort: str = "rack"
    number: str = ""
    unit: str = "kg"
    instrument: str = ""


@routes.get("/tares")
def tares_page(request: Request, visitor: SignedInVisitor) -> Response:
    """Everything weighed empty, with what changed since the time before."""
    return _tares(request, visitor, TareForm(csrf="", unit=visitor.units.mass))


@routes.post("/tares")
def weigh_empty(request: Request, visitor: SignedInVisitor, form: Annotated[TareForm, Form()]) -> Response:
    """State an empty weight; it is the tare from then on."""
    check_form(visitor, form.csrf)
    house: House = request.app.state.house
    try:
        booked = mass(form.number, form.unit, what=say("weight"))
        said = TareWeighed(form.carrier.strip(), form.sort, booked, form.instrument)
        draft = Draft(form.entry_id or house.new_id(), said, house.now())
        receipt = record.enter(house, visitor.stamp(house), [draft])[0]
        if receipt.status not in ("stored", "already"):
            raise InputError(receipt.words, allowed=receipt.allowed, key=receipt.key)
    except SaltloftError as error:
        return _tares(request, visitor, form, error)
    return RedirectResponse("/tares", 303)


def _tares(
    request: Request, visitor: Visitor, form: TareForm, problem: SaltloftError | None = None
) -> Response:
    house: House = request.app.state.house
    found = [_line(tare, house) for tare in floor.tares(house)]
    changed = [line.carrier for line in found if line.changed]
    sentence = say_many("{count} thing was weighed empty.", "{count} things were weighed empty.", len(found))
    if changed:
        sentence += " " + say("Changed since the time before: {names}.", names=", ".join(changed))
    page: Response = request.app.state.pages.render(
        request,
        "tares.html",
        422 if problem else 200,
        sentence=sentence,
        lines=found,
        typed=form,
        problem=problem,
        sorts=[(sort, sort_words(sort)) for sort in CARRIER_SORTS],
        scales=floor.instruments(house, "scale"),
        entry_id=house.new_id(),
    )
    return page


# More than a rack loses by cleaning (common practice, no source): 0.5 %.
CHANGED = 0.005


def _line(tare: Tare, house: House) -> TareLine:
    said = tare.last.payload
    when = moment_words(tare.last.at, str(house.zone), house.today())
    person = lots.names(house).get(tare.last.person, tare.last.person)
    words = say("{when}, {person}, on {scale}", when=when, person=person, scale=said.instrument)
    share = tare.change_mg / said.mass.mg
    if tare.before is not None:
        grams = abs(tare.change_mg) / 1000
        before = tare.before.payload.mass
        more = say("heavier") if tare.change_mg > 0 else say("lighter")
        words += " · " + say(
            "{grams:.0f} g {more} than before ({number} {unit})",
            grams=grams,
            more=more,
            number=before.number,
            unit=before.unit,
        )
    mass_words = f"{said.mass.number} {said.mass.unit}"
    return TareLine(tare.carrier, sort_words(tare.sort), mass_words, words, abs(share) > CHANGED)
