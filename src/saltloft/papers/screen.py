"""A lot's charts for screens: once for a desk and once for a phone, in the page's own colours."""

from __future__ import annotations

import re
from typing import Any

from saltloft.papers.air_panel import FAHRENHEIT
from saltloft.papers.chart_parts import (
    BLOOM,
    BLOOM_DEEP,
    HEATHER,
    INK,
    MOSS,
    RULE,
    RUST,
    SCREEN_FONT,
    SEA,
    svg,
)
from saltloft.papers.charts import lot_curve, ready_days
from saltloft.plant.answers import LotOutlook

# The page's tokens, so that a chart follows the dark set and the printer.
TOKENS = {
    INK: "--ink",
    RULE: "--rule",
    SEA: "--sea",
    HEATHER: "--heather",
    BLOOM: "--bloom-band",
    BLOOM_DEEP: "--bloom-deep",
    RUST: "--rust",
    MOSS: "--moss",
}
DESK_PX, PHONE_PX = 620, 268
# A curve on a phone is taller than wide enough for its width, or its slope cannot be read.
PHONE_CURVE_PX = 210
NAMES = ("curve-wide", "curve-narrow", "ready-wide", "ready-narrow")


def drawings(outlook: LotOutlook) -> dict[str, str]:
    """Every chart of one lot as SVG text, by the names in NAMES.

    Args:
        outlook: LotOutlook.
    """
    narrow = lot_curve(outlook, font=SCREEN_FONT, width=PHONE_PX)
    narrow["vconcat"][0]["height"] = PHONE_CURVE_PX
    specs: dict[str, dict[str, Any]] = {
        "curve-wide": lot_curve(outlook, font=SCREEN_FONT, width=DESK_PX),
        "curve-narrow": narrow,
        "ready-wide": ready_days(outlook, font=SCREEN_FONT, width=330),
        "ready-narrow": ready_days(outlook, font=SCREEN_FONT, width=190),
    }
    return {name: for_page(svg(spec)) for name, spec in specs.items()}


def for_page(drawing: str) -> str:
    """An SVG that may stand inside a page: no inline style, our colours as tokens.

    Args:
        drawing: str. SVG text as drawn.
    """
    text = re.sub(r'\sstyle="[^"]*"', "", drawing)
    for colour, token in TOKENS.items():
        text = re.sub(f'"{colour}"', f'"var({token})"', text, flags=re.IGNORECASE)
    # Bands are hatched by the print style sheet, which finds them by their class.
    for token, name in (("--bloom-band", "band"), ("--bloom-deep", "band-deep")):
        text = text.replace(f'fill="var({token})"', f'fill="var({token})" class="{name}"')
    # The second scale of a temperature shows to those who read it (parts.css).
    axis = f"class=\"mark-group role-axis\"([^>]*titled '{FAHRENHEIT}')"
    return re.sub(axis, r'class="mark-group role-axis fahrenheit"\1', text)
