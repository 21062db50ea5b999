"""One lot: the sentence that answers, its curve over its room's air, three lines, verdicts, evidence."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Request
from markupsafe import Markup
from starlette.responses import Response

from saltloft.foundation.words import LANGUAGE, say
from saltloft.house import House
from saltloft.jobs import hand, queue
from saltloft.papers import dossier_tables
from saltloft.papers.chart_words import lot_curve_words, ready_days_words
from saltloft.papers.page import Grid
from saltloft.papers.section_picture import outline_of
from saltloft.plant.answers import HazardStand, LotOutlook
from saltloft.plant.checks.verdict import Verdict
from saltloft.plant.entries import encode
from saltloft.plant.folder import LotFolder
from saltloft.plant.hand import HouseHand
from saltloft.plant.lot_record import LotRecord
from saltloft.plant.readings import Corrected
from saltloft.plant.rights import may
from saltloft.plant.sentences import (
    basis_words,
    calendar_day,
    caution,
    day_words,
    hazard_words,
    loss_at,
    lot_sentence,
    moment_words,
    range_words,
)
from saltloft.plant.stated import Stated
from saltloft.plant.three_lines import good_words, pays_words, shown_words
from saltloft.web.folder import folder_of
from saltloft.web.insight_view import insight_view
from saltloft.web.payload_words import kind_word, payload_words
from saltloft.web.quantities import Units, plain
from saltloft.web.ready_view import hand_view, ready_view
from saltloft.web.section_view import section_view
from saltloft.web.states import state_word
from saltloft.web.verdict_words import confidence_words, margin_words
from saltloft.web.visitor import SignedInVisitor, Visitor

routes = APIRouter()


@dataclass(frozen=True)
class Picture:
    """One chart, for a desk and for a phone."""

    wide: Markup
    narrow: Markup


@dataclass(frozen=True)
class RuleLine:
    """One rule under its hazard."""

    mark: str
    word: str
    words: str
    small: str


@dataclass(frozen=True)
class StandLine:
    """One hazard as it stands."""

    title: str
    mark: str
    word: str
    words: str
    rules: tuple[RuleLine, ...]


@dataclass(frozen=True)
class EntryLine:
    """One entry of the lot's history, with what corrected it."""

    seq: int
    title: str
    said: str
    struck: bool
    corrections: tuple[str, ...]
    href: str


@routes.get("/lots/{lot}")
def lot_page(
    request: Request, visitor: SignedInVisitor, lot: str, told: int = 0, sure: float | None = None
) -> Response:
    """Everything about one lot on one page."""
    house: House = request.app.state.house
    folder = folder_of(house, lot)
    outlook, record = folder.outlook, folder.record
    curve = picture(house, outlook, "curve")
    ready = picture(house, outlook, "ready")
    # Titles and fact keys stand in their own language.
    sources = dossier_tables.sources(folder)
    page: Response = request.app.state.pages.render(
        request,
        "lot.html",
        record=record,
        title=f"{record.lot} · {folder.product.title}",
        sentence=lot_sentence(record.lot, outlook, folder.judgement, folder.next_step),
        pending=pending_words(house, folder, drawn=curve is not None),
        caution=caution(),
        holds=hold_words(folder, house),
        told=say("Recorded as entry {seq}.", seq=told) if told else "",
        basis=basis_words(outlook),
        curve=curve,
        reads_us=visitor.units.system == "us",
        curve_words=visitor.units.words(lot_curve_words(outlook)) if outlook else "",
        ready=ready,
        ready_words=ready_days_words(outlook) if outlook else "",
        actions=actions(visitor, record),
        three=three_lines(folder, visitor.units, hand.kept_hand(house)),
        why=insight_view(house, outlook, visitor.units),
        inside=section_view(outlook, visitor.units, outline_of(folder.product)),
        ready_and_dispatch=ready_view(house, folder, visitor, sure),
        hand_against_number=hand_view(house, folder, visitor),
        stands=[stand_line(stand, visitor.units) for stand in folder.judgement.hazards],
        tables=[*([curve_table(outlook)] if outlook else []), *tables(folder), sources],
        sources=sources,
        facts_word=say("Read and confirm these rows")
        if may(visitor.role, "fact.confirmed")
        else say("Read these rows"),
        entries=[entry_line(item, folder, house, visitor) for item in reversed(record.history)],
    )
    return page


def picture(house: House, outlook: LotOutlook | None, name: str) -> Picture | None:
    """A kept chart in this language, else in English; None while the worker has not drawn it."""
    if outlook is None:
        return None
    for language in dict.fromkeys((LANGUAGE.get(), "en")):
        keys = [queue.drawing_key(outlook.key, f"{name}-{size}", language) for size in ("wide", "narrow")]
        found = [queue.drawing(house, key) for key in keys]
        if found[0] is not None and found[1] is not None:
            # Drawn by our own worker from numbers and our own words, escaped by the chart library.
            return Picture(Markup(found[0]), Markup(found[1]))
    return None


def curve_table(outlook: LotOutlook) -> Grid:
    """The curve as a table: a row a week, and the day of each quantile."""
    today = outlook.asof.astimezone(ZoneInfo(outlook.zone)).date()
    target = outlook.result.targets[outlook.target_name].mean
    last = min(outlook.result.horizon_d, (target.p95 or target.p50 or outlook.age_d) + 7.0)
    rows = []
    for day in range(0, int(last - outlook.hang_offset_d) + 1, 7):
        at = outlook.hang_offset_d + day
        when = day_words(calendar_day(outlook, at), today, weekday=False)
        measured = [point for point in outlook.weighings if at <= point.day < at + 7.0]
        weighed = ", ".join(f"{plain(point.value, 1)}" for point in measured)
        rows.append((str(day), when, range_words(loss_at(outlook, at), "%"), weighed))
    columns = (say("day"), say("date"), say("loss, computed for the lot"), say("weighed in the week, %"))
    return Grid(say("The curve as a table"), columns, tuple(rows), empty=say("Nothing computed yet."))


def pending_words(house: House, folder: LotFolder, *, drawn: bool) -> str:
    """What is still being computed or drawn; empty when all is there."""
    lot = folder.record.lot
    if queue.open_for(house, queue.FORECAST, lot):
        when = (
            ""
            if folder.outlook is None
            else moment_words(folder.outlook.asof, str(house.zone), house.today())
        )
        return say("Being recomputed; shown as of {when}.", when=when) if when else say("Being computed.")
    if folder.outlook is not None and not drawn:
        return say("The curve is being drawn.")
    return ""


def hold_words(folder: LotFolder, house: House) -> list[str]:
    """Open holds: since when, by whom, why and until what."""
    return [
        say(
            "Held since {when} by {person}: {reason}{until}",
            when=moment_words(hold.held.at, str(house.zone), house.today()),
            person=folder.people.get(hold.held.person, hold.held.person),
            reason=hold.held.payload.reason,
            until=say(" (until {what})", what=hold.held.payload.until) if hold.held.payload.until else "",
        )
        for hold in folder.record.open_holds
    ]


def actions(visitor: Visitor, record: LotRecord) -> list[dict[str, str]]:
    """At most three things to do, by role."""
    dossier = {"href": f"/lots/{record.lot}/dossier.pdf", "word": say("Dossier (PDF)")}
    if not visitor.may_enter:
        return [dossier]
    decide = {"href": f"/lots/{record.lot}/release", "word": say("Hold or release")}
    if visitor.role == "quality":
        return [decide, dossier, {"href": f"/record?lot={record.lot}", "word": say("Record")}]
    weigh = {"href": f"/enter/weigh?lot={record.lot}", "word": say("Weigh")}
    first = [weigh] if record.hanging and record.family == "dry_sausage" else [decide]
    return [*first, {"href": f"/record?lot={record.lot}", "word": say("Record")}, dossier]


def three_lines(folder: LotFolder, units: Units, hands: HouseHand | None = None) -> list[dict[str, str]]:
    """Shown, good, pays: apart, in this order."""
    record, outlook = folder.record, folder.outlook
    return [
        {"word": say("shown"), "text": shown_words(folder.judgement, outlook)},
        {"word": say("good"), "text": good_words(record, outlook, hands)},
        {"word": say("pays"), "text": units.words(pays_words(record, folder.product, outlook))},
    ]


def stand_line(stand: HazardStand, units: Units) -> StandLine:
    """One hazard with every rule that speaks to it."""
    mark = stand.outcome.value
    return StandLine(
        hazard_words(stand.hazard),
        mark,
        state_word(mark),
        units.words(stand.words),
        tuple(rule_line(verdict, units) for verdict in stand.verdicts),
    )


def rule_line(verdict: Verdict, units: Units) -> RuleLine:
    """One rule: its outcome, its sentence, then margin, gaps, confidence and sources in small."""
    mark = verdict.outcome.value
    small = [
        margin_words(verdict),
        *(gap.words for gap in verdict.gaps[:3]),
        verdict.next,
        confidence_words(verdict.confidence),
        ", ".join(verdict.sources),
    ]
    return RuleLine(
        mark, state_word(mark), units.words(verdict.words), " · ".join(part for part in small if part)
    )


def tables(folder: LotFolder) -> list[Any]:
    """The evidence, folded: the same tables as in the dossier."""
    makers = (
        dossier_tables.weighings,
        dossier_tables.ph_sets,
        dossier_tables.water_activities,
        dossier_tables.analyses,
        dossier_tables.diameters,
        dossier_tables.pressed_and_cut,
        dossier_tables.rooms,
        dossier_tables.documents,
        dossier_tables.holds,
        dossier_tables.recipe,
        dossier_tables.instruments,
    )
    return [make(folder) for make in makers]


def entry_line(item: Stated[Any], folder: LotFolder, house: House, visitor: Visitor) -> EntryLine:
    """One entry, struck through when it was corrected, with every correction beneath it."""
    zone, today = str(house.zone), house.today()
    person = folder.people.get(item.person, item.person)
    title = say(
        "{kind} · {when} · {person}",
        kind=kind_word(item.kind),
        when=moment_words(item.at, zone, today),
        person=person,
    )
    corrections = []
    for correction in item.corrections:
        what = say("struck out") if correction.strikes else payload_words(item.payload)
        corrections.append(
            say(
                "#{seq} {when}, {person}: {what}. Why: {reason}",
                seq=correction.seq,
                when=moment_words(correction.at, zone, today),
                person=folder.people.get(correction.person, correction.person),
                what=what,
                reason=correction.reason,
            )
        )
    may_correct = visitor.may_enter and not isinstance(item.payload, Corrected) and bool(encode(item.payload))
    href = f"/entries/{item.entry_id}/correct" if may_correct and not item.struck else ""
    return EntryLine(item.seq, title, payload_words(item.original), item.corrected, tuple(corrections), href)
