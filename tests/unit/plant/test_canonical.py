"""Canonical bytes: one value, one form; nothing that a reader could round."""

from __future__ import annotations

import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from saltloft.foundation.errors import InputError
from saltloft.plant.canonical import canonical_bytes, read_canonical, refuse_nul

TEXT = st.text(st.characters(exclude_categories=("Cs",)), max_size=20)
PLAIN = st.recursive(
    st.integers() | TEXT,
    lambda inner: (
        st.lists(inner, max_size=4) | st.dictionaries(st.text("abcxyz_", max_size=6), inner, max_size=4)
    ),
    max_leaves=20,
)


@settings(max_examples=300, deadline=None)
@given(PLAIN)
def test_writing_and_reading_again_gives_the_same_bytes(value: object) -> None:
    """Reading canonical bytes and writing them again changes nothing, for any plain value."""
    body = canonical_bytes(value)
    assert canonical_bytes(read_canonical(body)) == body


@settings(max_examples=100, deadline=None)
@given(st.dictionaries(st.text("abcxyz_", min_size=1, max_size=6), st.integers(), max_size=6))
def test_the_order_of_keys_does_not_matter(value: dict[str, int]) -> None:
    """Two dictionaries that hold the same are written the same."""
    assert canonical_bytes(dict(reversed(value.items()))) == canonical_bytes(value)


def test_text_is_written_as_the_standard_for_canonical_json_writes_it() -> None:
    """RFC 8785 (JSON Canonicalization Scheme), 3.2.2, the example's string; text from memory.

    Its other rules (numbers with fractions, literals) concern values the journal refuses.
    """
    loose = r'{"string": "\u20ac$\u000F\u000aA\u0027\u0042\u0022\u005c\\\"\/", "a": 1}'
    assert canonical_bytes(json.loads(loose)) == (
        '{"a":1,"string":"€$\\u000f\\nA\'B\\"\\\\\\\\\\"/"}'.encode()
    )


def test_letters_with_accents_have_one_form() -> None:
    """Unicode Standard Annex 15, figure 3: A + ring and the Angstrom sign both become one letter."""
    assert canonical_bytes("A\u030a") == canonical_bytes("\u212b") == '"\u00c5"'.encode()


@pytest.mark.parametrize(
    "value", [5.31, True, None, {"a": 1.0}, [None], {1: "a"}, b"x", {"\u212b": 1, "\u00c5": 2}]
)
def test_what_could_be_rounded_or_mistaken_is_refused(value: object) -> None:
    """Fractions, true/false/null, keys that are no text, and keys that collide are refused."""
    with pytest.raises(InputError):
        canonical_bytes(value)


@pytest.mark.parametrize(
    "body", [b'{"b":1,"a":2}', b'{"a": 1}', b'{"a":1.0}', b"", b"\xff", b'{"a":1,"a":2}', b"[" * 9999]
)
def test_bytes_in_another_form_are_refused(body: bytes) -> None:
    """Unsorted keys, blanks, fractions, doubled keys and broken bytes are not read."""
    with pytest.raises(InputError):
        read_canonical(body)


def test_half_a_character_is_refused() -> None:
    """A lone surrogate has no UTF-8 form and is said so."""
    with pytest.raises(InputError, match="half a character"):
        canonical_bytes("\ud800")


@pytest.mark.parametrize("value", ["a\0b", ["x", "\0"], {"k\0": "x"}, {"k": [{"z": "\0"}]}])
def test_nul_in_any_text_is_refused_with_words(value: object) -> None:
    """PostgreSQL cannot keep it as text, and no person types it; a backslash and 'u0000' are plain text."""
    with pytest.raises(InputError, match="NUL"):
        refuse_nul(value)
    refuse_nul({"k": ["\\u0000", 0, "é"]})
