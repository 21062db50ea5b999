"""Charts as Vega-Lite specs: a lot's curve with its room's air, and its ready days.

Time runs left to right in days since hanging with the dates under them.
Measured points are dots with their error, computed bands are tinted with
dotted edges, and a stretch without a reading is hatched and named.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from saltloft.foundation.bands import Band
from saltloft.foundation.words import say
from saltloft.papers.air_panel import air_panel, in_fahrenheit_too
from saltloft.papers.chart_parts import (
    BLOOM,
    BLOOM_DEEP,
    HEATHER,
    INK,
    MOSS,
    PAPER_FONT,
    SEA,
    Frame,
    Spec,
    chart,
    field,
    frame_of,
    layer,
    on,
    today_line,
    x_axis,
)
from saltloft.plant.answers import LotOutlook
from saltloft.plant.sentences import target_words


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
        panels.append(air_panel((air.time_d, air.rh_pct), say("RH %"), outlook, frame, width))
        warmth = air_panel((air.time_d, air.temperature_c), say("air °C"), outlook, frame, width)
        panels.append(in_fahrenheit_too(warmth))
    return chart({"vconcat": panels, "spacing": 14}, font)


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
    x = x_axis(frame, outlook)
    layers: list[Spec] = [
        layer(rows, {"type": "bar", "height": 12, "color": BLOOM_DEEP}, x=x, x2="late", y=y),
        layer(rows, {"type": "tick", "thickness": 2.5, "size": 16, "color": HEATHER}, x=on("middle", x), y=y),
        layer(rows, {"type": "tick", "thickness": 1, "size": 12, "color": INK}, x=on("early", x), y=y),
        layer(
            [row for row in rows if row["closed"]],
            {"type": "tick", "thickness": 1, "size": 12, "color": INK},
            x=on("late", x),
            y=y,
        ),
        *today_line(frame, x, outlook),
    ]
    return chart({"layer": layers, "width": width, "height": 22 * max(len(rows), 1)}, font)


def _ready_frame(outlook: LotOutlook) -> Frame:
    target = outlook.result.targets[outlook.target_name]
    bands = [target.mean, target.piece, *target.share_of_pieces.values()]
    ends = [end for band in bands for end in (band.p05, band.p50, band.p95) if end is not None]
    offset, horizon = outlook.hang_offset_d, outlook.result.horizon_d
    late = min(max([*ends, outlook.age_d + 7.0]) + 2.0, horizon)
    early = min([*ends, outlook.age_d]) - 1.0
    return Frame(early - offset, max(late, early + 4.0) - offset, offset, outlook.age_d - offset)


def _loss_panel(outlook: LotOutlook, frame: Frame, width: int) -> Spec:
    rows, x = _band_rows(outlook, frame), x_axis(frame, outlook)
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
        layer(rows, area, x=x, y=field("piece_low", y), y2="piece_high"),
        layer(rows, {**area, "color": BLOOM_DEEP}, x=x, y=field("mean_low", y), y2="mean_high"),
        layer(rows, dotted, x=x, y=field("piece_low", y)),
        layer(rows, dotted, x=x, y=field("piece_high", y)),
        layer(rows, {"type": "line", "strokeWidth": 1.4, "color": HEATHER}, x=x, y=field("middle", y)),
        *_band_names(rows, x, y, right=width < 360),
        *(_target_line(outlook, frame, x, y) if shows_target else []),
        *_weighings(outlook, frame, x, y),
        *today_line(frame, x, outlook),
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
    return [layer([row], label, x=x, y=field("value", y), text="word")]


def _target_line(outlook: LotOutlook, frame: Frame, x: Spec, y: Spec) -> list[Spec]:
    value, band = outlook.target_value, outlook.result.targets[outlook.target_name].mean
    words = say("target {target}", target=target_words(outlook))
    row = {"value": value, "day": frame.start, "word": words}
    layers = [
        layer([row], {"type": "rule", "color": MOSS, "strokeWidth": 1.2}, y=field("value", y)),
        layer(
            [row],
            {"type": "text", "align": "left", "dy": -7, "dx": 4, "color": MOSS, "fontSize": 11},
            x=x,
            y=field("value", y),
            text="word",
        ),
    ]
    if band.p05 is not None:
        lane = _lane("", band, frame)
        row = {"day": lane["early"], "late": lane["late"], "value": value}
        bar = {"type": "rule", "color": MOSS, "strokeWidth": 6, "opacity": 0.55}
        layers.append(layer([row], bar, x=x, x2="late", y=field("value", y)))
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
        layer(rows, {"type": "rule", "color": SEA}, x=x, y=field("low", y), y2="high"),
        layer(rows, dot, x=x, y=field("value", y)),
    ]


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
