"""Press and cut: one screen of taps, with script through the outbox, without through here."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse
from pydantic import BaseModel
from starlette.responses import Response

from saltloft.foundation.errors import InputError, SaltloftError
from saltloft.foundation.units import decimal_number
from saltloft.foundation.words import say
from saltloft.house import House
from saltloft.jobs import floor, record
from saltloft.plant.readings import PressedAndCut
from saltloft.plant.stated import Draft
from saltloft.web.press_job import PLACES, PressJob, press_job
from saltloft.web.quantities import decimal_mark
from saltloft.web.rendering import KEPT_PAGES
from saltloft.web.visitor import SignedInVisitor, check_form

routes = APIRouter()


class PressForm(BaseModel):
    """What the form sends; a row nobody tapped is missing."""

    csrf: str
    entry_id: str
    lot: str
    top: str = ""
    middle: str = ""
    bottom: str = ""
    rim: str = ""
    ring: str = ""
    hollow: str = ""
    smear: str = ""
    colour: str = ""
    good: str = ""

    def tapped(self) -> Mapping[str, str]:
        """Every row that was tapped."""
        rows = self.model_dump(exclude={"csrf", "entry_id", "lot"})
        return {name: value for name, value in rows.items() if value}

    def payload(self) -> PressedAndCut:
        """The look as journaled; raises InputError for what is no number."""
        return PressedAndCut(
            self.lot,
            tuple(int(_number(getattr(self, place), place)) for place in PLACES if getattr(self, place)),
            _number(self.rim, "rim") if self.rim else None,
            hollow=_grade(self.hollow, "hollow"),
            smear=_grade(self.smear, "smear"),
            good=_grade(self.good, "good"),
            ring=_grade(self.ring, "ring"),
            colour=self.colour,
        )


def _number(text: str, name: str) -> Decimal:
    return decimal_number(text, name)


def _grade(text: str, name: str) -> int:
    return int(_number(text, name)) if text else -1


@routes.get("/enter/press")
def press_page(request: Request, visitor: SignedInVisitor, lot: str = "") -> HTMLResponse:
    """Choose a lot, then tap."""
    house: House = request.app.state.house
    return _page(request, [press_job(own, house.new_id()) for own in floor.hanging(house)], lot, keep=True)


@routes.post("/enter/press")
def press(request: Request, visitor: SignedInVisitor, form: Annotated[PressForm, Form()]) -> Response:
    """One look sent without script; refused, it comes back as it was tapped."""
    check_form(visitor, form.csrf)
    house: House = request.app.state.house
    problem: SaltloftError | None = None
    stored = ""
    try:
        draft = Draft(form.entry_id, form.payload(), house.now())
        receipt = record.enter(house, visitor.stamp(house), [draft])[0]
        if receipt.status in ("stored", "already"):
            stored = receipt.words
        else:
            problem = InputError(receipt.words, allowed=receipt.allowed, key=receipt.key)
    except SaltloftError as error:
        problem = error
    jobs = []
    for own in floor.hanging(house):
        here = own.lot == form.lot
        typed = form.tapped() if here and problem else None
        said = stored if here else ""
        jobs.append(press_job(own, house.new_id(), typed, problem=problem if here else None, stored=said))
    return _page(request, jobs, form.lot, status=422 if problem else 200)


def _page(
    request: Request, jobs: list[PressJob], lot: str, *, keep: bool = False, status: int = 200
) -> HTMLResponse:
    return request.app.state.pages.render(  # type: ignore[no-any-return]
        request,
        "press.html",
        status,
        keep=keep,
        title=say("Press and cut"),
        jobs=jobs,
        chosen=lot if any(job.lot == lot for job in jobs) else "",
        decimal=decimal_mark(),
        keep_pages=KEPT_PAGES,
    )
