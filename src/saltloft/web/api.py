"""The same jobs as the pages, under /api/v1, for the outbox and for programs of the house."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Request
from pydantic import BaseModel, Field

from saltloft.foundation.errors import RuleBroken, SaltloftError
from saltloft.foundation.units import mass
from saltloft.foundation.words import say
from saltloft.house import House
from saltloft.jobs import devices, lots, record
from saltloft.jobs import hand as hand_job
from saltloft.jobs import ready as ready_job
from saltloft.plant.answer_json import judge_json, today_json
from saltloft.plant.answers import LotOutlook
from saltloft.plant.entries import decode
from saltloft.plant.folder import LotFolder
from saltloft.plant.lot_record import LotSummary
from saltloft.plant.sentences import caution, lot_sentence
from saltloft.plant.stated import Draft, Receipt, Stamp
from saltloft.web.errors import NotForThisRole
from saltloft.web.folder import folder_of
from saltloft.web.morning import morning_of
from saltloft.web.refusals import REFUSALS
from saltloft.web.visitor import Sender, sender_of

routes = APIRouter(prefix="/api/v1", responses=REFUSALS)
MOST_ENTRIES = 100
LONGEST_OFFSET_MS = 100 * 366 * 24 * 3600 * 1000


class EntryIn(BaseModel):
    """One entry as a device sends it; the device made the id, so sending it twice is harmless."""

    id: str = Field(min_length=8, max_length=64, pattern=r"^[A-Za-z0-9-]+$")
    kind: str = Field(max_length=64, description="Kind and version, such as 'piece.weighed/1'.")
    subject: str = Field(default="", max_length=80, description="The lot; must be the payload's own.")
    happened_at: datetime = Field(description="When it happened, with offset.")
    payload: dict[str, Any] = Field(description="As journaled; a mass may be {number, unit} as typed.")
    person: str = Field(default="", max_length=80, description="Who was signed in on the device.")
    seen: int | None = Field(default=None, ge=0, le=2**62, description="Journal number its author looked at.")
    offline: bool = Field(default=False, description="The device kept it while it had no network.")
    clock_offset_ms: int = Field(
        default=0,
        ge=-LONGEST_OFFSET_MS,
        le=LONGEST_OFFSET_MS,
        description="The house's clock less the device's, as last measured; happened_at has it in it.",
    )


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
        mark = _mark(house, sender, body, {draft.id: draft for draft in drafts})
        receipts = record.enter(house, stamp, [*drafts, *mark])
        by_id = {receipt.entry_id: _out(receipt) for receipt in receipts}
    by_id.update({name: answer for name, answer in answers.items() if isinstance(answer, EntryOut)})
    return EntriesOut(entries=[by_id[entry.id] for entry in body.entries])


def _mark(house: House, sender: Sender, body: EntriesIn, drafts: dict[str, Draft]) -> list[Draft]:
    """What is stated, in the same commit, beside entries that a device kept while it had no network."""
    now, offset_now_ms = house.now(), 0
    if body.phone_clock is not None and body.phone_clock.tzinfo is not None:
        offset_now_ms = devices.measure_clock(house, sender.device, body.phone_clock, now)
    late = [entry for entry in body.entries if entry.offline and entry.id in drafts]
    if not late:
        return []
    said = devices.offline_mark(
        house,
        sender.device,
        [entry.id for entry in late],
        late[0].clock_offset_ms,
        offset_now_ms,
        session=bool(sender.person),
    )
    if said is None:
        return []
    first = drafts[late[0].id]
    return [Draft(devices.mark_id(first.id, said), said, now, person=first.person, device=sender.device)]


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
    return {name: _booked(name, value) for name, value in payload.items()}


def _booked(name: str, value: Any) -> Any:
    if isinstance(value, list):
        return [_booked(name, item) for item in value]
    if not isinstance(value, Mapping):
        return value
    if "number" in value and "mg" not in value:
        booked = mass(str(value["number"]), str(value.get("unit", "")), what=name)
        return {"mg": booked.mg, "number": booked.number, "unit": booked.unit, "division_mg": 0}
    return with_masses(value)


class LotLine(BaseModel):
    """One lot of the list."""

    lot: str
    family: str
    product: str
    state: str
    room: str
    made_at: datetime
    hung_at: datetime | None
    green_kg: float
    pieces: int


class LotOut(LotLine):
    """One lot: where it stands, its forecast and its verdicts."""

    sentence: str
    caution: str
    forecast: dict[str, Any] | None = Field(description="Days from stuffing; null without a forecast.")
    judgement: dict[str, Any] = Field(description="As `saltloft judge --json` answers.")
    ready: dict[str, Any] | None = Field(description="As promise and dispatch of `saltloft forecast --json`.")
    hand: dict[str, Any] | None = Field(description="As hand of `saltloft forecast --json`; null before.")


@routes.get("/lots", summary="Every lot of a family")
def list_lots(request: Request, family: str = "dry_sausage") -> list[LotLine]:
    """Newest first; `family` is dry_sausage, ham or fresh_sausage."""
    house: House = request.app.state.house
    return [LotLine(**_line(row)) for row in lots.summaries(house, family)]


@routes.get("/lots/{lot}", summary="One lot")
def one_lot(request: Request, lot: str) -> LotOut:
    """Its record, the last kept forecast with its age, and every verdict."""
    house: House = request.app.state.house
    folder = folder_of(house, lot)
    summary = next(row for row in lots.summaries(house, folder.record.family) if row.lot == lot)
    return LotOut(
        **_line(summary),
        sentence=lot_sentence(lot, folder.outlook, folder.judgement, folder.next_step),
        caution=caution(),
        forecast=_forecast(folder.outlook),
        judgement=judge_json(folder.judgement),
        ready=_ready(house, folder),
        hand=_hand(house, lot),
    )


def _ready(house: House, folder: LotFolder) -> dict[str, Any] | None:
    if folder.outlook is None:
        return None
    found = ready_job.ready(house, folder.record.lot, folder.outlook, folder.judgement)
    return dict(ready_job.ready_fields(found, folder.outlook))


def _hand(house: House, lot: str) -> dict[str, Any] | None:
    hands = hand_job.kept_hand(house)
    return None if hands is None else dict(hand_job.hand_fields(hands, lot))


@routes.get("/today", summary="The day sheet")
def today(request: Request) -> dict[str, Any]:
    """As `saltloft today --json` answers, from the last kept day sheet."""
    morning = morning_of(request)
    if morning is None:
        raise RuleBroken(say("the day is still being gathered"), do=say("try again in a moment"))
    return {**today_json(morning.day), "being_recomputed": morning.pending}


def _line(row: LotSummary) -> dict[str, Any]:
    shown = ("lot", "family", "product", "state", "room", "made_at", "hung_at", "pieces")
    return {**{name: getattr(row, name) for name in shown}, "green_kg": row.green_mg / 1e6}


def _forecast(outlook: LotOutlook | None) -> dict[str, Any] | None:
    if outlook is None:
        return None
    mean = outlook.result.targets[outlook.target_name].mean
    return {
        "asof": outlook.asof.isoformat(),
        "target": {outlook.target_name: outlook.target_value},
        "mean_day": {"p05": mean.p05, "p50": mean.p50, "p95": mean.p95},
        "promise": outlook.promise,
        "prior": outlook.prior,
        "model": outlook.model,
        "used_entries": list(outlook.used_entries),
    }


@routes.get("/clock", summary="The house's clock")
def clock(request: Request) -> dict[str, str]:
    """The moment the house takes as now, by which a device measures its own clock."""
    house: House = request.app.state.house
    return {"now": house.now().isoformat(), "zone": str(house.zone)}
