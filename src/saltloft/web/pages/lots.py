"""*Lots*: kilograms in, kilograms out and loss by lot against what was expected, as table and CSV."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter, Request
from starlette.responses import Response

from saltloft.foundation.units import MILLIGRAMS
from saltloft.foundation.words import say
from saltloft.house import House
from saltloft.jobs import lots as lot_job
from saltloft.jobs.today import yield_csv
from saltloft.plant.answers import LotOutlook, YieldRow
from saltloft.plant.lot_record import LotSummary
from saltloft.plant.sentences import now_words, number_words
from saltloft.web.lanes import lane_of, lanes_words, pictured
from saltloft.web.morning import morning_of
from saltloft.web.other_lots import fresh_grid, ham_grid
from saltloft.web.pages.today import gathering
from saltloft.web.quantities import Units, plain
from saltloft.web.visitor import SignedInVisitor

routes = APIRouter()
PAGE = 60
MOST_LANES = 40
MARK_OF_STATE = {
    "made": "due",
    "hanging": "waiting",
    "held": "held",
    "off_racks": "ready",
    "released": "ready",
    "gone": "waiting",
    "ended": "waiting",
}


@dataclass(frozen=True)
class LotRow:
    """One line of the table, in words and the person's units."""

    lot: str
    mark: str
    word: str
    in_mass: str
    out_mass: str
    loss: str
    expected: str


def lot_state_word(state: str) -> str:
    """Where a lot stands."""
    words = {
        "made": say("made, not hung"),
        "hanging": say("hanging"),
        "held": say("held"),
        "off_racks": say("off the racks"),
        "released": say("released"),
        "gone": say("gone"),
        "ended": say("split or merged"),
    }
    return words.get(state, state)


@routes.get("/lots")
def lots_page(request: Request, visitor: SignedInVisitor, before: int = 0) -> Response:
    """Hanging lots first, then the others, newest first, a page at a time."""
    house: House = request.app.state.house
    morning = morning_of(request)
    if morning is None:
        return gathering(request)
    day = morning.day
    yields = {row.lot: row for row in day.yields}
    outlooks = {outlook.lot: outlook for outlook in day.lots}
    order = ("held", "made", "hanging", "off_racks", "released", "gone", "ended")
    summaries = sorted(lot_job.summaries(house), key=lambda row: order.index(row.state))
    shown = summaries[before : before + PAGE]
    later = before + PAGE
    page: Response = request.app.state.pages.render(
        request,
        "lots.html",
        sentence=lanes_words([lane_of(lot) for lot in day.lots], day.day),
        freshness=morning.freshness,
        lanes=pictured(day.lots[:MOST_LANES], day.day, "lots"),
        rows=[row_of(row, yields.get(row.lot), outlooks.get(row.lot), visitor.units) for row in shown],
        older_href=f"/lots?before={later}" if later < len(summaries) else "",
        hams=ham_grid(day.hams),
        fresh=fresh_grid(day.fresh, visitor.units, day.day),
        mass_unit=visitor.units.mass,
        may_enter=visitor.may_enter,
    )
    return page


def row_of(summary: LotSummary, found: YieldRow | None, outlook: LotOutlook | None, units: Units) -> LotRow:
    """One line: in by what was stuffed, out and loss by what was weighed; computed now where it was not."""
    kilograms = float(MILLIGRAMS["kg"])
    out_mass = loss = expected = ""
    if found is not None:
        out_mass = "" if found.out_kg is None else units.mass_of(found.out_kg * kilograms)
        loss = "" if found.loss_pct is None else f"{plain(found.loss_pct, 1)} %"
        expected = expected_words(found)
    elif outlook is not None:
        expected = now_words(outlook)
    mark = MARK_OF_STATE.get(summary.state, "waiting")
    word = lot_state_word(summary.state)
    return LotRow(summary.lot, mark, word, units.mass_of(summary.green_mg), out_mass, loss, expected)


def expected_words(row: YieldRow) -> str:
    """The computed loss with its range, no finer than whole points."""
    if row.expected_pct is None:
        return ""
    if row.expected_low_pct is None or row.expected_high_pct is None:
        return say("{value} %", value=number_words(row.expected_pct, 0))
    return say(
        "{value} % ({low} to {high})",
        value=number_words(row.expected_pct, 0),
        low=number_words(row.expected_low_pct, 0),
        high=number_words(row.expected_high_pct, 0),
    )


@routes.get("/lots/yields.csv")
def yields_csv(request: Request, visitor: SignedInVisitor) -> Response:
    """The same table as CSV, in the person's unit of mass; the heading names it."""
    morning = morning_of(request)
    text = yield_csv(morning.day.yields if morning else (), visitor.units.system)
    headers = {"Content-Disposition": 'attachment; filename="yields.csv"'}
    return Response(text, media_type="text/csv; charset=utf-8", headers=headers)
