"""What the pages of trace and recall need, in words and in the person's units."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from urllib.parse import quote, urlencode

from markupsafe import Markup

from saltloft.foundation.words import say
from saltloft.jobs.trace import Hit
from saltloft.papers.flow_chart import flow_svg, sort_word
from saltloft.papers.flow_groups import place_word
from saltloft.papers.page import Grid
from saltloft.plant.sentences import day_words
from saltloft.plant.trace_words import Mass, balance_words, trace_sentence
from saltloft.plant.traced import RecallAnswer, Traced, TracedRow
from saltloft.web.quantities import Units, plain

KG = 1_000_000
# A list longer than this is read on paper or as a file.
MOST_ROWS = 400


def mass_words(units: Units) -> Mass:
    """A weight in the person's unit, with no more digits than it is read with."""

    def words(mg: float) -> str:
        if 0 < abs(mg) < KG and units.mass == "kg":
            return say("{number} g", number=plain(mg / 1000, 0))
        return f"{units.mass_of(mg, 0 if abs(mg) >= 100 * KG or not mg else 1)} {units.mass}"

    return words


@dataclass(frozen=True)
class Picture:
    """A flow for a desk and for a phone.

    Args:
        wide, narrow: Markup. SVG.
        words: str. The same in a sentence.
    """

    wide: Markup
    narrow: Markup
    words: str


def picture_of(traced: Traced, units: Units) -> Picture:
    """The picture of a trace, in both sizes."""
    mass = mass_words(units)
    words = trace_sentence(traced, mass)
    # The boxes' words are escaped where they are drawn.
    drawn = [Markup(flow_svg(traced, words, mass, narrow=narrow)) for narrow in (False, True)]
    return Picture(drawn[0], drawn[1], words)


@dataclass(frozen=True)
class Line:
    """One line of the list of a trace."""

    node: str
    href: str
    what: str
    day: str
    booked: str
    likely: str
    worst: str
    here: str
    books: str
    closes: bool
    indent: int


def lines_of(traced: Traced, units: Units) -> list[Line]:
    """The table with amounts; the starts first."""
    mass = mass_words(units)
    return [_line(traced, row, mass) for row in traced.rows[:MOST_ROWS]]


def _line(traced: Traced, row: TracedRow, mass: Mass) -> Line:
    sort = place_word(row.node.product) if row.node.sort == "sink" else sort_word(row.node.sort)
    again = say("through rework") if row.again else ""
    likely, worst = mass(row.likely_mg), mass(row.worst_mg)
    if row.unweighed:
        likely = say("{amount} or more", amount=likely) if row.likely_mg else say("not weighed")
        worst = say("not known")
    return Line(
        node=row.node.node,
        href=href_of(row.node.node),
        what=", ".join(
            part for part in (sort, "" if row.node.sort == "sink" else row.title, row.party, again) if part
        ),
        day=_day(traced, row.at),
        booked=mass(row.node.booked_mg) if row.node.booked_mg else "–",
        likely=likely,
        worst=worst,
        here="" if row.here_mg is None else mass(row.here_mg) if row.here_mg else "–",
        books=balance_words(row.balance, mass) if row.balance else "",
        closes=row.balance is None or row.balance.closes,
        indent=min(row.steps, 6),
    )


def _day(traced: Traced, moment: datetime | None) -> str:
    if moment is None:
        return ""
    today = traced.at.astimezone(moment.tzinfo).date()
    return day_words(moment.date(), today, weekday=False)


def href_of(node: str, way: str = "") -> str:
    """The page of a trace."""
    said = {"node": node, **({"way": way} if way else {})}
    return f"/trace?{urlencode(said)}"


def recall_href(starts: Sequence[str], path: str = "/trace/recall", **more: str) -> str:
    """The page, or a paper, of a recall."""
    said = [("of", start) for start in starts] + [(name, value) for name, value in more.items() if value]
    return f"{path}?{urlencode(said)}"


@dataclass(frozen=True)
class HitLine:
    """Something a typed number can mean, as a link."""

    href: str
    node: str
    words: str


def hit_lines(hits: Sequence[Hit]) -> list[HitLine]:
    """What was found, in words."""
    return [
        HitLine(
            href_of(hit.node),
            hit.node,
            ", ".join(part for part in (sort_word(hit.sort), hit.words, hit.why) if part),
        )
        for hit in hits
    ]


def thing_href(node: str, sort: str) -> str:
    """The page that a tag of a thing opens for those who read the house's pages."""
    return f"/lots/{quote(node, safe='')}" if sort == "lot" else href_of(node)


@dataclass(frozen=True)
class CallLine:
    """A customer to call, with what the form needs."""

    party: str
    name: str
    phone: str
    tel: str
    weight: str
    packs: str
    again: bool


def call_lines(answer: RecallAnswer, units: Units) -> list[CallLine]:
    """Whom to call, most weight first."""
    mass = mass_words(units)
    lines = []
    for one in answer.recall.customers:
        caller = answer.caller(one.party)
        tel = "".join(sign for sign in caller.phone if sign.isdigit() or sign == "+")
        lines.append(
            CallLine(
                one.party, caller.shown, caller.phone, tel, mass(one.mg), ", ".join(one.packs), one.again
            )
        )
    return lines


@dataclass(frozen=True)
class StockLine:
    """A pack lot to block and count."""

    node: str
    product: str
    here: str
    field: str


def stock_lines(answer: RecallAnswer, units: Units) -> list[StockLine]:
    """Pack lots, and lots that lie unpacked, of which something is here by the books."""
    mass = mass_words(units)
    here = {**answer.recall.again.here_mg, **answer.recall.account.here_mg}
    return [
        StockLine(node.node, answer.title(node.product), mass(here[node.node]), f"count.{node.node}")
        for node in (*answer.recall.packs, *(lot.node for lot in answer.recall.lots))
        if here.get(node.node, 0) > 0
    ]


def lots_grid(answer: RecallAnswer, units: Units) -> Grid:
    """Lots in scope."""
    mass = mass_words(units)
    rows = []
    for lot in answer.recall.lots:
        title = answer.title(lot.node.product)
        finished = mass(lot.finished_mg) if lot.finished_mg else "–"
        if lot.yielding:
            finished = say(
                "{finished} of {expected}", finished=finished, expected=mass(lot.yielding.expected_mg)
            )
        what = say("{product}, through rework", product=title) if lot.again else title
        rows.append((lot.node.node, what, mass(lot.node.booked_mg), finished))
    columns = (say("lot"), say("product"), say("stuffed"), say("finished, of expected"))
    empty = say("No lot is in scope.")
    return Grid(say("Lots in scope"), columns, tuple(rows), right=(2, 3), empty=empty)
