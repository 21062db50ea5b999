"""Weighing and pH: the same forms with script (through the outbox) and without (through here)."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse
from starlette.responses import Response

from saltloft.foundation.errors import InputError, SaltloftError
from saltloft.foundation.units import decimal_number, mass
from saltloft.foundation.words import say
from saltloft.house import House
from saltloft.jobs import floor, record
from saltloft.plant.readings import PhRead, PieceWeighed
from saltloft.plant.stated import Draft, Receipt
from saltloft.web.entry_jobs import EntryJob, ph_job, weigh_job, with_answer
from saltloft.web.quantities import decimal_mark
from saltloft.web.rendering import KEPT_PAGES
from saltloft.web.visitor import EnteringVisitor, Visitor, check_form

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
        scales = floor.instruments(house, "scale")
        return tuple(weigh_job(lot, visitor.units, scales, house.new_id()) for lot in shown)
    meters = floor.instruments(house, "ph_meter")
    return tuple(ph_job(lot, meters, house.new_id()) for lot in shown)


@routes.get("/enter/{sort}")
def entry_page(request: Request, visitor: EnteringVisitor, sort: str, lot: str = "") -> HTMLResponse:
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


@routes.post("/enter/weigh")
def weigh(
    request: Request,
    visitor: EnteringVisitor,
    csrf: Annotated[str, Form()],
    entry_id: Annotated[str, Form()],
    lot: Annotated[str, Form()],
    number: Annotated[str, Form()] = "",
    unit: Annotated[str, Form()] = "kg",
    instrument: Annotated[str, Form()] = "",
    tag: Annotated[str, Form()] = "",
    rack: Annotated[str, Form()] = "",
    kept: Annotated[str, Form()] = "",
) -> Response:
    """One weighing sent without script."""
    check_form(visitor, csrf)

    def payload() -> PieceWeighed:
        return PieceWeighed(
            lot=lot,
            mass=mass(number, unit, what=say("weight")),
            instrument=instrument,
            tag=tag,
            rack=rack,
            kept=1 if kept == "1" else 0,
        )

    return _entered(request, visitor, "weigh", lot, entry_id, payload, {"typed": number, "tag": tag})


@routes.post("/enter/ph")
def read_ph(
    request: Request,
    visitor: EnteringVisitor,
    csrf: Annotated[str, Form()],
    entry_id: Annotated[str, Form()],
    lot: Annotated[str, Form()],
    number: Annotated[str, Form()] = "",
    where: Annotated[str, Form()] = "",
    instrument: Annotated[str, Form()] = "",
    kept: Annotated[str, Form()] = "",
) -> Response:
    """One set of pH readings sent without script; several values with blanks between them."""
    check_form(visitor, csrf)

    def payload() -> PhRead:
        values = tuple(decimal_number(text, say("pH")) for text in re.split(r"[\s;]+", number.strip()))
        return PhRead(lot, values, where, instrument, kept=1 if kept == "1" else 0)

    return _entered(request, visitor, "ph", lot, entry_id, payload, {"typed": number, "choice": where})


def _entered(request, visitor, sort, lot, entry_id, payload, typed) -> Response:  # type: ignore[no-untyped-def]
    """Record it; on a question or refusal the same form comes back with what was typed."""
    house: House = request.app.state.house
    answer: dict[str, object] = dict(typed)
    try:
        draft = Draft(entry_id, payload(), house.now())
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
        with_answer(job, **answer) if job.lot == lot else job for job in jobs_of(house, visitor, sort, lot)
    ]
    return _page(request, sort, jobs, lot, status=422 if "problem" in answer else 200)
