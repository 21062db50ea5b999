"""'Why this day, and what would narrow it' of the lot page."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from zoneinfo import ZoneInfo

from markupsafe import Markup

from saltloft.foundation.words import say
from saltloft.house import House
from saltloft.jobs import insight as insight_job
from saltloft.papers.course_chart import CourseAxis, course_svg, places, span_of
from saltloft.papers.page import Grid
from saltloft.plant import insight_words
from saltloft.plant.answers import LotOutlook
from saltloft.plant.insight import ForecastPoint, Insight
from saltloft.plant.sentences import calendar_day, day_words
from saltloft.web.quantities import Units, plain

WIDE_PX, NARROW_PX, TALL_PX = 560.0, 340.0, 190.0
DAY_STEPS = (1, 2, 4, 7, 14, 28, 56, 112)


@dataclass(frozen=True)
class InsightView:
    """What the section shows; every part may be empty."""

    moved: str
    advice: str
    early: str
    house: str
    stale: str
    wide: Markup
    narrow: Markup
    words: str
    hollow: str
    moves: Grid
    taught: Grid


def insight_view(house: House, outlook: LotOutlook | None, units: Units) -> InsightView | None:
    """What is known of a lot's forecast beyond its numbers; None while nothing was made of it.

    Args:
        house: House.
        outlook: LotOutlook or None.
        units: Units.
    """
    found = None if outlook is None else insight_job.kept_insight(house, outlook.lot)
    if outlook is None or found is None:
        return None
    # What moved the forecast belongs to the one it was computed with.
    current = found.key == outlook.key
    # Where no date is promised, none is drawn.
    drawn = len(found.points) > 1 and outlook.promise
    words = insight_words.course_words(found, outlook) if drawn else ""
    pictures = [
        _course(found.points, outlook, words, width) if drawn else "" for width in (WIDE_PX, NARROW_PX)
    ]
    return InsightView(
        moved=units.words(insight_words.moved_words(found, outlook)),
        advice=insight_words.advice_words(found, outlook),
        early=insight_words.early_words(found, outlook),
        house=insight_words.house_words(found),
        stale=""
        if current
        else say("This is of the forecast before the last one; the new one is being compared."),
        wide=Markup(pictures[0]),
        narrow=Markup(pictures[1]),
        words=words,
        hollow=_hollow_words(found),
        moves=_moves(found, outlook, units),
        taught=_taught(found, outlook),
    )


def _hollow_words(found: Insight) -> str:
    parts = []
    if any(point.replayed for point in found.points):
        parts.append(
            say(
                "Hollow dots were computed later: what had happened to the lot by then, with what the "
                "house knows today."
            )
        )
    most = span_of(found.points)[1]
    if any(point.late_d is None or point.late_d > most for point in found.points):
        parts.append(say("Where the band meets the upper edge, its late end lies beyond it or is open."))
    return " ".join(parts)


def _moves(found: Insight, outlook: LotOutlook, units: Units) -> Grid:
    """Every cause in the order in which it was taken over."""
    rows = []
    for move in found.moves:
        days = "–" if move.days is None else ("+" if move.days > 0.0 else "") + plain(move.days, 1)
        rows.append((units.words(insight_words.cause_words(move, outlook)), days))
    note = say(
        "Each line is the model run again with that one thing changed, in this order; what two causes share "
        "falls to the first. The lines add up to the whole move."
    )
    title = say("What moved the ready day, cause by cause")
    return Grid(
        title,
        (say("cause"), say("days later")),
        tuple(rows),
        right=(1,),
        note=note,
        empty=say("Nothing moved it."),
    )


def _taught(found: Insight, outlook: LotOutlook) -> Grid:
    """Every visit with the doubt before and after it."""
    teaching = found.teaching
    title = say("Which reading taught what")
    columns = (
        say("day"),
        say("reading"),
        say("doubt before → after"),
        say("doubt without it"),
        say("told most of"),
    )
    if teaching is None:
        return Grid(
            title, columns, (), empty=say("The target is not reached in half of the cases: no day to narrow.")
        )
    rows = tuple(insight_words.taught_row(one, found, outlook) for one in teaching.taught)
    note = " ".join(
        (
            insight_words.asked_words(teaching, outlook),
            say("Readings in time order; the last but one column leaves out that reading alone."),
        )
    )
    return Grid(title, columns, rows, right=(2, 3), note=note, empty=say("Nothing read yet."))


def _course(points: Sequence[ForecastPoint], outlook: LotOutlook, words: str, width: float) -> str:
    """The course with dates on both sides."""
    zone = ZoneInfo(outlook.zone)
    today = outlook.asof.astimezone(zone).date()
    dates = [point.at.astimezone(zone).date() for point in points]
    across: list[tuple[float, str]] = []
    for place, day in zip(places(points), dates, strict=True):
        # A date has room when the one before it is far enough away.
        if not across or (place - across[-1][0]) * width > 76.0:
            across.append((place, day_words(day, today, weekday=False)))
    low, high = span_of(points)
    step = next((step for step in DAY_STEPS if (high - low) / step <= 5.0), DAY_STEPS[-1])
    first = calendar_day(outlook, low)
    up = [
        (low + number, _day(first + timedelta(days=number), today))
        for number in range(0, int(high - low) + 1, step)
    ]
    return course_svg(points, CourseAxis(across, up), words, width=width, height=TALL_PX)


def _day(day: date, today: date) -> str:
    return day_words(day, today, weekday=False)
