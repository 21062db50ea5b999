"""*Make*: choose what, then a batch sheet to weigh in."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from decimal import Decimal

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse
from starlette.responses import Response

from saltloft.foundation.errors import SaltloftError
from saltloft.foundation.units import MILLIGRAMS, Mass
from saltloft.foundation.words import say
from saltloft.house import House
from saltloft.jobs import make as job
from saltloft.jobs import record
from saltloft.plant.lots import Consumed, FreshMade, LotHung, LotMade
from saltloft.plant.sentences import list_words
from saltloft.plant.stated import Draft
from saltloft.web.flow_forms import (
    SentForm,
    as_shown,
    count_of,
    mass_of,
    mass_or_none,
    names_of,
    number_of,
    rows_of,
    temperature_of,
    text,
)
from saltloft.web.pages.correct import refusal
from saltloft.web.quantities import Units, plain
from saltloft.web.visitor import SignedInVisitor, Visitor, check_form

routes = APIRouter()
# Rows besides those of the recipe: a second lot of a line, and ends worked in.
SPARE_ROWS = 3


@routes.get("/make")
def make_page(request: Request, visitor: SignedInVisitor, product: str = "", kg: str = "") -> Response:
    """Choose a product; then its batch sheet."""
    house: House = request.app.state.house
    if not product:
        page: Response = request.app.state.pages.render(
            request, "make_pick.html", products=job.makeable(house)
        )
        return page
    size = number_of({"kg": kg}, "kg", say("batch size"))
    shown = float(size) * float(MILLIGRAMS[visitor.units.mass]) / 1e6 if size else 0.0
    return _sheet(request, visitor, job.sheet(house, product, shown), {})


@routes.post("/make")
def make(request: Request, visitor: SignedInVisitor, typed: SentForm) -> Response:
    """The batch as it was weighed in, and where it hangs; refused, the sheet comes back as it was typed."""
    check_form(visitor, text(typed, "csrf"))
    visitor = as_shown(visitor, typed)
    house: House = request.app.state.house
    sheet = job.sheet(house, text(typed, "product"))
    now = house.now()
    try:
        drafts = _drafts(house, typed, visitor.units, sheet, now)
        for draft in drafts:
            receipt = record.enter(house, visitor.stamp(house), [draft])[0]
            if receipt.status not in ("stored", "already"):
                return _sheet(request, visitor, sheet, typed, refusal(receipt))
    except SaltloftError as error:
        return _sheet(request, visitor, sheet, typed, error)
    lot = text(typed, "lot")
    return RedirectResponse(f"/lots/{lot}" if visitor.may_read else f"/enter/weigh?lot={lot}", 303)


def _drafts(
    house: House, typed: Mapping[str, str], units: Units, sheet: job.BatchSheet, now: datetime
) -> list[Draft]:
    product, lot = sheet.product, text(typed, "lot")
    consumed = _consumed(typed, units)
    if product.family == "fresh_sausage":
        made = FreshMade(
            lot, product.product, product.recipe, consumed, mass_of(typed, "green", units, say("weight"))
        )
        return [Draft(text(typed, "entry_id"), made, now)]
    stuffed = LotMade(
        lot=lot,
        product=product.product,
        recipe=product.recipe,
        consumed=consumed,
        green_mass=mass_of(typed, "green", units, say("green weight")),
        pieces=count_of(typed, "pieces", say("pieces")),
        batter_ph=number_of(typed, "ph", say("pH")),
        batter_temperature_c=temperature_of(typed, "temperature", units, say("temperature")),
        fat_pct=number_of(typed, "fat", say("fat")),
        casing_lot=text(typed, "casing_lot"),
        culture_lot=text(typed, "culture_lot"),
    )
    drafts = [Draft(text(typed, "entry_id"), stuffed, now)]
    if text(typed, "room"):
        hung = LotHung(lot, text(typed, "room"), names_of(typed, "racks"))
        drafts.append(Draft(text(typed, "hang_id"), hung, now))
    return drafts


def _consumed(typed: Mapping[str, str], units: Units) -> tuple[Consumed, ...]:
    found = []
    for row in rows_of(typed, "weighed"):
        mass: Mass | None = mass_or_none(typed, f"weighed-{row}", units, say("weight"))
        if mass is not None:
            found.append(Consumed(text(typed, f"from-{row}"), text(typed, f"as-{row}"), mass))
    return tuple(found)


def _sheet(
    request: Request,
    visitor: Visitor,
    sheet: job.BatchSheet,
    typed: Mapping[str, str],
    problem: SaltloftError | None = None,
) -> Response:
    house: House = request.app.state.house
    units = visitor.units
    filled = {
        "lot": sheet.lot,
        "pieces": str(sheet.pieces or ""),
        "room": sheet.rooms[0] if sheet.rooms else "",
        "casing_lot": sheet.casings[0].number if sheet.casings else "",
        "culture_lot": sheet.cultures[0].number if sheet.cultures else "",
        **typed,
    }
    every = [*(lot for line in sheet.lines for lot in line.lots), *sheet.rework]
    page: Response = request.app.state.pages.render(
        request,
        "make.html",
        422 if problem else 200,
        product=sheet.product,
        system=units.system,
        sentence=sheet_sentence(sheet, units),
        fresh=sheet.product.family == "fresh_sausage",
        typed=filled,
        entry_id=text(typed, "entry_id") or house.new_id(),
        hang_id=text(typed, "hang_id") or house.new_id(),
        size=plain(sheet.batch_kg * 1e6 / float(MILLIGRAMS[units.mass]), 0).replace(",", ""),
        lines=[_line(number, line, units) for number, line in enumerate(sheet.lines)],
        spare=range(len(sheet.lines), len(sheet.lines) + SPARE_ROWS),
        ingredients=[*dict.fromkeys(line.ingredient for line in sheet.lines), "rework"],
        shelf=[("", "–"), *((one.number, _shelf_words(one, units)) for one in every)],
        casings=[("", "–"), *((one.number, one.number) for one in sheet.casings)],
        cultures=[("", "–"), *((one.number, one.number) for one in sheet.cultures)],
        rooms=[("", say("not hung yet")), *((room, room) for room in sheet.rooms)],
        mass_unit=units.mass,
        temperature_unit=units.temperature,
        problem=problem,
    )
    return page


def sheet_sentence(sheet: job.BatchSheet, units: Units) -> str:
    """By which recipe, how much, and what the shelf does not hold enough of."""
    short = [line.ingredient for line in sheet.lines if sum(lot.left_mg for lot in line.lots) < line.asked_mg]
    said = say(
        "{mass} {unit} by {recipe}.",
        mass=plain(sheet.batch_kg * 1e6 / float(MILLIGRAMS[units.mass]), 0),
        unit=units.mass,
        recipe=sheet.product.recipe,
    )
    return f"{said} {say('Not enough on the shelf: {what}.', what=list_words(short))}" if short else said


def _line(number: int, line: job.SheetLine, units: Units) -> dict[str, object]:
    asked = Decimal(line.asked_mg) / MILLIGRAMS[units.mass]
    return {
        "number": number,
        "ingredient": line.ingredient,
        # The recipe's dose as finely as a scale for such an amount shows it.
        "asked": plain(float(asked), 1 if asked >= 20 else 2 if asked >= 2 else 3),
        "lots": [(one.number, _shelf_words(one, units)) for one in line.lots],
    }


def _shelf_words(one: job.OnShelf, units: Units) -> str:
    left = units.mass_of(one.left_mg, 1)
    if one.best_before:
        return say(
            "{number}: {left} {unit}, best before {day}",
            number=one.number,
            left=left,
            unit=units.mass,
            day=one.best_before,
        )
    return say("{number}: {left} {unit}", number=one.number, left=left, unit=units.mass)
