"""Files that can't be taken as they are: refused or asked, with the line, and nothing guessed."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from saltloft.foundation.errors import InputError, UnknownName
from saltloft.jobs.watch import read_bytes
from saltloft.store.loggers import LogReading, ReadOptions, read_log
from saltloft.store.loggers.reader import MAXIMUM_BYTES

HERE = ReadOptions(room="D2", house_zone="Europe/Vienna")


def _read(text: str, **answers: str) -> LogReading:
    keyed = {key.replace("__", "."): value for key, value in answers.items()}
    return read_log(text.encode(), ReadOptions(room="D2", house_zone="Europe/Vienna", answers=keyed))


def _keys(reading: LogReading) -> list[str]:
    return [question.key for question in reading.questions if question.blocking]


@pytest.mark.parametrize("data", [b"", b"\n\n  \r\n", b"\xef\xbb\xbf", b"\xff\xfe"])
def test_an_empty_file_is_refused(data: bytes) -> None:
    """Nothing, blanks, or a byte mark alone."""
    with pytest.raises(InputError, match="empty"):
        read_log(data, HERE)


def test_a_binary_file_is_refused() -> None:
    """A picture, an archive, random bytes: 'not text', never a crash."""
    random = np.random.default_rng(5).integers(0, 256, 20_000, dtype=np.uint8).tobytes()
    for data in (b"\x89PNG\r\n\x1a\n" + random, b"PK\x03\x04" + random, random):
        with pytest.raises(InputError, match="not text"):
            read_log(data, HERE)


def test_two_gigabytes_are_refused_by_size_before_a_byte_is_read(tmp_path: Path) -> None:
    """A sparse file: opening and reading it would take memory and minutes."""
    large = tmp_path / "large.csv"
    with large.open("wb") as file:
        file.truncate(2 * 1024**3)
    with pytest.raises(InputError, match="too large and was not read") as caught:
        read_bytes(large)
    assert "200 MB" in caught.value.message
    assert MAXIMUM_BYTES == 200_000_000


def test_a_missing_file_and_a_folder_are_refused(tmp_path: Path) -> None:
    """With the name that was typed."""
    for path in (tmp_path / "none.csv", tmp_path):
        with pytest.raises(InputError, match="no such file"):
            read_bytes(path)


@pytest.mark.parametrize(
    "text",
    ["Dear sir,\nthe logger broke.\n", "a,b,c\n1,2,3\n4,5,6\n", "Date;Remark\n03.11.2026 10:00;all well\n"],
)
def test_text_without_a_table_of_readings_is_refused(text: str) -> None:
    """A letter, numbers without moments, moments without numbers."""
    with pytest.raises(InputError, match="no table of readings"):
        _read(text)


def test_missing_columns_are_named() -> None:
    """Nothing but battery and dew point: no temperature or humidity, with the line of the heading."""
    with pytest.raises(InputError, match="no column holds a temperature or a humidity") as caught:
        _read("Timestamp,Battery,Dew point\n2026-11-03 10:00,3.6,11\n")
    assert caught.value.line == 1
    assert "Battery" in caught.value.got


def test_a_table_without_heading_is_asked_about() -> None:
    """The columns are named by number with an example; an answer reads them."""
    text = "2026-11-03 10:00;14,2;81\n2026-11-03 10:05;14,3;82\n"
    assert _keys(_read(text)) == ["column.2", "column.3"]
    reading = _read(text, column__2="temperature", column__3="humidity", unit="C")
    assert reading.questions == ()
    assert [series.values.tolist() for series in reading.series] == [[14.2, 14.3], [81.0, 82.0]]


def test_dates_in_two_orders_are_asked_about_with_both_lines() -> None:
    """Line 3 can only be day first, line 4 only month first; the answer leaves the other out, by line."""
    text = "Date,Temp °C\n01/02/2026 10:00,14.0\n25/02/2026 10:00,14.1\n02/26/2026 10:00,14.2\n"
    asked = _read(text)
    assert _keys(asked) == ["date_order"]
    assert "line 3 is day, month, year" in asked.questions[0].words
    assert "line 4 is month, day, year" in asked.questions[0].words
    answered = _read(text, date_order="dmy")
    assert _keys(answered) == []
    assert [refused.line for refused in answered.refused] == [4]
    assert answered.series[0].values.tolist() == [14.0, 14.1]


def test_an_undecidable_date_order_is_asked_and_never_guessed() -> None:
    """One day, both fields below 13: nothing in the file tells March from November."""
    text = "Date,Temp °C\n03/11/2026 10:00,14.0\n03/11/2026 10:05,14.1\n"
    asked = _read(text)
    assert _keys(asked) == ["date_order"]
    assert "dmy = 2026-11-03" in asked.questions[0].words
    assert "mdy = 2026-03-11" in asked.questions[0].words
    # 3 November 10:00 in Vienna is 09:00 UTC: 1793696400; 11 March 10:00 is 09:00 UTC: 1773219600.
    assert _read(text, date_order="dmy").series[0].times_s[0] == 1793696400
    assert _read(text, date_order="mdy").series[0].times_s[0] == 1773219600


def test_the_moment_of_reading_rules_an_order_out() -> None:
    """Read in May 2026, 03/11/2026 can't be November."""
    text = b"Date,Temp C\n03/11/2026 10:00,14.0\n03/11/2026 10:05,14.1\n"
    may = 1777593600  # 1 May 2026, 00:00 UTC
    reading = read_log(text, ReadOptions(room="D2", house_zone="UTC", now_s=may))
    assert reading.questions == ()
    assert any("month, day, year" in sentence for sentence in reading.understood)


def test_a_unit_nobody_names_is_asked_when_both_fit() -> None:
    """35 to 40 without heading unit and role: a warm fermenting room in °C or a cold room in °F."""
    text = "time,Temp\n2026-11-03 10:00,35\n2026-11-03 10:05,40\n"
    assert _keys(_read(text)) == ["unit.Temp"]
    assert _read(text, unit="F").series[0].values.tolist() == pytest.approx([5 / 3, 40 / 9], abs=1e-6)
    assert _read(text, unit__Temp="C").series[0].values.tolist() == [35.0, 40.0]


def test_a_change_of_unit_in_the_middle_is_asked_with_its_line() -> None:
    """From line 7 the firmware writes °F under a heading in °C: 14.4 °C to 58.1 °F."""
    rows = [f"2026-11-03 10:{minute:02d},{14 + minute / 100:.2f}" for minute in range(0, 25, 5)]
    rows += [f"2026-11-03 10:{minute:02d},{57.6 + minute / 50:.2f}" for minute in range(25, 50, 5)]
    text = "Timestamp,Temp (°C)\n" + "\n".join(rows)
    asked = _read(text)
    assert _keys(asked) == ["unit_change.Temp (°C)"]
    assert "at line 7" in asked.questions[0].words
    converted = read_log(
        text.encode(),
        ReadOptions(room="D2", house_zone="UTC", answers={"unit_change.Temp (°C)": "convert"}),
    )
    # 57.6 + 0.5 = 58.1 °F = 14.5 °C.
    assert converted.series[0].values[4:6].tolist() == pytest.approx([14.2, 14.5])
    assert _keys(converted) == []


def test_a_unit_that_changes_and_changes_back_is_brought_to_one() -> None:
    """Five rows in °C, five in °F, five in °C again: all near 14 °C in the end."""
    cells = [14.0, 14.1, 14.2, 14.3, 14.4, 58.1, 58.1, 58.1, 58.1, 58.1, 14.4, 14.3, 14.2, 14.1, 14.0]
    rows = [f"2026-11-03 10:{row * 2:02d},{cell}" for row, cell in enumerate(cells)]
    text = ("Timestamp,Temp (°C)\n" + "\n".join(rows)).encode()
    answers = {"unit_change.Temp (°C)": "convert"}
    reading = read_log(text, ReadOptions(room="D2", house_zone="UTC", answers=answers))
    assert reading.questions == ()
    assert reading.series[0].values[5:10].tolist() == pytest.approx([14.5] * 5)
    assert reading.series[0].values[10:].tolist() == [14.4, 14.3, 14.2, 14.1, 14.0]


def test_a_column_that_is_no_room_air_is_left_out_and_named() -> None:
    """A core probe, a valve in per cent and a set-point are not the air of a room."""
    text = "Timestamp,Temp (°C),Core °C,Valve %,T set (°C)\n2026-11-03 10:00,14.0,20.0,55,13.5\n"
    reading = _read(text)
    assert [series.channel for series in reading.series] == ["Temp (°C)"]
    assert any("Columns not read: Core °C, Valve %, T set (°C)." in said for said in reading.understood)


def test_a_file_with_more_devices_than_a_house_has_is_refused() -> None:
    """A value column taken for the device would make thousands of series."""
    rows = [f"dev{row},2026-11-03 10:{row % 60:02d},14.0" for row in range(600)]
    with pytest.raises(InputError, match="more devices and channels"):
        read_log(("device,Timestamp,Temp C\n" + "\n".join(rows)).encode(), ReadOptions(house_zone="UTC"))


def test_a_row_in_the_other_decimal_mark_is_refused_not_skipped() -> None:
    """'14.3' in a file of decimal commas is a spoilt reading; 'Button 1' is an event."""
    rows = ["10:00;14,2", "10:05;14.3", "10:06;Button 1", "10:10;14,1"]
    reading = _read("Timestamp;Temp °C\n" + "\n".join(f"2026-11-03 {row}" for row in rows))
    assert [refused.line for refused in reading.refused] == [3]
    assert reading.counts.events == 1


def test_a_cell_of_a_thousand_digits_costs_nothing() -> None:
    """It is no number, told with its line, in no time."""
    reading = _read(
        "Timestamp,Temp C,RH\n2026-11-03 10:00,14.0,80\n2026-11-03 10:05," + "9" * 9000 + "x,81\n"
    )
    assert [refused.line for refused in reading.refused] == [3]


def test_a_humidity_headed_percent_that_never_exceeds_one_is_asked() -> None:
    """0.8 % or 80 %: the heading and the numbers disagree."""
    text = "time,RH (%)\n2026-11-03 10:00,0.80\n2026-11-03 10:05,0.82\n"
    assert _keys(_read(text)) == ["rh_scale"]
    assert _read(text, rh_scale="fraction").series[0].values.tolist() == pytest.approx([80.0, 82.0])


def test_a_fraction_above_one_is_a_fault_not_a_percentage() -> None:
    """1.2 among 0.8 is a wet sensor at 120 %, never 1.2 % RH."""
    reading = _read("time,RH\n2026-11-03 10:00,0.80\n2026-11-03 10:05,1.2\n2026-11-03 10:10,0.82\n")
    assert reading.series[0].values.tolist() == pytest.approx([80.0, 82.0])
    assert reading.counts.missing == 1


def test_a_clock_that_was_never_set_is_refused() -> None:
    """All rows begin in January 2000."""
    with pytest.raises(InputError, match="never set"):
        _read("Timestamp,Temp °C\n2000-01-01 00:00,14.0\n2000-01-01 00:05,14.1\n")


def test_no_zone_anywhere_is_asked() -> None:
    """Without a house, a --zone, an offset or a note, the clock's zone is a question."""
    text = b"Timestamp,Temp C\n2026-11-03 10:00,14.0\n2026-11-03 10:05,14.1\n"
    assert _keys(read_log(text, ReadOptions(room="D2"))) == ["zone"]
    told = read_log(text, ReadOptions(room="D2", zone="Europe/Vienna"))
    assert told.questions == ()
    assert told.series[0].times_s[0] == 1793696400


def test_an_unknown_zone_is_refused_with_the_nearest_names() -> None:
    """A slip of the finger in the zone's name."""
    with pytest.raises(UnknownName) as caught:
        read_log(b"Timestamp,Temp C\n2026-11-03 10:00,14.0\n", ReadOptions(room="D2", zone="Europe/Viena"))
    assert "Europe/Vienna" in caught.value.nearest


def test_an_unknown_answer_is_refused_with_the_nearest_key() -> None:
    """'date_ordr' is no key; an answer outside its options is refused with them."""
    with pytest.raises(UnknownName) as caught:
        _read("Timestamp,Temp C\n2026-11-03 10:00,14.0\n", date_ordr="dmy")
    assert "date_order" in caught.value.nearest
    with pytest.raises(InputError, match="allowed: C, F"):
        _read("Timestamp,Temp\n2026-11-03 10:00,14.0\n", unit="K")


def test_one_room_for_a_file_of_several_places_is_refused() -> None:
    """--room can't name two rooms' channels; a place can be left out by an answer."""
    text = "Timestamp,Room D1 T (°C),Room D2 T (°C)\n2026-11-03 10:00,14.0,15.0\n"
    with pytest.raises(InputError, match="several places"):
        _read(text)
    reading = read_log(text.encode(), ReadOptions(house_zone="UTC", answers={"room.D2": "skip"}))
    assert [series.name for series in reading.series] == ["D1/temperature_c"]


def test_two_columns_of_one_quantity_and_room_are_asked_about() -> None:
    """Two probes under one room: a person leaves one out."""
    text = "Timestamp,Room D1 probe A Temp (°C),Room D1 probe B Temp (°C)\n2026-11-03 10:00,14.0,15.0\n"
    reading = read_log(text.encode(), ReadOptions(house_zone="UTC", rooms={"D1": "drying"}))
    assert len(_keys(reading)) == 1
    key = reading.questions[0].key
    answered = read_log(
        text.encode(), ReadOptions(house_zone="UTC", rooms={"D1": "drying"}, answers={key: "skip"})
    )
    assert [series.values.tolist() for series in answered.series] == [[14.0]]


def test_the_comma_as_separator_and_decimal_mark_is_refused() -> None:
    """Unquoted '14,2' in a comma file: every row has more fields than the heading."""
    text = "Date,Temp C,RH %\n2026-11-03 10:00,14,2,81,5\n2026-11-03 10:05,14,3,81,0\n"
    with pytest.raises(InputError, match="comma"):
        _read(text)


def test_a_file_of_which_too_much_is_refused_asks_before_it_stores() -> None:
    """Ten of twenty rows unreadable is a misreading, not a few bad lines."""
    rows = [f"2026-11-03 10:{minute:02d},{'14.0' if minute % 2 else 'x1'},80" for minute in range(20)]
    reading = _read("Timestamp,Temp °C,RH %\n" + "\n".join(rows))
    assert _keys(reading) == ["refused_rows"]
    assert reading.counts.refused == 10


def test_the_hour_a_logger_shows_twice_in_spring_is_asked_about() -> None:
    """It jumped to summer time and fell back: 03:00 stands twice on 29 March 2026."""
    text = (
        "Timestamp,Temp °C\n2026-03-29 01:30,10\n2026-03-29 03:00,11\n2026-03-29 03:30,12\n"
        "2026-03-29 03:00,13\n2026-03-29 03:30,14\n2026-03-29 04:00,15\n"
    )
    assert _keys(_read(text)) == ["spring_hour"]
    reading = _read(text, spring_hour="standard_after")
    # 01:30 is 00:30 UTC, 03:00 summer is 01:00 UTC; after the fall back 03:00 standard is 02:00 UTC.
    utc = [int(moment) % 86400 // 60 for moment in reading.series[0].times_s]
    assert utc == [30, 60, 90, 120, 150, 180]


def test_an_hour_that_stands_twice_where_the_zone_changes_nothing_is_asked_about() -> None:
    """A Vienna file read as Dublin: 02:00 to 02:50 stands twice, but Dublin repeats 01:00 to 01:50."""
    stamps = [f"0{hour}:{minute}0" for hour in (0, 1, 2, 2, 3) for minute in range(6)]
    rows = [f"2026-10-25 {stamp},{14 + row / 10:.1f}" for row, stamp in enumerate(stamps)]
    data = ("Timestamp,Temp °C\n" + "\n".join(rows)).encode()
    wrong = read_log(data, ReadOptions(room="D2", house_zone="Europe/Dublin"))
    assert "repeated_hour" in _keys(wrong)
    right = read_log(data, ReadOptions(room="D2", house_zone="Europe/Vienna"))
    assert right.questions == ()
    assert right.series[0].values.size == 30


def test_flat_lines_jumps_and_saturation_are_flagged() -> None:
    """Seven hours of 99.9 % RH; a step of 12 °C in 5 minutes is within reach, of 30 °C is not."""
    rows = [f"2026-11-03 {minute // 60:02d}:{minute % 60:02d},14.0,99.9" for minute in range(0, 421, 5)]
    rows += ["2026-11-03 07:05,26.0,90", "2026-11-03 07:10,56.0,91"]
    reading = _read("Timestamp,Temp °C,RH %\n" + "\n".join(rows))
    assert [flag.code for flag in reading.flags] == ["jump", "saturated"]
    assert "26 to 56" in reading.flags[0].words
    assert "for 7.0 h" in reading.flags[1].words


def test_gaps_are_listed_with_their_ends() -> None:
    """A 14-minute hole in a 2-minute log, and nothing else."""
    minutes = [*range(0, 20, 2), *range(32, 50, 2)]
    rows = [f"2026-11-03 10:{minute:02d},14.0" for minute in minutes]
    reading = _read("Timestamp,Temp °C\n" + "\n".join(rows))
    assert [(gap.end_s - gap.start_s) // 60 for gap in reading.gaps] == [14]
    assert any("1 gap; the longest is 14 min" in sentence for sentence in reading.understood)


def test_nul_bytes_an_unclosed_quote_and_a_huge_line_do_no_harm() -> None:
    """Damage inside an otherwise good file costs the damaged rows only; an endless line is refused."""
    text = 'Timestamp,Temp °C\n2026-11-03 10:00,14.0\n"2026-11-03 10:05,14.1\n2026-11-03 10:10,14\x00.2\n'
    reading = _read(text)
    assert reading.series[0].values.tolist() == [14.0, 14.2]
    with pytest.raises(InputError, match="longer than a table's row"):
        _read("Timestamp,Temp °C\n2026-11-03 10:00,14.0" + "1" * 30_000)


def test_every_refusal_names_what_to_do() -> None:
    """No refusal leaves a person without the next step or what would be taken."""
    for data in (b"", b"\x00\x01\x02" * 400, b"hello\n"):
        with pytest.raises(InputError) as caught:
            read_log(data, HERE)
        assert caught.value.do or caught.value.allowed
