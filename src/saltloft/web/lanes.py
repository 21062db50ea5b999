"""Lanes: each hanging lot as a bar from hanging to its target, with a soft end as wide as the doubt.

Drawn here rather than by the chart library because it is a list of links that
must answer at once; the colours are the page's own tokens.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
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

Place = Callable[[date], float]


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


def draw(lanes: Sequence[Lane], today: date, width: int, name: str) -> Markup:
    """The lanes as SVG for inline use.

    Args:
        lanes: sequence of Lane, top to bottom.
        today: date. In the house's zone.
        width: int. [px]
        name: str. Prefix of the ids inside the drawing.
    """
    left = min([today - timedelta(days=14), *(max(lane.hung, today - timedelta(days=42)) for lane in lanes)])
    ends = [lane.late or lane.middle or today for lane in lanes]
    right = min(max([today + timedelta(days=14), *ends]) + timedelta(days=3), today + timedelta(days=84))
    scale = (width - LABEL_PX - MARGIN_PX) / max((right - left).days, 1)

    def x(day: date) -> float:
        return LABEL_PX + (min(max(day, left), right) - left).days * scale

    height = HEAD_PX + ROW_PX * len(lanes) + 6
    parts = [
        f'<svg viewBox="0 0 {width} {height}" width="{width}" height="{height}" class="lanes" '
        'role="img" aria-labelledby="' + name + '-words">',
        f'<title id="{name}-words">{escape(lanes_words(lanes, today))}</title>',
        f'<defs><linearGradient id="{name}-soft"><stop offset="0" class="soft-from"/>'
        '<stop offset="1" class="soft-to"/></linearGradient></defs>',
        *_weeks(left, right, today, x, height, width),
        *(part for row, lane in enumerate(lanes) for part in _bar(lane, row, today, x, name)),
        f'<path class="now" d="M{x(today):.1f} {HEAD_PX - 4}V{height}"/>',
        f'<text class="now-word" x="{x(today):.1f}" y="11" text-anchor="middle">{escape(say("today"))}</text>',
        "</svg>",
    ]
    return Markup("".join(parts))


def _weeks(left: date, right: date, today: date, x: Place, height: int, width: int) -> list[str]:
    step = 7 if (right - left).days / 7 * 46 < width - LABEL_PX else 14
    monday = left + timedelta(days=(7 - left.weekday()) % 7)
    marks = []
    while monday <= right:
        at = x(monday)
        marks.append(f'<path class="week" d="M{at:.1f} {HEAD_PX - 4}V{height}"/>')
        if abs(at - x(today)) > 34 and at < width - 18:
            words = escape(day_words(monday, today, weekday=False))
            marks.append(f'<text class="date" x="{at:.1f}" y="11" text-anchor="middle">{words}</text>')
        monday += timedelta(days=step)
    return marks


def _bar(lane: Lane, row: int, today: date, x: Place, name: str) -> list[str]:
    top = HEAD_PX + row * ROW_PX
    middle = top + ROW_PX / 2
    solid_end = x(lane.early or today)
    start = x(lane.hung)
    parts = [
        f'<a href="/lots/{escape(lane.lot)}"><rect class="hit" x="0" y="{top}" width="{LABEL_PX}" '
        f'height="{ROW_PX}"/><text class="lot" x="0" y="{middle + 4}">{escape(lane.lot)}</text></a>',
        f'<rect class="bar" x="{start:.1f}" y="{middle - 5}" width="{max(solid_end - start, 1):.1f}" height="10"/>',
    ]
    if lane.early and lane.middle:
        late = x(lane.late) if lane.late else x(date.max)
        parts.append(
            f'<rect fill="url(#{name}-soft)" x="{solid_end:.1f}" y="{middle - 5}" '
            f'width="{max(late - solid_end, 2):.1f}" height="10"/>'
        )
        parts.append(f'<path class="middle" d="M{x(lane.middle):.1f} {middle - 8}v16"/>')
    return parts
