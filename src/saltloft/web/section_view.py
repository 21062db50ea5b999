"""'Inside the piece' of the lot page: the slice through a middle piece, now and on its way."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from zoneinfo import ZoneInfo

import numpy as np
from markupsafe import Markup

from saltloft.foundation.words import say
from saltloft.papers.outline import ROUND, Outline
from saltloft.papers.page import Grid
from saltloft.papers.section_chart import Axis, at_day, map_svg, scale_svg, slice_svg
from saltloft.papers.section_picture import shown_days
from saltloft.plant.answers import LotOutlook
from saltloft.plant.sentences import calendar_day, day_words
from saltloft.process.result import CrossSection
from saltloft.web.quantities import Units, plain

MM_PER_INCH = 25.4  # exact
WIDE_PX, NARROW_PX, TALL_PX = 620.0, 340.0, 260.0
TICK_STEPS = (1, 2, 4, 7, 14, 28, 56, 112)


@dataclass(frozen=True)
class Slice:
    """One slice with what stands under it."""

    drawing: Markup
    title: str
    lines: tuple[str, ...]


@dataclass(frozen=True)
class Big:
    """One number asked for, with its doubt."""

    word: str
    value: str
    unit: str
    range: str


@dataclass(frozen=True)
class SectionView:
    """What 'Inside the piece' shows."""

    sentence: str
    big: tuple[Big, ...]
    slices: tuple[Slice, ...]
    scale: Markup
    scale_words: str
    outline_words: str
    wide: Markup
    narrow: Markup
    words: str
    table: Grid


def section_view(outlook: LotOutlook | None, units: Units, outline: Outline = ROUND) -> SectionView | None:
    """The slice of the last forecast; None where there is none, or a forecast of an earlier version.

    Args:
        outlook: LotOutlook or None.
        units: Units.
        outline: Outline. How the section looks as it hangs.
    """
    section = None if outlook is None else outlook.result.section
    if outlook is None or section is None or len(section.time_d) < 2:
        return None
    today = outlook.asof.astimezone(ZoneInfo(outlook.zone)).date()
    days = shown_days(outlook, section)
    words = _words(outlook, section, units, today)
    # Drawn here from numbers and our own escaped words.
    drawn = [
        Markup(map_svg(section, _axis(outlook, section, units, width), words, width=width, height=TALL_PX))
        for width in (WIDE_PX, NARROW_PX)
    ]
    return SectionView(
        sentence=_sentence(outlook, section),
        big=_big(outlook, section, units),
        slices=tuple(_slice(outlook, section, units, day, title, outline=outline) for day, title in days),
        scale=Markup(scale_svg()),
        scale_words=say("water activity: light is dry, dark is wet; one tint is 0.02"),
        outline_words=_outline_words(outline),
        wide=drawn[0],
        narrow=drawn[1],
        words=words,
        table=_table(outlook, section, units, today),
    )


def length_of(millimetres: float, units: Units) -> str:
    """A length in the person's unit, without it.

    Args:
        millimetres: float. [mm]
        units: Units.
    """
    return plain(millimetres / MM_PER_INCH, 2) if units.system == "us" else plain(millimetres, 0)


def length_unit(units: Units) -> str:
    """'mm' or 'in'."""
    return "in" if units.system == "us" else "mm"


def _core_and_rim(outlook: LotOutlook, day_d: float) -> tuple[float, float]:
    """Medians of the lot's mean core and rim on one day."""
    result = outlook.result
    core, rim = (
        float(np.interp(day_d, result.time_d, result.bands[f"water_activity_{place}"].mean_p50))
        for place in ("core", "rim")
    )
    return core, rim


def _sentence(outlook: LotOutlook, section: CrossSection) -> str:
    core, rim = _core_and_rim(outlook, outlook.age_d)
    gap = plain(abs(core - rim), 2)
    if abs(core - rim) < 0.005:
        return say("Computed: core and rim stand at the same water activity.")
    if core > rim:
        return say("Computed: the core is still wetter than the rim by {gap}.", gap=gap)
    return say("Computed: the rim is wetter than the core by {gap}.", gap=gap)


def _big(outlook: LotOutlook, section: CrossSection, units: Units) -> tuple[Big, ...]:
    """Core, rim and calibre now, with the 90 % range of the lot's mean."""
    result, found = outlook.result, []
    for name, word in (
        ("water_activity_core", say("core")),
        ("water_activity_rim", say("rim")),
        ("diameter_mm", say("calibre")),
    ):
        band = result.bands[name]
        now = [
            float(np.interp(outlook.age_d, result.time_d, curve))
            for curve in (band.mean_p05, band.mean_p50, band.mean_p95)
        ]
        lengths = name == "diameter_mm"
        low, middle, high = (length_of(value, units) if lengths else plain(value, 2) for value in now)
        unit = length_unit(units) if lengths else say("water activity")
        found.append(Big(word, middle, unit, say("({low} to {high})", low=low, high=high)))
    return tuple(found)


def _outline_words(outline: Outline) -> str:
    """What the dashed line is, and what the radii of a section that is not round stand for."""
    if outline.shape == "round":
        return say(
            "The number in the middle is the core’s; the dashed circle is the calibre when it was stuffed."
        )
    return say(
        "The number in the middle is the core’s; the dashed line is the section when it was stuffed. Calibre "
        "and depths are those of a round piece of the same section."
    )


def _slice(
    outlook: LotOutlook, section: CrossSection, units: Units, day: float, title: str, *, outline: Outline
) -> Slice:
    today = outlook.asof.astimezone(ZoneInfo(outlook.zone)).date()
    radius, activity, _ = at_day(section, day)
    calibre = f"{length_of(2.0 * radius[-1], units)} {length_unit(units)}"
    core, rim = plain(float(activity[0]), 2), plain(float(activity[-1]), 2)
    when = day_words(calendar_day(outlook, day), today)
    words = say(
        "Slice on {when}: calibre {calibre}, water activity {core} in the core and {rim} at the rim.",
        when=when,
        calibre=calibre,
        core=core,
        rim=rim,
    )
    lines = (when, calibre, say("core {core} · rim {rim}", core=core, rim=rim))
    drawn = slice_svg(section, day, float(section.radius_mm.max()), words, outline)
    return Slice(Markup(drawn), title, lines)


def _words(outlook: LotOutlook, section: CrossSection, units: Units, today: date) -> str:
    """The map's alternative text: from where to where, now and at its end."""
    first, now, last = (at_day(section, day) for day in (0.0, outlook.age_d, float(section.time_d[-1])))
    return say(
        "A middle piece of {lot} from core to rim over time, computed: calibre {wide} to {thin} {unit} by "
        "{end}; water activity today {core} in the core and {rim} at the rim, at the end {last_core} and "
        "{last_rim}.",
        lot=outlook.lot,
        wide=length_of(2.0 * first[0][-1], units),
        thin=length_of(2.0 * last[0][-1], units),
        unit=length_unit(units),
        end=day_words(calendar_day(outlook, float(section.time_d[-1])), today, weekday=False),
        core=plain(float(now[1][0]), 2),
        rim=plain(float(now[1][-1]), 2),
        last_core=plain(float(last[1][0]), 2),
        last_rim=plain(float(last[1][-1]), 2),
    )


def _axis(outlook: LotOutlook, section: CrossSection, units: Units, width: float) -> Axis:
    """Days since hanging along the map, real lengths up its side."""
    offset, end = outlook.hang_offset_d, float(section.time_d[-1])
    step = next((step for step in TICK_STEPS if (end - offset) / step <= width / 62.0), TICK_STEPS[-1])
    days = [(offset + day, say("day {day}", day=day)) for day in range(0, int(end - offset) + 1, step)]
    most = float(section.radius_mm.max())
    if units.system == "us":
        radii = [
            (MM_PER_INCH * 0.25 * k, plain(0.25 * k, 2)) for k in range(int(most / (0.25 * MM_PER_INCH)) + 1)
        ]
    else:
        every = 10.0 if most > 22.0 else 5.0
        radii = [(every * k, plain(every * k, 0)) for k in range(int(most / every) + 1)]
    ready = outlook.result.targets[outlook.target_name].mean.p50
    marks = [(outlook.age_d, say("today") if outlook.hanging else say("off the racks"))]
    if ready is not None and outlook.hanging and outlook.age_d + 0.12 * end < ready <= end:
        marks.append((ready, say("ready")))
    return Axis(days, radii, length_unit(units), [mark for mark in marks if mark[0] <= end])


def _table(outlook: LotOutlook, section: CrossSection, units: Units, today: date) -> Grid:
    """The slice in numbers, a row about every sixth of the way."""
    offset, end = outlook.hang_offset_d, float(section.time_d[-1])
    days = sorted(
        {offset, *(day for day, _ in shown_days(outlook, section)), *np.linspace(offset, end, 6).tolist()}
    )
    rows, half = [], int(np.argmin(np.abs(section.radius_mm[0] - 0.5 * section.radius_mm[0, -1])))
    for day in days:
        radius, activity, water = at_day(section, day)
        rows.append(
            (
                plain(day - offset, 0),
                day_words(calendar_day(outlook, day), today, weekday=False),
                length_of(2.0 * radius[-1], units),
                *(plain(float(activity[ring]), 3) for ring in (0, half, -1)),
                *(plain(100.0 * float(water[ring]), 0) for ring in (0, -1)),
            )
        )
    columns = (
        say("day"),
        say("date"),
        say("calibre, {unit}", unit=length_unit(units)),
        say("water activity, core"),
        say("half way out"),
        say("rim"),
        say("water in the core, %"),
        say("at the rim, %"),
    )
    note = say("Computed, for one piece in the middle of the run; rings not measured. Days since hanging.")
    return Grid(
        say("The slice as a table"),
        columns,
        tuple(rows),
        right=tuple(range(2, 8)),
        note=note,
        empty=say("Nothing computed yet."),
    )
