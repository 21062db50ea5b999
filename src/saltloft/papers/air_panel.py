"""The room's air under a lot's curve: thinned by its extremes, gaps hatched, warmth on two scales."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from saltloft.foundation.units import celsius_from_fahrenheit, fahrenheit_from_celsius
from saltloft.foundation.words import say
from saltloft.papers.chart_parts import INK, SEA, Frame, Spec, field, layer, today_line, x_axis
from saltloft.papers.thinning import thin
from saltloft.plant.answers import AirGap, LotOutlook

FAHRENHEIT = "°F"


def air_panel(
    series: tuple[Sequence[float], Sequence[float]], title: str, outlook: LotOutlook, frame: Frame, width: int
) -> Spec:
    x, height = x_axis(frame, outlook, labels=False), 64
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
        layer(
            rows, {"type": "line", "color": SEA, "strokeWidth": 0.9}, x=x, y=field("value", y), detail="part"
        ),
        layer(
            hatch,
            {"type": "rule", "color": INK, "strokeWidth": 0.5, "opacity": 0.6},
            x=x,
            x2="late",
            y=field("low", y),
            y2="high",
        ),
        layer(names, words, x=x, y={"value": 0}, text="word"),
        *today_line(frame, x, outlook)[:1],
    ]
    return {"layer": [one for one in layers if one["data"]["values"]], "width": width, "height": height}


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


def in_fahrenheit_too(panel: Spec) -> Spec:
    """A panel of temperatures with a second scale on its right, which only its readers see.

    Args:
        panel: dict. From `air_panel`, in degrees Celsius.
    """
    first = panel["layer"][0]
    y = {**first["encoding"]["y"], "title": FAHRENHEIT}
    y["axis"] = {
        "values": _round_fahrenheit(*first["encoding"]["y"]["scale"]["domain"]),
        "orient": "right",
        "grid": False,
        "titlePadding": 2,
        "labelExpr": "format(1.8 * datum.value + 32, '.0f')",
    }
    # One unseen point carries the second axis; its scale is that of the line.
    second = {
        **first,
        "data": {"values": first["data"]["values"][:1]},
        "mark": {"type": "point", "opacity": 0},
    }
    second["encoding"] = {"x": first["encoding"]["x"], "y": y}
    others = []
    for one in panel["layer"][1:]:
        own = dict(one["encoding"])
        if "axis" in own.get("y", {}):
            own["y"] = {**own["y"], "axis": None, "title": None}
        others.append({**one, "encoding": own})
    return {**panel, "layer": [first, *others, second], "resolve": {"axis": {"y": "independent"}}}


def _round_fahrenheit(low_c: float, high_c: float) -> list[float]:
    """Where whole degrees Fahrenheit stand on the Celsius scale, five of them at most. [degC]"""
    low, high = fahrenheit_from_celsius(low_c), fahrenheit_from_celsius(high_c)
    step = next((step for step in (1, 2, 5, 10, 20) if (high - low) / step <= 4.0), 50)
    first = int(-(-low // step)) * step
    return [celsius_from_fahrenheit(float(mark)) for mark in range(first, int(high) + 1, step)]
