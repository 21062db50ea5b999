"""A recall on one page: scope, balance, calls, papers; with a clock once a drill began, and its record."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Annotated

from fastapi import APIRouter, Query, Request
from starlette.responses import RedirectResponse, Response

from saltloft.foundation.errors import InputError, SaltloftError
from saltloft.foundation.units import mass as typed_mass
from saltloft.foundation.words import say
from saltloft.house import House
from saltloft.jobs import record, trace
from saltloft.papers.chart_parts import PAPER_FONT
from saltloft.papers.flow_chart import flow_svg
from saltloft.papers.page import Picture, Sheet, pdf
from saltloft.papers.recall import contacts_marks, drill_sheet, letters, recall_report
from saltloft.plant.recall import RecallDrilled, StockCounted, drilled
from saltloft.plant.rights import may
from saltloft.plant.sentences import caution
from saltloft.plant.stated import Draft
from saltloft.plant.trace_words import (
    drill_sentence,
    finished_words,
    lost_words,
    places_rows,
    recall_sentence,
    share_words,
    stock_words,
    took,
    trace_sentence,
)
from saltloft.plant.traced import RecallAnswer
from saltloft.web.pages.correct import FormTexts, refusal
from saltloft.web.pages.papers import paper_size
from saltloft.web.trace_view import call_lines, lots_grid, mass_words, recall_href, stock_lines
from saltloft.web.visitor import SignedInVisitor, Visitor, check_form

routes = APIRouter()
Starts = Annotated[list[str], Query()]
KIND = "recall.drilled"


def _house(request: Request) -> House:
    house: House = request.app.state.house
    return house


@routes.get("/trace/recall")
def recall_page(
    request: Request, visitor: SignedInVisitor, of: Starts, reason: str = "", began: str = ""
) -> Response:
    """What is in scope, where its weight is and whom to call; with a clock once the drill began."""
    answer = trace.recall(_house(request), of, reason=reason)
    return _page(request, visitor, answer, began)


@routes.post("/trace/recall")
def record_drill(request: Request, visitor: SignedInVisitor, form: FormTexts, of: Starts) -> Response:
    """Record a drill, or a real recall; its figures are computed anew with what was counted."""
    check_form(visitor, form.get("csrf", ""))
    house, reason, began = _house(request), form.get("reason", ""), form.get("began", "")
    problem: SaltloftError | None = None
    answer = trace.recall(house, of, reason=reason)
    try:
        counted = _counted(form, visitor)
        grams = {one.node: one.mass.mg if one.mass else 0 for one in counted}
        answer = trace.recall(house, of, counted_mg=grams, reason=reason)
        done = _drill(house, answer, form, counted)
        draft = Draft(form.get("entry_id", ""), done, house.now())
        receipt = record.enter(house, visitor.stamp(house), [draft])[0]
        if receipt.status in ("stored", "already"):
            return RedirectResponse(f"/trace/drills/{done.drill}", 303)
        problem = refusal(receipt)
    except SaltloftError as error:
        problem = error
    return _page(request, visitor, answer, began, problem=problem, typed=dict(form))


def _counted(form: Mapping[str, str], visitor: Visitor) -> tuple[StockCounted, ...]:
    found = []
    for name, text in form.items():
        if name.startswith("count.") and text.strip():
            zero = text.strip().replace(",", ".").strip("0.") == ""
            mass = None if zero else typed_mass(text, visitor.units.mass, what=name.removeprefix("count."))
            found.append(StockCounted(name.removeprefix("count."), mass))
    return tuple(found)


def _drill(
    house: House, answer: RecallAnswer, form: Mapping[str, str], counted: tuple[StockCounted, ...]
) -> RecallDrilled:
    began = form.get("began", "")
    if not began:
        raise InputError(say("the drill has not begun"), do=say("start its clock first"), key="began")
    return drilled(
        answer.recall,
        drill=form.get("drill", "").strip(),
        reason=form.get("reason", "").strip(),
        started=began,
        ended=house.now().isoformat(timespec="seconds"),
        told=tuple(sorted(name.removeprefix("told.") for name in form if name.startswith("told."))),
        counted=counted,
        missed=tuple(line.strip() for line in form.get("missed", "").splitlines() if line.strip()),
        real=int(form.get("real", "") == "1"),
        note=form.get("note", "").strip(),
    )


def _page(
    request: Request,
    visitor: Visitor,
    answer: RecallAnswer,
    began: str,
    *,
    problem: SaltloftError | None = None,
    typed: Mapping[str, str] | None = None,
) -> Response:
    house, units, recall = _house(request), visitor.units, answer.recall
    mass, starts = mass_words(units), list(recall.starts)
    now = house.now()
    page: Response = request.app.state.pages.render(
        request,
        "recall.html",
        422 if problem else 200,
        sentence=recall_sentence(answer, mass),
        finished=finished_words(answer, mass),
        places=places_rows(recall.account, mass),
        share=share_words(recall.account),
        lost=[*lost_words(recall.account, mass), *lost_words(recall.again, mass)],
        stock=stock_words(answer),
        calls=call_lines(answer, units),
        packs=stock_lines(answer, units),
        lots=lots_grid(answer, units),
        contacts=contacts_marks(answer),
        reason=answer.reason,
        began=began,
        took_s=_seconds_since(began, now),
        start_href=recall_href(starts, reason=answer.reason, began=now.isoformat(timespec="seconds")),
        here_href=recall_href(starts, reason=answer.reason),
        report_href=recall_href(starts, "/trace/recall.pdf", reason=answer.reason),
        letters_href=recall_href(starts, "/trace/letters.pdf", reason=answer.reason),
        subject=", ".join(starts[:3]),
        may_record=may(visitor.role, KIND),
        entry_id=house.new_id(),
        drill=trace.next_drill(house),
        problem=problem,
        typed=typed or {},
        unit=units.mass,
        caution=caution(),
    )
    return page


def _seconds_since(began: str, now: datetime) -> int:
    """How long a drill runs; 0 for a start nobody can read. [s]"""
    try:
        start = datetime.fromisoformat(began)
    except ValueError:
        return 0
    return max(int((now - start).total_seconds()), 0) if start.tzinfo else 0


@routes.get("/trace/recall.pdf")
def report_pdf(request: Request, visitor: SignedInVisitor, of: Starts, reason: str = "") -> Response:
    """The report of a recall."""
    house, mass = _house(request), mass_words(visitor.units)
    answer = trace.recall(house, of, reason=reason)
    flow = trace.trace(house, of)
    words = trace_sentence(flow, mass)
    picture = Picture(flow_svg(flow, words, mass, links=False, font=PAPER_FONT), words, "")
    sheet = recall_report(answer, picture=picture, paper=paper_size(visitor.units), mass=mass)
    return _file(sheet, "recall.pdf")


@routes.get("/trace/letters.pdf")
def letters_pdf(request: Request, visitor: SignedInVisitor, of: Starts, reason: str = "") -> Response:
    """A letter to each customer."""
    answer = trace.recall(_house(request), of, reason=reason)
    sheet = letters(answer, paper=paper_size(visitor.units), mass=mass_words(visitor.units))
    return _file(sheet, "letters.pdf")


def _file(sheet: Sheet, name: str) -> Response:
    headers = {"Content-Disposition": f'inline; filename="{name}"'}
    return Response(pdf(sheet), media_type="application/pdf", headers=headers)


@routes.get("/trace/drills/{drill}")
def drill_page(request: Request, visitor: SignedInVisitor, drill: str) -> Response:
    """How one drill went, beside those before it."""
    house = _house(request)
    done = trace.drill(house, drill)
    rows = [(one.drill, drill_sentence(one, took(one))) for one in trace.drills(house)]
    page: Response = request.app.state.pages.render(
        request,
        "drill.html",
        title=done.drill,
        sentence=drill_sentence(done, took(done)),
        done=done,
        others=[row for row in rows if row[0] != done.drill],
        caution=caution(),
    )
    return page


@routes.get("/trace/drills/{drill}/record.pdf")
def drill_pdf(request: Request, visitor: SignedInVisitor, drill: str) -> Response:
    """The record of one drill, to sign."""
    house = _house(request)
    done = trace.drill(house, drill)
    names = [trace.name_of(house, party) for party in done.told]
    return _file(
        drill_sheet(house.face(), house.now(), done, names=names, paper=paper_size(visitor.units)),
        "drill.pdf",
    )
