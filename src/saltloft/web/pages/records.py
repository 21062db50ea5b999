"""*Records*: the journal with search, corrected entries struck through; printed with the head."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from starlette.responses import Response

from saltloft.foundation.errors import InputError
from saltloft.foundation.words import say, say_many
from saltloft.house import House
from saltloft.jobs import devices, lots, records
from saltloft.jobs.records import RecordLine, Wanted
from saltloft.plant.rights import may
from saltloft.plant.sentences import moment_words
from saltloft.web.payload_words import kind_word, payload_words
from saltloft.web.visitor import SignedInVisitor, Visitor

routes = APIRouter()
# Said of an entry that came in this much after it happened.
LATE = timedelta(minutes=10)
# What is sealed, or stated by the wire itself, is not corrected; an import is undone.
NEVER_CORRECTED = frozenset({"readings.sealed", "readings.voided", "offline.entered", "entry.corrected"})
# Long and for machines; the entry's own hash covers them.
NOT_LISTED = dict.fromkeys(("understood", "digest", "file_digest", "series", "entries"))
LONGEST = 500


@dataclass(frozen=True)
class LineWords:
    """One entry in words.

    Args:
        seq: int.
        title, beside, words, digest: str.
        struck: bool. It counts no more as it was first stated.
        notes: tuple of str. Corrections, and that it came in late.
        href: str. Where it can be corrected; empty when the visitor can't, or nothing is left to correct.
        subject: str.
    """

    seq: int
    title: str
    beside: str
    words: str
    digest: str
    struck: bool
    notes: tuple[str, ...]
    href: str
    subject: str


@routes.get("/records")
def records_page(
    request: Request,
    visitor: SignedInVisitor,
    *,
    q: str = "",
    kind: str = "",
    person: str = "",
    device: str = "",
    day: str = "",
    before: int = 0,
) -> Response:
    """The newest entries that fit, fifty at a time."""
    house: House = request.app.state.house
    start, end = _day(day, house)
    wanted = Wanted(q.strip()[:80], kind, person, device, start, end)
    found = records.look(house, wanted, max(before, 0))
    names = lots.names(house)
    labels = devices.labels(house)
    older = {"q": q, "kind": kind, "person": person, "device": device, "day": day, "before": found.back_to}
    page: Response = request.app.state.pages.render(
        request,
        "records.html",
        sentence=_sentence(house, wanted, len(found.lines)),
        lines=[_words(line, names, labels, house, visitor) for line in found.lines],
        asked={"q": q, "kind": kind, "person": person, "device": device, "day": day},
        kinds=[(one, kind_word(one)) for one in records.kinds(house)],
        people=sorted(names.items(), key=lambda own: own[1].casefold()),
        devices=sorted(labels.items(), key=lambda own: own[1].casefold()),
        older=f"/records?{urlencode(older)}" if found.back_to else "",
        back_to=found.back_to,
    )
    return page


def _day(text: str, house: House) -> tuple[datetime | None, datetime | None]:
    """A day in the house's zone as two moments."""
    if not text.strip():
        return None, None
    try:
        first = date.fromisoformat(text.strip())
        following = first + timedelta(days=1)
    except (ValueError, OverflowError):
        raise InputError(say("the day cannot be read"), got=text, allowed="2026-11-03", key="day") from None
    return tuple(datetime.combine(one, time(), house.zone) for one in (first, following))  # type: ignore[return-value]


def _sentence(house: House, wanted: Wanted, shown: int) -> str:
    last = lots.last_seq(house)
    if wanted == Wanted():
        return say_many(
            "{count} entry; nothing was ever overwritten.",
            "{count} entries; nothing was ever overwritten.",
            last,
        )
    return say_many("{count} entry fits.", "{count} entries fit on this page.", shown)


def _words(
    line: RecordLine, names: dict[str, str], labels: dict[str, str], house: House, visitor: Visitor
) -> LineWords:
    zone, today = str(house.zone), house.today()
    happened, recorded = (moment_words(one, zone, today) for one in (line.happened_at, line.recorded_at))
    beside = say(
        "{when} · {person} · {device}",
        when=happened,
        person=names.get(line.person, line.person),
        device=labels.get(line.device, line.device),
    )
    notes = []
    if line.offline is not None:
        notes.append(_offline_words(line, recorded))
    elif line.recorded_at - line.happened_at > LATE:
        notes.append(say("recorded {when}", when=recorded))
    notes += _corrections(line, names, zone, today)
    corrected = line.stated is not None and line.stated.corrected
    struck = line.stated is not None and line.stated.struck
    kind = line.kind.partition("/")[0]
    open_to = (
        line.stated is not None and not struck and may(visitor.role, kind) and kind not in NEVER_CORRECTED
    )
    return LineWords(
        line.seq,
        f"{line.subject} · {kind_word(line.kind)}",
        beside,
        say("entry {entry}: {reason}", entry=line.corrects, reason=line.reason)
        if line.corrects
        else _short(payload_words(line.payload, NOT_LISTED)),
        line.hash[:12],
        corrected,
        tuple(notes),
        f"/entries/{line.entry_id}/correct" if open_to else "",
        line.subject,
    )


def _offline_words(line: RecordLine, recorded: str) -> str:
    assert line.offline is not None  # asked before
    moved = abs(line.offline.offset_now_ms - line.offline.offset_ms) // 1000
    words = say("entered offline, came in {when}", when=recorded)
    if abs(line.offline.offset_ms) >= 2000:
        words += "; " + say(
            "the device’s clock was {seconds} s off and is corrected",
            seconds=abs(line.offline.offset_ms) // 1000,
        )
    if moved > LATE.total_seconds():
        words += "; " + say("its clock was set anew in between, so the time may be wrong")
    return words


def _corrections(line: RecordLine, names: dict[str, str], zone: str, today: date) -> list[str]:
    if line.stated is None:
        return []
    found = []
    for own in line.stated.corrections:
        what = say("struck out") if own.strikes else _now(line.stated.payload)
        found.append(
            say(
                "no. {seq}, {when}, {person}: {what}. Why: {reason}",
                seq=own.seq,
                when=moment_words(own.at, zone, today),
                person=names.get(own.person, own.person),
                what=what,
                reason=own.reason,
            )
        )
    return found


def _short(words: str) -> str:
    return words if len(words) <= LONGEST else f"{words[:LONGEST]}…"


def _now(payload: Any) -> str:
    return say("now {words}", words=payload_words(payload))
