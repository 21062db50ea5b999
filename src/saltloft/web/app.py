"""The web application: one house, its pages, its API and its guard.

`saltloft serve` names `from_environment` only as text, so that the command
line never imports the web framework.
"""

from __future__ import annotations

import gc
import os
from collections.abc import Awaitable, Callable
from datetime import UTC, datetime
from pathlib import Path

from fastapi import FastAPI, Request
from starlette.concurrency import run_in_threadpool
from starlette.middleware.gzip import GZipMiddleware
from starlette.responses import Response

from saltloft.foundation.errors import InputError
from saltloft.foundation.words import LANGUAGE
from saltloft.house import House
from saltloft.web import api, errors, files, logger_api, route_rights, scale_api, trace_api
from saltloft.web.addresses import LOCAL_HOSTS
from saltloft.web.morning import DayShelf
from saltloft.web.pages import (
    correct,
    decide,
    divide,
    enter,
    facts,
    floor,
    imports,
    lot,
    lots,
    make,
    members,
    papers,
    people,
    press,
    recall,
    receive,
    records,
    rooms,
    scan,
    sheets,
    system,
    today,
    trace,
    trust,
)
from saltloft.web.rendering import Pages, shell_version
from saltloft.web.scales import ScaleShelf
from saltloft.web.security import Guard
from saltloft.web.uploads import UploadShelf
from saltloft.web.visitor import Visitor

READING = (today, rooms, imports, lots, lot, facts, papers, trace, recall, system, trust, records)
ENTERING = (decide, divide, receive, make, floor, scan, sheets, press, enter, correct, people, members)
APIS = (api.routes, logger_api.routes, scale_api.routes, trace_api.routes)
PAGES = (*READING, *ENTERING)
HOUSE_VARIABLE = "SALTLOFT_HOUSE"
HOSTS_VARIABLE = "SALTLOFT_HOSTS"
# Objects made before the youngest are searched for garbage; searches of one age before one of the next.
SEARCHES = (10_000, 20, 50)
Clock = Callable[[], datetime]


def wall() -> datetime:
    """The computer's clock; the house's own moment is `House.now`."""
    return datetime.now(UTC)


def create_app(house: House, hosts: tuple[str, ...] = LOCAL_HOSTS, clock: Clock = wall) -> FastAPI:
    """The application for one open house.

    Args:
        house: House.
        hosts: tuple of str. Names under which it answers.
        clock: callable() -> datetime, aware. The computer's clock, by which wrong PINs are counted.
    """
    # FastAPI's stock docs pages load from outside; `pages/system` serves ours.
    app = FastAPI(
        title="Saltloft",
        version="1",
        docs_url=None,
        redoc_url=None,
        openapi_url="/api/v1/openapi.json",
        summary="The jobs of one curing house, for programs.",
    )
    static = files.load_static()
    app.state.house = house
    app.state.pages = Pages(house, static)
    app.state.house_name = house.face().name
    app.state.days = DayShelf()
    app.state.uploads = UploadShelf()
    app.state.scales = ScaleShelf()
    app.state.clock = clock
    app.state.hosts = hosts

    @app.middleware("http")
    async def know_the_visitor(
        request: Request, call_next: Callable[[Request], Awaitable[Response]]
    ) -> Response:
        request.state.visitor = None
        if request.url.path.startswith("/static/"):
            return await call_next(request)
        token = LANGUAGE.set(language_of(request, ""))
        try:
            refused = await run_in_threadpool(route_rights.refusal, house, request)
            visitor: Visitor | None = request.state.visitor
            if visitor is not None:
                LANGUAGE.set(language_of(request, visitor.language))
            return refused if refused is not None else await call_next(request)
        finally:
            LANGUAGE.reset(token)

    app.add_middleware(GZipMiddleware, minimum_size=1024)
    app.add_middleware(Guard, hosts=hosts)
    # Routes are looked through in order: entries of phones come most often.
    app.state.routers = (*APIS, files.router(static, shell_version()), *(page.routes for page in PAGES))
    for router in app.state.routers:
        app.include_router(router, include_in_schema=router in APIS)
    errors.install(app)
    return app


def language_of(request: Request, chosen: str) -> str:
    """The person's language, else the browser's first one."""
    if chosen:
        return chosen
    return request.headers.get("accept-language", "en").split(",")[0].split("-")[0].strip().lower() or "en"


def from_environment() -> FastAPI:
    """The application of the house that SALTLOFT_HOUSE names; what the server process loads.

    Raises:
        InputError: when no house is named.
    """
    folder = os.environ.get(HOUSE_VARIABLE, "")
    if not folder:
        raise InputError("no house is named", do=f"set {HOUSE_VARIABLE} or use 'saltloft serve --house DIR'")
    hosts = tuple(name for name in os.environ.get(HOSTS_VARIABLE, "").split(",") if name)
    app = create_app(House.open(Path(folder)), hosts or LOCAL_HOSTS)
    settle_memory()
    return app


def settle_memory() -> None:
    """What is there once the application is made stays, and is not searched for garbage again.

    A search of all of it (modules, routes, templates) stops every answer for about a tenth of a
    second, every other second while phones send.
    """
    gc.collect()
    gc.freeze()
    gc.set_threshold(*SEARCHES)
