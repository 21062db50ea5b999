"""The web application in process: who may do what, what is refused, and that resending changes nothing."""

from __future__ import annotations

import http.cookiejar
from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from tests import small_house
from tests.web_client import NUMBERS, URL, client_of, entry, send

from saltloft.house import House
from saltloft.jobs import judge, people, queue
from saltloft.jobs.today import day_sheet
from saltloft.plant.entries import newest
from saltloft.web.app import create_app


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    made = small_house.with_lot(tmp_path / "house")
    small_house.stored(made, small_house.weighing("1.05", green=1))
    yield made
    made.close()


def test_a_resent_entry_is_answered_already(house: House) -> None:
    client, one = client_of(house, "besnik"), entry()
    first, second = send(client, one)[0], send(client, one)[0]
    assert (first["status"], second["status"]) == ("stored", "already")
    assert first["seq"] == second["seq"]
    assert len(house.store.lots.get("AL-0310").weighings) == 2


def test_the_same_id_with_another_number_is_refused(house: House) -> None:
    client, one = client_of(house, "besnik"), entry()
    send(client, one)
    other = {**one, "payload": {**one["payload"], "mass": {"number": "1.02", "unit": "kg"}}}
    assert send(client, other)[0]["status"] == "refused"


def test_one_refused_entry_does_not_keep_the_others_out(house: House) -> None:
    client = client_of(house, "besnik")
    bad = entry(
        payload={"lot": "AL-0310", "values": ["55"], "where": "core", "instrument": "pH-A"}, kind="ph.read/1"
    )
    statuses = [one["status"] for one in send(client, entry("1.01"), bad, entry("abc"), entry("10.4"))]
    assert statuses == ["stored", "refused", "refused", "ask"]


def test_an_enrolled_device_hands_in_after_the_session_ended(house: House) -> None:
    """Design 10: accepted on the device's token, under the name of the person picked."""
    client = client_of(house, "besnik")
    client.cookies.delete("saltloft_session")
    assert send(client, entry(person="besnik"))[0]["status"] == "stored"
    assert send(client, entry())[0]["status"] == "refused"
    device = house.store.lots.get("AL-0310").weighings[-1].device
    people.revoke_device(house, device, house.now())
    assert client.post("/api/v1/entries", json={"entries": [entry(person="besnik")]}).status_code == 401


def test_a_room_hands_phone_is_in_the_journal(house: House) -> None:
    """The device whose entries a floor person sends is stated, by them, when they first sign in."""
    client_of(house, "besnik")
    (said,) = [item for item in house.store.devices.all() if item.person == "besnik"]
    assert said.payload.label == "phone"
    assert said.device == said.payload.device


@pytest.mark.parametrize(
    "kind", ["hold.lifted/1", "device.enrolled/1", "lot.released/1", "person.added/1", "readings.sealed/1"]
)
def test_signing_and_office_work_cannot_come_from_a_device(house: House, kind: str) -> None:
    client = client_of(house, "ilo")
    assert send(client, entry(kind=kind, payload={}, subject=""))[0]["status"] == "refused"


def test_nobody_is_let_in_without_signing_in(house: House) -> None:
    client = client_of(house)
    assert client.post("/api/v1/entries", json={"entries": [entry()]}).status_code == 401
    for path in ("/", "/today", "/next", "/lots/AL-0310", "/me", "/today.pdf", "/lots/yields.csv"):
        answer = client.get(path)
        assert (answer.status_code, answer.headers["location"]) == (303, "/sign-in"), path


def test_a_link_signs_in_once(house: House) -> None:
    code = people.make_link(house, "maren", house.now())
    client = TestClient(create_app(house), base_url=URL, follow_redirects=False)
    assert client.get(f"/sign-in/{code}").status_code == 200  # a preview uses nothing up
    assert client.post(f"/sign-in/{code}", data={"device": "desk"}).status_code == 303
    assert client.post(f"/sign-in/{code}", data={"device": "desk"}).status_code == 403


def test_a_room_hand_sees_next_and_nothing_else(house: House) -> None:
    client = client_of(house, "besnik")
    assert client.get("/").headers["location"] == "/next"
    for path in (
        "/today",
        "/rooms",
        "/lots",
        "/lots/AL-0310",
        "/lots/AL-0310/dossier.pdf",
        "/lots/yields.csv",
    ):
        assert client.get(path).status_code == 403, path
    page = client.get("/next").text
    assert "<nav" not in page
    assert "/today" not in page


def test_an_auditor_reads_and_records_nothing(house: House) -> None:
    client = client_of(house, "aude")
    assert client.get("/lots/AL-0310").status_code == 200
    assert client.get("/next").status_code == 403
    assert send(client, entry())[0]["status"] == "refused"


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({"origin": "http://elsewhere.example"}, 403),
        ({"origin": "null"}, 403),
        ({"sec-fetch-site": "cross-site"}, 403),
        ({"host": "elsewhere.example"}, 400),
        ({"origin": URL}, 200),
    ],
)
def test_requests_from_elsewhere_are_refused(house: House, headers: dict[str, str], status: int) -> None:
    client = client_of(house, "besnik")
    answer = client.post("/api/v1/entries", json={"entries": [entry()]}, headers=headers)
    assert answer.status_code == status


def test_a_form_without_its_token_changes_nothing(house: House) -> None:
    client = client_of(house, "maren")
    before = house.store.head()
    form = {"csrf": "guessed", "entry_id": "01990000-0000-7000-8000-00000000ffff", "reason": "x"}
    assert client.post("/lots/AL-0310/hold", data=form).status_code == 409
    assert client.post("/enter/weigh", data={**form, "lot": "AL-0310", "number": "1"}).status_code == 409
    assert house.store.head() == before


def test_a_body_that_is_too_large_is_refused_before_it_is_read(house: House) -> None:
    client = client_of(house, "besnik")
    answer = client.post(
        "/api/v1/entries", content=b"x" * 300_000, headers={"content-type": "application/json"}
    )
    assert answer.status_code == 413


@pytest.mark.parametrize("path", ["/next", "/api/v1/clock", "/static/tokens.css", "/nothing", "/sw.js"])
def test_every_answer_carries_the_policy(house: House, path: str) -> None:
    headers = client_of(house, "besnik").get(path).headers
    policy = headers["content-security-policy"]
    assert "unsafe" not in policy
    assert policy.startswith("default-src 'none'; script-src 'self';")
    assert headers["x-content-type-options"] == "nosniff"


def test_cookies_are_kept_from_scripts(house: House) -> None:
    jar = client_of(house, "besnik").cookies.jar
    found: dict[str, http.cookiejar.Cookie] = {cookie.name: cookie for cookie in jar}
    assert set(found) == {"saltloft_session", "saltloft_device"}
    for cookie in found.values():
        assert cookie.has_nonstandard_attr("HttpOnly")
        assert cookie.get_nonstandard_attr("SameSite") == "lax"


def test_a_correction_is_open_and_the_old_entry_stays(house: House) -> None:
    client = client_of(house, "maren")
    wrong = house.store.lots.get("AL-0310").weighings[-1]
    page = client.get(f"/entries/{wrong.entry_id}/correct").text
    csrf = page.split('name="csrf" value="')[1].split('"')[0]
    form = {
        "csrf": csrf, "entry_id": "01990000-0000-7000-8000-00000000aaaa", "seen": str(wrong.seq),
        "lot": "AL-0310", "mass": "one kilo", "instrument": "S1", "tag": "14", "pieces": "1",
        "green": "1", "kept": "0", "reason": "misread", "rack": "", "tare": "",
    }  # fmt: skip
    refused = client.post(f"/entries/{wrong.entry_id}/correct", data=form)
    assert refused.status_code == 422
    assert 'value="one kilo"' in refused.text
    assert (
        client.post(f"/entries/{wrong.entry_id}/correct", data={**form, "mass": "1,06 kg"}).status_code == 303
    )
    now = house.store.lots.get("AL-0310").weighings[-1]
    assert (now.payload.mass.number, now.original.mass.number, now.corrections[0].reason) == (
        "1,06",
        "1.05",
        "misread",
    )
    assert "misread" in client.get("/lots/AL-0310").text


def test_a_release_is_refused_and_names_what_is_open(house: House) -> None:
    client = client_of(house, "ilo")
    people.set_pin(house, "ilo", "2580")
    page = client.get("/lots/AL-0310/release").text
    csrf = page.split('name="csrf" value="')[1].split('"')[0]
    form = {"csrf": csrf, "entry_id": "01990000-0000-7000-8000-00000000bbbb", "market": "us"}
    wrong = client.post("/lots/AL-0310/release", data={**form, "pin": "1111"})
    assert "The PIN is wrong".lower() in wrong.text.lower()
    refused = client.post("/lots/AL-0310/release", data={**form, "pin": "2580"})
    assert refused.status_code == 422
    assert "S. aureus" in refused.text
    assert house.store.lots.get("AL-0310").release is None


def test_an_unknown_lot_is_answered_with_the_nearest_names(house: House) -> None:
    answer = client_of(house, "maren").get("/lots/AL-0301")
    assert answer.status_code == 404
    assert "AL-0310" in answer.text


def test_what_a_house_typed_is_never_taken_for_markup(house: House) -> None:
    client = client_of(house, "maren")
    page = client.get("/lots/AL-0310/release").text
    csrf = page.split('name="csrf" value="')[1].split('"')[0]
    form = {
        "csrf": csrf,
        "entry_id": "01990000-0000-7000-8000-00000000cccc",
        "reason": "<script>alert(1)</script>",
    }
    assert client.post("/lots/AL-0310/hold", data=form).status_code == 303
    text = client.get("/lots/AL-0310").text
    assert "<script>alert" not in text
    assert "&lt;script&gt;alert" in text


def test_the_api_reads_what_the_pages_show(house: House) -> None:
    """A person whose role reads, or a token made for reading; a room hand's session reads nothing."""
    client = client_of(house, "maren")
    assert [row["lot"] for row in client.get("/api/v1/lots").json()] == ["AL-0310"]
    lot = client.get("/api/v1/lots/AL-0310").json()
    assert (lot["green_kg"], lot["room"], lot["forecast"]) == (1280.0, "D2", None)
    assert lot["judgement"]["releasable"] is False
    assert lot["caution"].startswith("Saltloft does not decide")
    assert client_of(house, "besnik").get("/api/v1/lots").status_code == 403
    token = people.enrol_device(house, "scale-computer", "reading", house.now())
    bearer = {"authorization": f"Bearer {token}"}
    assert client_of(house).get("/api/v1/lots", headers=bearer).status_code == 200
    sent = {"entries": [entry(person="besnik")]}
    assert client_of(house).post("/api/v1/entries", json=sent, headers=bearer).status_code == 403
    assert client.get("/api/v1/lots/AL-9").status_code == 404


def test_the_day_sheet_is_the_one_the_worker_kept(house: House) -> None:
    client = client_of(house, "maren")
    assert client.get("/api/v1/today").status_code == 409
    assert "being gathered" in client.get("/today").text
    sheet = day_sheet(house, house.now(), {}, judge.judge_many(house, ["AL-0310"]))
    queue.keep_day(house, "en", sheet, house.now())
    answer = client.get("/api/v1/today").json()
    assert (answer["schema"], answer["being_recomputed"]) == ("today/1", False)
    assert {item["subject"] for item in answer["items"]} >= {"AL-0310"}
    send(client, entry())
    assert client.get("/api/v1/today").json()["being_recomputed"] is True
    assert "being recomputed" in client.get("/today").text


def test_the_api_describes_itself(house: House) -> None:
    client = client_of(house, "maren")
    document = client.get("/api/v1/openapi.json").json()
    assert {"/api/v1/entries", "/api/v1/clock"} <= set(document["paths"])
    assert "/api/v1/entries" in client.get("/docs").text


def test_a_known_device_signs_in_again_by_pin(house: House) -> None:
    """After the session ended the PIN is enough on an enrolled device, and on no other."""
    client = client_of(house, "besnik")
    people.set_pin(house, "besnik", "4711")
    client.cookies.delete("saltloft_session")
    assert "besnik" in client.get("/sign-in").text
    assert client.post("/sign-in", data={"person": "besnik", "pin": "4712"}).status_code == 403
    assert client.post("/sign-in", data={"person": "besnik", "pin": "4711"}).status_code == 303
    assert client.get("/next").status_code == 200
    stranger = client_of(house)
    assert "one-time link" in stranger.post("/sign-in", data={"person": "besnik", "pin": "4711"}).text
    assert stranger.get("/next").status_code == 303


def test_five_wrong_pins_lock_for_five_minutes(house: House) -> None:
    client = client_of(house, "besnik")
    people.set_pin(house, "besnik", "4711")
    for _ in range(5):
        assert client.post("/sign-in", data={"person": "besnik", "pin": "0000"}).status_code == 403
    locked = client.post("/sign-in", data={"person": "besnik", "pin": "4711"})
    assert locked.status_code == 403
    assert "too many wrong tries" in locked.text


def test_a_house_is_set_up_on_its_pages(house: House) -> None:
    """A room, a recipe, a product with its plan, a person; and a lot made with what went in."""
    client = client_of(house, "ilo")
    csrf = client.get("/me").text.split('name="csrf" value="')[1].split('"')[0]

    def say_it(kind: str, **fields: str) -> int:
        form = {"csrf": csrf, "entry_id": f"01990000-0000-7000-8000-{next(NUMBERS):012d}", **fields}
        answer = client.post(f"/record?kind={newest(kind)}", data=form)
        assert answer.status_code in (200, 303), answer.text
        return answer.status_code

    say_it(
        "room.defined",
        room="D3",
        role="drying",
        capacity_kg="5000",
        volume_m3="120",
        highest_temperature_c="30",
    )
    lines = "lean trim; meat; 730; 10072\nbackfat; fat; 270; 10004\ncure; cure; 25; ; 0,5; 0; 99; 0"
    say_it("recipe.defined", recipe="hazel-1", basis="meat", ingredients=lines)
    say_it(
        "product.defined", product="hazel", line="HA", family="dry_sausage", title="Hazel 32",
        recipe="hazel-1", calibre_mm="32", length_mm="400", casing="natural", mould="1",
        target_weight_loss_pct="40",
        stages="fermentation; 36; 24; 92; 0.2\ndrying; 380; 14; 80; 0.2", hazards="salmonella",
        plan="5; 0.02; 15; ilo", price_per_kg="15.5", market_names="",
    )  # fmt: skip
    say_it("person.added", person="runa", role="curer", language="en", units="metric")
    status = say_it(
        "lot.made", lot="HA-1101", product="hazel", recipe="hazel-1", green_mass="90 kg", pieces="180",
        consumed="LT-1; lean trim; 70 kg\nBF-1; backfat; 26,5 kg", batter_ph="5,82",
    )  # fmt: skip
    assert status == 303
    made = house.store.lots.get("HA-1101")
    assert [(line.material_lot, line.mass.number) for line in made.made.payload.consumed] == [
        ("LT-1", "70"),
        ("BF-1", "26,5"),
    ]
    assert house.store.products.get("hazel").defined.payload.plan.signed_by == "ilo"
    assert house.store.people.get("runa").role == "curer"


def test_a_document_is_signed_with_the_pin(house: House) -> None:
    client = client_of(house, "ilo")
    people.set_pin(house, "ilo", "2580")
    csrf = client.get("/me").text.split('name="csrf" value="')[1].split('"')[0]
    form = {
        "csrf": csrf, "entry_id": "01990000-0000-7000-8000-00000000dddd", "hazard": "salmonella",
        "number": "7", "date": "2026-01-05", "issuer": "an authority",
        "covers_lots": "AL-0310", "limits": "up to pH 5.3",
    }  # fmt: skip
    assert client.post("/record?kind=document.recorded/1", data={**form, "pin": "1"}).status_code == 422
    assert client.post("/record?kind=document.recorded/1", data={**form, "pin": "2580"}).status_code == 200
    assert len(house.store.documents.all()) == 1


def test_the_other_units_are_one_tap_away(house: House) -> None:
    """Each page carries the link; what it shows is converted, and the unit is never left out."""
    client = client_of(house, "maren")
    page = client.get("/rooms").text
    assert "?units=us" in page
    queue.keep_day(house, "en", day_sheet(house, house.now(), {}, {}), house.now())
    metric, other = client.get("/rooms").text, client.get("/rooms?units=us").text
    assert '<span class="unit">°C</span>' in metric
    assert '<span class="unit">°F</span>' not in metric
    assert '<span class="unit">°F</span>' in other
    assert '<span class="unit">lb</span>' in other
    assert "?units=metric" in other
    assert client.get("/rooms?units=stone").text.count("°F</span>") == 0
