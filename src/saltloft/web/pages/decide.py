"""Hold, lift a hold, release: what stands in the way is named, and the PIN signs."""

from __future__ import annotations

from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, Form, Request
from fastapi.responses import RedirectResponse
from pydantic import BaseModel
from starlette.responses import Response

from saltloft.foundation.errors import SaltloftError
from saltloft.foundation.words import say, say_many
from saltloft.house import House
from saltloft.jobs import judge, lots, record, release
from saltloft.plant.answers import LotJudgement
from saltloft.plant.lots import HoldLifted, LotHeld
from saltloft.plant.permit import ReleasePermit
from saltloft.plant.rights import may
from saltloft.plant.sentences import caution, hazards_words, moment_words
from saltloft.plant.stated import Draft
from saltloft.web.pages.correct import refusal
from saltloft.web.visitor import SignedInVisitor, Visitor, check_form, check_pin

routes = APIRouter()


class DecideForm(BaseModel):
    """What the three forms send."""

    csrf: str
    entry_id: str
    reason: str = ""
    until: str = ""
    hold: str = ""
    market: str = ""
    pin: str = ""


@routes.get("/lots/{lot}/release")
def decide_page(request: Request, visitor: SignedInVisitor, lot: str) -> Response:
    """What stands in the way of a release, open holds, and the forms."""
    return _page(request, visitor, lot)


@routes.post("/lots/{lot}/hold")
def hold(
    request: Request, visitor: SignedInVisitor, lot: str, form: Annotated[DecideForm, Form()]
) -> Response:
    """Block the lot until a person lifts the hold."""
    check_form(visitor, form.csrf)
    return _enter(request, visitor, lot, form, LotHeld(lot, form.reason.strip(), form.until.strip()))


@routes.post("/lots/{lot}/lift")
def lift(
    request: Request, visitor: SignedInVisitor, lot: str, form: Annotated[DecideForm, Form()]
) -> Response:
    """Lift one hold; signed."""
    check_form(visitor, form.csrf)
    try:
        _sign(request, visitor, form.pin)
    except SaltloftError as error:
        return _page(request, visitor, lot, form, error)
    return _enter(request, visitor, lot, form, HoldLifted(lot, form.hold, form.reason.strip()))


@routes.post("/lots/{lot}/release")
def sign_out(
    request: Request, visitor: SignedInVisitor, lot: str, form: Annotated[DecideForm, Form()]
) -> Response:
    """Ask every hazard, then sign the lot out; a refusal names everything that is open."""
    check_form(visitor, form.csrf)
    house: House = request.app.state.house
    try:
        _sign(request, visitor, form.pin)
        payload, permit, _ = release.permit(house, lot, form.market, visitor.person)
    except SaltloftError as error:
        return _page(request, visitor, lot, form, error)
    return _enter(request, visitor, lot, form, payload, permit)


def _sign(request: Request, visitor: Visitor, pin: str) -> None:
    check_pin(request, visitor, pin)


def _enter(
    request: Request, visitor: Visitor, lot: str, form: DecideForm, payload: object, *permits: ReleasePermit
) -> Response:
    house: House = request.app.state.house
    draft = Draft(form.entry_id, payload, house.now())
    receipt = record.enter(house, visitor.stamp(house), [draft], permits=permits)[0]
    if receipt.status not in ("stored", "already"):
        return _page(request, visitor, lot, form, refusal(receipt))
    return RedirectResponse(f"/lots/{lot}?{urlencode({'told': receipt.seq})}", 303)


def _page(
    request: Request,
    visitor: Visitor,
    lot: str,
    form: DecideForm | None = None,
    problem: SaltloftError | None = None,
) -> Response:
    house: House = request.app.state.house
    judgement = judge.judge(house, lot)
    record_now = lots.one(house, lot)
    zone, today = str(house.zone), house.today()
    page: Response = request.app.state.pages.render(
        request,
        "decide.html",
        422 if problem else 200,
        lot=lot,
        sentence=decide_sentence(judgement),
        open=judgement.open,
        caution=caution(),
        problem=problem,
        form=form,
        holds=[
            {
                "id": one.held.entry_id,
                "words": f"{moment_words(one.held.at, zone, today)}: {one.held.payload.reason}",
            }
            for one in record_now.open_holds
        ],
        markets=release.MARKETS,
        may_release=may(visitor.role, "lot.released"),
        may_lift=may(visitor.role, "hold.lifted"),
        new_id=house.new_id,
    )
    return page


def decide_sentence(judgement: LotJudgement) -> str:
    """Whether anything stands in the way of signing it out, and which hazards."""
    if judgement.releasable:
        return say("{lot}: nothing stands in the way of signing it out.", lot=judgement.lot)
    return say_many(
        "{lot}: {count} thing stands in the way of signing it out. {hazards}",
        "{lot}: {count} things stand in the way of signing it out. {hazards}",
        len(judgement.open),
        lot=judgement.lot,
        hazards=hazards_words(judgement),
    )
