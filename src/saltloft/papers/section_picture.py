"""The slice through a middle piece as one picture for paper: rings on four days, with the scale."""

from __future__ import annotations

from zoneinfo import ZoneInfo

from markupsafe import escape

from saltloft.foundation.words import say
from saltloft.papers.chart_parts import INK, PAPER_FONT, RULE
from saltloft.papers.outline import ROUND, Outline
from saltloft.papers.page import Picture
from saltloft.papers.section_chart import at_day, scale_svg, slice_svg
from saltloft.plant.answers import LotOutlook
from saltloft.plant.recipes import ProductDefined
from saltloft.plant.sentences import calendar_day, day_words, number_words
from saltloft.process.result import CrossSection

MOST_SLICES = 4
SIDE_PX, GAP_PX, WORDS_PX, SCALE_PX = 120, 20, 46, 40
# So wide is the paper: the slices take most of it, not all.
PAPER_PX = 700
# What the page's style sheet does for the same drawings.
STYLE = (
    f"text{{font-family:'{PAPER_FONT}';font-size:12px;fill:{INK}}}"
    f".ghost{{stroke:{RULE};stroke-width:.7;stroke-dasharray:2 2}}"
    f".on-line{{stroke:#ffffff;stroke-width:3px;paint-order:stroke;font-weight:600}}"
    f".frame{{stroke:{INK};stroke-width:.8}}"
)


def outline_of(product: ProductDefined) -> Outline:
    """How a product's section looks as it hangs.

    Args:
        product: ProductDefined.
    """
    if product.shape == "round" or not product.round_mm:
        return ROUND
    wide, thin = (float(one / product.round_mm) for one in (product.width_mm, product.thickness_mm))
    return Outline(product.shape, wide, thin)


def shown_days(outlook: LotOutlook, section: CrossSection) -> list[tuple[float, str]]:
    """Days shown as rings: hung, today, half way, ready; those too near each other once.

    Args:
        outlook: LotOutlook.
        section: CrossSection. Of the same forecast.
    """
    ready = outlook.result.targets[outlook.target_name].mean.p50
    last = float(section.time_d[-1])
    wanted = [(outlook.hang_offset_d, say("hung")), (outlook.age_d, say("now"))]
    if not outlook.hanging:
        wanted[1] = (outlook.age_d, say("off the racks"))
    elif ready is not None and ready > outlook.age_d:
        wanted += [(0.5 * (outlook.age_d + ready), say("half way")), (ready, say("middle ready day"))]
    else:
        wanted.append((last, say("later")))
    kept: list[tuple[float, str]] = []
    for day, title in wanted:
        if day <= last + 1e-6 and (not kept or day - kept[-1][0] > 0.75):
            kept.append((day, title))
    return kept[:MOST_SLICES]


def slices_picture(outlook: LotOutlook | None, product: ProductDefined) -> Picture | None:
    """The rings of the last forecast; None where there is none, or one of an earlier version.

    Args:
        outlook: LotOutlook or None.
        product: ProductDefined. Of the lot.
    """
    section = None if outlook is None else outlook.result.section
    if outlook is None or section is None or len(section.time_d) < 2:
        return None
    days, outline = shown_days(outlook, section), outline_of(product)
    wide = MOST_SLICES * SIDE_PX + (MOST_SLICES - 1) * GAP_PX
    columns = [_column(outlook, section, day, title, outline) for day, title in days]
    body = "".join(
        f'<g transform="translate({place * (SIDE_PX + GAP_PX)} 0)">{drawn}</g>'
        for place, drawn in enumerate(columns)
    )
    scale = scale_svg().replace(
        "<svg ", f'<svg x="0" y="{SIDE_PX + WORDS_PX + 6}" width="{wide}" height="32" ', 1
    )
    drawn = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {PAPER_PX} {SIDE_PX + WORDS_PX + SCALE_PX}">'
        f"<style>{STYLE}</style>{body}{scale}</svg>"
    )
    now = at_day(section, outlook.age_d)[1]
    words = say(
        "Inside a middle piece, computed: water activity {core} in the core and {rim} at the rim today; "
        "light is dry, dark is wet, one tint is 0.02; the dashed line is the section when it was stuffed.",
        core=number_words(float(now[0]), 2),
        rim=number_words(float(now[-1]), 2),
    )
    return Picture(drawn, words, words)


def _column(outlook: LotOutlook, section: CrossSection, day_d: float, title: str, outline: Outline) -> str:
    """One slice with its title and day under it."""
    drawn = slice_svg(section, day_d, float(section.radius_mm.max()), title, outline)
    drawn = drawn.replace("<svg ", f'<svg width="{SIDE_PX}" height="{SIDE_PX}" ', 1)
    today = outlook.asof.astimezone(ZoneInfo(outlook.zone)).date()
    calibre = number_words(2.0 * float(at_day(section, day_d)[0][-1]), 0)
    lines = (
        title,
        day_words(calendar_day(outlook, day_d), today),
        say("calibre {calibre} mm", calibre=calibre),
    )
    place = f'x="{SIDE_PX // 2}" text-anchor="middle"'
    return drawn + "".join(
        f'<text {place} y="{SIDE_PX + 13 + 14 * number}">{escape(line)}</text>'
        for number, line in enumerate(lines)
    )
