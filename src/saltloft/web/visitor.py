"""Who is asking: the session behind the cookie, the role's pages, and devices that may send.

A page belongs to a person's session. The entry API also takes an enrolled
device's token, so that what was entered offline is not lost when the session
ended meanwhile.
"""

from __future__ import annotations

import hmac
from dataclasses import dataclass
from typing import Annotated

from fastapi import Depends, Request
from starlette.responses import Response

from saltloft.foundation.errors import RuleBroken, UnknownName
from saltloft.foundation.words import say
from saltloft.house import House
from saltloft.jobs import lots, people
from saltloft.plant.limits import UNITS
from saltloft.plant.rights import FLOOR, may
from saltloft.plant.stated import Stamp
from saltloft.web.errors import SignInNeeded
from saltloft.web.quantities import Units

SESSION_COOKIE = "saltloft_session"
DEVICE_COOKIE = "saltloft_device"
DEVICE_SECONDS = 400 * 24 * 3600
# What a device may hand in: the floor's kinds, but nothing that rests on sealed bytes, nor another device.
SENDABLE = FLOOR - {"readings.sealed", "entry.corrected", "device.enrolled", "offline.entered"}


@dataclass(frozen=True)
class Visitor:
    """A signed-in person on one device.

    Args:
        person, name, role, language: str.
        units: Units.
        device: str.
        csrf: str. Token every form of the session must carry.
    """

    person: str
    name: str
    role: str
    language: str
    units: Units
    device: str
    csrf: str

    @property
    def may_enter(self) -> bool:
        """True for everybody but an auditor."""
        return may(self.role, "piece.weighed")

    @property
    def may_read(self) -> bool:
        """True for everybody but a room hand, who sees Next and nothing else."""
        return self.role != "room_hand"

    @property
    def may_invite(self) -> bool:
        """True for those who may make sign-in links for others."""
        return may(self.role, "person.added")

    def stamp(self, house: House) -> Stamp:
        """Who records, on what, and when it is taken in."""
        return Stamp(self.person, self.device, house.now())


def recognise(house: House, request: Request) -> Visitor | None:
    """The person behind the session cookie; None when nobody is signed in."""
    session = people.session_of(house, cookie_of(request, SESSION_COOKIE), house.now())
    if session is None:
        return None
    try:
        person = lots.person(house, session.person)
    except UnknownName:
        return None
    said = person.added.payload
    return Visitor(
        person.person,
        person.name,
        said.role,
        said.language,
        Units(asked if (asked := request.query_params.get("units")) in UNITS else said.units),
        session.device,
        session.csrf,
    )


async def signed_in(request: Request) -> Visitor:
    """The visitor; raises SignInNeeded when there is none."""
    visitor: Visitor | None = request.state.visitor
    if visitor is None:
        raise SignInNeeded
    return visitor


# Whose page it is stands in `route_rights`.
SignedInVisitor = Annotated[Visitor, Depends(signed_in)]


def check_form(visitor: Visitor, csrf: str) -> None:
    """Raise RuleBroken when a form was not made by this session's own page."""
    if not hmac.compare_digest(visitor.csrf.encode(), csrf.encode()):
        raise RuleBroken(say("this form is from another session"), do=say("open the page again"))


def check_pin(request: Request, visitor: Visitor, pin: str) -> None:
    """Raise RuleBroken when the PIN a person signs with is wrong, or locked for now."""
    house: House = request.app.state.house
    people.check_pin(house, visitor.person, pin, request.app.state.clock(), visitor.device)


@dataclass(frozen=True)
class Sender:
    """Who hands in entries through the API: a signed-in person, or an enrolled device.

    Args:
        person: str. Of the session; empty for a device alone.
        device: str.
        enrolled: bool. True when the device showed its token.
        scope: str. Of the device's token; 'entries' for a session.
    """

    person: str
    device: str
    enrolled: bool
    scope: str = "entries"

    def person_for(self, claimed: str) -> str:
        """Who an entry is by: the person picked on an enrolled device, else the one signed in.

        Raises:
            RuleBroken: another person's entry without the device's token.
        """
        if not claimed or claimed == self.person:
            if not self.person:
                raise RuleBroken(say("the entry names no person"), key="person")
            return self.person
        if not self.enrolled:
            raise RuleBroken(
                say("the entry is by another person than the one signed in"),
                do=say("sign in again as that person"),
                key="person",
            )
        return claimed

    def may_enter(self, kind: str) -> bool:
        """Whether this kind may come from a device; signing and office work are done on their pages."""
        return self.scope == "entries" and kind.partition("/")[0] in SENDABLE


def bearer_of(request: Request) -> str:
    """The token a program or device shows: in its header, else the device's cookie; empty without one."""
    bearer = request.headers.get("authorization", "")
    return bearer[7:] if bearer.startswith("Bearer ") else cookie_of(request, DEVICE_COOKIE)


def standing(house: House, request: Request) -> frozenset[str]:
    """What a request comes as, in the words of `route_rights`: a role or nobody, and a token's scope.

    Notes:
        Leaves visitor and device in the request's state.
    """
    with house.reading():
        visitor = recognise(house, request)
        device = people.device_of(house, bearer_of(request))
    request.state.visitor, request.state.device = visitor, device
    role = "nobody" if visitor is None else visitor.role
    return frozenset({role} if device is None else {role, f"token:{device[1]}"})


async def sender_of(request: Request) -> Sender:
    """The sender of an API request.

    Raises:
        SignInNeeded: neither a session nor a device's token.
    """
    visitor: Visitor | None = request.state.visitor
    device: tuple[str, str] | None = request.state.device
    if visitor is not None:
        return Sender(visitor.person, visitor.device, device is not None)
    if device is None:
        raise SignInNeeded
    return Sender("", device[0], enrolled=True, scope=device[1])


def cookie_name(request: Request, name: str) -> str:
    """A cookie's name; under HTTPS with the prefix that keeps other hosts and plain http from setting it."""
    return f"__Host-{name}" if request.url.scheme == "https" else name


def cookie_of(request: Request, name: str) -> str:
    """A cookie's value; empty without one."""
    return request.cookies.get(cookie_name(request, name), "")


def set_cookie(request: Request, response: Response, name: str, value: str, seconds: int) -> None:
    """A cookie no script can read, sent to this house only."""
    response.set_cookie(
        cookie_name(request, name),
        value,
        max_age=seconds,
        httponly=True,
        samesite="lax",
        secure=request.url.scheme == "https",
        path="/",
    )


def drop_cookie(request: Request, response: Response, name: str) -> None:
    """Let the browser forget a cookie."""
    response.delete_cookie(
        cookie_name(request, name),
        httponly=True,
        samesite="lax",
        secure=request.url.scheme == "https",
        path="/",
    )
