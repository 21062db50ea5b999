"""Charts: drawn from data, extremes kept, gaps hatched, the sentence true."""

from __future__ import annotations

import json
from dataclasses import replace
from xml.etree import ElementTree

import examples
import pytest
from hypothesis import given
from hypothesis import strategies as st

from saltloft.foundation.bands import Band
from saltloft.papers import chart_parts, chart_words, charts, screen
from saltloft.papers.thinning import thin
from saltloft.plant.answers import AirRecord
from saltloft.process.result import Flag


def words_of(image: str) -> list[str]:
    root = ElementTree.fromstring(image)
    return ["".join(node.itertext()) for node in root.iter("{http://www.w3.org/2000/svg}text")]


def test_the_curve_names_target_today_gap_and_days_since_hanging() -> None:
    image = chart_parts.svg(charts.lot_curve(examples.outlook()))
    words = words_of(image)
    for expected in ("target 35 %", "today", "no reading", "days since hanging", "RH %", "air °C"):
        assert any(expected in word for word in words), expected
    assert any("10 Mar" in word for word in words)


def test_no_address_outside_is_needed_to_draw_it() -> None:
    spec = charts.lot_curve(examples.outlook())
    assert '"url"' not in json.dumps(spec)
    assert set(charts.ready_days(examples.outlook())) == {
        "$schema", "config", "layer", "width", "height",
    }  # fmt: skip


def test_a_spike_of_one_reading_survives_thinning() -> None:
    spec = charts.lot_curve(examples.outlook())
    air = spec["vconcat"][1]["layer"][0]["data"]["values"]
    assert max(row["value"] for row in air) == pytest.approx(97.0)
    assert len(air) < 1100


def test_the_air_line_does_not_bridge_a_gap() -> None:
    spec = charts.lot_curve(examples.outlook())
    rows = spec["vconcat"][1]["layer"][0]["data"]["values"]
    before = [row for row in rows if row["part"] == 0]
    after = [row for row in rows if row["part"] == 1]
    assert max(row["day"] for row in before) <= 11.0
    assert min(row["day"] for row in after) >= 11.0 + 60 / 24 - 4 / 24 - 0.01


def test_days_count_from_hanging_not_from_stuffing() -> None:
    at_once = chart_parts.frame_of(examples.outlook(hang_offset_h=0.0))
    later = chart_parts.frame_of(examples.outlook(hang_offset_h=48.0))
    assert at_once.today - later.today == pytest.approx(2.0)
    assert later.start == pytest.approx(-2.0)


def test_without_a_log_only_the_curve_is_drawn_and_the_words_say_so() -> None:
    lot = replace(examples.outlook(), air=AirRecord((), (), ()))
    assert len(charts.lot_curve(lot)["vconcat"]) == 1
    assert "No reading of the room's air." in chart_words.lot_curve_words(lot)


def test_an_open_late_end_runs_to_the_edge_without_an_end_mark() -> None:
    lot = examples.outlook()
    target = lot.result.targets["weight_loss_pct"]
    result = replace(
        lot.result,
        targets={"weight_loss_pct": replace(target, mean=Band(40.0, 60.0, None), share_reached=0.7)},
    )
    spec = charts.ready_days(replace(lot, result=result))
    bars, closed = spec["layer"][0]["data"]["values"], spec["layer"][3]["data"]["values"]
    assert "mean of the lot" in [row["lane"] for row in bars]
    assert "mean of the lot" not in [row["lane"] for row in closed]
    chart_parts.svg(spec)


def test_the_alternative_text_holds_the_numbers_of_the_data() -> None:
    words = chart_words.lot_curve_words(examples.outlook())
    assert "the last measured 19.1 % on day 17" in words
    assert "13.6 to 14.4 °C and 76 to 97 % RH" in words
    assert "1 stretch without a reading, 60 h in all." in words
    assert "around Mon 27 Apr (22 Apr to 2 May)" in words
    assert "47 d (43 to 53)" in chart_words.ready_days_words(examples.outlook())


@given(st.lists(st.floats(-50, 150), min_size=1, max_size=400), st.integers(1, 40))
def test_thinning_keeps_the_ends_and_the_extremes(values: list[float], buckets: int) -> None:
    time = [float(index) for index in range(len(values))]
    days, kept = thin(time, values, buckets)
    assert (days[0], days[-1]) == (time[0], time[-1])
    assert (min(kept), max(kept)) == (min(values), max(values))
    assert len(kept) <= max(2 * buckets + 2, min(len(values), 2 * buckets + 2))
    assert days == sorted(days)


def test_the_airs_warmth_has_a_second_scale_in_whole_fahrenheit() -> None:
    """57 °F is 13.89 °C (exact by definition of the scale); screens mark the axis for its readers."""
    spec = charts.lot_curve(examples.outlook())
    drawn = screen.for_page(chart_parts.svg(spec))
    assert drawn.count('class="mark-group role-axis fahrenheit"') == 1
    (axis,) = [
        layer["encoding"]["y"]["axis"]
        for layer in spec["vconcat"][2]["layer"]
        if layer["encoding"].get("y", {}).get("title") == "°F"
    ]
    marks = [1.8 * value + 32.0 for value in axis["values"]]
    assert 2 <= len(marks) <= 6
    assert marks == pytest.approx([round(mark) for mark in marks], abs=1e-9)
    assert ">57</text>" in drawn
    for panel in spec["vconcat"][:2]:
        assert "°F" not in json.dumps(panel, ensure_ascii=False)


def test_the_words_under_the_curve_say_what_the_air_ahead_was_taken_as() -> None:
    lot = examples.outlook()
    ahead = Flag("air_ahead", None, 1.0, "The air ahead is taken 1.2 points of humidity wetter than planned.")
    told = replace(lot, result=replace(lot.result, flags=(*lot.result.flags, ahead)))
    assert chart_words.lot_curve_words(told).endswith(ahead.words)
    assert "air ahead" not in chart_words.lot_curve_words(lot)
