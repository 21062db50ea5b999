"""Correcting an entry openly, and recording what has no floor form of its own."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Request
from fastapi.responses import RedirectResponse
from starlette.responses import Response

from saltloft.foundation.errors import InputError, SaltloftError, UnknownName
from saltloft.foundation.words import say
from saltloft.house import House
from saltloft.jobs import lots, record
from saltloft.plant.canonical import canonical_bytes
from saltloft.plant.entries import KINDS, encode, newest, subject_of
from saltloft.plant.readings import Corrected
from saltloft.plant.rights import FLOOR, SETTING_UP, SIGNING, may
from saltloft.plant.sentences import moment_words
from saltloft.plant.stated import Draft, Receipt, Stated
from saltloft.web.clashes import clash, seen_of
from saltloft.web.errors import NotForThisRole
from saltloft.web.offered import offered, with_zone
from saltloft.web.payload_forms import fields_of, read_payload
from saltloft.web.payload_words import kind_word, plain_value
from saltloft.web.visitor import SignedInVisitor, Visitor, check_form, check_pin

routes = APIRouter()
# What is entered on a page of its own, or by a machine.
ELSEWHERE = frozenset(
    {"readings.sealed", "readings.voided", "entry.corrected", "piece.weighed", "ph.read", "device.enrolled"}
    # The figures of a drill are its recall's own, never typed.
    | {"recall.drilled"}
    # A page of its own, and what the wire states by itself.
    | {"tare.weighed", "offline.entered"}
)
OFFICE_WORK = frozenset({"person.added", "document.recorded", "order.placed", "order.ended"})
RECORDABLE = (FLOOR | SETTING_UP | OFFICE_WORK) - ELSEWHERE


async def form_texts(request: Request) -> dict[str, str]:
    """Everything a form sent, as text."""
    return {name: str(value) for name, value in (await request.form()).items()}


FormTexts = Annotated[dict[str, str], Depends(form_texts)]


def recordable() -> tuple[str, ...]:
    """The kinds a person records on the general form, in the order of the work."""
    return tuple(kind for kind in KINDS if kind.partition("/")[0] in RECORDABLE and kind == newest(kind))


def signed(kind: str) -> bool:
    """Whether an entry of this kind is signed with the PIN."""
    return kind.partition("/")[0] in SIGNING


def moment_typed(text: str, house: House) -> datetime:
    """When it happened: what was typed, in the house's zone; now when nothing was.

    Raises:
        InputError: no date and time.
    """
    if not text.strip():
        return house.now()
    try:
        return datetime.fromisoformat(text.strip()).replace(tzinfo=house.zone)
    except ValueError:
        raise InputError(
            say("the time cannot be read"), got=text, allowed=say("such as 2026-11-03T05:45"), key="when"
        ) from None


@routes.get("/entries/{entry_id}/correct")
def correct_page(request: Request, visitor: SignedInVisitor, entry_id: str) -> Response:
    """The entry as it counts now, to be corrected or struck out."""
    stated = lots.entry(request.app.state.house, entry_id)
    typed = {name: plain_value(getattr(stated.payload, name)) for name in encode(stated.payload)}
    return _correct(request, stated, typed, system=visitor.units.system)


@routes.post("/entries/{entry_id}/correct")
def correct(request: Request, visitor: SignedInVisitor, entry_id: str, form: FormTexts) -> Response:
    """State the correction; the old entry stays, struck through."""
    check_form(visitor, form.get("csrf", ""))
    house: House = request.app.state.house
    stated = lots.entry(request.app.state.house, entry_id)
    try:
        if signed(stated.kind):
            check_pin(request, visitor, form.get("pin", ""))
        kind, body = newest(stated.kind), ""
        if form.get("act") != "strike":
            # An unexpected number is kept knowingly here: the old one stands beside it.
            body = canonical_bytes(encode(read_payload(kind, form))).decode()
        said = Corrected(entry=entry_id, reason=form.get("reason", ""), kind=kind, payload=body)
        draft = Draft(form.get("entry_id", ""), said, house.now(), seen=seen_of(form))
        receipt = record.enter(house, visitor.stamp(house), [draft])[0]
    except SaltloftError as error:
        return _correct(request, stated, form, error, system=visitor.units.system)
    if receipt.key == "seen":
        stated = lots.entry(house, entry_id)
        return _correct(
            request, stated, form, clash(house, visitor, stated, form), system=visitor.units.system
        )
    if receipt.status not in ("stored", "already"):
        return _correct(request, stated, form, refusal(receipt), system=visitor.units.system)
    told = "" if _is_fact(stated) else f"?{urlencode({'told': receipt.seq})}"
    return RedirectResponse(_back(stated) + told, 303)


def _is_fact(stated: Stated[Any]) -> bool:
    return stated.kind.partition("/")[0] == "fact.confirmed"


def _back(stated: Stated[Any]) -> str:
    """The page an entry is seen on: its lot's, or the fact rows."""
    return "/facts" if _is_fact(stated) else f"/lots/{subject_of(stated.payload)}"


def refusal(receipt: Receipt) -> InputError:
    """A refused receipt as the problem a form shows."""
    return InputError(receipt.words, allowed=receipt.allowed, key=receipt.key)


def _correct(
    request: Request,
    stated: Stated[Any],
    typed: dict[str, str],
    problem: SaltloftError | None = None,
    *,
    system: str,
) -> Response:
    house: House = request.app.state.house
    when = moment_words(stated.at, str(house.zone), house.today())
    person = lots.names(house).get(stated.person, stated.person)
    page: Response = request.app.state.pages.render(
        request,
        "correct.html",
        422 if problem else 200,
        sentence=say(
            "Entry {seq}: {kind}, {when}, by {person}.",
            seq=stated.seq,
            kind=kind_word(stated.kind),
            when=when,
            person=person,
        ),
        entry=stated,
        fields=fields_of(
            newest(stated.kind), typed, stated.payload, problem.key if problem else "", system=system
        ),
        reason=typed.get("reason", ""),
        new_id=typed.get("entry_id") or house.new_id(),
        seen=typed.get("seen") or lots.last_seq(house),
        back=_back(stated),
        asks_pin=signed(stated.kind),
        problem=problem,
    )
    return page


@routes.get("/record")
def record_page(request: Request, visitor: SignedInVisitor, kind: str = "", lot: str = "") -> Response:
    """What else is recorded: choose, then fill in."""
    if not kind:
        return _choice(request, visitor, lot)
    return _record(request, visitor, kind, {"lot": lot} if lot else {})


def _choice(request: Request, visitor: Visitor, lot: str) -> Response:
    """The daily work first, then what sets the house up."""
    groups: dict[str, list[dict[str, str]]] = {say("What was done?"): [], say("Set the house up"): []}
    daily, setting = groups.values()
    for kind in recordable():
        if may(visitor.role, kind):
            group = daily if kind.partition("/")[0] in FLOOR else setting
            group.append({"kind": kind, "word": kind_word(kind)})
    page: Response = request.app.state.pages.render(request, "record.html", groups=groups, lot=lot)
    return page


@routes.post("/record")
def record_entry(request: Request, visitor: SignedInVisitor, kind: str, form: FormTexts) -> Response:
    """Record it; refused or asked about, the form comes back as it was typed."""
    check_form(visitor, form.get("csrf", ""))
    house: House = request.app.state.house
    _known(visitor, kind)
    try:
        if signed(kind):
            check_pin(request, visitor, form.get("pin", ""))
        at = moment_typed(form.get("when", ""), house)
        draft = Draft(form.get("entry_id", ""), read_payload(kind, with_zone(house, form)), at)
        receipt = record.enter(house, visitor.stamp(house), [draft])[0]
    except SaltloftError as error:
        return _record(request, visitor, kind, form, error)
    if receipt.status == "refused":
        return _record(request, visitor, kind, form, refusal(receipt))
    if receipt.status == "ask":
        return _record(request, visitor, kind, form, question=receipt.words)
    lot = getattr(draft.payload, "lot", "")
    if lot and visitor.may_read:
        return RedirectResponse(f"/lots/{lot}?{urlencode({'told': receipt.seq})}", 303)
    return _record(request, visitor, kind, {}, told=receipt.words)


def _known(visitor: Visitor, kind: str) -> None:
    if kind not in recordable():
        raise UnknownName(say("entry"), kind, recordable())
    if not may(visitor.role, kind):
        raise NotForThisRole


def _record(
    request: Request,
    visitor: Visitor,
    kind: str,
    typed: dict[str, str],
    problem: SaltloftError | None = None,
    *,
    question: str = "",
    told: str = "",
) -> Response:
    _known(visitor, kind)
    house: House = request.app.state.house
    fields = fields_of(kind, typed, wrong=problem.key if problem else "", system=visitor.units.system)
    page: Response = request.app.state.pages.render(
        request,
        "record_one.html",
        422 if problem else 200,
        kind=kind,
        title=kind_word(kind),
        fields=offered(house, kind, [field for field in fields if field.name != "kept"]),
        asks_kept=bool(question),
        asks_pin=signed(kind),
        when=typed.get("when", ""),
        entry_id=typed.get("entry_id") or house.new_id(),
        problem=problem,
        question=question,
        told=told,
    )
    return page
