"""What every chart is made of: colours, the shared time axis, layers, and drawing one as an image."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import Any
from zoneinfo import ZoneInfo

from saltloft.foundation.words import say
from saltloft.plant.answers import LotOutlook
from saltloft.plant.sentences import day_words

Spec = dict[str, Any]

INK, RULE, SEA, HEATHER = "#22262a", "#d8d3c7", "#1f6273", "#7a4b73"
BLOOM, BLOOM_DEEP, RUST, MOSS = "#e6e8e0", "#d3d3d2", "#9c3b1f", "#4d6b2f"
PAPER_FONT = "Libertinus Serif"
SCREEN_FONT = "system-ui, sans-serif"
TICK_STEPS = (1, 2, 4, 7, 14, 28, 56, 112)


@dataclass(frozen=True)
class Frame:
    """The time axis that a lot's panels share.

    Args:
        start: float. Left end, from hanging. [d]
        end: float. Right end, from hanging. [d]
        offset: float. Days from stuffing to hanging. [d]
        today: float. From hanging. [d]
        width: int. Of the plot; decides how many dates have room under it. [px]
    """

    start: float
    end: float
    offset: float
    today: float
    width: int = 520


def frame_of(outlook: LotOutlook) -> Frame:
    """The stretch of days worth showing: from stuffing to a little past the late end."""
    offset = outlook.hang_offset_d
    target = outlook.result.targets[outlook.target_name].mean
    late = next((end for end in (target.p95, target.p50) if end is not None), outlook.result.horizon_d)
    end = min(max(late * 1.12, outlook.age_d + 3.0), outlook.result.horizon_d)
    return Frame(min(0.0, -offset), max(end - offset, 1.0), offset, outlook.age_d - offset)


def svg(spec: Mapping[str, Any]) -> str:
    """Draw a spec as an SVG image; nothing is loaded from outside."""
    # vl_convert starts a script engine: only those who draw pay for it.
    import vl_convert  # noqa: PLC0415

    return str(vl_convert.vegalite_to_svg(dict(spec), allowed_base_urls=[]))


def chart(body: Spec, font: str) -> Spec:
    config: Spec = {
        "font": font,
        "background": None,
        "view": {"stroke": None},
        "axis": {
            "labelFont": font,
            "titleFont": font,
            "titleFontWeight": "normal",
            "labelColor": INK,
            "titleColor": INK,
            "labelFontSize": 10.5,
            "titleFontSize": 11,
            "gridColor": RULE,
            "domainColor": INK,
            "tickColor": INK,
        },
        # The panels of one chart keep their words in one column.
        "axisLeft": {"minExtent": 38, "titleX": -36},
    }
    return {"$schema": "https://vega.github.io/schema/vega-lite/v5.json", "config": config, **body}


def x_axis(frame: Frame, outlook: LotOutlook, *, labels: bool = True) -> Spec:
    span = frame.end - frame.start
    # A date needs about 58 pixels, one with its year 74.
    room = frame.width / (74 if _crosses_new_year(frame, outlook) else 58)
    step = next((step for step in TICK_STEPS if span / step <= min(room, 9)), TICK_STEPS[-1])
    ticks = [day for day in range(max(0, int(frame.start)), int(frame.end) + 1) if day % step == 0]
    axis: Spec = {"values": ticks, "title": say("days since hanging") if labels else None, "grid": True}
    if labels:
        today = outlook.asof.astimezone(ZoneInfo(outlook.zone)).date()
        words = {}
        for day in ticks:
            moment = (outlook.hung_at + timedelta(days=day)).astimezone(ZoneInfo(outlook.zone))
            words[str(day)] = [str(day), day_words(moment.date(), today, weekday=False)]
        axis["labelExpr"] = f"({json.dumps(words)})[datum.value]"
    else:
        axis["labels"] = False
    return {
        "field": "day",
        "type": "quantitative",
        "scale": {"domain": [frame.start, frame.end], "nice": False, "zero": False},
        "axis": axis,
    }


def _crosses_new_year(frame: Frame, outlook: LotOutlook) -> bool:
    first, last = (outlook.hung_at + timedelta(days=day) for day in (frame.start, frame.end))
    return first.year != last.year


def today_line(frame: Frame, x: Spec, outlook: LotOutlook) -> list[Spec]:
    word = say("today") if outlook.hanging else say("off the racks")
    row = {"day": round(frame.today, 3), "word": word}
    words = {"type": "text", "align": "left", "dx": 3, "dy": 8, "color": INK, "fontSize": 10.5}
    line = {"type": "rule", "color": INK, "strokeWidth": 0.8}
    return [layer([row], line, x=x), layer([row], words, x=x, y={"value": 0}, text="word")]


def field(name: str, axis: Mapping[str, Any]) -> Spec:
    return {"field": name, **axis}


def on(name: str, axis: Mapping[str, Any]) -> Spec:
    return {**axis, "field": name}


def layer(
    rows: Sequence[Mapping[str, Any]],
    mark: Mapping[str, Any],
    *,
    x: Spec | None = None,
    y: Spec | None = None,
    x2: str = "",
    y2: str = "",
    text: str = "",
    detail: str = "",
) -> Spec:
    encoding: Spec = {}
    for name, channel in (("x", x), ("y", y)):
        if channel is not None:
            encoding[name] = channel
    for name, field in (("x2", x2), ("y2", y2)):
        if field:
            encoding[name] = {"field": field}
    for name, field in (("text", text), ("detail", detail)):
        if field:
            encoding[name] = {"field": field, "type": "nominal"}
    return {"data": {"values": list(rows)}, "mark": {"clip": True, **mark}, "encoding": encoding}
