"""Signing in: links once, sessions on the server, PINs limited and peppered, devices revocable."""

from __future__ import annotations

import sqlite3
from datetime import timedelta
from pathlib import Path

import pytest
from tests.small_house import NOW, make_house, set_up

from saltloft.foundation.errors import InputError, RuleBroken, StoreError, UnknownName
from saltloft.house import House
from saltloft.jobs import people


@pytest.fixture
def house(tmp_path: Path) -> House:
    """A house with its people."""
    made = make_house(tmp_path / "house")
    set_up(made)
    return made


def test_a_link_signs_in_once(house: House) -> None:
    """The second use, a use after a day, and a guess are refused."""
    code = people.make_link(house, "maren", NOW)
    assert len(code) == 24
    session = people.use_link(house, code.upper(), "tablet", NOW)
    assert (session.person, session.device) == ("maren", "tablet")
    late = people.make_link(house, "maren", NOW)
    for wrong, now in ((code, NOW), (late, NOW + timedelta(hours=25)), ("a" * 24, NOW)):
        with pytest.raises(RuleBroken, match="not valid any more"):
            people.use_link(house, wrong, "tablet", now)
    with pytest.raises(UnknownName):
        people.make_link(house, "nobody", NOW)


def test_a_session_lives_on_the_server(house: House) -> None:
    """It ends when signed out or after the hours of the setting, and its cookie is new each time."""
    one = people.open_session(house, "maren", "tablet", NOW)
    two = people.open_session(house, "maren", "tablet", NOW)
    assert one.token != two.token
    assert one.csrf != two.csrf
    found = people.session_of(house, one.token, NOW + timedelta(hours=11))
    assert found is not None
    assert (found.person, found.csrf) == ("maren", one.csrf)
    assert people.session_of(house, one.token, NOW + timedelta(hours=12)) is None
    people.end_session(house, one.token, NOW)
    assert people.session_of(house, one.token, NOW) is None
    assert people.session_of(house, two.token, NOW) is not None
    assert people.session_of(house, "", NOW) is None


def test_five_wrong_pins_lock_it_for_five_minutes(house: House) -> None:
    """The right PIN resets the count; while locked even the right one is refused."""
    people.set_pin(house, "ilo", "4711")
    assert people.has_pin(house, "ilo")
    for _ in range(4):
        with pytest.raises(RuleBroken, match="wrong"):
            people.check_pin(house, "ilo", "0000", NOW)
    people.check_pin(house, "ilo", "4711", NOW)
    for _ in range(5):
        with pytest.raises(RuleBroken, match="wrong"):
            people.check_pin(house, "ilo", "1234", NOW)
    with pytest.raises(RuleBroken, match="too many"):
        people.check_pin(house, "ilo", "4711", NOW + timedelta(minutes=4))
    people.check_pin(house, "ilo", "4711", NOW + timedelta(minutes=6))
    with pytest.raises(RuleBroken, match="no PIN yet"):
        people.check_pin(house, "maren", "4711", NOW)


@pytest.mark.parametrize("pin", ["", "123", "1111", "12a4", "1" * 13, "１２３４"])
def test_a_pin_that_cannot_be(house: House, pin: str) -> None:
    """Four to twelve digits, not all the same."""
    with pytest.raises(InputError, match="PIN"):
        people.set_pin(house, "ilo", pin)


def test_the_key_lies_outside_the_database_and_only_its_owner_reads_it(house: House) -> None:
    """Mode 600; with another key the right PIN is wrong; a readable key is refused."""
    people.set_pin(house, "ilo", "4711")
    key = house.folder / "house.key"
    assert key.stat().st_mode & 0o777 == 0o600
    old = key.read_bytes()
    raw = b"".join(path.read_bytes() for path in house.folder.glob("house.db*"))
    assert old not in raw
    assert b"4711" not in raw
    key.write_bytes(bytes(32))
    with pytest.raises(RuleBroken, match="wrong"):
        people.check_pin(house, "ilo", "4711", NOW)
    key.chmod(0o644)
    with pytest.raises(StoreError, match="read by others"):
        people.check_pin(house, "ilo", "4711", NOW)
    key.chmod(0o600)
    key.write_bytes(b"short")
    with pytest.raises(StoreError, match="not a key"):
        people.set_pin(house, "ilo", "4712")


def test_tokens_are_kept_as_hashes_only(house: House) -> None:
    """Neither a link, nor a cookie, nor a device's token can be read from the database."""
    tokens = [
        people.make_link(house, "maren", NOW),
        people.open_session(house, "maren", "tablet", NOW).token,
        people.enrol_device(house, "phone-1", "entries", NOW),
    ]
    house.store.close()
    raw = b"".join(path.read_bytes() for path in house.folder.glob("house.db*"))
    assert not [token for token in tokens if token.encode() in raw]


def test_a_device_token_is_scoped_and_revocable(house: House) -> None:
    """Revoking a device ends all its tokens; an unknown scope is refused."""
    one = people.enrol_device(house, "phone-1", "entries", NOW)
    two = people.enrol_device(house, "phone-2", "readings", NOW)
    assert people.device_of(house, one) == ("phone-1", "entries")
    people.revoke_device(house, "phone-1", NOW)
    assert people.device_of(house, one) is None
    assert people.device_of(house, two) == ("phone-2", "readings")
    assert people.device_of(house, "x") is None
    with pytest.raises(InputError, match="scope"):
        people.enrol_device(house, "phone-1", "everything", NOW)


def test_a_name_lives_outside_the_chain_and_can_be_erased(house: House) -> None:
    """The journal never holds it; erased, the id is shown, and the chain stays whole."""
    people.set_name(house, "maren", "Maren Dvorin")
    assert house.store.people.get("maren").name == "Maren Dvorin"
    assert not [entry for entry in house.store.entries(limit=1000) if b"Dvorin" in entry.body]
    people.set_name(house, "maren", "")
    assert house.store.people.get("maren").name == "maren"
    assert house.store.verify().whole
    house.store.secrets.set_contact("c-1", "customer", "A shop", "Corrowmere")
    assert house.store.secrets.contacts() == {"c-1": "A shop"}
    with pytest.raises(InputError, match="too long"):
        people.set_name(house, "maren", "x" * 81)
    with sqlite3.connect(house.folder / "house.db") as raw:
        assert raw.execute("SELECT name FROM person_secret WHERE person = 'maren'").fetchone() == ("",)
