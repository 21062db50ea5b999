"""Devices: taken in by a code, handing in what they kept, their clocks, shut out; tokens; PIN guessing."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from tests import small_house
from tests.web_client import NUMBERS, URL, client_of, entry, send

from saltloft.foundation.errors import RuleBroken
from saltloft.house import House
from saltloft.jobs import devices, people
from saltloft.plant.entries import decode
from saltloft.plant.people import EnteredOffline
from saltloft.web.app import create_app


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    made = small_house.with_lot(tmp_path / "house")
    small_house.stored(made, small_house.weighing("1.05", green=1))
    yield made
    made.close()


def csrf_of(client: TestClient) -> str:
    return client.get("/me").text.split('name="csrf" value="')[1].split('"')[0]


def post(client: TestClient, path: str, **texts: str) -> Any:
    number = f"01990000-0000-7000-8000-{next(NUMBERS):012d}"
    return client.post(path, data={"csrf": csrf_of(client), "entry_id": number, **texts})


def enrolled(house: House, label: str = "tablet by D1") -> TestClient:
    """A browser taken in by a code that quality made on the People page."""
    page = post(client_of(house, "ilo"), "/people/device", label=label)
    code = page.text.split("/enrol/")[1].split("<", maxsplit=1)[0].split('"')[0]
    client = TestClient(create_app(house), base_url=URL, follow_redirects=False)
    assert client.get(f"/enrol/{code}").status_code == 200  # a preview uses nothing up
    answer = client.post(f"/enrol/{code}")
    assert (answer.status_code, answer.headers["location"]) == (303, "/sign-in")
    assert TestClient(create_app(house), base_url=URL).post(f"/enrol/{code}").status_code == 403  # once
    return client


def marks(house: House) -> list[EnteredOffline]:
    return [
        decode(row.kind, json.loads(row.body))
        for row in house.store.entries(limit=500)
        if row.kind == "offline.entered/1"
    ]


def test_a_code_takes_a_device_in_once_and_says_who_made_it(house: House) -> None:
    client = enrolled(house)
    (line,) = [one for one in devices.listed(house) if one.label == "tablet by D1"]
    assert (line.scopes, line.by, line.open) == (("entries",), "ilo", True)
    said = next(item for item in house.store.devices.all() if item.payload.device == line.device)
    assert said.person == "ilo"
    assert client.get("/next").status_code == 303  # a device is no person
    people.set_pin(house, "besnik", "4711")
    assert client.post("/sign-in", data={"person": "besnik", "pin": "4711"}).status_code == 303
    assert client.get("/next").status_code == 200


def test_a_code_expires(house: House) -> None:
    made = devices.make_code(house, "ilo", "phone", house.now())
    later = house.now() + timedelta(minutes=devices.CODE_MINUTES)
    with pytest.raises(RuleBroken, match="not valid"):
        devices.use_code(house, made.code, later)
    assert devices.use_code(house, made.code, later - timedelta(seconds=1)).label == "phone"


def test_entries_kept_without_a_network_are_taken_and_marked(house: House) -> None:
    """Accepted on the device's token for the person picked; marked once, with both offsets."""
    client = enrolled(house)
    kept = [
        entry(f"1.0{number}", person="besnik", offline=True, clock_offset_ms=-61_000) for number in range(3)
    ]
    wrong = entry("1.01", person="besnik", offline=True, payload={"lot": "AL-9", "values": ["5"]})
    behind = (house.now() - timedelta(seconds=90)).isoformat()
    for _ in range(2):
        answer = client.post("/api/v1/entries", json={"entries": [*kept, wrong], "phone_clock": behind})
        assert answer.status_code == 200, answer.text
    assert [one["status"] for one in answer.json()["entries"]] == ["already"] * 3 + ["refused"]
    (mark,) = marks(house)
    assert mark.entries == tuple(one["id"] for one in kept)
    assert (mark.offset_ms, mark.offset_now_ms, mark.session) == (-61_000, 90_000, 0)
    assert set(devices.offline_marks(house, [one["id"] for one in kept])) == set(mark.entries)
    assert house.store.lots.get("AL-0310").weighings[-1].person == "besnik"
    (line,) = [one for one in devices.listed(house) if one.label == "tablet by D1"]
    assert line.state.offset_ms == 90_000
    assert "90 seconds behind" in client_of(house, "ilo").get("/people").text


def test_entries_sent_at_once_bear_no_mark(house: House) -> None:
    send(client_of(house, "besnik"), entry())
    assert marks(house) == []


def test_a_device_that_is_shut_out_hands_in_nothing_and_its_session_ends(house: House) -> None:
    people.set_pin(house, "besnik", "4711")
    client = enrolled(house)
    client.post("/sign-in", data={"person": "besnik", "pin": "4711"})
    assert client.get("/next").status_code == 200
    (line,) = [one for one in devices.listed(house) if one.label == "tablet by D1"]
    ilo = client_of(house, "ilo")
    assert (
        post(ilo, "/people/revoke", device=line.device, reason="").status_code == 422
    )  # says why, or nothing
    assert client.get("/next").status_code == 200
    assert post(ilo, "/people/revoke", device=line.device, reason="left on a tram").status_code == 303
    assert client.get("/next").headers["location"] == "/sign-in"
    assert client.post("/sign-in", data={"person": "besnik", "pin": "4711"}).status_code == 200  # no device
    assert client.get("/next").status_code == 303
    answer = client.post("/api/v1/entries", json={"entries": [entry(person="besnik", offline=True)]})
    assert answer.status_code == 401
    assert "left on a tram" in ilo.get("/people").text


def test_a_token_does_what_it_was_made_for_and_nothing_else(house: House) -> None:
    ilo = client_of(house, "ilo")
    assert post(ilo, "/people/token", label="gateway", scope="entries").status_code == 422
    page = post(ilo, "/people/token", label="office sheet", scope="reading").text
    token = page.split("<code>")[1].split("</code>")[0]
    program = TestClient(create_app(house), base_url=URL, headers={"authorization": f"Bearer {token}"})
    assert program.get("/api/v1/lots").status_code == 200
    assert program.post("/api/v1/entries", json={"entries": [entry(person="ilo")]}).status_code == 403
    assert program.get("/lots", follow_redirects=False).status_code == 403
    assert "office sheet" in ilo.get("/people").text
    assert token not in ilo.get("/people").text
    assert token not in str([row.body for row in house.store.entries(limit=500)])


def test_a_person_cannot_be_guessed_at_for_long(house: House) -> None:
    """Five wrong tries lock a PIN for five minutes, each further one for twice as long."""
    people.set_pin(house, "besnik", "4711")
    now = house.now()
    for _ in range(5):
        with pytest.raises(RuleBroken, match="wrong"):
            people.check_pin(house, "besnik", "0001", now)
    with pytest.raises(RuleBroken, match="too many"):
        people.check_pin(house, "besnik", "4711", now + timedelta(minutes=4))
    with pytest.raises(RuleBroken, match="wrong"):
        people.check_pin(house, "besnik", "0002", now + timedelta(minutes=5))
    with pytest.raises(RuleBroken, match="too many"):
        people.check_pin(house, "besnik", "4711", now + timedelta(minutes=14))
    people.check_pin(house, "besnik", "4711", now + timedelta(minutes=15))
    people.check_pin(house, "besnik", "4711", now + timedelta(minutes=15))


def test_a_device_cannot_guess_at_everybody_in_turn(house: House) -> None:
    """Ten wrong PINs in a quarter of an hour, whoever they are for and whatever was right in between."""
    for person in ("besnik", "maren", "ilo"):
        people.set_pin(house, person, "4711")
    now = house.now()
    for person in ("besnik", "maren", "besnik"):
        for guess in ("0001", "0002", "0003", "0004"):
            try:
                people.check_pin(house, person, guess, now, "tablet-1")
            except RuleBroken as error:
                last = error
        if person == "maren":
            people.check_pin(house, "ilo", "4711", now, "tablet-1")  # one's own right PIN lifts nothing
            people.drop_pin(house, "besnik")
            people.set_pin(house, "besnik", "4712")
    assert "too many" in str(last)
    with pytest.raises(RuleBroken, match="too many"):
        people.check_pin(house, "ilo", "4711", now, "tablet-1")
    people.check_pin(house, "ilo", "4711", now, "tablet-2")
    people.check_pin(house, "ilo", "4711", now + people.DEVICE_WINDOW, "tablet-1")


def test_people_are_added_and_given_roles_by_office_people_with_their_pin(house: House) -> None:
    people.set_pin(house, "ilo", "2580")
    ilo = client_of(house, "ilo")
    form = {"person": "sorin", "name": "Sorin <b>K</b>", "role": "room_hand"}
    assert post(ilo, "/people", **form, pin="1").status_code == 422
    assert post(ilo, "/people", **form, pin="2580").status_code == 303
    page = ilo.get("/people").text
    assert "Sorin &lt;b&gt;K&lt;/b&gt;" in page
    assert post(client_of(house, "maren"), "/people", **form).status_code == 403
    auditor = client_of(house, "aude").get("/people")
    assert auditor.status_code == 200
    assert "<form" not in auditor.text


def test_a_loggers_gateway_hands_its_file_in_once(house: House) -> None:
    """Stored in the name of whoever gave the token out; the same file again adds nothing; a person can't."""
    ilo = client_of(house, "ilo")
    page = post(ilo, "/people/token", label="gateway", scope="readings").text
    token = page.split("<code>")[1].split("</code>")[0]
    gateway = TestClient(create_app(house), base_url=URL, headers={"authorization": f"Bearer {token}"})
    text = "time,temperature_c,rh_pct\n" + "\n".join(
        f"2026-03-01T{hour:02d}:00:00Z,14.{hour % 10},79.5" for hour in range(24)
    )
    answers = [
        gateway.post("/api/v1/readings", json={"file": "D2.csv", "text": text, "room": "D2"}).json()
        for _ in range(2)
    ]
    assert [(one["status"], one["added"]) for one in answers] == [("stored", 48), ("nothing new", 0)]
    (sealed,) = [row for row in house.store.entries(limit=500) if row.kind == "readings.sealed/1"]
    assert (sealed.person, sealed.device.startswith("gateway-")) == ("ilo", True)
    assert gateway.post("/api/v1/readings", json={"file": "x", "text": "no table"}).status_code == 422
    assert gateway.get("/api/v1/lots").status_code == 403
    assert ilo.post("/api/v1/readings", json={"file": "D2.csv", "text": text}).status_code == 403
