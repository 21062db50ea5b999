"""A scale at the rack: its computer tells what it shows, the weighing screen asks."""

from __future__ import annotations

from fastapi import APIRouter, Request
from pydantic import BaseModel, Field

from saltloft.foundation.errors import UnknownName
from saltloft.foundation.units import mass
from saltloft.foundation.words import say
from saltloft.house import House
from saltloft.jobs import floor
from saltloft.web.refusals import REFUSALS
from saltloft.web.scales import ScaleShelf

routes = APIRouter(prefix="/api/v1/scale", responses=REFUSALS)


class ScaleIn(BaseModel):
    """What a scale shows just now."""

    number: str = Field(min_length=1, max_length=16, description="As shown, such as '1.043'.")
    unit: str = Field(max_length=8, description="kg, g, lb or oz.")
    still: bool = Field(default=True, description="False while the reading moves.")


class ScaleOut(BaseModel):
    """What a scale shows; number and unit are empty when it has said nothing for ten seconds."""

    scale: str
    number: str = ""
    unit: str = ""
    still: bool = False


@routes.post("/{scale}", summary="Tell what a scale shows")
def tell(request: Request, scale: str, body: ScaleIn) -> ScaleOut:
    """Shown on the weighing screens that use this scale; nothing is recorded until a person says so."""
    _known(request, scale)
    mass(body.number, body.unit, what=say("weight"))
    shelf: ScaleShelf = request.app.state.scales
    shelf.put(scale, body.number, body.unit, still=body.still)
    return ScaleOut(scale=scale, number=body.number, unit=body.unit, still=body.still)


@routes.get("/{scale}", summary="What a scale shows")
def ask(request: Request, scale: str) -> ScaleOut:
    """For the weighing screen."""
    shelf: ScaleShelf = request.app.state.scales
    found = shelf.get(scale)
    if found is None:
        _known(request, scale)
        return ScaleOut(scale=scale)
    return ScaleOut(scale=scale, number=found.number, unit=found.unit, still=found.still)


def _known(request: Request, scale: str) -> None:
    house: House = request.app.state.house
    known = floor.instruments(house, "scale")
    if scale not in known:
        raise UnknownName("scale", scale, known)
