"""Fact rows behind the verdicts: read them with their source, and confirm them with the PIN."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse
from starlette.responses import Response

from saltloft.foundation.errors import InputError, SaltloftError
from saltloft.foundation.words import say, say_many
from saltloft.house import House
from saltloft.jobs import confirm, lots, people, record
from saltloft.jobs.confirm import FactRow
from saltloft.plant.rights import may
from saltloft.plant.sentences import caution, moment_words
from saltloft.plant.stated import Draft
from saltloft.plant.trade_words import confidence_word, unit_sign
from saltloft.web.pages.correct import FormTexts, refusal
from saltloft.web.visitor import SignedInVisitor, Visitor, check_form, check_pin

routes = APIRouter()
KIND = "fact.confirmed"


@dataclass(frozen=True)
class RowLine:
    """One row as the page shows it, in words."""

    key: str
    value: str
    unit: str
    mark: str
    word: str
    lines: tuple[tuple[str, str], ...]
    digest: str
    open: bool
    correct_href: str


@dataclass(frozen=True)
class SourceGroup:
    """One work with the rows taken from it; one form confirms those that were read in it."""

    key: str
    title: str
    address: str
    rows: tuple[RowLine, ...]
    waiting: int


@routes.get("/facts")
def facts_page(request: Request, visitor: SignedInVisitor, lot: str = "", told: int = 0) -> Response:
    """The rows a lot's verdicts rest on, or every rule's: value, range, source, place, confirmation."""
    words = ""
    if told:
        words = say_many("{count} row confirmed.", "{count} rows confirmed.", told)
    return _page(request, visitor, lot, told=words)


@routes.post("/facts")
def confirm_rows(request: Request, visitor: SignedInVisitor, form: FormTexts, lot: str = "") -> Response:
    """Sign the rows that were ticked, one entry each."""
    check_form(visitor, form.get("csrf", ""))
    house: House = request.app.state.house
    ticked = {
        name.removeprefix("row."): value for name, value in form.items() if name.startswith("row.") and value
    }
    try:
        if not ticked:
            raise InputError(say("no row was ticked"), do=say("tick each row you read in the source"))
        drafts = [
            Draft(
                form.get(f"entry.{key}", ""),
                confirm.confirmation(house, key, form.get("edition", ""), digest),
                house.now(),
            )
            for key, digest in ticked.items()
        ]
        check_pin(request, visitor, form.get("pin", ""))
    except SaltloftError as error:
        return _page(request, visitor, lot, form=form, problem=error)
    receipts = record.enter(house, visitor.stamp(house), drafts)
    refused = [receipt for receipt in receipts if receipt.status not in ("stored", "already")]
    if refused:
        return _page(request, visitor, lot, form=form, problem=refusal(refused[0]))
    query = {"told": len(receipts), **({"lot": lot} if lot else {})}
    return RedirectResponse(f"/facts?{urlencode(query)}", 303)


def _page(
    request: Request,
    visitor: Visitor,
    lot: str,
    *,
    told: str = "",
    form: dict[str, str] | None = None,
    problem: SaltloftError | None = None,
) -> Response:
    house: House = request.app.state.house
    found = confirm.rows(house, lot)
    typed = form or {}
    page: Response = request.app.state.pages.render(
        request,
        "facts.html",
        422 if problem else 200,
        lot=lot,
        sentence=facts_sentence(found, lot),
        groups=groups_of(found, house, visitor),
        may_confirm=may(visitor.role, KIND),
        has_pin=people.has_pin(house, visitor.person),
        typed=typed,
        told=told,
        problem=problem,
        caution=caution(),
        new_id=house.new_id,
    )
    return page


def facts_sentence(rows: Sequence[FactRow], lot: str) -> str:
    """How many rows the verdicts rest on, and how many nobody confirmed."""
    if not rows:
        return say("No rule read a fact row.")
    waiting = sum(row.open for row in rows)
    rests = (
        say_many(
            "The verdicts of {lot} rest on {count} fact row.",
            "The verdicts of {lot} rest on {count} fact rows.",
            len(rows),
            lot=lot,
        )
        if lot
        else say_many(
            "The rules of this house rest on {count} fact row.",
            "The rules of this house rest on {count} fact rows.",
            len(rows),
        )
    )
    if not waiting:
        demo = any(row.confirmed is not None and row.confirmed.payload.demo for row in rows)
        all_of_them = say("All are marked confirmed; by the demo, no edition was read.") if demo else ""
        return f"{rests} {all_of_them or say('All are confirmed.')}"
    counts = say_many(
        "{count} is not confirmed; a rule that rests on it counts as not shown.",
        "{count} are not confirmed; a rule that rests on one of them counts as not shown.",
        waiting,
    )
    return f"{rests} {counts}"


def groups_of(rows: Sequence[FactRow], house: House, visitor: Visitor) -> list[SourceGroup]:
    """The rows by the work they were taken from, works with unconfirmed rows first."""
    names = lots.names(house)
    works = dict.fromkeys(row.source.key for row in rows)
    found = []
    for work in works:
        own = [row for row in rows if row.source.key == work]
        lines = tuple(row_line(row, house, names, visitor) for row in own)
        source = own[0].source
        found.append(SourceGroup(work, source.title, source.address, lines, sum(row.open for row in own)))
    return sorted(found, key=lambda group: not group.waiting)


def row_line(row: FactRow, house: House, names: dict[str, str], visitor: Visitor) -> RowLine:
    """One row with everything a reader compares with the source."""
    fact = row.fact
    given = (
        (say("range"), _range(fact.low, fact.high, unit_sign(fact.unit))),
        (say("may be used for"), fact.valid),
        (say("place in the source"), fact.place),
        (say("how it is known"), confidence_word(str(fact.confidence))),
        (say("computed from"), ", ".join(fact.rests_on)),
        (say("note"), fact.note),
        (say("confirmed"), confirmed_words(row, house, names)),
    )
    own = row.confirmed is not None and may(visitor.role, KIND)
    return RowLine(
        key=fact.key,
        value=_number(fact.value),
        unit=unit_sign(fact.unit),
        mark="not shown" if row.open else "met",
        word=state_of(row),
        lines=tuple((name, text) for name, text in given if text),
        digest=row.digest,
        open=row.open,
        correct_href=f"/entries/{row.confirmed.entry_id}/correct" if row.confirmed and own else "",
    )


def state_of(row: FactRow) -> str:
    """Whether the row is confirmed, in a word or two."""
    if row.open:
        return say("not confirmed")
    demo = row.confirmed is not None and row.confirmed.payload.demo
    return say("confirmed by the demo") if demo else say("confirmed")


def confirmed_words(row: FactRow, house: House, names: dict[str, str]) -> str:
    """Who confirmed the row, when and in which edition."""
    if row.confirmed is not None:
        item = row.confirmed
        if item.payload.demo:
            return say(
                "{when} by {person}, demo: edition not read",
                when=moment_words(item.at, str(house.zone), house.today()),
                person=names.get(item.person, item.person),
            )
        return say(
            "{when} by {person}, edition {edition}",
            when=moment_words(item.at, str(house.zone), house.today()),
            person=names.get(item.person, item.person),
            edition=item.payload.edition,
        )
    if row.by_source:
        return say("by its source, read")
    if row.outdated:
        return say("an earlier form of this row only; it changed since")
    return say("by nobody yet")


def _number(value: Decimal | str) -> str:
    return value if isinstance(value, str) else format(value, "f")


def _range(low: Decimal | None, high: Decimal | None, unit: str) -> str:
    if low is None and high is None:
        return ""
    ends = [say("open") if end is None else _number(end) for end in (low, high)]
    return say("{low} to {high} {unit}", low=ends[0], high=ends[1], unit=unit).rstrip()
