"""The journal's page, sheets typed in, the scale on the screen, tags: through the application in process."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from tests import small_house
from tests.web_client import NUMBERS, URL, client_of, entry, send

from saltloft.foundation.errors import SaltloftError
from saltloft.house import House
from saltloft.jobs import floor, people
from saltloft.plant.digital_link import GTIN, LinkKey, address, trade_item
from saltloft.plant.instruments import TareWeighed
from saltloft.web.app import create_app
from saltloft.web.scales import FRESH_S, ScaleShelf


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    made = small_house.with_lot(tmp_path / "house")
    small_house.stored(made, small_house.weighing("1.05", green=1))
    yield made
    made.close()


def csrf_of(client: TestClient) -> str:
    return client.get("/me").text.split('name="csrf" value="')[1].split('"')[0]


def number() -> str:
    return f"01990000-0000-7000-8000-{next(NUMBERS):012d}"


def typed(client: TestClient, sort: str, *lines: tuple[str, str, str], **more: str) -> Any:
    form = {"csrf": csrf_of(client), "instrument": "S1", "unit": "kg", "when": "2026-03-11T12:30", **more}
    for place, (lot, tag, value) in enumerate(lines, 1):
        form |= {
            f"line.{place}": number(),
            f"lot.{place}": lot,
            f"tag.{place}": tag,
            f"number.{place}": value,
        }
    return client.post(f"/type/{sort}", data=form), form


def test_records_are_searched_and_filtered(house: House) -> None:
    client = client_of(house, "aude")  # an auditor sees it all
    assert "nothing was ever overwritten" in client.get("/records").text
    seen = client.get("/records", params={"q": "AL-0310"}).text
    assert "AL-0310 · made" in seen
    assert "· an instrument<" not in seen
    by_kind = client.get("/records", params={"kind": "piece.weighed"}).text
    assert by_kind.count('class="what') == 1
    assert "1.05 kg" in by_kind
    assert "Nothing fits" in client.get("/records", params={"q": "100%_"}).text  # no wildcards
    assert "Nothing fits" in client.get("/records", params={"person": "besnik"}).text
    day = client.get("/records", params={"day": "2026-11-03"}).text
    assert "AL-0310" in day
    assert "Nothing fits" in client.get("/records", params={"day": "2026-11-02"}).text
    assert client.get("/records", params={"day": "yesterday"}).status_code == 422
    assert client.get("/records", params={"day": "9999-12-31"}).status_code == 422


def test_a_corrected_entry_is_struck_through_with_its_reason(house: House) -> None:
    weighed = house.store.lots.get("AL-0310").weighings[-1]
    small_house.enter(house, small_house.correction(weighed.entry_id, small_house.weighing("1.06", green=1)))
    page = client_of(house, "aude").get("/records", params={"kind": "piece.weighed"}).text
    (line,) = re.findall(r'<div class="line">.*?</div>', page, re.DOTALL)
    assert 'class="because struck">' in line
    assert "1.05 kg" in line.split("struck")[2]
    assert "now" in line
    assert "1.06 kg" in line


def test_older_records_are_one_link_away(house: House) -> None:
    small_house.stored(
        house, *(small_house.weighing(f"1.0{place % 10}", tag=str(place)) for place in range(60))
    )
    client = client_of(house, "aude")
    page = client.get("/records").text
    seqs = [int(found) for found in re.findall(r'class="what[^"]*">(\d+) ·', page)]
    assert seqs == list(range(seqs[0], seqs[0] - 50, -1))
    older = page.split('<a class="button" href="')[1].split('"')[0].replace("&amp;", "&")
    following = [int(found) for found in re.findall(r'class="what[^"]*">(\d+) ·', client.get(older).text)]
    assert following[0] == seqs[-1] - 1


def test_a_sheet_is_typed_in_line_by_line_and_nothing_is_lost(house: House) -> None:
    """Good lines are stored once; a wrong or unexpected one stays, with the reason beside it."""
    client = client_of(house, "maren")
    before = len(house.store.lots.get("AL-0310").weighings)
    answer, form = typed(
        client,
        "weigh",
        ("AL-0310", "14", "1,01"),
        ("", "15", "one kilo"),
        ("", "14", "9.9"),
        ("AL-9999", "1", "1.0"),
        ("", "", ""),
    )
    assert answer.status_code == 422
    stored = house.store.lots.get("AL-0310").weighings[before:]
    assert [(own.payload.tag, own.payload.mass.number) for own in stored] == [("14", "1,01")]
    page = answer.text
    assert 'value="one kilo"' in page
    assert 'value="9.9"' in page
    assert 'value="AL-9999"' in page
    assert form["line.2"] in page  # its id stays with the line
    assert "1 line stored. 3 lines are not, and stay below." in page
    # Sent once more with one line mended and one meant: only those two are added.
    form |= {"number.2": "1.02", f"kept.{form['line.3']}": "1", "lot.4": "", "tag.4": "", "number.4": ""}
    answer = client.post("/type/weigh", data=form)
    assert answer.status_code == 200
    stored = house.store.lots.get("AL-0310").weighings[before:]
    assert sorted(own.payload.mass.number for own in stored) == ["1,01", "1.02", "9.9"]


def test_ph_is_typed_in_with_its_place(house: House) -> None:
    client = client_of(house, "maren")
    answer, _ = typed(client, "ph", ("AL-0310", "", "5.31 5.28 5,30"), ("", "rim", "5.2"), instrument="pH-A")
    assert answer.status_code == 200, answer.text
    sets = house.store.lots.get("AL-0310").ph_sets
    assert [(own.payload.where, len(own.payload.values)) for own in sets[-2:]] == [("core", 3), ("rim", 1)]


@pytest.mark.parametrize("sort", ["weigh", "ph", "round"])
def test_blank_sheets_have_lines_to_write_on(house: House, sort: str) -> None:
    page = client_of(house, "besnik").get(f"/sheets/{sort}").text
    assert ("AL-0310" in page) == (sort != "round")
    assert "<td></td>" in page
    assert client_of(house, "besnik").get("/sheets/none").status_code == 422


def scale_of(house: House, scope: str = "scale") -> TestClient:
    token = people.enrol_device(house, "scale-computer", scope, house.now())
    return TestClient(create_app(house), base_url=URL, headers={"authorization": f"Bearer {token}"})


def test_what_a_scale_shows_is_asked_for_and_recorded_by_a_person_only(house: House) -> None:
    app = create_app(house)
    token = people.enrol_device(house, "scale-computer", "scale", house.now())
    scale = TestClient(app, base_url=URL, headers={"authorization": f"Bearer {token}"})
    before = house.store.head()
    assert scale.post("/api/v1/scale/S1", json={"number": "1.043", "unit": "kg"}).status_code == 200
    assert scale.get("/api/v1/scale/S1").json() == {
        "scale": "S1",
        "number": "1.043",
        "unit": "kg",
        "still": True,
    }
    assert house.store.head() == before
    assert scale.post("/api/v1/scale/S9", json={"number": "1.043", "unit": "kg"}).status_code == 404
    assert scale.post("/api/v1/scale/S1", json={"number": "much", "unit": "kg"}).status_code == 422
    # The screen of another scope's program, or of a person, cannot put words in its mouth.
    assert (
        scale_of(house, "reading").post("/api/v1/scale/S1", json={"number": "2", "unit": "kg"}).status_code
        == 403
    )
    person = client_of(house, "besnik")
    assert person.post("/api/v1/scale/S1", json={"number": "2", "unit": "kg"}).status_code == 403
    assert (
        person.get("/api/v1/scale/S1").json()["number"] == ""
    )  # another application, which was told nothing


def test_an_old_reading_is_shown_no_more() -> None:
    now = [100.0]
    shelf = ScaleShelf(lambda: now[0])
    shelf.put("S1", "1.043", "kg", still=True)
    now[0] += FRESH_S
    assert shelf.get("S1") is not None
    now[0] += 0.1
    assert shelf.get("S1") is None


def test_racks_are_weighed_empty_and_a_change_is_seen(house: House) -> None:
    client = client_of(house, "besnik")
    for value in ("12.40", "12.52"):
        form = {"csrf": csrf_of(client), "entry_id": number(), "carrier": "T4", "sort": "trolley"}
        assert client.post("/tares", data={**form, "number": value, "instrument": "S1"}).status_code == 303
    page = client.get("/tares").text
    assert "120 g heavier than before (12.40 kg)" in page
    assert "Changed since the time before: T4." in page
    assert 'value="12.52 kg"' in client.get("/enter/weigh?lot=AL-0310").text
    (tare,) = floor.tares(house)
    assert isinstance(tare.last.payload, TareWeighed)
    form = {
        "csrf": csrf_of(client),
        "entry_id": number(),
        "lot": "AL-0310",
        "number": "13.56",
        "instrument": "S1",
    }
    answer = client.post("/enter/weigh", data={**form, "tag": "14", "tare": "12.52 kg"})
    assert answer.status_code == 200
    weighed = house.store.lots.get("AL-0310").weighings[-1].payload
    assert (weighed.mass.mg - weighed.tare.mg) / 1e6 == pytest.approx(1.04)


@pytest.mark.parametrize("text", ["AL-0310", "al-0310 14", "AL-0310 #14", "14"])
def test_a_typed_tag_leads_to_its_job(house: House, text: str) -> None:
    answer = client_of(house, "besnik").get("/scan", params={"code": text})
    assert answer.status_code == 303
    assert answer.headers["location"].startswith("/enter/")
    assert "lot=AL-0310" in answer.headers["location"]
    assert ("tag=14" in answer.headers["location"]) == ("14" in text)


def test_a_scanned_address_leads_to_its_job(house: House) -> None:
    """A GS1 Digital Link of any host: trade item, lot (10) and serial (21)."""
    link = LinkKey(GTIN, trade_item("952123", 1).zfill(14), "AL-0310", "14")
    found = floor.scanned(house, address(link, "https://linnet.local:8765"))
    assert (found.lot, found.tag, found.sort) == ("AL-0310", "14", "weigh")


def test_a_tag_of_nothing_is_said_and_the_text_kept(house: House) -> None:
    answer = client_of(house, "besnik").get("/scan", params={"code": "<b>XX-1</b>"})
    assert answer.status_code == 404
    assert "&lt;b&gt;XX-1" in answer.text
    assert answer.headers["permissions-policy"].startswith("camera=(self)")
    with pytest.raises(SaltloftError):
        floor.scanned(house, "https://x.example/01/09521234000014/10/AL-0310")  # wrong check digit


def test_a_mark_of_the_wire_stands_on_the_record(house: House) -> None:
    client = client_of(house, "besnik")
    send(client, entry("1.02", offline=True, clock_offset_ms=-61_000))
    page = client_of(house, "aude").get("/records", params={"kind": "piece.weighed"}).text
    assert "entered offline, came in" in page
    assert "clock was 61 s off" in page
