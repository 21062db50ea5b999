"""Charts as Vega-Lite specs: a lot's curve with its room's air, and its ready days.

Time runs left to right in days since hanging with the dates under them.
Measured points are dots with their error, computed bands are tinted with
dotted edges, and a stretch without a reading is hatched and named.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from saltloft.foundation.bands import Band
from saltloft.foundation.words import say
from saltloft.papers.thinning import thin
from saltloft.plant.answers import AirGap, LotOutlook
from saltloft.plant.sentences import day_words, target_words

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


def lot_curve(outlook: LotOutlook, *, font: str = PAPER_FONT, width: int = 520) -> Spec:
    """The lot's loss with its band, weighings and target, and the room's air under it.

    Args:
        outlook: LotOutlook.
        font: str. Font family of all words.
        width: int. Width of the plot. [px]

    Returns:
        dict. A Vega-Lite spec without outside references.
    """
    frame = replace(frame_of(outlook), width=width)
    panels = [_loss_panel(outlook, frame, width)]
    if outlook.air.time_d:
        air = outlook.air
        panels.append(_air_panel((air.time_d, air.rh_pct), say("RH %"), outlook, frame, width))
        panels.append(_air_panel((air.time_d, air.temperature_c), say("air °C"), outlook, frame, width))
    return _chart({"vconcat": panels, "spacing": 14}, font)


def ready_days(outlook: LotOutlook, *, font: str = PAPER_FONT, width: int = 520) -> Spec:
    """When the target is reached, as lanes with soft ends: lot mean, half, nine tenths, any piece.

    Args:
        outlook: LotOutlook.
        font: str. Font family of all words.
        width: int. Width of the plot. [px]
    """
    target = outlook.result.targets[outlook.target_name]
    frame = replace(_ready_frame(outlook), width=width)
    lanes = [
        (say("mean of the lot"), target.mean),
        (say("half of its pieces"), target.share_of_pieces.get("0.5")),
        (say("9 of 10 pieces"), target.share_of_pieces.get("0.9")),
        (say("one piece at random"), target.piece),
    ]
    rows = [_lane(name, band, frame) for name, band in lanes if band is not None and band.p05 is not None]
    order = [name for name, _ in lanes]
    y: Spec = {"field": "lane", "type": "nominal", "sort": order, "title": None, "axis": {"ticks": False}}
    x = _x_axis(frame, outlook)
    layers: list[Spec] = [
        _layer(rows, {"type": "bar", "height": 12, "color": BLOOM_DEEP}, x=x, x2="late", y=y),
        _layer(
            rows, {"type": "tick", "thickness": 2.5, "size": 16, "color": HEATHER}, x=_on("middle", x), y=y
        ),
        _layer(rows, {"type": "tick", "thickness": 1, "size": 12, "color": INK}, x=_on("early", x), y=y),
        _layer(
            [row for row in rows if row["closed"]],
            {"type": "tick", "thickness": 1, "size": 12, "color": INK},
            x=_on("late", x),
            y=y,
        ),
        *_today(frame, x, outlook),
    ]
    return _chart({"layer": layers, "width": width, "height": 22 * max(len(rows), 1)}, font)


def _ready_frame(outlook: LotOutlook) -> Frame:
    target = outlook.result.targets[outlook.target_name]
    bands = [target.mean, target.piece, *target.share_of_pieces.values()]
    ends = [end for band in bands for end in (band.p05, band.p50, band.p95) if end is not None]
    offset, horizon = outlook.hang_offset_d, outlook.result.horizon_d
    late = min(max([*ends, outlook.age_d + 7.0]) + 2.0, horizon)
    early = min([*ends, outlook.age_d]) - 1.0
    return Frame(early - offset, max(late, early + 4.0) - offset, offset, outlook.age_d - offset)


def svg(spec: Mapping[str, Any]) -> str:
    """Draw a spec as an SVG image; nothing is loaded from outside."""
    # vl_convert starts a script engine: only those who draw pay for it.
    import vl_convert  # noqa: PLC0415

    return str(vl_convert.vegalite_to_svg(dict(spec), allowed_base_urls=[]))


def _chart(body: Spec, font: str) -> Spec:
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


def _loss_panel(outlook: LotOutlook, frame: Frame, width: int) -> Spec:
    rows, x = _band_rows(outlook, frame), _x_axis(frame, outlook)
    shows_target = outlook.target_name == "weight_loss_pct"
    tops = [row["piece_high"] for row in rows] + [point.high for point in outlook.weighings]
    top = max([*tops, outlook.target_value * 1.1 if shows_target else 0.0])
    y: Spec = {
        "type": "quantitative",
        "title": say("weight loss %"),
        "scale": {"domain": [0, top * 1.03], "nice": False},
        "axis": {"tickCount": 6},
    }
    dotted = {"type": "line", "strokeDash": [1.5, 2.5], "strokeWidth": 1, "color": HEATHER}
    area = {"type": "area", "color": BLOOM}
    layers: list[Spec] = [
        _layer(rows, area, x=x, y=_field("piece_low", y), y2="piece_high"),
        _layer(rows, {**area, "color": BLOOM_DEEP}, x=x, y=_field("mean_low", y), y2="mean_high"),
        _layer(rows, dotted, x=x, y=_field("piece_low", y)),
        _layer(rows, dotted, x=x, y=_field("piece_high", y)),
        _layer(rows, {"type": "line", "strokeWidth": 1.4, "color": HEATHER}, x=x, y=_field("middle", y)),
        *_band_names(rows, x, y, right=width < 360),
        *(_target_line(outlook, frame, x, y) if shows_target else []),
        *_weighings(outlook, frame, x, y),
        *_today(frame, x, outlook),
    ]
    return {"layer": layers, "width": width, "height": round(width * 0.42)}


def _band_rows(outlook: LotOutlook, frame: Frame) -> list[dict[str, float]]:
    series = outlook.result.bands["weight_loss_pct"]
    times = np.asarray(outlook.result.time_d) - frame.offset
    inside = np.flatnonzero(times <= frame.end + 1e-9)
    # 160 points a curve are finer than the pixels of a page.
    inside = inside[:: max(1, len(inside) // 160)]
    columns = {
        "day": times,
        "piece_low": series.p05,
        "piece_high": series.p95,
        "mean_low": series.mean_p05,
        "mean_high": series.mean_p95,
        "middle": series.mean_p50,
    }
    return [
        {name: round(float(column[index]), 3) for name, column in columns.items()}
        for index in inside
        if np.isfinite(series.mean_p50[index])
    ]


def _band_names(rows: Sequence[Mapping[str, float]], x: Spec, y: Spec, *, right: bool) -> list[Spec]:
    if not rows:
        return []
    # On a narrow plot the words stand in its lower right corner, clear of the curve.
    at = rows[-1] if right else rows[int(len(rows) * 0.62)]
    value = 0.08 * max(row["piece_high"] for row in rows) if right else at["piece_low"]
    align, shift = ("right", -4) if right else ("left", 6)
    label = {"type": "text", "align": align, "color": HEATHER, "fontSize": 10.5, "dx": shift, "dy": 12}
    row = {"day": at["day"], "value": value, "word": say("computed: pieces, and lot mean (darker)")}
    return [_layer([row], label, x=x, y=_field("value", y), text="word")]


def _target_line(outlook: LotOutlook, frame: Frame, x: Spec, y: Spec) -> list[Spec]:
    value, band = outlook.target_value, outlook.result.targets[outlook.target_name].mean
    words = say("target {target}", target=target_words(outlook))
    row = {"value": value, "day": frame.start, "word": words}
    layers = [
        _layer([row], {"type": "rule", "color": MOSS, "strokeWidth": 1.2}, y=_field("value", y)),
        _layer(
            [row],
            {"type": "text", "align": "left", "dy": -7, "dx": 4, "color": MOSS, "fontSize": 11},
            x=x,
            y=_field("value", y),
            text="word",
        ),
    ]
    if band.p05 is not None:
        lane = _lane("", band, frame)
        row = {"day": lane["early"], "late": lane["late"], "value": value}
        bar = {"type": "rule", "color": MOSS, "strokeWidth": 6, "opacity": 0.55}
        layers.append(_layer([row], bar, x=x, x2="late", y=_field("value", y)))
    return layers


def _weighings(outlook: LotOutlook, frame: Frame, x: Spec, y: Spec) -> list[Spec]:
    rows = [
        {
            "day": round(point.day - frame.offset, 3),
            "value": point.value,
            "low": point.low,
            "high": point.high,
        }
        for point in outlook.weighings
    ]
    if not rows:
        return []
    dot = {"type": "point", "filled": True, "size": 34, "color": SEA, "opacity": 1}
    return [
        _layer(rows, {"type": "rule", "color": SEA}, x=x, y=_field("low", y), y2="high"),
        _layer(rows, dot, x=x, y=_field("value", y)),
    ]


def _today(frame: Frame, x: Spec, outlook: LotOutlook) -> list[Spec]:
    word = say("today") if outlook.hanging else say("off the racks")
    row = {"day": round(frame.today, 3), "word": word}
    words = {"type": "text", "align": "left", "dx": 3, "dy": 8, "color": INK, "fontSize": 10.5}
    line = {"type": "rule", "color": INK, "strokeWidth": 0.8}
    return [_layer([row], line, x=x), _layer([row], words, x=x, y={"value": 0}, text="word")]


def _air_panel(
    series: tuple[Sequence[float], Sequence[float]], title: str, outlook: LotOutlook, frame: Frame, width: int
) -> Spec:
    x, height = _x_axis(frame, outlook, labels=False), 64
    time_d, values = series
    shown = [value for value in values if np.isfinite(value)]
    low, high = min(shown, default=0.0), max(shown, default=1.0)
    pad = max((high - low) * 0.08, 0.5)
    y: Spec = {
        "type": "quantitative",
        "title": title,
        "scale": {"domain": [low - pad, high + pad], "nice": False, "zero": False},
        "axis": {"tickCount": 3},
    }
    gaps = [gap for gap in outlook.air.gaps if gap.start_d - frame.offset < frame.end]
    rows = _pieces(time_d, values, gaps, frame)
    ends = (low - pad, high + pad)
    size = (frame.end - frame.start) / width, (ends[1] - ends[0]) / height
    hatch = [line for gap in gaps for line in _hatch(gap, frame, ends, size)]
    names = [
        {"day": gap.start_d - frame.offset, "word": say("no reading")}
        for gap in sorted(gaps, key=lambda gap: gap.start_d - gap.end_d)[:1]
    ]
    words = {"type": "text", "align": "left", "dy": -6, "color": INK, "fontSize": 10, "clip": False}
    layers: list[Spec] = [
        _layer(
            rows, {"type": "line", "color": SEA, "strokeWidth": 0.9}, x=x, y=_field("value", y), detail="part"
        ),
        _layer(
            hatch,
            {"type": "rule", "color": INK, "strokeWidth": 0.5, "opacity": 0.6},
            x=x,
            x2="late",
            y=_field("low", y),
            y2="high",
        ),
        _layer(names, words, x=x, y={"value": 0}, text="word"),
        *_today(frame, x, outlook)[:1],
    ]
    return {"layer": [layer for layer in layers if layer["data"]["values"]], "width": width, "height": height}


def _pieces(
    time_d: Sequence[float], values: Sequence[float], gaps: Sequence[AirGap], frame: Frame
) -> list[dict[str, float]]:
    """The air series thinned piece by piece, so that no line bridges a gap."""
    starts = [gap.start_d for gap in gaps]
    parts = (
        np.searchsorted(np.asarray(starts), np.asarray(time_d), side="right") if starts else [0] * len(time_d)
    )
    rows: list[dict[str, float]] = []
    for part in sorted({int(item) for item in parts}):
        inside = [i for i, own in enumerate(parts) if own == part and np.isfinite(values[i])]
        days, kept = thin([time_d[i] for i in inside], [values[i] for i in inside], 240)
        rows += [
            {"day": round(day - frame.offset, 4), "value": round(float(value), 2), "part": part}
            for day, value in zip(days, kept, strict=True)
            if day - frame.offset <= frame.end
        ]
    return rows


def _hatch(
    gap: AirGap, frame: Frame, ends: tuple[float, float], size: tuple[float, float]
) -> Iterable[dict[str, float]]:
    """Slanted lines over a gap, cut at its edges; `size` is one pixel in days and in the unit."""
    left, right = gap.start_d - frame.offset, min(gap.end_d - frame.offset, frame.end)
    width_px, height_px = max((right - left) / size[0], 1.0), (ends[1] - ends[0]) / size[1]
    step = 6.0
    start = -height_px
    while start < width_px:
        first, last = max(start, 0.0), min(start + height_px, width_px)
        if last > first:
            yield {
                "day": left + first * size[0],
                "late": left + last * size[0],
                "low": ends[0] + (first - start) * size[1],
                "high": ends[0] + (last - start) * size[1],
            }
        start += step


def _lane(name: str, band: Band, frame: Frame) -> dict[str, Any]:
    """One row of a ready lane; an open late end runs to the edge of the frame."""
    early = float(band.p05 or 0.0) - frame.offset
    late = frame.end if band.p95 is None else min(band.p95 - frame.offset, frame.end)
    middle = late if band.p50 is None else band.p50 - frame.offset
    return {
        "lane": name,
        "day": early,
        "early": early,
        "middle": middle,
        "late": late,
        "closed": band.p95 is not None and band.p95 - frame.offset <= frame.end,
    }


def _x_axis(frame: Frame, outlook: LotOutlook, *, labels: bool = True) -> Spec:
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


def _field(name: str, axis: Mapping[str, Any]) -> Spec:
    return {"field": name, **axis}


def _on(name: str, axis: Mapping[str, Any]) -> Spec:
    return {**axis, "field": name}


def _layer(
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
