"""The papers as PDF: the day sheet, and a lot's dossier."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import Response

from saltloft.foundation.errors import RuleBroken
from saltloft.foundation.words import say
from saltloft.papers.day_sheet import day_sheet
from saltloft.papers.dossier import dossier
from saltloft.papers.page import pdf
from saltloft.web.folder import folder_of
from saltloft.web.morning import morning_of
from saltloft.web.quantities import Units
from saltloft.web.visitor import ReadingVisitor

routes = APIRouter()


def paper_size(units: Units) -> str:
    """Letter for those who think in pounds, A4 for the others."""
    return "us-letter" if units.system == "us" else "a4"


def _file(body: bytes, name: str) -> Response:
    headers = {"Content-Disposition": f'inline; filename="{name}"'}
    return Response(body, media_type="application/pdf", headers=headers)


@routes.get("/today.pdf")
def today_pdf(request: Request, visitor: ReadingVisitor) -> Response:
    """The day sheet of the last kept morning."""
    morning = morning_of(request)
    if morning is None:
        raise RuleBroken(say("the day is still being gathered"), do=say("try again in a moment"))
    sheet = day_sheet(morning.day, paper=paper_size(visitor.units))
    return _file(pdf(sheet), f"day-{morning.day.day.isoformat()}.pdf")


@routes.get("/lots/{lot}/dossier.pdf")
def dossier_pdf(request: Request, visitor: ReadingVisitor, lot: str) -> Response:
    """The lot's dossier as of now."""
    sheet = dossier(folder_of(request.app.state.house, lot), paper=paper_size(visitor.units))
    return _file(pdf(sheet), f"{lot}-dossier.pdf")
