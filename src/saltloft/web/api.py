"""The same jobs as the pages, under /api/v1, for the outbox and for programs of the house."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Request
from pydantic import BaseModel, Field

from saltloft.foundation.errors import SaltloftError
from saltloft.foundation.units import mass
from saltloft.foundation.words import say
from saltloft.house import House
from saltloft.jobs import record
from saltloft.plant.entries import decode
from saltloft.plant.stated import Draft, Receipt, Stamp
from saltloft.web.errors import NotForThisRole
from saltloft.web.visitor import Sender, sender_of

routes = APIRouter(prefix="/api/v1")
MOST_ENTRIES = 100


class EntryIn(BaseModel):
    """One entry as a device sends it; the device made the id, so sending it twice is harmless."""

    id: str = Field(min_length=8, max_length=64, pattern=r"^[A-Za-z0-9-]+$")
    kind: str = Field(max_length=64, description="Kind and version, such as 'piece.weighed/1'.")
    subject: str = Field(default="", max_length=80, description="The lot; must be the payload's own.")
    happened_at: datetime = Field(description="When it happened, with offset.")
    payload: dict[str, Any] = Field(description="As journaled; a mass may be {number, unit} as typed.")
    person: str = Field(default="", max_length=80, description="Who was signed in on the device.")
    seen: int | None = Field(default=None, description="Journal number its author looked at.")


class EntriesIn(BaseModel):
    """What an outbox sends."""

    entries: list[EntryIn] = Field(min_length=1, max_length=MOST_ENTRIES)
    phone_clock: datetime | None = Field(default=None, description="The device's clock when it was sent.")


class EntryOut(BaseModel):
    """What became of one entry."""

    id: str
    status: str = Field(description="stored, already, refused or ask")
    words: str
    seq: int = 0
    expected: str = ""
    allowed: str = ""
    key: str = ""


class EntriesOut(BaseModel):
    """One answer an entry, in the order they came."""

    entries: list[EntryOut]


SenderHere = Annotated[Sender, Depends(sender_of)]


@routes.post("/entries", summary="Hand in entries")
def take_entries(request: Request, sender: SenderHere, body: EntriesIn) -> EntriesOut:
    """Take entries from a signed-in person, or from an enrolled device after the session ended.

    Entries of one call share a commit where they can; each is answered for
    itself, and one that is refused does not keep the others out.
    """
    house: House = request.app.state.house
    answers = {entry.id: _drafted(house, sender, entry) for entry in body.entries}
    drafts = [answer for answer in answers.values() if isinstance(answer, Draft)]
    by_id: dict[str, EntryOut] = {}
    if drafts:
        stamp = Stamp(sender.person, sender.device, house.now())
        by_id = {receipt.entry_id: _out(receipt) for receipt in record.enter(house, stamp, drafts)}
    by_id.update({name: answer for name, answer in answers.items() if isinstance(answer, EntryOut)})
    return EntriesOut(entries=[by_id[entry.id] for entry in body.entries])


def _drafted(house: House, sender: Sender, entry: EntryIn) -> Draft | EntryOut:
    try:
        if entry.happened_at.tzinfo is None:
            return _refused(entry, say("The time has no offset."), "happened_at")
        person = sender.person_for(entry.person)
        if not sender.may_enter(entry.kind):
            raise NotForThisRole
        payload = decode(entry.kind, with_masses(entry.payload))
        if entry.subject and getattr(payload, "lot", entry.subject) != entry.subject:
            return _refused(entry, say("Subject and payload name different lots."), "subject")
        return Draft(
            entry.id, payload, entry.happened_at, seen=entry.seen, person=person, device=sender.device
        )
    except NotForThisRole:
        return _refused(entry, say("This entry belongs to another role of the house."), "kind")
    except SaltloftError as error:
        return EntryOut(
            id=entry.id, status="refused", words=error.message, allowed=error.allowed, key=error.key
        )


def _refused(entry: EntryIn, words: str, key: str) -> EntryOut:
    return EntryOut(id=entry.id, status="refused", words=words, key=key)


def _out(receipt: Receipt) -> EntryOut:
    return EntryOut(
        id=receipt.entry_id,
        status=receipt.status,
        words=receipt.words,
        seq=receipt.seq,
        expected=receipt.expected,
        allowed=receipt.allowed,
        key=receipt.key,
    )


def with_masses(payload: Mapping[str, Any]) -> dict[str, Any]:
    """The payload with every mass as typed, {number, unit}, turned into a booked one.

    Raises:
        InputError: not a number, not above zero, or an unknown unit.
    """
    plain: dict[str, Any] = {}
    for name, value in payload.items():
        if isinstance(value, Mapping) and "number" in value and "mg" not in value:
            booked = mass(str(value["number"]), str(value.get("unit", "")), what=name)
            plain[name] = {"mg": booked.mg, "number": booked.number, "unit": booked.unit, "division_mg": 0}
        else:
            plain[name] = value
    return plain


@routes.get("/clock", summary="The house's clock")
def clock(request: Request) -> dict[str, str]:
    """The moment the house takes as now, by which a device measures its own clock."""
    house: House = request.app.state.house
    return {"now": house.now().isoformat(), "zone": str(house.zone)}
