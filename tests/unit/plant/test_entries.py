"""Every kind of entry: its plain form, its subject, its id."""

from __future__ import annotations

from dataclasses import is_dataclass
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from saltloft.foundation.errors import InputError, UnknownName
from saltloft.foundation.units import Mass
from saltloft.plant.canonical import canonical_bytes, read_canonical
from saltloft.plant.earlier import TO_NOW, PressedAndCut1
from saltloft.plant.entries import KINDS, decode, encode, entry_id, kind_of, newest, subject_of, versions
from saltloft.plant.lots import LotHung
from saltloft.plant.readings import CheckDone, PhRead, PressedAndCut

st.register_type_strategy(
    Decimal, st.decimals(allow_nan=False, allow_infinity=False, min_value=-1000, max_value=1000, places=3)
)
st.register_type_strategy(str, st.text("abc åØ-1", max_size=8))
st.register_type_strategy(Mass, st.builds(Mass, st.integers(1, 10**12), st.just("1.04"), st.just("kg")))


@pytest.mark.parametrize("kind", sorted(kind for kind in KINDS if KINDS[kind] not in TO_NOW))
@settings(max_examples=15, deadline=None)
@given(data=st.data())
def test_every_payload_survives_the_journal(kind: str, data: st.DataObject) -> None:
    """Encoded, written as canonical bytes, read and decoded, a payload of any kind is itself again."""
    payload = data.draw(st.from_type(KINDS[kind]))
    body = canonical_bytes(encode(payload))
    again = decode(kind, read_canonical(body))
    assert again == payload
    assert canonical_bytes(encode(again)) == body
    assert kind_of(payload) == kind
    assert subject_of(payload)


@pytest.mark.parametrize("kind", sorted(kind for kind in KINDS if KINDS[kind] in TO_NOW))
@settings(max_examples=15, deadline=None)
@given(data=st.data())
def test_a_payload_of_an_earlier_version_is_read_as_the_newest(kind: str, data: st.DataObject) -> None:
    """Whatever version 1 wrote is read, in today's shape, and nothing of what it said is lost."""
    old = data.draw(st.from_type(KINDS[kind]))
    now = decode(kind, read_canonical(canonical_bytes(encode(old))))
    assert kind_of(now) == newest(kind) != kind
    for name in encode(old):
        said, kept = getattr(old, name), getattr(now, name)
        assert _says(kept, said), name


def _says(kept: Any, said: Any) -> bool:
    """The same, 'not looked' for a nought, or lines of a later shape that say all of the earlier one."""
    if isinstance(said, tuple) and any(is_dataclass(one) for one in said):
        return all(vars(old).items() <= vars(new).items() for old, new in zip(said, kept, strict=True))
    return bool(kept == said or (said == 0 and kept == -1))


def test_what_version_1_could_not_say_is_not_said_for_it() -> None:
    """A hollow of 0 beside a cut rim was looked for; without any cut it was not."""
    kind = "lot.pressed_and_cut/1"
    pressed = decode(kind, {"lot": "A", "press": [2, 2, 3], "hollow": 0, "smear": 0, "good": 0})
    assert (pressed.hollow, pressed.smear, pressed.ring, pressed.colour) == (-1, -1, -1, "")
    cut = decode(kind, encode(PressedAndCut1("A", (3,), Decimal("1.5"), hollow=0, smear=1, good=1)))
    assert cut == PressedAndCut("A", (3,), Decimal("1.5"), hollow=0, smear=1, good=1)
    assert versions("lot.pressed_and_cut") == ("lot.pressed_and_cut/1", "lot.pressed_and_cut/2")


def test_an_id_has_the_layout_of_the_standard() -> None:
    """RFC 9562, appendix A.6, the example of version 7 (read from memory)."""
    moment = datetime.fromtimestamp(0x017F22E279B0 / 1000, UTC)
    assert entry_id(moment, bytes.fromhex("0CC318C4DC0C0C07398F")) == "017f22e2-79b0-7cc3-98c4-dc0c0c07398f"


def test_ids_sort_by_time() -> None:
    """A later entry's id is larger, whatever the random bits."""
    early = entry_id(datetime(2026, 3, 10, tzinfo=UTC), b"\xff" * 10)
    late = entry_id(datetime(2026, 3, 10, 0, 0, 1, tzinfo=UTC), b"\x00" * 10)
    assert early < late


@pytest.mark.parametrize(
    ("kind", "body", "words"),
    [
        ("lot.hung/1", {"lot": "AL-0310"}, "lacks 'room'"),
        ("lot.hung/1", {"lot": 5, "room": "D2"}, "must be text"),
        ("ph.read/1", {"lot": "A", "values": "5.3", "where": "core", "instrument": "p"}, "must be a list"),
        ("ph.read/1", {"lot": "A", "values": ["five"], "where": "core", "instrument": "p"}, "not a number"),
        ("ph.read/1", {"lot": "A", "values": ["NaN"], "where": "core", "instrument": "p"}, "finite"),
        ("piece.weighed/1", {"lot": "A", "mass": "1 kg", "instrument": "S1"}, "must be an object"),
    ],
)
def test_a_payload_of_the_wrong_shape_is_refused(kind: str, body: dict[str, object], words: str) -> None:
    """The error names the field and what is wrong with it."""
    with pytest.raises(InputError, match=words):
        decode(kind, body)


def test_unknown_fields_and_kinds_offer_the_nearest_name() -> None:
    """A slip in a field's or kind's name is answered with the name that was meant."""
    with pytest.raises(UnknownName) as caught:
        decode("lot.hung/1", {"lot": "A", "rom": "D2"})
    assert "room" in caught.value.nearest
    with pytest.raises(UnknownName):
        decode("lot.hanged/1", {})


def test_a_comma_is_read_as_a_decimal_mark() -> None:
    """5,31 in a payload is 5.31."""
    read = decode("ph.read/1", {"lot": "A", "values": ["5,31"], "where": "core", "instrument": "p"})
    assert read == PhRead("A", (Decimal("5.31"),), "core", "p")


def test_subjects() -> None:
    """A lot's entries are about the lot, a check of no room about the house."""
    assert subject_of(LotHung("AL-0310", "D2")) == "AL-0310"
    assert subject_of(CheckDone("02:00 look", 1)) == "house"
    assert subject_of(CheckDone("02:00 look", 1, room="D2")) == "D2"
