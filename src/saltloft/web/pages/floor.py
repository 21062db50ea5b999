"""*Next*: the one thing to do now, big, with the number pad; and *Can't: why*."""

from __future__ import annotations

from datetime import date, datetime
from typing import Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, RedirectResponse
from pydantic import BaseModel
from starlette.responses import Response

from saltloft.foundation.errors import InputError, SaltloftError
from saltloft.foundation.words import say
from saltloft.house import House
from saltloft.jobs import floor, record
from saltloft.plant.readings import CheckDone
from saltloft.plant.rounds import FloorTask
from saltloft.plant.sentences import moment_words
from saltloft.plant.stated import Draft
from saltloft.web.entry_jobs import EntryJob, ph_job, tare_choices, weigh_job, why_words
from saltloft.web.quantities import Units, decimal_mark
from saltloft.web.rendering import KEPT_PAGES, today_in
from saltloft.web.visitor import SignedInVisitor, check_form

routes = APIRouter()
# More than a morning's walk; the page is kept on the phone and stays light.
MOST_JOBS = 40


def reasons() -> tuple[str, ...]:
    """What usually stands in the way, one tap each."""
    return (
        say("piece not found"),
        say("scale or meter missing"),
        say("no time"),
        say("room closed"),
        say("already done"),
    )


@routes.get("/next")
def next_page(request: Request, visitor: SignedInVisitor) -> HTMLResponse:
    """The next job, with the following ones kept behind it for a phone without a network."""
    house: House = request.app.state.house
    return request.app.state.pages.render(  # type: ignore[no-any-return]
        request,
        "next.html",
        keep=True,
        jobs=entry_jobs(house, visitor.units),
        decimal=decimal_mark(),
        keep_pages=KEPT_PAGES,
        nothing_words=say("Every weighing and pH reading of today is in."),
    )


def entry_jobs(house: House, units: Units) -> tuple[EntryJob, ...]:
    """Today's due tasks as entry forms, in the order of the walk."""
    lots = {lot.lot: lot for lot in floor.hanging(house)}
    scales, meters = floor.instruments(house, "scale"), floor.instruments(house, "ph_meter")
    tares = tare_choices(floor.tares(house))
    jobs = []
    for task in floor.tasks(house)[:MOST_JOBS]:
        why = task_why(house, task)
        if task.sort == "weigh":
            jobs.append(weigh_job(lots[task.lot], units, scales, house.new_id(), why, tares=tares))
        else:
            jobs.append(ph_job(lots[task.lot], meters, house.new_id(), why))
    return tuple(jobs)


def task_why(house: House, task: FloorTask) -> str:
    """When it was last done and since when it is due."""
    zone = str(house.zone)
    today = today_in(zone, house.now())
    last = "" if task.last_at is None else short_moment(task.last_at, zone, today)
    return why_words(task, last, short_moment(task.due_at, zone, today))


def short_moment(moment: datetime, zone: str, today: date) -> str:
    """'05:45' today, 'Tue 3 Nov 05:45' on another day."""
    words = moment_words(moment, zone, today)
    return words.rpartition(" ")[2] if today_in(zone, moment) == today else words


@routes.get("/cant")
def cant_page(request: Request, visitor: SignedInVisitor, sort: str = "", lot: str = "") -> HTMLResponse:
    """Why a job cannot be done."""
    return _cant(request, _what(sort, lot), _room(request.app.state.house, lot))


class CantForm(BaseModel):
    """Why a job cannot be done: a reason by one tap, or in the person's words."""

    csrf: str
    entry_id: str
    check: str
    room: str = ""
    why: str = ""
    note: str = ""


@routes.post("/cant")
def say_cant(request: Request, visitor: SignedInVisitor, form: Annotated[CantForm, Form()]) -> Response:
    """Record that it could not be done, and why."""
    check_form(visitor, form.csrf)
    house: House = request.app.state.house
    found = "; ".join(part for part in (form.why, form.note.strip()) if part)
    if not found:
        error = InputError(say("Say why"), do=say("Choose a reason or write one."))
        return _cant(request, form.check, form.room, form, error)
    said = CheckDone(check=form.check, good=0, found=found, room=form.room)
    receipt = record.enter(house, visitor.stamp(house), [Draft(form.entry_id, said, house.now())])[0]
    if receipt.status not in ("stored", "already"):
        return _cant(request, form.check, form.room, form, InputError(receipt.words))
    return RedirectResponse("/next", 303)


def _what(sort: str, lot: str) -> str:
    if sort == "ph":
        return say("Read pH of {lot}", lot=lot)
    return say("Weigh {lot}", lot=lot)


def _room(house: House, lot: str) -> str:
    return next((own.room for own in floor.hanging(house) if own.lot == lot), "")


def _cant(
    request: Request, what: str, room: str, form: CantForm | None = None, problem: SaltloftError | None = None
) -> HTMLResponse:
    house: House = request.app.state.house
    return request.app.state.pages.render(  # type: ignore[no-any-return]
        request,
        "cant.html",
        422 if problem else 200,
        what=what,
        check=what,
        room=room,
        note=form.note if form else "",
        chosen=form.why if form else "",
        problem=problem,
        reasons=reasons(),
        entry_id=house.new_id(),
    )
