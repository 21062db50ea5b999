"""*Receive*: a delivery in one screen, at the door."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from saltloft.foundation.errors import SaltloftError
from saltloft.foundation.words import say, say_many
from saltloft.house import House
from saltloft.jobs import receive as job
from saltloft.jobs import record
from saltloft.plant.limits import DECISIONS
from saltloft.plant.stated import Draft
from saltloft.plant.stock import MATERIAL_SORTS, MaterialReceived
from saltloft.web.flow_forms import (
    SentForm,
    as_shown,
    count_of,
    mass_of,
    names_of,
    number_of,
    temperature_of,
    text,
)
from saltloft.web.flow_words import decision_word, sort_word
from saltloft.web.pages.correct import refusal
from saltloft.web.quantities import decimal_mark
from saltloft.web.visitor import SignedInVisitor, Visitor, check_form

routes = APIRouter()


@routes.get("/receive")
def receive_page(request: Request, visitor: SignedInVisitor, material: str = "") -> Response:
    """What comes most often stands first; one tap fills number, supplier and sort in."""
    return _page(request, visitor, {"material": material} if material else {}, keep=True)


@routes.post("/receive")
def receive(request: Request, visitor: SignedInVisitor, typed: SentForm) -> Response:
    """One delivery; refused, the form comes back as it was typed."""
    check_form(visitor, text(typed, "csrf"))
    visitor = as_shown(visitor, typed)
    house: House = request.app.state.house
    try:
        draft = Draft(text(typed, "entry_id"), _payload(typed, visitor), house.now())
        receipt = record.enter(house, visitor.stamp(house), [draft])[0]
    except SaltloftError as error:
        return _page(request, visitor, typed, problem=error)
    if receipt.status not in ("stored", "already"):
        return _page(request, visitor, typed, problem=refusal(receipt))
    told = say("{number}: {words}", number=draft.payload.material_lot, words=receipt.words)
    return _page(request, visitor, {}, told=told)


def _payload(typed: Mapping[str, str], visitor: Visitor) -> MaterialReceived:
    units = visitor.units
    return MaterialReceived(
        material_lot=text(typed, "material_lot"),
        material=text(typed, "other_material") or text(typed, "material"),
        supplier=text(typed, "supplier"),
        mass=mass_of(typed, "mass", units, say("weight")),
        decision=text(typed, "decision") or DECISIONS[0],
        core_temperature_c=temperature_of(typed, "core", units, say("core temperature")),
        ph=number_of(typed, "ph", say("pH")),
        supplier_lot=text(typed, "supplier_lot"),
        pieces=count_of(typed, "pieces", say("pieces")),
        note=text(typed, "note"),
        sort=text(typed, "sort"),
        best_before=text(typed, "best_before"),
        truck_temperature_c=temperature_of(typed, "truck", units, say("truck temperature")),
        documents=names_of(typed, "documents"),
    )


def _sentence(asked: job.Receiving, visitor: Visitor) -> str:
    """What came today, and how much of it was taken."""
    taken = sum(one.mg for one in asked.today if one.decision != "refused")
    if not asked.today:
        return say("Nothing came today yet.")
    return say_many(
        "{count} delivery today, {mass} {unit} taken.",
        "{count} deliveries today, {mass} {unit} taken.",
        len(asked.today),
        mass=visitor.units.mass_of(taken),
        unit=visitor.units.mass,
    )


def _page(
    request: Request,
    visitor: Visitor,
    typed: Mapping[str, str],
    *,
    problem: SaltloftError | None = None,
    told: str = "",
    keep: bool = False,
) -> Response:
    house: House = request.app.state.house
    asked = job.receiving(house)
    chosen = text(typed, "material") or (asked.materials[0].material if asked.materials else "")
    offered = next((one for one in asked.materials if one.material == chosen), None)
    filled: dict[str, Any] = {
        "material": chosen,
        "material_lot": offered.number if offered else "",
        "supplier": offered.supplier if offered else "",
        "sort": offered.sort if offered else "",
        "decision": DECISIONS[0],
    }
    page: Response = request.app.state.pages.render(
        request,
        "receive.html",
        422 if problem else 200,
        keep=keep,
        sentence=_sentence(asked, visitor),
        typed={
            **filled,
            **{name: value for name, value in typed.items() if name not in ("csrf", "entry_id")},
        },
        entry_id=house.new_id() if problem is None else text(typed, "entry_id"),
        materials=asked.materials,
        suppliers=asked.suppliers,
        came=[
            (one.material_lot, one.material, visitor.units.mass_of(one.mg, 1), decision_word(one.decision))
            for one in asked.today
        ],
        sorts=[("", "–"), *((sort, sort_word(sort)) for sort in MATERIAL_SORTS)],
        decisions=[(decision, decision_word(decision)) for decision in DECISIONS],
        mass_unit=visitor.units.mass,
        temperature_unit=visitor.units.temperature,
        system=visitor.units.system,
        decimal=decimal_mark(),
        problem=problem,
        told=told,
    )
    return page
