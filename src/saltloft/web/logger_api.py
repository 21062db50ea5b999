"""A logger's gateway hands in its file by token: what is new in it is stored, as an import on the page is."""

from __future__ import annotations

from fastapi import APIRouter, Request
from pydantic import BaseModel, Field

from saltloft.foundation.errors import RuleBroken
from saltloft.foundation.words import say
from saltloft.house import House
from saltloft.jobs import devices, watch
from saltloft.plant.stated import Stamp
from saltloft.web.refusals import REFUSALS

routes = APIRouter(prefix="/api/v1", responses=REFUSALS)


class ReadingsIn(BaseModel):
    """A logger's file as it wrote it."""

    file: str = Field(min_length=1, max_length=200, description="Its name, which may name the room.")
    text: str = Field(min_length=1, description="What is in it: a table with moments and readings.")
    room: str = Field(default="", max_length=60, description="The room; empty when the file names it.")
    zone: str = Field(default="", max_length=60, description="IANA zone of the logger's clock.")


class ReadingsOut(BaseModel):
    """What became of it."""

    status: str = Field(description="stored, nothing new or asked (a person answers on the page)")
    words: str
    batch: str = ""
    added: int = 0
    questions: list[str] = []


@routes.post("/readings", summary="Hand in a logger's file")
def hand_in(request: Request, body: ReadingsIn) -> ReadingsOut:
    """Stored as one sealed batch in the name of whoever gave the token out; a file again adds nothing."""
    house: House = request.app.state.house
    device: tuple[str, str] = request.state.device
    issuer = next((line.by for line in devices.listed(house) if line.device == device[0]), "")
    if not issuer:
        raise RuleBroken(say("no entry says who gave this token out"), do=say("make one on the People page"))
    taken = watch.import_file(
        house,
        Stamp(issuer, device[0], house.now()),
        body.file,
        body.text.encode(),
        watch.Said(body.zone, body.room),
        entry_id=house.new_id(),
        reader=watch.read_apart,
    )
    asked = [question.words for question in taken.reading.questions if question.blocking]
    return ReadingsOut(
        status=taken.status, words=taken.words, batch=taken.batch, added=taken.added, questions=asked
    )
