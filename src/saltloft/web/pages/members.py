"""*People*: who may do what, their links and PINs; devices, tokens of programs, and shutting them out."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import RedirectResponse
from pydantic import BaseModel
from starlette.responses import Response

from saltloft.foundation.errors import InputError, RuleBroken, SaltloftError
from saltloft.foundation.words import say, say_many
from saltloft.house import House
from saltloft.jobs import devices, lots, people, record
from saltloft.plant.people import ROLES, DeviceEnrolled, DeviceRevoked, PersonAdded, TokenIssued
from saltloft.plant.sentences import moment_words
from saltloft.plant.stated import Draft, Receipt, Stamp
from saltloft.web.addresses import outside_address, qr_picture, reaches_phones
from saltloft.web.pages.people import role_words
from saltloft.web.visitor import (
    DEVICE_COOKIE,
    DEVICE_SECONDS,
    SignedInVisitor,
    Visitor,
    check_form,
    check_pin,
    set_cookie,
)

routes = APIRouter()


@dataclass(frozen=True)
class PersonLine:
    """One person of the list.

    Args:
        person, name, role, since, pin: str. In words.
        role_key: str.
    """

    person: str
    name: str
    role: str
    role_key: str
    since: str
    pin: str


@dataclass(frozen=True)
class DeviceWords:
    """One device or program of the list, in words.

    Args:
        device, label, does, since, clock, shut: str. `shut` is empty while it is open.
    """

    device: str
    label: str
    does: str
    since: str
    clock: str
    shut: str


def scope_words(scope: str) -> str:
    """What a token may do."""
    words = {
        "entries": say("enters what people weigh and read"),
        "scale": say("tells what a scale shows"),
        "readings": say("hands in readings of loggers"),
        "reading": say("reads lots and the day sheet"),
    }
    return words.get(scope, scope)


def clock_words(offset_ms: int) -> str:
    """How far a device's clock is off, said only where it matters."""
    seconds = round(abs(offset_ms) / 1000)
    if seconds < 2:
        return say("clock as the house’s")
    amount = (
        say_many("{count} second", "{count} seconds", seconds)
        if seconds < 120
        else say_many("{count} minute", "{count} minutes", round(seconds / 60))
    )
    return (
        say("clock {amount} behind", amount=amount)
        if offset_ms > 0
        else say("clock {amount} ahead", amount=amount)
    )


@routes.get("/people")
def people_page(request: Request, visitor: SignedInVisitor, told: str = "") -> Response:
    """Everybody, every device and every token."""
    words = {
        "person": say("Recorded: that person may sign in by a one-time link."),
        "pin": say("That PIN holds no more; a new one is set after signing in by a link."),
        "revoked": say("Nothing is taken from that device any more."),
    }
    return _page(request, visitor, told=words.get(told, ""))


class PersonForm(BaseModel):
    """A person added, or given another role."""

    csrf: str
    entry_id: str = ""
    person: str = ""
    name: str = ""
    role: str = ""
    language: str = "en"
    units: str = "metric"
    pin: str = ""


@routes.post("/people")
def add_person(request: Request, visitor: SignedInVisitor, form: Annotated[PersonForm, Form()]) -> Response:
    """State a person and their role; the name is kept outside the journal."""
    check_form(visitor, form.csrf)
    house: House = request.app.state.house
    try:
        _sign(request, visitor, form.pin)
        said = PersonAdded(form.person.strip(), form.role, form.language.strip() or "en", form.units)
        _enter(house, visitor, form.entry_id, said)
        if form.name.strip():
            people.set_name(house, said.person, form.name)
    except SaltloftError as error:
        return _page(request, visitor, problem=error, typed=form)
    return RedirectResponse("/people?told=person", 303)


@routes.post("/people/pin")
def drop_pin(
    request: Request,
    visitor: SignedInVisitor,
    csrf: Annotated[str, Form()],
    person: Annotated[str, Form()] = "",
) -> Response:
    """Let a forgotten PIN hold no more."""
    check_form(visitor, csrf)
    people.drop_pin(request.app.state.house, person)
    return RedirectResponse("/people?told=pin", 303)


@routes.post("/people/link")
def make_link(
    request: Request,
    visitor: SignedInVisitor,
    csrf: Annotated[str, Form()],
    person: Annotated[str, Form()] = "",
) -> Response:
    """A one-time link for a person, as a QR and as text."""
    check_form(visitor, csrf)
    house: House = request.app.state.house
    code = people.make_link(house, person, house.now())
    until = house.now() + timedelta(hours=people.LINK_HOURS)
    name = lots.names(house).get(person, person)
    return _shown(request, visitor, say("Signs in {name}, once.", name=name), f"/sign-in/{code}", until)


class DeviceForm(BaseModel):
    """A device, a program, or one to shut out."""

    csrf: str
    entry_id: str = ""
    label: str = ""
    scope: str = ""
    device: str = ""
    reason: str = ""


@routes.post("/people/device")
def new_device(request: Request, visitor: SignedInVisitor, form: Annotated[DeviceForm, Form()]) -> Response:
    """A code by which a phone or tablet becomes a device of the house."""
    check_form(visitor, form.csrf)
    house: House = request.app.state.house
    try:
        made = devices.make_code(house, visitor.person, form.label, house.now())
    except SaltloftError as error:
        return _page(request, visitor, problem=error)
    sentence = say("Takes in {label} as a device of the house, once.", label=form.label.strip())
    return _shown(request, visitor, sentence, f"/enrol/{made.code}", made.expires_at)


@routes.post("/people/token")
def new_token(request: Request, visitor: SignedInVisitor, form: Annotated[DeviceForm, Form()]) -> Response:
    """A token for a program, shown once."""
    check_form(visitor, form.csrf)
    house: House = request.app.state.house
    try:
        if form.scope not in devices.PROGRAM_SCOPES:
            allowed = ", ".join(devices.PROGRAM_SCOPES)
            raise InputError(say("there is no such scope"), got=form.scope, allowed=allowed, key="scope")
        if not form.label.strip():
            raise InputError(say("the program needs a name"), key="label")
        device = devices.device_id(form.label, house.random(2))
        _enter(house, visitor, form.entry_id, TokenIssued(device, form.label.strip()[:60], form.scope))
        token = people.enrol_device(house, device, form.scope, house.now())
    except SaltloftError as error:
        return _page(request, visitor, problem=error)
    return _page(request, visitor, token=token, token_for=f"{form.label.strip()}: {scope_words(form.scope)}")


@routes.post("/people/revoke")
def revoke(request: Request, visitor: SignedInVisitor, form: Annotated[DeviceForm, Form()]) -> Response:
    """Shut a device out: its tokens and its sessions end, and the journal says why."""
    check_form(visitor, form.csrf)
    house: House = request.app.state.house
    try:
        if form.device not in {line.device for line in devices.listed(house)}:
            raise InputError(say("there is no such device"), got=form.device, key="device")
        _enter(house, visitor, form.entry_id, DeviceRevoked(form.device, form.reason.strip()))
    except SaltloftError as error:
        return _page(request, visitor, problem=error)
    people.revoke_device(house, form.device, house.now())
    return RedirectResponse("/people?told=revoked", 303)


@routes.get("/enrol/{code}")
def ask_to_enrol(request: Request, code: str) -> Response:
    """The code's page; only its button uses it up, so that a preview does no harm."""
    found = devices.look_at_code(request.app.state.house, code, request.app.state.house.now())
    return _enrol_page(request, code, found.label if found else "")


@routes.post("/enrol/{code}")
def enrol(request: Request, code: str) -> Response:
    """Make this browser a device of the house: a token, and an entry by whoever made the code."""
    house: House = request.app.state.house
    try:
        row = devices.use_code(house, code, house.now())
        said = DeviceEnrolled(row.device, row.label)
        by = Stamp(row.made_by, row.device, house.now())
        _stored(record.enter(house, by, [Draft(house.new_id(), said, house.now())])[0])
    except SaltloftError as error:
        return _enrol_page(request, "", "", problem=error)
    answer = RedirectResponse("/sign-in", 303)
    token = people.enrol_device(house, row.device, row.scope, house.now())
    set_cookie(request, answer, DEVICE_COOKIE, token, DEVICE_SECONDS)
    return answer


def _enrol_page(request: Request, code: str, label: str, problem: SaltloftError | None = None) -> Response:
    sentence = (
        say("This makes the browser you hold a device of the house, called {label}.", label=label)
        if label
        else say("This code takes in no device: it was used, or it is older than ten minutes.")
    )
    page: Response = request.app.state.pages.render(
        request,
        "enrol.html",
        403 if problem else 200,
        sentence=sentence,
        code=code if label else "",
        problem=problem,
    )
    return page


def _sign(request: Request, visitor: Visitor, pin: str) -> None:
    """Who has a PIN signs with it."""
    if people.has_pin(request.app.state.house, visitor.person):
        check_pin(request, visitor, pin.strip())


def _enter(house: House, visitor: Visitor, entry_id: str, said: object) -> None:
    draft = Draft(entry_id or house.new_id(), said, house.now())
    _stored(record.enter(house, visitor.stamp(house), [draft])[0])


def _stored(receipt: Receipt) -> None:
    if receipt.status not in ("stored", "already"):
        raise RuleBroken(receipt.words, allowed=receipt.allowed, key=receipt.key)


def _shown(request: Request, visitor: Visitor, sentence: str, path: str, until: datetime) -> Response:
    """A code to be read by a phone's camera, once."""
    house: House = request.app.state.house
    address = outside_address(request, path)
    page: Response = request.app.state.pages.render(
        request,
        "code.html",
        sentence=sentence,
        address=address,
        picture=qr_picture(address, sentence),
        until=moment_words(until, str(house.zone), house.today()),
        reaches=reaches_phones(request),
    )
    return page


def _people(house: House) -> dict[str, list[PersonLine]]:
    zone, today = str(house.zone), house.today()
    groups: dict[str, list[PersonLine]] = defaultdict(list)
    everybody = lots.everybody(house)
    for role in ROLES:
        for own in everybody:
            if own.role == role:
                pin = say("PIN set") if people.has_pin(house, own.person) else say("no PIN")
                since = moment_words(own.added.at, zone, today)
                groups[role_words(role)].append(
                    PersonLine(own.person, own.name, role_words(role), role, since, pin)
                )
    return groups


def _devices(house: House) -> list[DeviceWords]:
    zone, today, names = str(house.zone), house.today(), lots.names(house)
    found = []
    for line in devices.listed(house):
        since = "" if line.since is None else moment_words(line.since, zone, today)
        by = names.get(line.by, line.by)
        clock = "" if line.state.offset_at is None else clock_words(line.state.offset_ms)
        shut = ""
        if line.revoked is not None:
            who = names.get(line.revoked.person, line.revoked.person)
            when = moment_words(line.revoked.at, zone, today)
            shut = say("shut out {when} by {who}: {why}", when=when, who=who, why=line.revoked.payload.reason)
        elif not line.open:
            shut = say("shut out")
        does = "; ".join(scope_words(scope) for scope in line.scopes)
        taken = say("since {when}, by {who}", when=since, who=by) if by else say("since {when}", when=since)
        found.append(DeviceWords(line.device, line.label, does, taken if since else by, clock, shut))
    return found


def _page(
    request: Request,
    visitor: Visitor,
    *,
    told: str = "",
    problem: SaltloftError | None = None,
    typed: PersonForm | None = None,
    token: str = "",
    token_for: str = "",
) -> Response:
    house: House = request.app.state.house
    groups, known = _people(house), _devices(house)
    count = sum(len(rows) for rows in groups.values())
    open_now = sum(not line.shut for line in known)
    page: Response = request.app.state.pages.render(
        request,
        "people.html",
        422 if problem else 200,
        sentence=say(
            "{people} and {devices} of this house.",
            people=say_many("{count} person", "{count} people", count),
            devices=say_many("{count} open device", "{count} open devices", open_now),
        ),
        groups=groups,
        devices=known,
        roles=[(role, role_words(role)) for role in ROLES],
        scopes=[(scope, scope_words(scope)) for scope in devices.PROGRAM_SCOPES],
        told=told,
        problem=problem,
        typed=typed or PersonForm(csrf=""),
        token=token,
        token_for=token_for,
        may_change=visitor.may_invite,
        has_pin=people.has_pin(house, visitor.person),
        new_id=house.new_id,
    )
    return page
