"""What a data file may say, and how a wrong one is answered."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from saltloft.facts.loader import read_folder
from saltloft.facts.schema import check_unit, read_fact, read_table
from saltloft.foundation.errors import InputError, UnknownName

GOOD: dict[str, Any] = {"value": 5, "unit": "kg/m3", "source": "s", "place": "p", "confidence": "read"}


def test_a_whole_row_keeps_every_field() -> None:
    """Numbers stay as printed (Decimal), words stay words."""
    fact = read_fact(
        "a.b", {**GOOD, "value": Decimal("5.00"), "low": 4, "high": "6.5", "sd": 1, "note": "n", "valid": "v"}
    )
    assert (str(fact.value), fact.low, fact.high, fact.sd, fact.note, fact.valid) == (
        "5.00", Decimal(4), Decimal("6.5"), Decimal(1), "n", "v",
    )  # fmt: skip
    word = read_fact("a.b", {**GOOD, "value": "fibrous", "unit": ""})
    assert word.value == "fibrous"
    with pytest.raises(ValueError, match="holds a word"):
        _ = word.number


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"vlaue": 3}, "allowed: value"),
        ({"unit": None}, "unit"),
        ({"unit": "kgg/m3"}, "no unit is called 'kgg'"),
        ({"unit": "W/m2/K"}, "two '/'"),
        ({"confidence": "red"}, "allowed: read"),
        ({"low": 6}, "low <= value <= high"),
        ({"high": 4}, "low <= value <= high"),
        ({"sd": -1}, "negative spread"),
        ({"value": -5, "log_sd": Decimal("0.1")}, "log-normal but not above zero"),
        ({"value": "five"}, "is not a number"),
        ({"value": True}, "is not a number"),
        ({"value": Decimal("Infinity")}, "is not finite"),
        ({"confidence": "computed"}, "names no row in rests_on"),
        ({"rests_on": "a.c"}, "not a list of keys"),
        ({"source": 7}, "source of a.b is not text"),
        ({"value": "word", "unit": "", "low": 3}, "is a word"),
    ],
)
def test_a_wrong_row_is_refused_with_its_line(change: dict[str, Any], words: str) -> None:
    """Every refusal names the row, the line and what was allowed."""
    with pytest.raises(InputError, match=words) as refusal:
        read_fact("a.b", {**GOOD, **change}, line=12)
    assert "line 12" in str(refusal.value)


@pytest.mark.parametrize("missing", sorted(GOOD))
def test_a_missing_field_is_named(missing: str) -> None:
    """No row without value, unit, source, place and confidence."""
    with pytest.raises(InputError, match=f"lacks its field '{missing}'"):
        read_fact("a.b", {name: value for name, value in GOOD.items() if name != missing})


@pytest.mark.parametrize("key", ["plain", "A.b", "a..b", "a.b c"])
def test_a_key_is_topic_and_name(key: str) -> None:
    """'topic.name', lower case topic."""
    with pytest.raises(InputError, match=r"topic\.name"):
        read_fact(key, GOOD)


@pytest.mark.parametrize(
    "unit", ["", "1", "%", "W/m2.K", "kJ/mol", "kg½/mol½", "F.h", "C.h", "s/m", "log10", "kg2/mol2", "mg/kg"]
)
def test_units_we_write(unit: str) -> None:
    """The grammar: atoms joined by '.', one '/', an exponent behind an atom."""
    check_unit(unit)


def _folder(tmp_path: Path, rows: str) -> Path:
    (tmp_path / "topic").mkdir()
    (tmp_path / "sources.toml").write_text('[s]\ntitle = "S"\n')
    (tmp_path / "topic" / "rows.toml").write_text(rows)
    return tmp_path


ROW = 'value = 1.50\nunit = "1"\nsource = "s"\nplace = "p"\nconfidence = "read"\n'


def test_a_folder_is_read_with_digits_kept(tmp_path: Path) -> None:
    """1.50 stays 1.50."""
    facts = read_folder(_folder(tmp_path, f"[topic.a]\n{ROW}\n[topic.deep.b]\n{ROW}"))
    assert facts.keys() == ("topic.a", "topic.deep.b")
    assert str(facts.get("topic.a").value) == "1.50"


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        (f"[other.a]\n{ROW}", "line 1: other.a stands in the folder of another topic"),
        (f"\n\n[topic.a]\n{ROW}colour = 3\n", "line 3: no field of topic.a is called 'colour'"),
        (f"[topic.a]\n{ROW}[topic.a.b]\n{ROW}", "no field of topic.a is called 'b'"),
        ("[topic.a\n", "is not TOML"),
        ("[topic.a]\n", "lacks its field 'value'"),
        ("[topic.a]\n" + ROW.replace('"s"', '"t"'), "no source is called 't'"),
    ],
)
def test_a_wrong_folder_is_refused(tmp_path: Path, rows: str, words: str) -> None:
    """The first row that cannot be taken stops the reading, with its place."""
    with pytest.raises(InputError, match=words):
        read_folder(_folder(tmp_path, rows))


def test_one_key_twice_is_refused(tmp_path: Path) -> None:
    """Two files of a topic may not both hold a key."""
    folder = _folder(tmp_path, f"[topic.a]\n{ROW}")
    (folder / "topic" / "second.toml").write_text(f"[topic.a]\n{ROW}")
    with pytest.raises(InputError, match="is there twice"):
        read_folder(folder)


SPEC: dict[str, Any] = {
    "file": "t.csv", "prefix": "topic", "key": "row", "source": "s", "place": "table 2", "confidence": "read",
    "columns": {"w": {"name": "water", "unit": "%"}},
}  # fmt: skip


def test_a_csv_table_becomes_rows() -> None:
    """One row a cell; an empty cell is no row, never a zero."""
    rows = dict(read_table(SPEC, "row,w\na,1.5\nb,\n", "topic"))
    assert list(rows) == ["topic.a.water"]
    assert rows["topic.a.water"]["place"] == "table 2, row a"
    assert str(read_fact("topic.a.water", rows["topic.a.water"]).value) == "1.5"


def test_a_missing_column_is_named() -> None:
    """The file's own columns are offered."""
    with pytest.raises(UnknownName, match=r"column of t\.csv"):
        list(read_table(SPEC, "row,water\na,1\n", "topic"))


NUMBER = st.decimals(-1000, 1000, places=3)


@given(NUMBER, NUMBER, NUMBER)
def test_a_row_is_taken_exactly_when_it_is_in_order(low: Decimal, value: Decimal, high: Decimal) -> None:
    """low <= value <= high is the whole condition, at the borders too."""
    fields = {**GOOD, "value": value, "low": low, "high": high}
    if low <= value <= high:
        assert read_fact("a.b", fields).value == value
    else:
        with pytest.raises(InputError, match="is not in order"):
            read_fact("a.b", fields)
