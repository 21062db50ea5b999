"""The papers as PDF: the day sheet, and a lot's dossier."""

from __future__ import annotations

import re

from fastapi import APIRouter, Request
from starlette.responses import Response

from saltloft.foundation.errors import RuleBroken
from saltloft.foundation.words import say
from saltloft.house import House
from saltloft.jobs import hand, ready
from saltloft.papers.day_sheet import day_sheet
from saltloft.papers.dossier import dossier
from saltloft.papers.page import pdf
from saltloft.plant.sentences import moment_words
from saltloft.web.folder import folder_of
from saltloft.web.morning import morning_of
from saltloft.web.quantities import Units
from saltloft.web.visitor import SignedInVisitor

routes = APIRouter()


def paper_size(units: Units) -> str:
    """Letter for those who think in pounds, A4 for the others."""
    return "us-letter" if units.system == "us" else "a4"


def _file(body: bytes, name: str) -> Response:
    headers = {"Content-Disposition": f'inline; filename="{name}"'}
    return Response(body, media_type="application/pdf", headers=headers)


@routes.get("/today.pdf")
def today_pdf(request: Request, visitor: SignedInVisitor) -> Response:
    """The day sheet of the last kept morning."""
    morning = morning_of(request)
    if morning is None:
        raise RuleBroken(say("the day is still being gathered"), do=say("try again in a moment"))
    sheet = day_sheet(morning.day, paper=paper_size(visitor.units), system=visitor.units.system)
    return _file(pdf(sheet), f"day-{morning.day.day.isoformat()}.pdf")


@routes.get("/lots/{lot}/dossier.pdf")
def dossier_pdf(request: Request, visitor: SignedInVisitor, lot: str) -> Response:
    """The lot's dossier as of now."""
    house: House = request.app.state.house
    folder = folder_of(house, lot)
    found = None
    if folder.record.family == "dry_sausage":
        found = ready.ready(house, lot, folder.outlook, folder.judgement)
    sheet = dossier(folder, ready=found, hand=hand.kept_hand(house), paper=paper_size(visitor.units))
    return _file(pdf(sheet), f"{lot}-dossier.pdf")


@routes.get("/paper.css")
def paper_margins(request: Request, about: str = "") -> Response:
    """The foot of every printed sheet: house, what it is about, moment, journal head, page x of y."""
    house: House = request.app.state.house
    face = house.face()
    shown = about if re.fullmatch(r"[\w .&·’-]{1,60}", about) and request.state.visitor else ""
    when = moment_words(house.now(), face.zone, house.today())
    head = say("journal {seq} {hash}", seq=face.head.seq, hash=face.head.hash[:12])
    left = " · ".join(part for part in (face.name, shown, when, head) if part)
    page, of = css_text(say("page")), css_text(say("of"))
    sheet = (
        "@page { @bottom-left { content: "
        + css_text(left)
        + "; font-size: 8pt; } @bottom-right { content: "
        + f'{page} " " counter(page) " " {of} " " counter(pages); font-size: 8pt; }} }}\n'
    )
    return Response(sheet, media_type="text/css")


def css_text(text: str) -> str:
    """A text as a CSS string; everything but letters, digits and blanks is escaped."""
    return '"' + "".join(c if c.isalnum() or c == " " else f"\\{ord(c):06x} " for c in text) + '"'
