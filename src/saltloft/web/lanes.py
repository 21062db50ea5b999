"""Lanes: each hanging lot as a bar from hanging to its target, with a soft end as wide as the doubt.

Drawn here rather than by the chart library because it is a list of links that
must answer at once; the colours are the page's own tokens.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from markupsafe import Markup, escape

from saltloft.foundation.words import say
from saltloft.plant.answers import LotOutlook
from saltloft.plant.sentences import calendar_day, day_words, when_words

ROW_PX = 24
HEAD_PX = 26
LABEL_PX = 82
MARGIN_PX = 14


@dataclass(frozen=True)
class Lane:
    """One lot's bar in calendar days.

    Args:
        lot: str.
        room: str. May be empty.
        hung: date.
        early, middle, late: date or None. Quantiles of the day the lot's mean is at its target.
    """

    lot: str
    room: str
    hung: date
    early: date | None
    middle: date | None
    late: date | None


def lane_of(outlook: LotOutlook, room: str = "") -> Lane:
    """The lane of one outlook; without a promise it has no end."""
    band = outlook.result.targets[outlook.target_name].mean
    ends = [
        None if end is None or not outlook.promise else calendar_day(outlook, end)
        for end in (band.p05, band.p50, band.p95)
    ]
    return Lane(outlook.lot, room, calendar_day(outlook, outlook.hang_offset_d), *ends)


def lanes_words(lanes: Sequence[Lane], today: date) -> str:
    """The drawing's sentence: how many lots, and which is next."""
    dated = [lane for lane in lanes if lane.early and lane.middle]
    first = min(dated, key=lambda lane: lane.middle or today, default=None)
    if first is None or first.early is None or first.middle is None:
        return say("{count} lots hang; none has a computed day yet.", count=len(lanes))
    return say(
        "{count} lots hang; {lot} is the next at its target, {when}.",
        count=len(lanes),
        lot=first.lot,
        when=when_words(first.early, first.middle, first.late, today),
    )


def pictured(outlooks: Sequence[LotOutlook], today: date, name: str) -> Markup:
    """The lanes as a figure, once for a phone and once for a desk; empty without lots."""
    if not outlooks:
        return Markup("")
    lanes = [lane_of(outlook) for outlook in outlooks]
    caption = say("From hanging to target, computed; the soft end is as wide as the doubt.")
    return Markup(
        '<figure class="picture"><div class="wide-only">{wide}</div><div class="narrow-only">{narrow}</div>'
        "<figcaption>{caption}</figcaption></figure>"
    ).format(
        wide=draw(lanes, today, 760, f"{name}-wide"),
        narrow=draw(lanes, today, 358, f"{name}-narrow"),
        caption=caption,
    )


@dataclass(frozen=True)
class Scale:
    """Where a day lies on the drawing.

    Args:
        left, right, today: date.
        width, height: int. [px]
        name: str. Prefix of the ids inside the drawing.
    """

    left: date
    right: date
    today: date
    width: int
    height: int
    name: str

    def x(self, day: date) -> float:
        """Pixels from the left edge; days outside are moved to the edge. [px]"""
        inside = min(max(day, self.left), self.right)
        days = max((self.right - self.left).days, 1)
        return LABEL_PX + (inside - self.left).days * (self.width - LABEL_PX - MARGIN_PX) / days


def draw(lanes: Sequence[Lane], today: date, width: int, name: str) -> Markup:
    """The lanes as SVG for inline use.

    Args:
        lanes: sequence of Lane, top to bottom.
        today: date. In the house's zone.
        width: int. [px]
        name: str. Prefix of the ids inside the drawing.
    """
    earliest = min(max(lane.hung, today - timedelta(days=42)) for lane in lanes)
    latest = max(lane.late or lane.middle or today for lane in lanes) + timedelta(days=3)
    scale = Scale(
        min(earliest, today - timedelta(days=14)),
        min(max(latest, today + timedelta(days=14)), today + timedelta(days=84)),
        today,
        width,
        HEAD_PX + ROW_PX * len(lanes) + 6,
        name,
    )
    at, height = f"{scale.x(today):.1f}", scale.height
    bars = "".join(part for row, lane in enumerate(lanes) for part in _bar(lane, row, scale))
    return Markup(
        f'<svg viewBox="0 0 {width} {height}" width="{width}" height="{height}" class="lanes" role="group" '
        f'aria-label="{escape(lanes_words(lanes, today))}">'
        f'<defs><linearGradient id="{name}-soft"><stop offset="0" class="soft-from"/>'
        f'<stop offset="1" class="soft-to"/></linearGradient></defs>{"".join(_weeks(scale))}{bars}'
        f'<path class="now" d="M{at} {HEAD_PX - 4}V{height}"/>'
        f'<text class="now-word" x="{at}" y="11" text-anchor="middle">{escape(say("today"))}</text></svg>'
    )


def _weeks(scale: Scale) -> list[str]:
    room = (scale.width - LABEL_PX) / max((scale.right - scale.left).days / 7, 1)
    # A date with its year needs more room than one without.
    label = 74 if scale.left.year != scale.right.year else 48
    step = next((weeks * 7 for weeks in (1, 2, 4) if weeks * room >= label), 56)
    monday = scale.left + timedelta(days=(7 - scale.left.weekday()) % 7)
    marks = []
    while monday <= scale.right:
        at = scale.x(monday)
        marks.append(f'<path class="week" d="M{at:.1f} {HEAD_PX - 4}V{scale.height}"/>')
        if abs(at - scale.x(scale.today)) > 40 and at < scale.width - 18:
            words = escape(day_words(monday, scale.today, weekday=False))
            marks.append(f'<text class="date" x="{at:.1f}" y="11" text-anchor="middle">{words}</text>')
        monday += timedelta(days=step)
    return marks


def _bar(lane: Lane, row: int, scale: Scale) -> list[str]:
    top = HEAD_PX + row * ROW_PX
    middle = top + ROW_PX / 2
    start, solid_end = scale.x(lane.hung), scale.x(lane.early or scale.today)
    lot = escape(lane.lot)
    parts = [
        f'<a href="/lots/{lot}"><rect class="hit" x="0" y="{top}" width="{LABEL_PX}" height="{ROW_PX}"/>'
        f'<text class="lot" x="0" y="{middle + 4}">{lot}</text></a>',
        _rect('class="bar"', start, middle, max(solid_end - start, 1)),
    ]
    if lane.early and lane.middle:
        soft = max(scale.x(lane.late or date.max) - solid_end, 2)
        parts.append(_rect(f'fill="url(#{scale.name}-soft)"', solid_end, middle, soft))
        parts.append(f'<path class="middle" d="M{scale.x(lane.middle):.1f} {middle - 8}v16"/>')
    return parts


def _rect(look: str, x: float, middle: float, width: float) -> str:
    return f'<rect {look} x="{x:.1f}" y="{middle - 5}" width="{width:.1f}" height="10"/>'
