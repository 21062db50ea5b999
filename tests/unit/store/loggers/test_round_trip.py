"""Readings written in any usual form are read back the same."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from hypothesis import given, settings
from hypothesis import strategies as st

from saltloft.foundation.errors import InputError
from saltloft.store.loggers import ReadOptions, read_log

VIENNA = ZoneInfo("Europe/Vienna")
DATES = (
    "%Y-%m-%d %H:%M:%S",
    "%Y-%m-%dT%H:%M",
    "%d.%m.%Y %H:%M",
    "%d/%m/%Y %H:%M:%S",
    "%d/%m/%y %H:%M",
    "%m/%d/%Y %I:%M %p",
    "%d %b %Y %H:%M",
    "%Y%m%d%H%M%S",
)


@st.composite
def written(draw: st.DrawFn) -> tuple[bytes, list[int], list[float], list[float]]:
    """A file of two to three days at an even step, with its moments and values."""
    separator = draw(st.sampled_from([";", "\t", "|", ","]))
    decimal = draw(st.sampled_from([".", ","] if separator != "," else ["."]))
    form = draw(st.sampled_from(DATES))
    encoding = draw(st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "cp1252"]))
    # Noon to noon leaves no doubt: the date changes at least twice.
    start = datetime(2026, 1, 1, 12, tzinfo=UTC) + timedelta(days=draw(st.integers(0, 300)))
    step = draw(st.sampled_from([10, 15, 30]))
    count = 3 * 24 * 60 // step
    tenths = draw(st.lists(st.integers(80, 180), min_size=8, max_size=8))
    humid = draw(st.lists(st.integers(600, 990), min_size=8, max_size=8))
    moments = [start + timedelta(minutes=step * row) for row in range(count)]
    temperature = [tenths[row % 8] / 10 for row in range(count)]
    humidity = [humid[row % 8] / 10 for row in range(count)]
    lines = [separator.join(("Timestamp", "Temp (°C)", "RH (%)"))]
    for moment, warm, damp in zip(moments, temperature, humidity, strict=True):
        stamp = f"{moment.astimezone(VIENNA):{form}}"
        cells = (f"{value:.1f}".replace(".", decimal) for value in (warm, damp))
        lines.append(separator.join((stamp, *cells)))
    data = draw(st.sampled_from(["\n", "\r\n"])).join(lines).encode(encoding)
    return data, [int(moment.timestamp()) for moment in moments], temperature, humidity


@settings(max_examples=60, deadline=None)
@given(written())
def test_what_was_written_is_read_back(file: tuple[bytes, list[int], list[float], list[float]]) -> None:
    """Separator, decimal mark, date form, encoding and line end change nothing, across clock changes too."""
    data, moments, temperature, humidity = file
    reading = read_log(data, ReadOptions(room="D2", house_zone="Europe/Vienna"))
    assert [question for question in reading.questions if question.blocking] == []
    assert [series.name for series in reading.series] == ["D2/temperature_c", "D2/rh_pct"]
    for series, values in zip(reading.series, (temperature, humidity), strict=True):
        assert series.times_s.tolist() == moments
        assert series.values.tolist() == values
    assert reading.gaps == ()
    assert reading.refused == ()


@settings(max_examples=150, deadline=None)
@given(st.binary(max_size=400), st.text(max_size=400))
def test_any_bytes_end_in_a_reading_or_a_refusal(data: bytes, text: str) -> None:
    """Nothing a file can hold breaks the reader otherwise than by a refusal in words."""
    head = b"Timestamp;Temp C;RH\n2026-11-03 10:00;14,0;80\n"
    refusals = []
    for attempt in (data, head + data, head + text.encode("utf-8", "replace")):
        try:
            read_log(attempt, ReadOptions(room="D2", house_zone="UTC"))
        except InputError as refusal:
            refusals.append(refusal)
    assert all(refusal.message for refusal in refusals)
