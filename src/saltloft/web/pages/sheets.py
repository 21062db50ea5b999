"""Blank sheets for the clipboard, and the fast screen to type them in: a line a reading, keyboard only."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace

from fastapi import APIRouter, Request
from starlette.responses import Response

from saltloft.foundation.errors import InputError, SaltloftError
from saltloft.foundation.units import decimal_number, mass
from saltloft.foundation.words import say, say_many
from saltloft.house import House
from saltloft.jobs import floor, record, rooms
from saltloft.jobs.floor import Hanging
from saltloft.plant.readings import PH_PLACES, PhRead, PieceWeighed
from saltloft.plant.stated import Draft, Receipt
from saltloft.plant.trade_words import ph_place_word
from saltloft.web.entry_jobs import place_words
from saltloft.web.pages.correct import FormTexts, moment_typed
from saltloft.web.visitor import SignedInVisitor, Visitor, check_form

routes = APIRouter()
# Blank lines behind those that are filled, and the most that one sending takes.
BLANK_LINES = 12
MOST_LINES = 200
PH_COLUMNS = 5
LINE_FIELDS = ("lot", "tag", "number", "id", "kept")


@dataclass(frozen=True)
class Sheet:
    """One table of a blank sheet.

    Args:
        title, beside: str.
        columns: tuple of str.
        rows: tuple of tuple of str. Empty text is a cell to write in.
    """

    title: str
    beside: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True)
class TypedLine:
    """One line as typed, and what became of it.

    Args:
        lot, tag, number: str. As typed.
        entry_id: str. Stays with the line, so that sending it twice is harmless.
        problem: str. Why it was not taken; empty when it was not sent yet.
        question: str. Asked about an unexpected number.
        stored: str. What was stored.
    """

    lot: str = ""
    tag: str = ""
    number: str = ""
    entry_id: str = ""
    problem: str = ""
    question: str = ""
    stored: str = ""

    @property
    def blank(self) -> bool:
        """True when nothing was typed."""
        return not (self.tag.strip() or self.number.strip())


def sheet_titles() -> dict[str, str]:
    """The sheets there are."""
    return {"weigh": say("Weigh sheet"), "ph": say("pH sheet"), "round": say("Room round")}


@routes.get("/sheets/{sort}")
def sheet_page(request: Request, visitor: SignedInVisitor, sort: str, lot: str = "") -> Response:
    """A sheet to print and write on."""
    titles = sheet_titles()
    if sort not in titles:
        raise InputError(say("There is no such sheet"), got=sort, allowed=", ".join(titles))
    house: House = request.app.state.house
    page: Response = request.app.state.pages.render(
        request,
        "sheets.html",
        title=titles[sort],
        sort=sort,
        titles=titles,
        sheets=_sheets(house, visitor, sort, lot),
        typed_in=sort != "round",
    )
    return page


def _sheets(house: House, visitor: Visitor, sort: str, lot: str) -> list[Sheet]:
    if sort == "round":
        return [_round(house, visitor)]
    hanging = [own for own in floor.hanging(house) if not lot or own.lot == lot]
    if sort == "weigh":
        return [_weigh_sheet(own, visitor) for own in hanging]
    return [_ph_sheet(own) for own in hanging]


def _weigh_sheet(lot: Hanging, visitor: Visitor) -> Sheet:
    unit = visitor.units.mass
    columns = (
        say("tag"),
        say("last, {unit}", unit=unit),
        say("now, {unit}", unit=unit),
        say("time"),
        say("seen"),
    )
    rows = tuple(
        (piece.tag, visitor.units.mass_of(piece.last_kg * 1e6, 3), "", "", "") for piece in lot.pieces
    )
    blank = tuple(("",) * len(columns) for _ in range(0 if rows else 6))
    return Sheet(lot.lot, say("{place} · scale ______", place=place_words(lot)), columns, rows or blank)


def _ph_sheet(lot: Hanging) -> Sheet:
    columns = (say("time"), say("where"), *(f"pH {number + 1}" for number in range(PH_COLUMNS)), say("by"))
    rows = tuple(("",) * len(columns) for _ in range(3))
    return Sheet(lot.lot, say("{place} · meter ______", place=place_words(lot)), columns, rows)


def _round(house: House, visitor: Visitor) -> Sheet:
    columns = (
        say("room"), visitor.units.temperature, "%RH", say("fans, defrost"), say("nose, casings, floor"),
        say("time"), say("by"),
    )  # fmt: skip
    rows = tuple((room, *("",) * (len(columns) - 1)) for room in rooms.names(house))
    return Sheet(say("Every room"), say("date ______"), columns, rows)


@routes.get("/type/{sort}")
def type_page(request: Request, visitor: SignedInVisitor, sort: str) -> Response:
    """An empty sheet to type in."""
    return _page(request, visitor, sort, {}, [])


@routes.post("/type/{sort}")
def type_in(request: Request, visitor: SignedInVisitor, sort: str, form: FormTexts) -> Response:
    """Record every line by itself; those that are not taken stay, with the reason beside them."""
    check_form(visitor, form.get("csrf", ""))
    _known_sort(sort)
    house: House = request.app.state.house
    lines = [line for line in typed_lines(form) if not line.blank]
    drafts: dict[str, Draft] = {}
    answers: dict[str, TypedLine] = {}
    for line in lines:
        try:
            at = moment_typed(form.get("when", ""), house)
            kept = form.get(f"kept.{line.entry_id}") == "1"
            drafts[line.entry_id] = Draft(line.entry_id, payload_of(sort, line, form, kept=kept), at)
        except SaltloftError as error:
            answers[line.entry_id] = replace(line, problem=_words(error))
    if drafts:
        receipts = record.enter(house, visitor.stamp(house), list(drafts.values()))
        by_id = {receipt.entry_id: receipt for receipt in receipts}
        answers.update(
            {one.entry_id: _answered(one, by_id[one.entry_id]) for one in lines if one.entry_id in by_id}
        )
    return _page(request, visitor, sort, form, [answers[line.entry_id] for line in lines])


def typed_lines(form: Mapping[str, str]) -> list[TypedLine]:
    """The lines of a sent form, in order; a line without a lot takes the lot of the one above."""
    numbers = sorted({int(name[5:]) for name in form if re.fullmatch(r"line\.\d{1,3}", name)})[:MOST_LINES]
    found: list[TypedLine] = []
    for number in numbers:
        lot, tag, value = (form.get(f"{name}.{number}", "").strip() for name in ("lot", "tag", "number"))
        above = found[-1].lot if found else ""
        found.append(TypedLine(lot or above, tag, value, form.get(f"line.{number}", "")))
    return found


def payload_of(sort: str, line: TypedLine, form: Mapping[str, str], *, kept: bool) -> PieceWeighed | PhRead:
    """What a line states.

    Args:
        sort: str. 'weigh' or 'ph'.
        line: TypedLine.
        form: mapping of str to str. What holds for the whole sheet: unit, scale or meter.
        kept: bool. True: an unexpected number is meant.

    Raises:
        InputError: no lot, or what is no number.
    """
    if not line.lot:
        raise InputError(say("the line has no lot"), key="lot")
    instrument = form.get("instrument", "")
    if sort == "weigh":
        booked = mass(line.number, form.get("unit", "kg"), what=say("weight"))
        return PieceWeighed(line.lot, booked, instrument, tag=line.tag, kept=int(kept))
    values = tuple(decimal_number(text, say("pH")) for text in re.split(r"[\s;]+", line.number))
    return PhRead(line.lot, values, line.tag or "core", instrument, kept=int(kept))


def _answered(line: TypedLine, receipt: Receipt) -> TypedLine:
    if receipt.status in ("stored", "already"):
        return replace(line, stored=" ".join(part for part in (receipt.words, receipt.expected) if part))
    if receipt.status == "ask":
        return replace(line, question=receipt.words)
    return replace(line, problem=receipt.words)


def _words(error: SaltloftError) -> str:
    return (
        say("{what}. Taken: {allowed}", what=error.what, allowed=error.allowed)
        if error.allowed
        else error.what
    )


def _known_sort(sort: str) -> None:
    if sort not in ("weigh", "ph"):
        raise InputError(say("There is no such sheet"), got=sort, allowed="weigh, ph")


def _page(
    request: Request, visitor: Visitor, sort: str, form: Mapping[str, str], lines: list[TypedLine]
) -> Response:
    _known_sort(sort)
    house: House = request.app.state.house
    stored = [line for line in lines if line.stored]
    open_lines = [line for line in lines if not line.stored]
    blank = [TypedLine(entry_id=house.new_id()) for _ in range(BLANK_LINES)]
    hanging = floor.hanging(house)
    kind = "scale" if sort == "weigh" else "ph_meter"
    page: Response = request.app.state.pages.render(
        request,
        "type.html",
        422 if any(line.problem for line in open_lines) else 200,
        title=sheet_titles()[sort],
        sort=sort,
        sentence=_sentence(len(stored), len(open_lines)),
        stored=stored,
        lines=[*open_lines, *blank],
        fresh=not form,
        instruments=floor.instruments(house, kind),
        instrument=form.get("instrument", ""),
        unit=form.get("unit", "") or visitor.units.mass,
        when=form.get("when", "") or house.now().astimezone(house.zone).strftime("%Y-%m-%dT%H:%M"),
        lots=[own.lot for own in hanging],
        places=[(place, ph_place_word(place)) for place in PH_PLACES],
    )
    return page


def _sentence(stored: int, left: int) -> str:
    if not stored and not left:
        return say("One line a reading. Enter goes on to the next field, and from the last to the next line.")
    words = [say_many("{count} line stored.", "{count} lines stored.", stored)] if stored else []
    if left:
        words.append(
            say_many("{count} line is not, and stays below.", "{count} lines are not, and stay below.", left)
        )
    return " ".join(words)
