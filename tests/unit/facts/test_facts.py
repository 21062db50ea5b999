"""The fact rows that ship: pinned by checksum and spot rows, sources resolve, units can be read."""

from __future__ import annotations

import csv
import hashlib
import io
from decimal import Decimal
from importlib.resources import files

import pytest

from saltloft.facts.loader import Facts, load_facts
from saltloft.facts.schema import check_unit
from saltloft.foundation.errors import UnknownName
from saltloft.foundation.sources import Confidence, Fact, Source

DATA = files("saltloft") / "facts" / "data"


@pytest.mark.parametrize(
    ("path", "rows", "sha256"),
    [
        ("pork/usda_sr.csv", 28, "2ef078a99a914d3e685bc9466c0f507bc03549fecfec9baa6acda12ea72d952a"),
        (
            "sodium_chloride/osmotic.csv",
            19,
            "85d33293b62cd4dce9b8a3157c0ecbaf277c72d6c5b2c25a5043af5ced1a9896",
        ),
        (
            "saturated_salts/at_25c.csv",
            11,
            "47cbbdbe54710d9169642d6a95905c66c1cb305ed388a127e125765eab78afdb",
        ),
        (
            "saturated_salts/sodium_chloride.csv",
            7,
            "2e9db3132717195ddc24599cb9200bd2532328070f67500cbf6d77dcc9c1fade",
        ),
        ("saturated_salts/fit.csv", 8, "1cdc6df1c9f1da2ec601ba832ca1d12363cd4dcf9ce13ef627e5af815e27ea0f"),
    ],
)
def test_a_printed_table_is_as_it_was_copied(path: str, rows: int, sha256: str) -> None:
    """Shape and checksum: a changed digit anywhere in a table fails."""
    text = (DATA / path).read_bytes()
    assert len(list(csv.reader(io.StringIO(text.decode())))) == rows + 1
    assert hashlib.sha256(text).hexdigest() == sha256


@pytest.mark.parametrize(
    ("key", "printed"),
    [
        # USDA Standard Reference release 26/27, per 100 g, looked up by hand in the table.
        ("pork.10072.water_pct", "72.63"),
        ("pork.10072.protein_pct", "19.55"),
        ("pork.10004.fat_pct", "88.69"),
        ("pork.07071.water_pct", "36.18"),
        ("pork.10060.description", "PORK  FRSH  LOIN  TENDERLOIN   LN ONLY  RAW"),
        # Table of priors of the trial model.
        ("drying.water_diffusivity", "9.0e-11"),
        ("drying.salt_drag", "0.6"),
        ("drying.casing_resistance_fibrous", "70"),
        ("sorption.halsey_power", "2.3"),
        # Robinson & Stokes, osmotic coefficients; Greenspan, saturated salts (recalled).
        ("sodium_chloride.osmotic_coefficient.m6_0.osmotic_coefficient", "1.2706"),
        ("saturated_salts.potassium_nitrate.rh_pct", "93.58"),
        ("saturated_salts.sodium_chloride_at.t10.rh_pct", "75.67"),
        ("saturated_salts.fit.lithium_chloride.b", "-75"),
    ],
)
def test_spot_rows(key: str, printed: str) -> None:
    """Single rows read by eye from the source."""
    value = load_facts().get(key).value
    assert value == (printed if isinstance(value, str) else Decimal(printed))


def test_all_28_pork_rows_have_their_four_parts() -> None:
    """Water, protein, fat and ash of each row make 100 % within 3 %: printed, not scaled."""
    facts = load_facts()
    labels = {key.split(".")[1] for key in facts.keys("pork")}
    assert len(labels) == 28
    for label in labels - {"07057", "07071", "07072", "07230", "07941"}:  # those hold sugar and salt too
        parts = sum(facts.number(f"pork.{label}.{part}_pct") for part in ("water", "protein", "fat", "ash"))
        assert parts == pytest.approx(100.0, abs=3.0), label


def test_every_row_has_a_readable_unit_a_source_and_a_place() -> None:
    """What a paper prints beside a number is there for every number."""
    facts = load_facts()
    for fact in map(facts.get, facts.keys("")):
        check_unit(fact.unit)
        assert facts.source(fact.key).title
        assert fact.place, fact.key


def test_a_missing_key_offers_the_nearest() -> None:
    """A slip of the pen is answered with the name that was meant."""
    with pytest.raises(UnknownName, match=r"drying\.water_diffusivity"):
        load_facts().get("drying.water_difusivity")


def test_keys_take_a_prefix_of_whole_names() -> None:
    """'pork.1007' is not a prefix of 'pork.10072.water_pct'."""
    facts = load_facts()
    assert len(facts.keys("pork.10072")) == 5
    assert facts.keys("pork.1007") == ()


SOURCES = {"book": Source("book", "A book, 1st edition", "")}


def _fact(key: str, confidence: Confidence, rests_on: tuple[str, ...] = (), value: str = "1.0") -> Fact:
    return Fact(key, Decimal(value), "1", "book", "page 1", confidence, rests_on=rests_on)


@pytest.mark.parametrize(
    ("confidence", "ground", "confirmed"),
    [
        (Confidence.READ, None, True),
        (Confidence.COMPUTED, Confidence.READ, True),
        (Confidence.COMPUTED, Confidence.MEMORY, False),
        (Confidence.COMPUTED, Confidence.COMPUTED, False),
        (Confidence.SECOND_HAND, None, False),
        (Confidence.MEMORY, None, False),
        (Confidence.PRACTICE, None, False),
        (Confidence.OWN, None, False),
    ],
)
def test_only_read_rows_are_confirmed(
    confidence: Confidence, ground: Confidence | None, confirmed: bool
) -> None:
    """Read, or computed from read rows only; everything else waits for a person."""
    rows = {"t.root": _fact("t.root", Confidence.READ)}
    rows["t.ground"] = _fact("t.ground", ground or Confidence.READ, ("t.root",))
    rows["t.row"] = _fact("t.row", confidence, ("t.ground",) if ground else ())
    assert Facts(rows, SOURCES).confirmed_by_source("t.row") is confirmed


def test_the_digest_moves_with_number_place_and_edition_only() -> None:
    """A confirmation names the digest: 1.0 and 1.00 are one number, a new edition is another row."""

    def digest(value: str = "1.0", title: str = "A book, 1st edition") -> str:
        rows = {"t.row": _fact("t.row", Confidence.READ, value=value)}
        return Facts(rows, {"book": Source("book", title)}).digest("t.row")

    assert digest() == digest("1.00")
    assert digest() != digest("1.1")
    assert digest() != digest(title="A book, 2nd edition")
    # The canonical form, written out by hand.
    canonical = (
        '{"confidence":"read","high":null,"key":"t.row","log_sd":null,"low":null,"note":"","place":"page 1",'
        '"rests_on":[],"sd":null,"source":{"address":"","key":"book","title":"A book, 1st edition"},'
        '"unit":"1","valid":"","value":"1"}'
    )
    assert digest() == hashlib.sha256(canonical.encode()).hexdigest()


@pytest.mark.parametrize("fact", [_fact("t.row", Confidence.COMPUTED, ("t.gone",))])
def test_a_row_may_not_rest_on_nothing(fact: Fact) -> None:
    """A computed row names rows that exist; a row names a source that exists."""
    with pytest.raises(UnknownName, match=r"t\.gone"):
        Facts({"t.row": fact}, SOURCES)
    with pytest.raises(UnknownName, match="book"):
        Facts({"t.row": _fact("t.row", Confidence.READ)}, {})
