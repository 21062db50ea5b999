"""Every layout of a logger file gives the readings a person takes from it."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest
from tests.unit.store.loggers import layouts_odd, layouts_usual
from tests.unit.store.loggers.layouts import LAYOUTS, Layout

from saltloft.store.loggers import read_log

# Importing the two modules fills LAYOUTS.
assert len(LAYOUTS) >= 25, (layouts_usual, layouts_odd)


@pytest.mark.parametrize("layout", LAYOUTS, ids=lambda layout: layout.name)
def test_readings_are_those_a_person_takes_from_the_file(layout: Layout) -> None:
    """Rooms, quantities, UTC moments and values, all worked by hand; nothing is asked."""
    reading = read_log(layout.data, layout.options)
    assert [question for question in reading.questions if question.blocking] == []
    assert {series.name for series in reading.series} == set(layout.expected)
    for series in reading.series:
        moments = [
            int(datetime.fromisoformat(moment).replace(tzinfo=UTC).timestamp())
            for moment, _ in layout.expected[series.name]
        ]
        assert series.times_s.tolist() == moments, series.name
        np.testing.assert_allclose(
            series.values, [value for _, value in layout.expected[series.name]], atol=1e-9
        )
    assert series.times_s.dtype == np.int64


@pytest.mark.parametrize("layout", LAYOUTS, ids=lambda layout: layout.name)
def test_what_was_understood_and_set_aside_is_said(layout: Layout) -> None:
    """The sentences name what was found; refused rows carry their line, reason and text."""
    reading = read_log(layout.data, layout.options)
    said = "\n".join(reading.understood)
    for words in layout.says:
        assert words in said
    assert reading.counts.events == layout.events
    assert reading.counts.missing == layout.missing
    assert tuple(sorted({refused.line for refused in reading.refused})) == layout.refused
    assert all(refused.reason and refused.raw for refused in reading.refused)
    assert reading.counts.values == sum(series.values.size for series in reading.series)


@pytest.mark.parametrize("layout", LAYOUTS, ids=lambda layout: layout.name)
def test_the_first_rows_are_shown_raw_beside_what_they_became(layout: Layout) -> None:
    """At most five rows, each as it stands in the file."""
    reading = read_log(layout.data, layout.options)
    assert 1 <= len(reading.first_rows) <= 5
    assert any(row.parsed for row in reading.first_rows)
    assert all(row.raw for row in reading.first_rows)
