"""Signing in by a one-time link, one's own page with the PIN, and links for others."""

from __future__ import annotations

import re
from datetime import timedelta
from typing import Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import RedirectResponse
from pydantic import BaseModel
from starlette.responses import Response

from saltloft.foundation.errors import RuleBroken, SaltloftError
from saltloft.foundation.words import say
from saltloft.house import House
from saltloft.jobs import devices, lots, people, record
from saltloft.plant.people import DeviceEnrolled
from saltloft.plant.rights import may
from saltloft.plant.sentences import moment_words
from saltloft.plant.stated import Draft, Stamp
from saltloft.web.visitor import (
    DEVICE_COOKIE,
    DEVICE_SECONDS,
    SESSION_COOKIE,
    SignedInVisitor,
    Visitor,
    check_form,
    check_pin,
    cookie_of,
    drop_cookie,
    set_cookie,
)

routes = APIRouter()


def role_words(role: str) -> str:
    """A role as people say it."""
    words = {
        "room_hand": say("room hand"),
        "curer": say("curer"),
        "quality": say("quality"),
        "manager": say("manager"),
        "administrator": say("administrator"),
        "auditor": say("auditor, reading only"),
    }
    return words.get(role, role)


@routes.get("/sign-in")
def no_link(request: Request) -> Response:
    """How to get in: by PIN on a device that is known here, else by a one-time link."""
    device = people.device_of(request.app.state.house, cookie_of(request, DEVICE_COOKIE))
    if device is not None:
        return _sign_in(request, say("Who works on this device now?"), known=True)
    sentence = say(
        "Open the one-time link you were given, on the device you work with. "
        "Quality, the manager or the administrator makes a new one under their own name."
    )
    return _sign_in(request, sentence)


class PinSignIn(BaseModel):
    """Signing in again on a device that is known here."""

    person: str
    pin: str = ""


@routes.post("/sign-in")
def sign_in_by_pin(request: Request, form: Annotated[PinSignIn, Form()]) -> Response:
    """A session by PIN; only on an enrolled device, and five wrong tries lock it."""
    house: House = request.app.state.house
    device = people.device_of(house, cookie_of(request, DEVICE_COOKIE))
    if device is None:
        return no_link(request)
    try:
        people.check_pin(house, form.person, form.pin.strip(), request.app.state.clock(), device[0])
    except SaltloftError as error:
        return _sign_in(request, say("Who works on this device now?"), problem=error, status=403, known=True)
    # A person takes over from another: their session ends, and a new one never reuses it.
    people.end_session(house, cookie_of(request, SESSION_COOKIE), house.now())
    session = people.open_session(house, form.person, device[0], house.now())
    answer = RedirectResponse("/", 303)
    set_cookie(request, answer, SESSION_COOKIE, session.token, DEVICE_SECONDS)
    return answer


def _sign_in(
    request: Request,
    sentence: str,
    *,
    token: str = "",
    problem: SaltloftError | None = None,
    status: int = 200,
    known: bool = False,
    forget: bool = False,
    keep: bool = False,
) -> Response:
    house: House = request.app.state.house
    # Without a network a name alone is picked, so whoever enters is on the page that is kept.
    listed = [
        one
        for one in (lots.everybody(house) if known else ())
        if people.has_pin(house, one.person) or (keep and may(one.role, "piece.weighed"))
    ]
    page: Response = request.app.state.pages.render(
        request,
        "sign_in.html",
        status,
        keep=keep,
        sentence=sentence,
        token=token,
        problem=problem,
        device=_device_word(request),
        people=listed,
        forget=forget,
    )
    return page


def _device_word(request: Request) -> str:
    agent = request.headers.get("user-agent", "")
    return say("phone") if re.search(r"Mobile|Android|iPhone", agent) else say("desk")


@routes.get("/switch")
def switch(request: Request) -> Response:
    """Who works on this device now; kept for use without a network, where a name alone is picked."""
    known = people.device_of(request.app.state.house, cookie_of(request, DEVICE_COOKIE)) is not None
    if not known:
        return no_link(request)
    return _sign_in(request, say("Who works on this device now?"), known=True, keep=True)


@routes.get("/sign-in/{token}")
def ask_to_sign_in(request: Request, token: str) -> Response:
    """The link's page; only its button uses the link up, so that a preview of it does no harm."""
    return _sign_in(request, say("This link signs you in on this device, once."), token=token)


@routes.post("/sign-in/{token}")
def sign_in(request: Request, token: str, device: Annotated[str, Form()] = "") -> Response:
    """Use the link: a session for the person, a token for the device."""
    house: House = request.app.state.house
    known = people.device_of(house, cookie_of(request, DEVICE_COOKIE))
    name = known[0] if known else devices.device_id(device, house.random(2))
    try:
        session = people.use_link(house, token, name, house.now())
    except RuleBroken as error:
        return _sign_in(request, say("Nobody was signed in."), problem=error, status=403)
    answer = RedirectResponse("/", 303)
    set_cookie(request, answer, SESSION_COOKIE, session.token, DEVICE_SECONDS)
    if known is None:
        _enrol(house, session.person, name, device)
        set_cookie(
            request,
            answer,
            DEVICE_COOKIE,
            people.enrol_device(house, name, "entries", house.now()),
            DEVICE_SECONDS,
        )
    return answer


def _enrol(house: House, person: str, name: str, label: str) -> None:
    """State the device in the journal where the person's role may."""
    if not may(lots.person(house, person).role, "device.enrolled"):
        return
    said = DeviceEnrolled(name, label.strip()[:60] or name)
    record.enter(house, Stamp(person, name, house.now()), [Draft(house.new_id(), said, house.now())])


@routes.get("/me")
def me(request: Request, visitor: SignedInVisitor) -> Response:
    """Who is signed in, the PIN, links for others."""
    return _me(request, visitor)


def _me(request: Request, visitor: Visitor, status: int = 200, **more: object) -> Response:
    house: House = request.app.state.house
    values: dict[str, object] = {
        "problem": None,
        "told": "",
        "link": "",
        "link_until": "",
        "has_pin": people.has_pin(house, visitor.person),
        "people": lots.everybody(house) if visitor.may_invite else (),
        "sentence": say(
            "{name}, {role}, on {device}.",
            name=visitor.name,
            role=role_words(visitor.role),
            device=visitor.device,
        ),
    }
    page: Response = request.app.state.pages.render(request, "me.html", status, **{**values, **more})
    return page


class PinForm(BaseModel):
    """A new PIN; the old one when there is one."""

    csrf: str
    pin: str = ""
    old: str = ""


@routes.post("/me/pin")
def set_pin(request: Request, visitor: SignedInVisitor, form: Annotated[PinForm, Form()]) -> Response:
    """Set the PIN a person signs with."""
    check_form(visitor, form.csrf)
    house: House = request.app.state.house
    try:
        if people.has_pin(house, visitor.person):
            check_pin(request, visitor, form.old)
        people.set_pin(house, visitor.person, form.pin.strip())
    except SaltloftError as error:
        return _me(request, visitor, 422, problem=error)
    return _me(request, visitor, told=say("Your PIN is set."))


@routes.post("/me/link")
def make_link(
    request: Request, visitor: SignedInVisitor, csrf: Annotated[str, Form()], person: Annotated[str, Form()]
) -> Response:
    """A one-time link for another person."""
    check_form(visitor, csrf)
    house: House = request.app.state.house
    code = people.make_link(house, person, house.now())
    until = moment_words(house.now() + timedelta(hours=people.LINK_HOURS), str(house.zone), house.today())
    return _me(request, visitor, link=f"{request.base_url}sign-in/{code}", link_until=until)


@routes.post("/sign-out")
def sign_out(request: Request, visitor: SignedInVisitor, csrf: Annotated[str, Form()]) -> Response:
    """End the session; the device stays enrolled, so that its outbox is still taken."""
    check_form(visitor, csrf)
    house: House = request.app.state.house
    people.end_session(house, cookie_of(request, SESSION_COOKIE), house.now())
    request.state.visitor = None
    words = say("Signed out. What still waits to be sent stays on this device.")
    answer = _sign_in(request, words, known=True, forget=True)
    drop_cookie(request, answer, SESSION_COOKIE)
    return answer
