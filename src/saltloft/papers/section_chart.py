"""The slice through a piece as drawings: rings on chosen days, and radius against time.

Wet is dark and dry is light, in even steps of lightness, so that a grey print says the same;
every border between two tints is a line of one water activity and bears its number.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from markupsafe import escape
from numpy.typing import NDArray

from saltloft.foundation.words import say
from saltloft.papers.outline import ROUND, Outline
from saltloft.process.result import CrossSection

Array = NDArray[np.float64]

# Every border is a line of one water activity; below and above are open classes.
BORDERS = tuple(round(0.80 + 0.02 * step, 2) for step in range(9))
# From dry to wet; lightness (L* of CIELAB) falls from 95 to 22 without a turn. Own choice.
TINTS = (
    "#f6f1e4",
    "#e6e2d2",
    "#d0d3c4",
    "#b5c2b8",
    "#97b0ad",
    "#789da1",
    "#5a8793",
    "#3f7083",
    "#29586f",
    "#173f57",
)


@dataclass(frozen=True)
class Axis:
    """What the map's axes say, in the reader's words.

    Args:
        days: sequence of (day from stuffing, words). [d]
        radii: sequence of (radius, words). [mm]
        unit: str. Of the radii.
        marks: sequence of (day from stuffing, word). Lines across the map, such as 'today'. [d]
    """

    days: Sequence[tuple[float, str]]
    radii: Sequence[tuple[float, str]]
    unit: str
    marks: Sequence[tuple[float, str]]


def at_day(section: CrossSection, day_d: float) -> tuple[Array, Array, Array]:
    """Radius, water activity and water of the slice on one day, arrays (rings,).

    Args:
        section: CrossSection.
        day_d: float. From stuffing; between its moments straight. [d]
    """
    place = int(np.clip(np.searchsorted(section.time_d, day_d), 1, len(section.time_d) - 1))
    begin, end = section.time_d[place - 1], section.time_d[place]
    share = float(np.clip((day_d - begin) / (end - begin), 0.0, 1.0))

    def mixed(values: Array) -> Array:
        return np.asarray((1.0 - share) * values[place - 1] + share * values[place])

    return mixed(section.radius_mm), mixed(section.water_activity), mixed(section.water)


def _cuts(radius: Array, activity: Array) -> list[tuple[float, int]]:
    """Radii at which the class changes, from the rim inwards: (outer radius, class inside it)."""
    fine = np.linspace(radius[0], radius[-1], 241)
    classes = np.searchsorted(BORDERS, np.interp(fine, radius, activity), side="right")
    found = [(float(radius[-1]), int(classes[-1]))]
    for place in range(len(fine) - 2, -1, -1):
        if classes[place] != classes[place + 1]:
            found.append((float(0.5 * (fine[place] + fine[place + 1])), int(classes[place])))
    return found


def slice_svg(
    section: CrossSection, day_d: float, extent_mm: float, words: str, outline: Outline = ROUND
) -> str:
    """One slice as rings in its own outline, in its true size against the others.

    Args:
        section: CrossSection.
        day_d: float. From stuffing. [d]
        extent_mm: float. Radius of the round section that fills the drawing. [mm]
        words: str. Alternative text.
        outline: Outline. How the section looks as it hangs.
    """
    radius, activity, _ = at_day(section, day_d)
    scale = 58.0 / (extent_mm * outline.width)
    drawn = [
        outline.drawn(
            outer, float(radius[-1]), scale, f'fill="{TINTS[kind]}" stroke="#22262a" stroke-width=".4"'
        )
        for outer, kind in _cuts(radius, activity)
    ]
    ghost = outline.drawn(extent_mm, extent_mm, scale, 'fill="none" class="ghost"')
    text = f'<text class="on-line" x="60" y="64" text-anchor="middle">{activity[0]:.2f}</text>'
    return (
        f'<svg class="slice" viewBox="0 0 120 120" role="img" aria-label="{escape(words)}">'
        f"{ghost}{''.join(drawn)}{text}</svg>"
    )


def scale_svg() -> str:
    """The tints with the water activity of each border."""
    step, count = 30, len(TINTS)
    boxes = "".join(
        f'<rect x="{step * place}" y="0" width="{step}" height="14" fill="{tint}"/>'
        for place, tint in enumerate(TINTS)
    )
    numbers = "".join(
        f'<text x="{step * (place + 1)}" y="27" text-anchor="middle">{border:.2f}</text>'
        for place, border in enumerate(BORDERS)
    )
    return (
        f'<svg class="aw-scale" viewBox="-1 -1 {step * count + 2} 32" aria-hidden="true">{boxes}'
        f'<rect x="0" y="0" width="{step * count}" height="14" fill="none" class="frame"/>{numbers}</svg>'
    )


@dataclass(frozen=True)
class _Plot:
    """Where days and radii come to lie. [px]"""

    section: CrossSection
    width: float
    height: float
    left: float = 44.0
    top: float = 20.0
    bottom: float = 34.0

    def x(self, day_d: float) -> float:
        start, end = self.section.time_d[0], self.section.time_d[-1]
        return float(self.left + (self.width - self.left - 8.0) * (day_d - start) / (end - start))

    def y(self, radius_mm: float) -> float:
        tall = self.height - self.top - self.bottom
        return float(self.height - self.bottom - tall * radius_mm / self.section.radius_mm.max())


def map_svg(section: CrossSection, axis: Axis, words: str, *, width: float, height: float) -> str:
    """Radius from core to rim against days, tinted by water activity, its lines numbered.

    Args:
        section: CrossSection.
        axis: Axis.
        words: str. Alternative text.
        width, height: float. [px]
    """
    plot = _Plot(section, width, height)
    filled = "".join(
        f'<path fill="{TINTS[kind]}" stroke="{TINTS[kind]}" stroke-width=".7" d="{path}"/>'
        for kind, path in _bands(plot)
    )
    head = f'<svg class="section-map" viewBox="0 0 {width:.0f} {height:.0f}" role="img"'
    inside = f"{filled}{_rim(plot)}{''.join(_contours(plot))}{''.join(_axes(plot, axis))}"
    return f'{head} aria-label="{escape(words)}">{inside}</svg>'


def _bands(plot: _Plot) -> Iterator[tuple[int, str]]:
    """One path a class: between two moments, from ring border to ring border."""
    section, paths = plot.section, dict.fromkeys(range(len(TINTS)), "")
    columns = [
        _cuts(radius, activity)
        for radius, activity in zip(section.radius_mm, section.water_activity, strict=True)
    ]
    for place, (left, right) in enumerate(pairwise(columns)):
        x0, x1 = plot.x(section.time_d[place]), plot.x(section.time_d[place + 1])
        kinds = sorted({kind for _, kind in (*left, *right)})
        if _rising(left) and _rising(right):
            # A ring that comes or goes does so from nothing, at the border it shares.
            _add(paths, plot, (x0, x1), _filled_up(left, kinds), _filled_up(right, kinds))
        elif [kind for _, kind in left] == [kind for _, kind in right]:
            _add(paths, plot, (x0, x1), left, right)
        else:
            # A wetted rim: each half is drawn as its own side says.
            middle, shrunk = 0.5 * (x0 + x1), right[0][0] / left[0][0]
            _add(paths, plot, (x0, middle), left, _scaled(left, 0.5 * (1.0 + shrunk)))
            _add(paths, plot, (middle, x1), _scaled(right, 0.5 * (1.0 + 1.0 / shrunk)), right)
    return ((kind, path) for kind, path in paths.items() if path)


def _rising(rings: Sequence[tuple[float, int]]) -> bool:
    """Whether it gets wetter all the way from the rim inwards."""
    return all(outer[1] < inner[1] for outer, inner in pairwise(rings))


def _filled_up(rings: Sequence[tuple[float, int]], kinds: Sequence[int]) -> list[tuple[float, int]]:
    """Rings of all these classes; one that is not there has no thickness."""
    found: list[tuple[float, int]] = []
    for kind in kinds:
        wetter = [outer for outer, own in rings if own >= kind]
        found.append((max(wetter, default=0.0), kind))
    return found


def _scaled(rings: Sequence[tuple[float, int]], factor: float) -> list[tuple[float, int]]:
    return [(outer * factor, kind) for outer, kind in rings]


def _add(
    paths: dict[int, str],
    plot: _Plot,
    ends: tuple[float, float],
    left: Sequence[tuple[float, int]],
    right: Sequence[tuple[float, int]],
) -> None:
    inner = [*(outer for outer, _ in left[1:]), 0.0], [*(outer for outer, _ in right[1:]), 0.0]
    for number, ((outer0, kind), (outer1, _)) in enumerate(zip(left, right, strict=True)):
        y0, y1 = plot.y(outer0), plot.y(outer1)
        z0, z1 = plot.y(inner[0][number]), plot.y(inner[1][number])
        x0, x1 = ends
        paths[kind] += f"M{x0:.1f} {y0:.1f}L{x1:.1f} {y1:.1f}V{z1:.1f}L{x0:.1f} {z0:.1f}Z"


def _rim(plot: _Plot) -> str:
    points = " ".join(
        f"{plot.x(day):.1f},{plot.y(radius[-1]):.1f}"
        for day, radius in zip(plot.section.time_d, plot.section.radius_mm, strict=True)
    )
    return f'<polyline class="rim" fill="none" points="{points}"/>'


def _contours(plot: _Plot) -> Iterator[str]:
    """A line for each border, with its number where there is room."""
    section = plot.section
    taken: list[tuple[float, float]] = []
    for border in BORDERS:
        line: list[tuple[float, float]] = []
        for day, radius, activity in zip(
            section.time_d, section.radius_mm, section.water_activity, strict=True
        ):
            wetter = np.flatnonzero(activity >= border)
            if len(wetter) and wetter[-1] < len(activity) - 1:
                inside = int(wetter[-1])
                part = (activity[inside] - border) / max(activity[inside] - activity[inside + 1], 1e-12)
                at = radius[inside] + part * (radius[inside + 1] - radius[inside])
                line.append((plot.x(day), plot.y(at)))
        if len(line) < 2:
            continue
        points = " ".join(f"{x:.1f},{y:.1f}" for x, y in line)
        yield f'<polyline class="contour" fill="none" points="{points}"/>'
        # The number stands where the line is deep inside and no other number is near.
        for x, y in sorted(line, key=lambda point: -point[1]):
            clear = all(abs(x - other) > 34.0 or abs(y - above) > 13.0 for other, above in taken)
            if clear and plot.left + 16.0 < x < plot.width - 24.0 and y < plot.height - plot.bottom - 6.0:
                taken.append((x, y))
                place = f'x="{x:.1f}" y="{y + 4.0:.1f}" text-anchor="middle"'
                yield f'<text class="on-line" {place}>{border:.2f}</text>'
                break


def _axes(plot: _Plot, axis: Axis) -> Iterator[str]:
    floor = plot.height - plot.bottom
    for day, word in axis.days:
        x = plot.x(day)
        yield f'<path class="tick" d="M{x:.1f} {floor:.1f}v5"/>'
        anchor = "end" if x > plot.width - 24.0 else "middle"
        at = min(x, plot.width - 2.0) if anchor == "end" else x
        yield f'<text x="{at:.1f}" y="{floor + 18.0:.1f}" text-anchor="{anchor}">{escape(word)}</text>'
    for radius, word in axis.radii:
        y = plot.y(radius)
        yield f'<path class="tick" d="M{plot.left:.1f} {y:.1f}h-5"/>'
        yield f'<text x="{plot.left - 8.0:.1f}" y="{y + 4.0:.1f}" text-anchor="end">{escape(word)}</text>'
    yield f'<text x="{plot.left - 8.0:.1f}" y="12" text-anchor="end">{escape(axis.unit)}</text>'
    # Clear of the numbers of the lines that end at the rim.
    right, edge = plot.width - 10.0, plot.y(float(plot.section.radius_mm[-1, -1])) - 14.0
    rim = escape(say("rim (outside)"))
    yield f'<text x="{right:.1f}" y="{edge:.1f}" text-anchor="end">{rim}</text>'
    core = escape(say("core"))
    yield f'<text class="on-line" x="{plot.left + 4.0:.1f}" y="{floor - 5.0:.1f}">{core}</text>'
    crossed = [plot.x(day) for day, _ in axis.marks]
    for number, ((_, word), x) in enumerate(zip(axis.marks, crossed, strict=True)):
        close = any(other != x and abs(other - x) < 46.0 for other in crossed)
        anchor = ("end" if number == 0 else "start") if close else "middle"
        anchor = "end" if x > plot.width - 40.0 else anchor
        yield f'<path class="mark" d="M{x:.1f} {plot.top - 4.0:.1f}V{floor:.1f}"/>'
        yield f'<text x="{x:.1f}" y="12" text-anchor="{anchor}" class="mark-word">{escape(word)}</text>'
