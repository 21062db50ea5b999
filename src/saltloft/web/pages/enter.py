"""Weighing and pH: the same forms with script (through the outbox) and without (through here)."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse
from pydantic import BaseModel
from starlette.responses import Response

from saltloft.foundation.errors import InputError, SaltloftError
from saltloft.foundation.units import decimal_number, mass
from saltloft.foundation.words import say
from saltloft.house import House
from saltloft.jobs import floor, record
from saltloft.plant.readings import PhRead, PieceWeighed
from saltloft.plant.stated import Draft, Receipt
from saltloft.web.entry_jobs import EntryJob, ph_job, tare_choices, weigh_job, with_answer
from saltloft.web.quantities import decimal_mark
from saltloft.web.rendering import KEPT_PAGES
from saltloft.web.visitor import SignedInVisitor, Visitor, check_form

routes = APIRouter()
MOST_LOTS = 60


def titles() -> dict[str, str]:
    """What each sort of entry is called."""
    return {"weigh": say("Weigh"), "ph": say("Read pH")}


def jobs_of(house: House, visitor: Visitor, sort: str, wanted: str = "") -> tuple[EntryJob, ...]:
    """One form a hanging lot; the wanted one is among them also when the list is cut."""
    lots = floor.hanging(house)
    shown = lots[:MOST_LOTS] + tuple(lot for lot in lots[MOST_LOTS:] if lot.lot == wanted)
    if sort == "weigh":
        scales, tares = floor.instruments(house, "scale"), tare_choices(floor.tares(house))
        return tuple(weigh_job(lot, visitor.units, scales, house.new_id(), tares=tares) for lot in shown)
    meters = floor.instruments(house, "ph_meter")
    return tuple(ph_job(lot, meters, house.new_id()) for lot in shown)


@routes.get("/enter/{sort}")
def entry_page(request: Request, visitor: SignedInVisitor, sort: str, lot: str = "") -> HTMLResponse:
    """Choose a lot, then type."""
    if sort not in titles():
        raise InputError(say("There is no such entry"), got=sort, allowed=", ".join(titles()))
    jobs = jobs_of(request.app.state.house, visitor, sort, lot)
    return _page(request, sort, jobs, lot, keep=True)


def _page(
    request: Request, sort: str, jobs: Sequence[EntryJob], lot: str, *, keep: bool = False, status: int = 200
) -> HTMLResponse:
    return request.app.state.pages.render(  # type: ignore[no-any-return]
        request,
        "enter.html",
        status,
        keep=keep,
        title=titles()[sort],
        sort=sort,
        jobs=jobs,
        chosen=lot if any(job.lot == lot for job in jobs) else "",
        decimal=decimal_mark(),
        keep_pages=KEPT_PAGES,
    )


class EntryForm(BaseModel):
    """What every entry form sends."""

    csrf: str
    entry_id: str
    lot: str
    number: str = ""
    instrument: str = ""
    kept: str = ""


class WeighForm(EntryForm):
    """One weighing."""

    unit: str = "kg"
    tag: str = ""
    rack: str = ""
    tare: str = ""

    def payload(self) -> PieceWeighed:
        """The weighing as journaled; raises InputError for what is no weight."""
        booked = mass(self.number, self.unit, what=say("weight"))
        kept = 1 if self.kept == "1" else 0
        number, _, unit = self.tare.partition(" ")
        tare = mass(number, unit, what=say("tare")) if self.tare else None
        return PieceWeighed(
            self.lot, booked, self.instrument, tag=self.tag.strip(), rack=self.rack, tare=tare, kept=kept
        )


class PhForm(EntryForm):
    """One set of pH readings; several values with blanks between them."""

    where: str = ""

    def payload(self) -> PhRead:
        """The set as journaled; raises InputError for what is no number."""
        texts = re.split(r"[\s;]+", self.number.strip())
        values = tuple(decimal_number(text, say("pH")) for text in texts)
        return PhRead(self.lot, values, self.where, self.instrument, kept=1 if self.kept == "1" else 0)


@routes.post("/enter/weigh")
def weigh(request: Request, visitor: SignedInVisitor, form: Annotated[WeighForm, Form()]) -> Response:
    """One weighing sent without script."""
    return _entered(request, visitor, "weigh", form, {"tag": form.tag})


@routes.post("/enter/ph")
def read_ph(request: Request, visitor: SignedInVisitor, form: Annotated[PhForm, Form()]) -> Response:
    """One set of pH readings sent without script."""
    return _entered(request, visitor, "ph", form, {"choice": form.where})


def _entered(
    request: Request, visitor: Visitor, sort: str, form: WeighForm | PhForm, chosen: Mapping[str, str]
) -> Response:
    """Record it; on a question or refusal the same form comes back with what was typed."""
    check_form(visitor, form.csrf)
    house: House = request.app.state.house
    answer: dict[str, object] = {"typed": form.number, **chosen}
    try:
        draft = Draft(form.entry_id, form.payload(), house.now())
        receipt: Receipt = record.enter(house, visitor.stamp(house), [draft])[0]
    except SaltloftError as error:
        answer["problem"] = error
    else:
        if receipt.status == "ask":
            answer["question"] = receipt.words
        elif receipt.status == "refused":
            answer["problem"] = InputError(receipt.words, allowed=receipt.allowed, key=receipt.key)
        else:
            answer = {"stored": " ".join(part for part in (receipt.words, receipt.expected) if part)}
    jobs = [
        with_answer(job, **answer) if job.lot == form.lot else job
        for job in jobs_of(house, visitor, sort, form.lot)
    ]
    return _page(request, sort, jobs, form.lot, status=422 if "problem" in answer else 200)
