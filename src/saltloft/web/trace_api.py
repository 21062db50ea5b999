"""Trace, recall and search for programs: the same answers as the commands give."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Query, Request
from pydantic import BaseModel, Field

from saltloft.house import House
from saltloft.jobs import trace
from saltloft.plant.trace_json import recall_json, trace_json
from saltloft.web.refusals import REFUSALS

routes = APIRouter(prefix="/api/v1", responses=REFUSALS)


class Found(BaseModel):
    """Something a number can mean."""

    number: str
    sort: str = Field(description="material, lot, pack, shipment or sink.")
    words: str
    why: str = Field(description="How it was found; empty when by its own number.")


@routes.get("/find", summary="What a number can mean")
def find(request: Request, q: Annotated[str, Query(max_length=200)]) -> list[Found]:
    """Any number of a tag, a pack or a paper, or the address in its code; the exact one first."""
    house: House = request.app.state.house
    return [
        Found(number=hit.node, sort=hit.sort, words=hit.words, why=hit.why) for hit in trace.find(house, q)
    ]


@routes.get("/trace/{number}", summary="Where a thing went, or what went into it")
def one_trace(request: Request, number: str, direction: Literal["down", "up"] = "down") -> dict[str, Any]:
    """As `saltloft trace --json` answers for one direction (schema trace/1)."""
    house: House = request.app.state.house
    return trace_json(trace.trace(house, [number], direction))


@routes.get("/recall", summary="What a recall comes to")
def one_recall(
    request: Request, of: Annotated[list[str], Query(min_length=1, max_length=500)]
) -> dict[str, Any]:
    """As `saltloft recall --json` answers (schema recall/1); customers by id only."""
    house: House = request.app.state.house
    return recall_json(trace.recall(house, of))
