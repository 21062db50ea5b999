"""Rings and the map of a slice, and the course of the ready day: what is drawn is what is there."""

from __future__ import annotations

import itertools
import re
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from saltloft.papers.course_chart import CourseAxis, course_svg, places, span_of
from saltloft.papers.section_chart import BORDERS, TINTS, Axis, at_day, map_svg, scale_svg, slice_svg
from saltloft.plant.insight import ForecastPoint
from saltloft.process.result import CrossSection

START = datetime(2026, 3, 1, tzinfo=UTC)


def section(*, wet_rim: bool = False) -> CrossSection:
    """Thirty days: radius 30 to 25 mm, core 0.96 to 0.91, rim 0.96 to 0.85."""
    days = np.linspace(0.0, 30.0, 16)
    share = np.linspace(0.0, 1.0, 11)
    core = 0.961 - 0.05 * days / 30.0
    rim = 0.961 - 0.11 * np.sqrt(days / 30.0)
    activity = core[:, None] + (rim - core)[:, None] * share**2
    if wet_rim:
        activity[5:9, -1] = 0.955
    return CrossSection(days, (30.0 - 5.0 * days / 30.0)[:, None] * share, activity, 0.5 * activity)


def lightness(colour: str) -> float:
    """L* of CIELAB, by the sRGB curve and D65 white (IEC 61966-2-1; CIE 15)."""
    parts = [int(colour[at : at + 2], 16) / 255.0 for at in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    luminance = float(np.dot([0.2126, 0.7152, 0.0722], linear))
    return 116.0 * luminance ** (1.0 / 3.0) - 16.0


def test_tints_fall_in_lightness_so_that_a_grey_print_says_the_same() -> None:
    """Every tint is darker than the drier one before it by five steps of lightness or more."""
    found = [lightness(tint) for tint in TINTS]
    assert all(dry - wet >= 5.0 for dry, wet in itertools.pairwise(found))
    assert found[0] - found[-1] > 60.0


def test_between_moments_the_slice_is_straight() -> None:
    """Day 1 lies half way between the moments of day 0 and day 2."""
    one = section()
    radius, activity, water = at_day(one, 1.0)
    assert radius == pytest.approx(0.5 * (one.radius_mm[0] + one.radius_mm[1]))
    assert activity == pytest.approx(0.5 * (one.water_activity[0] + one.water_activity[1]))
    assert water == pytest.approx(0.5 * activity)


def test_rings_stand_in_true_size_with_one_ring_a_border() -> None:
    """On the last day 0.91 to 0.85 crosses 0.90, 0.88, 0.86: four rings, the rim at 25 of 30 mm."""
    drawn = slice_svg(section(), 30.0, 30.0, "words & more")
    radii = [float(r) for r in re.findall(r'<circle cx="60" cy="60" r="([\d.]+)" fill="#', drawn)]
    crossed = [border for border in BORDERS if 0.851 < border < 0.911]
    assert len(radii) == len(crossed) + 1
    assert radii == sorted(radii, reverse=True)
    assert radii[0] == pytest.approx(58.0 * 25.0 / 30.0, abs=0.01)
    # 0.911 - 0.06 s^2 = 0.88 at s = 0.719 of the radius.
    share = np.sqrt((0.911 - 0.88) / 0.06)
    assert min(abs(r - radii[0] * share) for r in radii) < 0.4
    assert "words &amp; more" in drawn
    assert "0.91</text>" in drawn


@pytest.mark.parametrize("wet_rim", [False, True])
def test_the_map_fills_every_column_from_core_to_rim(wet_rim: bool) -> None:
    """Areas of all tints add up to the area under the rim; lines bear their numbers."""
    one = section(wet_rim=wet_rim)
    axis = Axis([(0.0, "day 0")], [(10.0, "10")], "mm", [(12.0, "today")])
    drawn = map_svg(one, axis, "a map", width=620.0, height=260.0)
    area = 0.0
    for path in re.findall(r'<path fill="#[0-9a-f]{6}"[^>]* d="([^"]+)"', drawn):
        for quad in re.findall(r"M([\d.]+) ([\d.]+)L([\d.]+) ([\d.]+)V([\d.]+)L[\d.]+ ([\d.]+)Z", path):
            x0, y0, x1, y1, z1, z0 = map(float, quad)
            area += 0.5 * (x1 - x0) * ((z0 - y0) + (z1 - y1))
    wide, tall = 620.0 - 52.0, 260.0 - 54.0
    assert area == pytest.approx(wide * tall * np.mean([30.0, 25.0]) / 30.0, rel=0.01)
    numbers = re.findall(r'class="on-line" [^>]*>(0\.\d\d)<', drawn)
    assert {"0.88", "0.90"} <= set(numbers)
    assert "today" in drawn
    assert len(drawn) < 40_000
    assert "style=" not in drawn


def test_the_scale_names_every_border() -> None:
    """Nine borders between ten tints."""
    drawn = scale_svg()
    assert all(f"{border:.2f}" in drawn for border in BORDERS)
    assert drawn.count('fill="#') == len(TINTS) == len(BORDERS) + 1


def test_the_course_stands_even_in_time_and_cuts_an_open_late_end() -> None:
    """Three forecasts on days 0, 1 and 4; the first had no late end."""
    points = [
        ForecastPoint(START + timedelta(days=day), early, middle, late, "m", "p", replayed=day < 4)
        for day, early, middle, late in ((0, 20.0, 40.0, None), (1, 25.0, 38.0, 90.0), (4, 30.0, 36.0, 45.0))
    ]
    assert places(points) == [0.0, 0.25, 1.0]
    low, high = span_of(points)
    assert low == 20.0
    assert 45.0 <= high < 90.0
    drawn = course_svg(
        points, CourseAxis([(0.0, "1 Mar")], [(30.0, "31 Mar")]), "the course", width=560.0, height=190.0
    )
    assert drawn.count('class="later"') == 2
    assert drawn.count('class="kept"') == 1
    assert "31 Mar" in drawn
