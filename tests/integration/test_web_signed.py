"""Fact rows confirmed with a PIN, and logger files handed in on a page."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from tests import small_house
from tests.web_client import NUMBERS, client_of, entry, send

from saltloft.cases.judgement import confirmed_keys
from saltloft.house import House
from saltloft.jobs import confirm, people, watch


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    made = small_house.with_lot(tmp_path / "house")
    small_house.stored(made, small_house.weighing("1.05", green=1))
    yield made
    made.close()


def facts_form(client: TestClient, lot: str, keys: list[str]) -> dict[str, str]:
    """What ticking some rows on the page sends."""
    page = client.get(f"/facts?lot={lot}").text
    form = {"csrf": page.split('name="csrf" value="')[1].split('"')[0]}
    for key in keys:
        form[f"row.{key}"] = page.split(f'name="row.{key}" value="')[1].split('"')[0]
        form[f"entry.{key}"] = page.split(f'name="entry.{key}" value="')[1].split('"')[0]
    return form


def test_a_quality_person_confirms_what_they_read_and_takes_it_back(house: House) -> None:
    """Ticked rows are signed in the edition named; without edition or PIN nothing is written."""
    people.set_pin(house, "ilo", "2580")
    client = client_of(house, "ilo")
    waiting = [row.fact.key for row in confirm.rows(house, "AL-0310") if row.open]
    assert len(waiting) >= 2
    form = facts_form(client, "AL-0310", waiting[:2])
    for wrong in ({"pin": "2580"}, {"pin": "0000", "edition": "1997"}, {"edition": "1997"}):
        answer = client.post("/facts?lot=AL-0310", data={**form, **wrong})
        assert answer.status_code == 422
    assert "checked" in answer.text  # what was ticked is kept
    assert 'value="1997"' not in client.get("/facts?lot=AL-0310").text
    assert house.store.confirmations.all() == []
    signed = {**form, "pin": "2580", "edition": " 1997  revision "}
    assert client.post("/facts?lot=AL-0310", data=signed).status_code == 303
    assert (
        client.post("/facts?lot=AL-0310", data=signed).status_code == 303
    )  # sent twice, once in the journal
    said = house.store.confirmations.all()
    assert {item.payload.fact for item in said} == set(waiting[:2])
    assert {(item.person, item.payload.edition, item.payload.demo) for item in said} == {
        ("ilo", "1997 revision", 0)
    }
    known = confirmed_keys(house, house.now())
    assert set(waiting[:2]) <= known
    assert not set(waiting[2:]) & known
    assert "1997 revision" in client.get("/facts?lot=AL-0310").text
    # Taking it back is signed too.
    back = {"csrf": form["csrf"], "entry_id": "01990000-0000-7000-8000-00000000facc", "act": "strike"}
    back["reason"] = "another edition lay there"
    where = f"/entries/{said[0].entry_id}/correct"
    assert client.get(where).status_code == 200
    assert client.post(where, data={**back, "pin": "1"}).status_code == 422
    answer = client.post(where, data={**back, "pin": "2580"})
    assert (answer.status_code, answer.headers["location"]) == (303, "/facts")
    assert said[0].payload.fact not in confirmed_keys(house, house.now())


def test_a_row_that_changed_since_it_was_shown_is_not_confirmed(house: House) -> None:
    people.set_pin(house, "ilo", "2580")
    client = client_of(house, "ilo")
    key = next(row.fact.key for row in confirm.rows(house, "AL-0310") if row.open)
    form = {**facts_form(client, "AL-0310", [key]), f"row.{key}": "0" * 64}
    answer = client.post("/facts?lot=AL-0310", data={**form, "pin": "2580", "edition": "1997"})
    assert answer.status_code == 422
    assert "not the one that was shown" in answer.text
    assert house.store.confirmations.all() == []


def test_only_quality_confirms_and_only_on_the_page(house: House) -> None:
    """Signing is online only: neither another role, nor an enrolled device through the API."""
    assert client_of(house, "besnik").get("/facts").status_code == 403
    maren = client_of(house, "maren")
    page = maren.get("/facts?lot=AL-0310")
    assert page.status_code == 200
    assert 'name="pin"' not in page.text
    csrf = maren.get("/me").text.split('name="csrf" value="')[1].split('"')[0]
    assert maren.post("/facts", data={"csrf": csrf, "row.x": "1"}).status_code == 403
    ilo = client_of(house, "ilo")
    payload = {"fact": "degree_hours.us.base", "edition": "1997", "digest": "0" * 64}
    assert send(ilo, entry(kind="fact.confirmed/1", payload=payload, subject=""))[0]["status"] == "refused"
    assert ilo.get("/facts?lot=AL-9999").status_code == 404


LOG = "\n".join(
    ["time;temperature;humidity", *(f"01.03.2026 {hour:02d}:00;14,{hour % 10};79,5" for hour in range(24))]
).encode()


def upload(client: TestClient, data: bytes = b"", name: str = "D2.csv", **texts: str) -> Any:
    """Send the import form, with a file when there is one."""
    csrf = client.get("/me").text.split('name="csrf" value="')[1].split('"')[0]
    number = f"01990000-0000-7000-8000-{next(NUMBERS):012d}"
    form = {"csrf": csrf, "entry_id": number, **texts}
    files = {"file": (name, data, "text/csv")} if data else {"file": ("", b"", "text/csv")}
    return client.post("/rooms/import", data=form, files=files)


def token_in(page: str) -> str:
    return page.split('name="token" value="')[1].split('"', maxsplit=1)[0]


def test_a_logger_file_is_looked_at_asked_about_stored_and_undone(house: House) -> None:
    """1 March or 3 January: the file can't tell, so the page asks; then it stores."""
    client = client_of(house, "maren")
    asked = upload(client, LOG, room="D2", act="look")
    assert asked.status_code == 200
    assert 'name="answer.date_order"' in asked.text
    assert 'value="import"' not in asked.text
    token = token_in(asked.text)
    again = upload(client, token=token, room="D2", act="import")  # a forged early import stores nothing
    assert 'name="answer.date_order"' in again.text
    assert watch.recent(house) == []
    answers = {"token": token, "room": "D2", "answer.date_order": "dmy", "answer.unit": "C"}
    looked = upload(client, act="look", **answers)
    assert 'value="import"' in looked.text
    assert 'value="dmy"' in looked.text  # the answer travels on
    stored = upload(client, act="import", **answers)
    assert stored.status_code == 303, stored.text
    (batch,) = watch.recent(house)
    assert (batch.sealed.person, batch.sealed.payload.rows) == ("maren", 48)
    assert "48 readings" in client.get(stored.headers["location"]).text
    csrf = client.get("/me").text.split('name="csrf" value="')[1].split('"')[0]
    undo = {"csrf": csrf, "batch": batch.batch, "entry_id": "01990000-0000-7000-8000-00000000fade"}
    assert client.post("/rooms/import/undo", data=undo).status_code == 422
    assert client.post("/rooms/import/undo", data={**undo, "reason": "wrong room"}).status_code == 303
    assert not watch.recent(house)[0].counts


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "no file was chosen"),
        (b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 8, "Taken"),
        (b"nothing to see here", "Taken"),
    ],
)
def test_what_is_no_log_is_refused_with_what_is_taken(house: House, data: bytes, words: str) -> None:
    answer = upload(client_of(house, "ilo"), data, act="look")
    assert answer.status_code == 422
    assert words in answer.text
    assert watch.recent(house) == []


def test_a_large_file_is_refused_by_its_size_alone(house: House) -> None:
    """Before anything of it is read: only the length is announced. Elsewhere the limit stays small."""
    client = client_of(house, "ilo")
    for path, size in (("/rooms/import", 2 * 1024**3), ("/record?kind=lot.moved/1", 300 * 1024)):
        answer = client.post(path, content=b"", headers={"content-length": str(size)})
        assert answer.status_code == 413, path


def test_a_held_file_is_its_senders_only(house: House) -> None:
    token = token_in(upload(client_of(house, "maren"), LOG, room="D2", act="look").text)
    answer = upload(client_of(house, "ilo"), token=token, room="D2", act="look")
    assert answer.status_code == 422
    assert "held no longer" in answer.text
    assert client_of(house, "besnik").get("/rooms/import").status_code == 403
