"""The ready day as it was forecast from day to day: a band against the date of each forecast."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from markupsafe import escape

from saltloft.plant.insight import ForecastPoint


@dataclass(frozen=True)
class CourseAxis:
    """What the axes say, in the reader's words.

    Args:
        across: sequence of (place 0..1, words). Dates of forecasts.
        up: sequence of (day from stuffing, words). Ready days.
    """

    across: Sequence[tuple[float, str]]
    up: Sequence[tuple[float, str]]


def places(points: Sequence[ForecastPoint]) -> list[float]:
    """Where each forecast stands across the drawing, 0..1, even in time."""
    start, end = points[0].at.timestamp(), points[-1].at.timestamp()
    return [(point.at.timestamp() - start) / max(end - start, 1.0) for point in points]


def span_of(points: Sequence[ForecastPoint]) -> tuple[float, float]:
    """The earliest and the latest day worth showing; an open or far late end is cut.

    Args:
        points: sequence of ForecastPoint.

    Returns:
        tuple of float. From stuffing. [d]
    """
    early = [point.early_d for point in points if point.early_d is not None]
    middle = [point.middle_d for point in points if point.middle_d is not None]
    late = [point.late_d for point in points if point.late_d is not None]
    low = min([*early, *middle], default=0.0)
    last = points[-1].late_d or points[-1].middle_d or max([*middle, low], default=low)
    most = 1.25 * max([last, *middle[-2:]], default=last)
    return low, max(min(max([*late, *middle], default=low), most), low + 2.0)


def course_svg(
    points: Sequence[ForecastPoint], axis: CourseAxis, words: str, *, width: float, height: float
) -> str:
    """Middle as a line with dots (hollow: computed later), the 90 % range as a band.

    Args:
        points: sequence of ForecastPoint, at least two.
        axis: CourseAxis.
        words: str. Alternative text.
        width, height: float. [px]
    """
    left, right, top, bottom = 86.0, 14.0, 12.0, 26.0
    low, high = span_of(points)

    def x(place: float) -> float:
        return left + (width - left - right) * place

    def y(day: float | None) -> float:
        share = 1.05 if day is None else (day - low) / (high - low)
        return height - bottom - (height - top - bottom) * min(max(share, 0.0), 1.02)

    across = places(points)
    upper = [f"{x(place):.1f},{y(point.late_d):.1f}" for place, point in zip(across, points, strict=True)]
    lower = [f"{x(place):.1f},{y(point.early_d):.1f}" for place, point in zip(across, points, strict=True)]
    dots = [(x(place), y(point.middle_d), point) for place, point in zip(across, points, strict=True)]
    line = " ".join(f"{a:.1f},{b:.1f}" for a, b, point in dots if point.middle_d is not None)
    drawn = [
        f'<polygon class="band" points="{" ".join([*upper, *reversed(lower)])}"/>',
        f'<polyline class="edge" fill="none" points="{" ".join(upper)}"/>',
        f'<polyline class="edge" fill="none" points="{" ".join(lower)}"/>',
        f'<polyline class="middle" fill="none" points="{line}"/>',
        *(
            f'<circle class="{"later" if point.replayed else "kept"}" cx="{a:.1f}" cy="{b:.1f}" r="3.6"/>'
            for a, b, point in dots
            if point.middle_d is not None
        ),
    ]
    ticks = _ticks(axis, x, y, (left, height - bottom))
    return (
        f'<svg class="course" viewBox="0 0 {width:.0f} {height:.0f}" role="img" aria-label="{escape(words)}">'
        f"{''.join(drawn)}{''.join(ticks)}</svg>"
    )


def _ticks(
    axis: CourseAxis,
    x: Callable[[float], float],
    y: Callable[[float | None], float],
    corner: tuple[float, float],
) -> Iterator[str]:
    left, floor = corner
    yield f'<path class="tick" d="M{left:.1f} 6V{floor:.1f}"/>'
    for place, word in axis.across:
        anchor = "end" if place > 0.9 else "middle"
        yield f'<text x="{x(place):.1f}" y="{floor + 17.0:.1f}" text-anchor="{anchor}">{escape(word)}</text>'
    for day, word in axis.up:
        yield f'<path class="tick" d="M{left:.1f} {y(day):.1f}h-5"/>'
        yield f'<text x="{left - 8.0:.1f}" y="{y(day) + 4.0:.1f}" text-anchor="end">{escape(word)}</text>'
