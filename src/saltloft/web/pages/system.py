"""What belongs to no job: health, the API's own docs page, the outbox and the page for no network."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse
from starlette.responses import Response

from saltloft.house import House
from saltloft.jobs import doctor, queue

routes = APIRouter()


@routes.get("/health")
def health(request: Request) -> JSONResponse:
    """Database, journal, backup, disk, worker and loggers, for whoever watches the house's computer."""
    house: House = request.app.state.house
    state = queue.state(house)
    return JSONResponse(
        {
            **doctor.health(house),
            "queue": {"waiting": state.waiting, "running": state.running, "failed": state.failed},
            "behind": state.behind,
        }
    )


@routes.get("/outbox")
def outbox(request: Request) -> Response:
    """What waits on this device; filled by the page's script from the device's own store."""
    page: Response = request.app.state.pages.render(request, "outbox.html", keep=True)
    return page


@routes.get("/offline")
def offline(request: Request) -> Response:
    """What opens without a network when the page itself was not kept."""
    request.state.visitor = None
    page: Response = request.app.state.pages.render(request, "offline.html")
    return page


@dataclass(frozen=True)
class Operation:
    """One operation of the API as the docs page lists it."""

    method: str
    path: str
    summary: str
    text: str
    parameters: tuple[dict[str, str], ...]


@routes.get("/docs")
def docs(request: Request) -> Response:
    """The API from its own OpenAPI document; nothing is loaded from outside."""
    page: Response = request.app.state.pages.render(
        request, "docs.html", operations=operations(request.app.openapi())
    )
    return page


def operations(document: dict[str, Any]) -> list[Operation]:
    """Every operation of an OpenAPI document, by path."""
    found = []
    for path, methods in sorted(document["paths"].items()):
        for method, said in methods.items():
            parameters = tuple(
                {"name": str(own["name"]), "where": str(own["in"])} for own in said.get("parameters", ())
            )
            found.append(
                Operation(
                    method.upper(), path, said.get("summary", ""), said.get("description", ""), parameters
                )
            )
    return found
