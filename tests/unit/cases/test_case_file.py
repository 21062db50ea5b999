"""Every way a case file can be wrong: key, line, what came, what is allowed, nearest name."""

from __future__ import annotations

from pathlib import Path

import pytest

from saltloft.cases.case_file import Table, error_answer, read_case
from saltloft.cases.case_text import LARGEST_BYTES
from saltloft.cases.keys import Range
from saltloft.cases.piece_keys import PIECE, STAGE, check_parts, hours_of
from saltloft.foundation.errors import InputError, SaltloftError, UnknownName

SCHEMA = {"piece": PIECE, "stage": STAGE}
GOOD = """# a case
format = 1
title = "one"

[piece]
diameter_mm = [50, 58]
mould = true
casing = "natural"

[[stage]]
name = "fermentation"
duration_d = 2.5
temperature_c = 22
rh_pct = 92

[[stage]]
duration_h = 24
temperature_c = [13, 15]
"""


def read(tmp_path: Path, text: str | bytes) -> Table:
    """Write a case and read it."""
    file = tmp_path / "case.toml"
    file.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_case(file, SCHEMA)


def test_a_good_case_gives_its_numbers(tmp_path: Path) -> None:
    """Numbers, ranges, flags, words and lists of tables come out as written."""
    case = read(tmp_path, GOOD)
    assert case.text("title") == "one"
    assert case.section("piece").span("diameter_mm") == Range(50.0, 58.0)
    assert case.section("piece").flag("mould") is True
    first, second = case.sections("stage")
    assert hours_of(first) == Range(60.0, 60.0)
    assert hours_of(second) == Range(24.0, 24.0)
    assert second.span("temperature_c") == Range(13.0, 15.0)
    assert second.span("rh_pct") is None
    assert case.section("target").number("weight_loss_pct") is None


@pytest.mark.parametrize(
    ("old", "new", "key", "line", "word"),
    [
        ("diameter_mm = [50, 58]", "diametre_mm = 55", "piece.diametre_mm", 6, "diameter_mm"),
        ("diameter_mm = [50, 58]", "diameter_mm = [58, 50]", "piece.diameter_mm", 6, "[50, 58]"),
        ("diameter_mm = [50, 58]", 'diameter_mm = "55"', "piece.diameter_mm", 6, "without quotes"),
        ("diameter_mm = [50, 58]", "diameter_mm = nan", "piece.diameter_mm", 6, "10 to 200"),
        ("diameter_mm = [50, 58]", "diameter_mm = inf", "piece.diameter_mm", 6, "10 to 200"),
        ("diameter_mm = [50, 58]", "diameter_mm = true", "piece.diameter_mm", 6, "not a number"),
        ("diameter_mm = [50, 58]", "diameter_mm = [1, 2, 3]", "piece.diameter_mm", 6, "not a number"),
        ("diameter_mm = [50, 58]", "", "piece.diameter_mm", 5, "lacks"),
        ("mould = true", "fat_pct = 130", "piece.fat_pct", 7, "0 to 90"),
        ("mould = true", 'mould = "yes"', "piece.mould", 7, "true, false"),
        ('casing = "natural"', 'casing = "nature"', "piece.casing", 8, "natural"),
        ("rh_pct = 92", "rh_pct = 1.2", "stage[1].rh_pct", 14, "92 for 92 %"),
        ("rh_pct = 92", "rh_pct = 0.92", "stage[1].rh_pct", 14, "20 to 100"),
        ("temperature_c = [13, 15]", "temperature_c = 72", "stage[2].temperature_c", 18, "72 degF is 22.2"),
        ("temperature_c = [13, 15]", "temperture_c = 14", "stage[2].temperture_c", 18, "temperature_c"),
        ("temperature_c = [13, 15]", "", "stage[2].temperature_c", 16, "lacks"),
        ("[piece]", "[peice]", "peice", 5, "piece"),
        ("format = 1", "format = 2", "format", 2, "a whole number, 1"),
        ("format = 1", "format = 1\nformat = 1", "file", 3, "not TOML"),
    ],
)
def test_what_is_wrong_is_named_with_its_line(  # noqa: PLR0917 - one argument a column
    tmp_path: Path, old: str, new: str, key: str, line: int, word: str
) -> None:
    """The offending key, its line, and a word of what was allowed or nearest."""
    with pytest.raises(InputError) as refusal:
        read(tmp_path, GOOD.replace(old, new, 1))
    answer = error_answer(refusal.value)["error"]
    assert answer["key"] == key
    assert answer["line"] == line
    assert word in str(answer["message"])
    assert set(answer) == {"message", "key", "line", "allowed"}


@pytest.mark.parametrize(
    ("content", "word"),
    [
        (b"", "empty"),
        (b" \n\n", "empty"),
        (b"\x00\x01\x02", "not a text file"),
        (b"title = '\xff\xfe'", "not a text file"),
        (b"[piece", "not TOML"),
        (b"a = " + b"[" * 20_000, "nested too deep"),
        (b"piece = 3", "must be a table"),
        (b"stage = []\n[piece]\ndiameter_mm = 55", "must be a table"),
        (b"[piece]\ndiameter_mm = 55", "lacks [[stage]]"),
        (b"# " + b"x" * LARGEST_BYTES, "too large"),
    ],
)
def test_files_that_are_no_case(tmp_path: Path, content: bytes, word: str) -> None:
    """Empty, binary, cut off, too deep, of another shape, too large."""
    with pytest.raises(SaltloftError) as refusal:
        read(tmp_path, content)
    assert word in refusal.value.message


def test_a_two_gigabyte_file_is_refused_by_size_before_reading(tmp_path: Path) -> None:
    """A sparse file of 2 GB: refused at once, with the size that came and the one allowed."""
    file = tmp_path / "big.toml"
    with file.open("wb") as stream:
        stream.truncate(2_000_000_000)
    with pytest.raises(InputError, match="was not read") as refusal:
        read_case(file, SCHEMA)
    assert "2000000000" in refusal.value.got


def test_missing_files_and_folders_are_said(tmp_path: Path) -> None:
    """Neither is read, both are named."""
    with pytest.raises(InputError, match="cannot be read"):
        read_case(tmp_path / "none.toml", SCHEMA)
    with pytest.raises(InputError, match="is a folder"):
        read_case(tmp_path, SCHEMA)


def test_a_byte_order_mark_and_dotted_keys_are_taken(tmp_path: Path) -> None:
    """Some editors write a mark; `piece.diameter_mm` says the same as a table."""
    case = read(tmp_path, b"\xef\xbb\xbf" + GOOD.encode())
    assert case.text("title") == "one"
    dotted = "piece.diameter_mm = 5\n[[stage]]\nduration_h = 1\ntemperature_c = 20\n"
    with pytest.raises(InputError) as refusal:
        read(tmp_path, dotted)
    assert (refusal.value.key, refusal.value.line) == ("piece.diameter_mm", 1)


def test_two_durations_or_none_are_refused(tmp_path: Path) -> None:
    """A stage has one duration, in hours or days."""
    for text in (
        GOOD.replace("duration_d = 2.5", "duration_d = 2.5\nduration_h = 60"),
        GOOD.replace("duration_d = 2.5", ""),
    ):
        with pytest.raises(InputError, match="duration"):
            hours_of(read(tmp_path, text).sections("stage")[0])


def test_a_composition_over_100_is_refused(tmp_path: Path) -> None:
    """50 % fat and 55 % water: the sum is shown."""
    text = GOOD.replace("mould = true", "fat_pct = 50\nwater_pct = 55")
    with pytest.raises(InputError, match="105"):
        check_parts(read(tmp_path, text).section("piece"))


def test_an_unknown_name_is_both_an_input_error_and_a_key_error(tmp_path: Path) -> None:
    """Callers may catch either."""
    with pytest.raises(UnknownName) as refusal:
        read(tmp_path, GOOD.replace("mould", "mold"))
    assert isinstance(refusal.value, KeyError)
    assert "mould" in refusal.value.nearest


@pytest.mark.parametrize(
    ("new", "key", "line", "word"),
    [
        ("salt_pct = 0.027", "piece.salt_pct", 7, "write 2.7 for 2.7 %"),
        ("fat_pct = 2,7", "file", 7, "write a decimal point: 2.7"),
        ("mould = 2026-01-01", "piece.mould", 7, "got 2026-01-01"),
        ("fat_pct = true", "piece.fat_pct", 7, "got true"),
        ("fat_pct = 1" + "0" * 5000, "file", None, "too many digits"),
    ],
)
def test_a_slip_of_unit_or_spelling_is_named(
    tmp_path: Path, new: str, key: str, line: int | None, word: str
) -> None:
    """A fraction for per cent, a decimal comma, a date, a number of 5001 digits."""
    with pytest.raises(InputError) as refusal:
        read(tmp_path, GOOD.replace("mould = true", new, 1))
    assert (refusal.value.key, refusal.value.line) == (key, line)
    assert word in refusal.value.message


def test_inline_tables_have_a_line_too(tmp_path: Path) -> None:
    text = "piece = {diameter_mm = 50}\nstage = [\n{duration_d = 2, temperature_c = 14, rh_pct = 1.2}]\n"
    with pytest.raises(InputError) as refusal:
        read(tmp_path, text)
    assert (refusal.value.key, refusal.value.line) == ("stage[1].rh_pct", 2)


def test_four_parts_that_leave_most_of_the_batter_unnamed_are_refused(tmp_path: Path) -> None:
    parts = "fat_pct = 1\nwater_pct = 10\nprotein_pct = 10\nsalt_pct = 1\n"
    piece = read(tmp_path, GOOD.replace("mould = true\n", parts)).section("piece")
    with pytest.raises(InputError, match="= 22; allowed: all four together at least 75"):
        check_parts(piece)
