"""Check digits against GS1's own worked examples, addresses written and read, and codes that scan."""

from __future__ import annotations

import struct
import zlib

import numpy as np
import pytest
import vl_convert
import zxingcpp
from hypothesis import given
from hypothesis import strategies as st

from saltloft.foundation.errors import InputError
from saltloft.papers.tags import code_svg
from saltloft.plant.digital_link import (
    ASSET,
    GTIN,
    SSCC,
    LinkKey,
    address,
    brackets,
    check_digit,
    checked,
    gtin_14,
    own_asset,
    read_address,
    read_brackets,
    shipping_unit,
    trade_item,
)
from saltloft.plant.tags import link_of, with_attributes

# Signs that may stand in a lot number on a tag (character set 82).
SET_82 = "!\"%&'()*+,-./0123456789:;<=>?ABCDEFGHIJKLMNOPQRSTUVWXYZ_abcdefghijklmnopqrstuvwxyz"


@pytest.mark.parametrize(
    "number",
    [
        # GS1 General Specifications, section 7.9.1 and the check digit page of GS1 (629104150021 + 3).
        "6291041500213",
        "376104250021234569",
        # Examples in the documentation of two independent libraries (biip, gl_gtin).
        "07032069804988",
        # ISBN-13, the same rule (978-0-306-40615-7, ISO 2108's usual example).
        "9780306406157",
        # EAN-8 of the usual textbook example.
        "73513537",
    ],
)
def test_published_numbers_have_the_check_digit_of_the_rule(number: str) -> None:
    """Weights 3 and 1 from the right, the sum filled up to ten."""
    assert check_digit(number[:-1]) == number[-1]


@given(st.integers(0, 10**13 - 1), st.integers(0, 12), st.integers(1, 9))
def test_one_wrong_digit_is_always_found(body: int, place: int, off: int) -> None:
    """Any single digit that is off changes the sum by what ten does not divide."""
    right = f"{body:013d}"
    right += check_digit(right)
    wrong = right[:place] + str((int(right[place]) + off) % 10) + right[place + 1 :]
    with pytest.raises(InputError):
        checked(wrong, "number", (14,))
    assert checked(right, "number", (14,)) == right


def test_own_items_and_units_come_of_the_own_prefix() -> None:
    """Prefix 952 is GS1's for examples; items fill up to 12 digits, shipping units to 17."""
    assert trade_item("9521234", 1) == "9521234000013"
    unit = shipping_unit("9521234", 417)
    assert (len(unit), unit[1:8]) == (18, "9521234")
    assert unit[-1] == check_digit(unit[:-1])
    with pytest.raises(InputError, match="no room"):
        trade_item("9521234", 100_000)
    with pytest.raises(InputError, match="company prefix"):
        trade_item("95", 1)


@given(st.text(SET_82, min_size=1, max_size=20), st.text(SET_82, max_size=20))
def test_an_address_reads_back_as_it_was_written(lot: str, serial: str) -> None:
    """Whatever signs the set allows: percent signs, strokes, question marks."""
    key = LinkKey(GTIN, gtin_14(trade_item("9521234", 7)), lot, serial)
    assert read_address(address(key, "https://house.example/tags")) == key


def test_a_foreign_resolver_s_address_is_read_the_same() -> None:
    """Any host, any folder before the key (Digital Link, URI syntax, section 4)."""
    for base in ("https://id.gs1.org", "http://192.168.1.7:8765", "https://house.example/some/folder"):
        key = read_address(f"{base}/01/09521234000013/10/AL-0310/21/AL-0310-14")
        assert key == LinkKey(GTIN, "09521234000013", "AL-0310", "AL-0310-14")
    assert read_address("https://example.org/lots/AL-0310") is None
    assert read_address("AL-0310") is None


def test_the_line_below_the_code_reads_back() -> None:
    """What people type from a label whose code is torn."""
    key = LinkKey(GTIN, "09521234000013", "AL-0310")
    assert brackets(key) == "(01)09521234000013(10)AL-0310"
    assert read_brackets(brackets(key)) == key
    assert read_brackets("(00)" + shipping_unit("9521234", 1)) == LinkKey(SSCC, shipping_unit("9521234", 1))


def test_names_that_cannot_stand_on_a_tag_get_the_house_s_own_address() -> None:
    """A lot number of 21 letters, or with a blank, is no GS1 lot number; its tag still leads home."""
    long = "L" * 21
    assert link_of("https://house.example", long, gtin="9521234000013", lot=long) == (
        f"https://house.example/g/{long}",
        long,
    )
    with pytest.raises(InputError, match="cannot stand on a tag"):
        address(LinkKey(GTIN, "09521234000013", "two words"))
    with pytest.raises(InputError):
        own_asset("9521234", "x" * 30)
    assert read_address(address(LinkKey(ASSET, own_asset("9521234", "R-12")))) == LinkKey(
        ASSET, "9521234R-12"
    )


def test_expiry_and_net_weight_are_attributes() -> None:
    """AI 17 is a day as YYMMDD, AI 3103 kilograms with three decimals; only on a Digital Link."""
    link, _ = link_of("https://house.example", "PK-1", gtin="9521234000013", lot="PK-1")
    assert with_attributes(link, use_by="2026-10-15", net_mg=250_000_000) == f"{link}?17=261015&3103=250000"
    assert with_attributes(link, net_mg=250_000_001) == link
    assert (
        with_attributes("https://house.example/g/PK-1", use_by="2026-10-15") == "https://house.example/g/PK-1"
    )


def pixels(png: bytes) -> np.ndarray:
    """Grey pixels of a PNG of 8 bits and four channels (PNG specification, sections 7 and 9)."""
    width, height, depth, colour = struct.unpack(">IIBB", png[16:26])
    assert (depth, colour) == (8, 6)
    packed, place = b"", 8
    while place < len(png):
        length, name = struct.unpack(">I4s", png[place : place + 8])
        packed += png[place + 8 : place + 8 + length] if name == b"IDAT" else b""
        place += 12 + length
    raw = np.frombuffer(zlib.decompress(packed), np.uint8).reshape(height, 1 + 4 * width)
    rows = np.zeros((height + 1, width + 1, 4), np.int64)
    for number in range(height):
        kind, line = raw[number, 0], raw[number, 1:].reshape(width, 4).astype(np.int64)
        for x in range(width):
            left, above, corner = rows[number + 1, x], rows[number, x + 1], rows[number, x]
            guess = left + above - corner
            far = [abs(guess - left), abs(guess - above), abs(guess - corner)]
            nearest = np.where(
                (far[0] <= far[1]) & (far[0] <= far[2]), left, np.where(far[1] <= far[2], above, corner)
            )
            base = (0, left, above, (left + above) // 2, nearest)[kind]
            rows[number + 1, x + 1] = (line[x] + base) % 256
    drawn = rows[1:, 1:]
    # What is not drawn is paper.
    return np.where(drawn[:, :, 3] > 127, drawn[:, :, 0], 255).astype(np.uint8)


def scanned(link: str) -> str:
    """What an independent reader (ZXing) sees in the code as it is printed."""
    image = pixels(vl_convert.svg_to_png(code_svg(link), scale=1.0))
    found = zxingcpp.read_barcodes(np.ascontiguousarray(image))
    assert len(found) == 1
    return str(found[0].text)


@pytest.mark.parametrize(
    "link",
    [
        "https://house.example/01/09521234000013/10/AL-0310",
        "https://house.example/01/09521234000013/10/OK-0309/21/OK-0309-14",
        "https://house.example/01/09521234000013/10/PK-1?17=261015&3103=250000",
        "https://house.example/8004/9521234R-12",
        "http://192.168.1.7:8765/g/AL-0310%2Fends",
    ],
)
def test_the_code_scans_back_to_its_address(link: str) -> None:
    """Drawn for the tag, read by another library that knows nothing of ours."""
    assert scanned(link) == link
