"""What a person or a program sees when something is refused; the only place that knows HTTP statuses."""

from __future__ import annotations

import structlog
from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse
from starlette.exceptions import HTTPException
from starlette.responses import RedirectResponse, Response

from saltloft.foundation.errors import (
    InputError,
    NumericsError,
    OutOfRange,
    RuleBroken,
    SaltloftError,
    StoreError,
    UnknownName,
)
from saltloft.foundation.words import say

STATUS: dict[type[SaltloftError], int] = {
    UnknownName: 404,
    InputError: 422,
    OutOfRange: 422,
    RuleBroken: 409,
    NumericsError: 500,
    StoreError: 503,
    SaltloftError: 500,
}
log = structlog.get_logger("saltloft.web")


class SignInNeeded(Exception):
    """The page needs a person, and nobody is signed in on this device."""


class NotForThisRole(Exception):
    """The person's role has no business on this page."""


def status_of(error: SaltloftError) -> int:
    """The HTTP status of one refusal."""
    return next(STATUS[kind] for kind in type(error).__mro__ if kind in STATUS)


def wants_json(request: Request) -> bool:
    """True for the API."""
    return request.url.path.startswith("/api/")


def problem(request: Request, status: int, title: str, sentence: str, allowed: str = "") -> Response:
    """One refusal as a page or, under /api, as JSON (RFC 9457 field names)."""
    if wants_json(request):
        body = {"title": title, "status": status, "detail": sentence, "allowed": allowed}
        return JSONResponse(body, status, media_type="application/problem+json")
    visitor = getattr(request.state, "visitor", None)
    floor_only = visitor is not None and visitor.role == "room_hand"
    back = "/next" if floor_only else "/"
    page: Response = request.app.state.pages.render(
        request,
        "error.html",
        status,
        title=title,
        sentence=sentence,
        allowed=allowed,
        back=back,
        back_word=say("To Next") if floor_only else say("To Today"),
        request_id=request.state.request_id,
    )
    return page


def sign_in_first(request: Request) -> Response:
    """The answer to somebody who showed neither a session nor a token."""
    if wants_json(request):
        return problem(request, 401, say("Not signed in"), say("Open your one-time sign-in link first."))
    return RedirectResponse("/sign-in", 303)


def other_role(request: Request) -> Response:
    """The answer to somebody whose role or token has no business there."""
    return problem(request, 403, say("Not your page"), say("This page belongs to another role of the house."))


def not_here(request: Request) -> Response:
    """The answer for an address that is none."""
    return problem(request, 404, say("Not here"), say("There is no such page."))


def install(app: FastAPI) -> None:
    """Register the handlers."""

    @app.exception_handler(SignInNeeded)
    async def sign_in(request: Request, _: Exception) -> Response:
        return sign_in_first(request)

    @app.exception_handler(NotForThisRole)
    async def not_theirs(request: Request, _: Exception) -> Response:
        return other_role(request)

    @app.exception_handler(SaltloftError)
    async def refused(request: Request, error: Exception) -> Response:
        assert isinstance(error, SaltloftError)
        status = status_of(error)
        title = say("Not known here") if status == 404 else say("Not taken")
        allowed = say("Taken: {allowed}", allowed=error.allowed) if error.allowed else ""
        return problem(request, status, title, joined_words(error), allowed)

    @app.exception_handler(RequestValidationError)
    async def wrong_shape(request: Request, error: Exception) -> Response:
        assert isinstance(error, RequestValidationError)
        first = error.errors()[0]
        where = ".".join(str(part) for part in first["loc"])
        return problem(request, 422, say("Not taken"), f"{where}: {first['msg']}")

    @app.exception_handler(HTTPException)
    async def by_status(request: Request, error: Exception) -> Response:
        assert isinstance(error, HTTPException)
        if error.status_code == 404:
            return not_here(request)
        return problem(request, error.status_code, say("Not here"), str(error.detail))

    @app.exception_handler(Exception)
    async def fault(request: Request, error: Exception) -> Response:
        log.error("fault", request=request.state.request_id, path=request.url.path, error=repr(error))
        return problem(
            request,
            500,
            say("A fault of the program"),
            say("Nothing was written. Tell whoever looks after Saltloft the number below."),
        )


def joined_words(error: SaltloftError) -> str:
    """What, what came and what to do, as one sentence."""
    parts = [error.what]
    if error.got:
        parts.append(say("You typed: {got}", got=error.got))
    if error.do:
        parts.append(error.do)
    return ". ".join(parts) + "."
