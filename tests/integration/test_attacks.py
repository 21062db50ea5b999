"""Ways in that must be shut: fixed sessions, forged forms, foreign names, paths, files, formulas, markup."""

from __future__ import annotations

import csv
import dataclasses
import io
import re
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from starlette.requests import ClientDisconnect
from tests import small_house
from tests.web_client import NUMBERS, URL, client_of, entry, send

from saltloft.house import House
from saltloft.jobs import people, tables_out
from saltloft.plant.entries import KINDS
from saltloft.plant.readings import CheckDone
from saltloft.web.app import create_app
from saltloft.web.route_rights import ROUTES, SIGNED_IN
from saltloft.web.security import STRICT_TRANSPORT, UPLOADS

BAIT = "<img src=x onerror=alert(1)>\"'{{7*7}}"


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    made = small_house.with_lot(tmp_path / "house")
    small_house.stored(made, small_house.weighing("1.05", green=1))
    yield made
    made.close()


@pytest.fixture(scope="module")
def shared(tmp_path_factory: pytest.TempPathFactory) -> Iterator[House]:
    """One house for the tests that don't mind what the others left in it."""
    made = small_house.with_lot(tmp_path_factory.mktemp("shared") / "house")
    small_house.stored(made, small_house.weighing("1.05", green=1))
    yield made
    made.close()


@pytest.fixture(scope="module")
def ilo(shared: House) -> TestClient:
    return client_of(shared, "ilo")


def csrf_of(client: TestClient) -> str:
    return client.get("/me").text.split('name="csrf" value="')[1].split('"')[0]


def number() -> str:
    return f"01990000-0000-7000-8000-{next(NUMBERS):012d}"


# ---- sessions and forms ---------------------------------------------------------------------------------


def test_a_session_fixed_beforehand_is_worth_nothing(house: House) -> None:
    """Signing in gives a new session; a value planted before, or of another device, is none."""
    client = TestClient(create_app(house), base_url=URL, follow_redirects=False)
    client.cookies.set("saltloft_session", "planted", domain="127.0.0.1")
    code = people.make_link(house, "besnik", house.now())
    assert client.get("/next").status_code == 303
    client.post(f"/sign-in/{code}", data={"device": "phone"})
    held = {cookie.value for cookie in client.cookies.jar if cookie.name == "saltloft_session"}
    assert "planted" not in held - {"planted"}
    planted = TestClient(create_app(house), base_url=URL, follow_redirects=False)
    planted.cookies.set("saltloft_session", "planted", domain="127.0.0.1")
    assert planted.get("/next").headers["location"] == "/sign-in"


def test_signing_in_as_another_ends_the_first_session(house: House) -> None:
    people.set_pin(house, "maren", "4711")
    client = client_of(house, "besnik")
    first = client.cookies["saltloft_session"]
    assert client.post("/sign-in", data={"person": "maren", "pin": "4711"}).status_code == 303
    assert client.cookies["saltloft_session"] != first
    thief = TestClient(create_app(house), base_url=URL, follow_redirects=False)
    thief.cookies.set("saltloft_session", first, domain="127.0.0.1")
    assert thief.get("/next").headers["location"] == "/sign-in"


def forms() -> list[str]:
    """Every form that a signed-in person may send; the API is told apart by its Origin and its token."""
    return sorted(
        row.removeprefix("POST ")
        for row, who in ROUTES.items()
        if row.startswith("POST ") and who & SIGNED_IN and "/sign-in" not in row and "/enrol" not in row
        and "/api/" not in row
    )  # fmt: skip


@pytest.mark.parametrize("path", forms())
def test_a_forged_form_changes_nothing(shared: House, ilo: TestClient, path: str) -> None:
    """Neither without this session's token, nor with another session's, nor from another site."""
    others = csrf_of(client_of(shared, "maren"))
    where = re.sub(r"\{lot\}", "AL-0310", re.sub(r"\{sort\}", "weigh", path))
    where = where.replace("{entry_id}", shared.store.lots.get("AL-0310").weighings[-1].entry_id)
    before = shared.store.head()
    rest = {
        "entry_id": number(), "lot": "AL-0310", "number": "1.0", "instrument": "S1", "reason": "x",
        "why": "no", "person": "besnik", "role": "curer", "label": "x",
        "scope": "reading", "check": "x", "act": "strike",
    }  # fmt: skip
    for csrf in ({}, {"csrf": ""}, {"csrf": "guessed"}, {"csrf": others}, {"csrf": "ümlaut"}):
        answer = ilo.post(where, data={**rest, **csrf}, params={"kind": "check.done/1"})
        assert answer.status_code in (403, 409, 422), (where, csrf, answer.status_code)
    own = {**rest, "csrf": csrf_of(ilo)}
    for headers in ({"origin": "https://evil.example"}, {"sec-fetch-site": "cross-site"}, {"origin": "null"}):
        assert ilo.post(where, data=own, headers=headers).status_code == 403
    assert shared.store.head() == before
    assert ilo.get("/next").status_code == 200  # still signed in


# ---- names ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "host",
    ["evil.example", "evil.example:8765", "127.0.0.1.evil.example", "localhost.evil.example", "",
     "[::2]:8765", "linnet.local@evil.example", "192.168.7.21:8765"],
)  # fmt: skip
def test_a_foreign_name_that_leads_here_is_refused(shared: House, host: str) -> None:
    """DNS rebinding: the browser says the attacker's name, whatever address it leads to."""
    hosts = ("localhost", "127.0.0.1", "linnet.local", "192.168.7.20")
    client = TestClient(create_app(shared, hosts), base_url=URL, follow_redirects=False)
    assert client.get("/health", headers={"host": host}).status_code == 400
    for own in ("linnet.local:8765", "LINNET.local:8765", "192.168.7.20:8765", "localhost"):
        assert client.get("/health", headers={"host": own}).status_code == 200


def test_under_https_cookies_are_bound_to_host_and_scheme(house: House) -> None:
    """The __Host- prefix (RFC 6265bis, 4.1.3.2): secure, no domain, whole path; and HSTS for names only."""
    hosts = ("linnet.local", "192.168.7.20")
    client = TestClient(
        create_app(house, hosts), base_url="https://linnet.local:8765", follow_redirects=False
    )
    code = people.make_link(house, "besnik", house.now())
    answer = client.post(f"/sign-in/{code}", data={"device": "phone"})
    cookies = answer.headers.get_list("set-cookie")
    assert len(cookies) == 2
    for cookie in cookies:
        parts = [part.strip().lower() for part in cookie.split(";")]
        assert parts[0].startswith("__host-saltloft_")
        assert {"secure", "httponly", "path=/", "samesite=lax"} <= set(parts)
        assert not any(part.startswith("domain") for part in parts)
    assert client.get("/next").status_code == 200
    assert answer.headers["strict-transport-security"] == STRICT_TRANSPORT
    assert "strict-transport-security" not in client.get("https://192.168.7.20:8765/health").headers
    # A page of the same name over plain http is another origin.
    forged = {"origin": "http://linnet.local:8765"}
    assert client.post("/api/v1/entries", json={"entries": [entry()]}, headers=forged).status_code == 403


# ---- paths and files ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "path",
    ["/static/../house.toml", "/static/..%2f..%2fhouse.key", "/static/%2e%2e/house.db",
     "/lots/..%2f..%2fhouse.key", "/static//etc/passwd", "/sheets/..%2fx", "/enter/..%2f..",
     "/trust/..%2fserver.key", "/lots/%00", "/type/%2e"],
)  # fmt: skip
def test_no_path_leads_out(ilo: TestClient, path: str) -> None:
    answer = ilo.get(path)
    assert answer.status_code in (404, 422), answer.status_code
    for secret in ("PRIVATE KEY", "root:", "SQLite format", "zone ="):
        assert secret not in answer.text


def test_an_upload_that_is_too_large_is_refused_before_it_is_read(house: House) -> None:
    """By its stated length; and cut off when it states none."""
    client = client_of(house, "maren")
    most = UPLOADS["/rooms/import"]
    answer = client.post("/rooms/import", content=b"", headers={"content-length": str(most + 1)})
    assert answer.status_code == 413
    small = client.post("/enter/weigh", content=b"x" * 300_000)
    assert small.status_code == 413

    def endless() -> Iterator[bytes]:
        for _ in range(most // 2**20 + 2):
            yield b"x" * 2**20

    taken: list[int] = []
    headers = {"content-type": "multipart/form-data; boundary=b", "transfer-encoding": "chunked"}
    with pytest.raises(ClientDisconnect):
        taken.append(client.post("/rooms/import", content=endless(), headers=headers).status_code)
    assert taken == []


@pytest.mark.parametrize("name", ["../../x.csv", "x.csv\x00.exe", "C:\\x.csv", "a" * 3000, BAIT])
def test_a_file_name_is_text_and_leads_nowhere(house: House, tmp_path: Path, name: str) -> None:
    client = client_of(house, "maren")
    before = {path.name for path in tmp_path.rglob("*")}
    files = {"file": (name, b"time,temperature_c\n2026-03-01T00:00:00Z,14.0\n", "text/csv")}
    answer = client.post("/rooms/import", data={"csrf": csrf_of(client), "room": "D2"}, files=files)
    assert answer.status_code in (200, 422)
    assert "<img" not in answer.text
    assert {path.name for path in tmp_path.rglob("*")} == before


def test_a_bomb_of_a_spreadsheet_is_refused_on_the_page(house: House) -> None:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as made:
        made.writestr("xl/worksheets/sheet1.xml", b"0" * (300 * 2**20))
    assert len(out.getvalue()) < 1_000_000
    client = client_of(house, "maren")
    files = {"file": ("D2.xlsx", out.getvalue(), "application/octet-stream")}
    answer = client.post("/rooms/import", data={"csrf": csrf_of(client)}, files=files)
    assert answer.status_code == 422
    assert "unfolds to more" in answer.text
    assert client.get("/rooms").status_code == 200


# ---- what people type -----------------------------------------------------------------------------------


def test_a_formula_stays_text_in_a_table_for_spreadsheets(house: House, tmp_path: Path) -> None:
    """A reason typed as a formula is in the exported tables, and no cell of any begins like one."""
    bait = ("=cmd|' /C calc'!A0", "@SUM(1)", "+1+cmd", "\t=1+1", "-2+3+cmd")
    for number_of, reason in enumerate(bait):
        said = CheckDone(f"round {number_of}", 0, found=reason, room="D2")
        small_house.stored(house, said, at=house.now())
    out = tmp_path / "out"
    out.mkdir()
    cells: list[str] = []
    for file in tables_out.export_tables(house, out, "csv"):
        with file.open(encoding="utf-8", newline="") as opened:
            cells += [cell for row in csv.reader(opened) for cell in row]
    for reason in bait:
        assert any(reason in cell for cell in cells), reason
    number_like = re.compile(r"[+-]?[\d.]+")
    assert [
        cell for cell in cells if cell[:1] in "=+-@\t\r" and cell and not number_like.fullmatch(cell)
    ] == []


def filled(payload: type) -> dict[str, Any]:
    """A payload with the bait in every field that takes text."""
    hints = {field.name: str(field.type) for field in dataclasses.fields(payload)}
    found: dict[str, Any] = {}
    for name, hint in hints.items():
        if hint == "str":
            found[name] = BAIT
        elif "tuple[str" in hint:
            found[name] = [BAIT]
        elif hint == "int":
            found[name] = 1
        elif "Decimal" in hint:
            found[name] = "1"
        elif hint.startswith("Mass"):
            found[name] = {"number": "1", "unit": "kg"}
    return found


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_markup_in_every_field_of_every_entry_is_text(ilo: TestClient, kind: str) -> None:
    """Handed in with markup everywhere: refused or stored, and shown as text on every page that shows it."""
    send(ilo, entry(kind=kind, payload=filled(KINDS[kind]), subject=""))
    form = {**dict.fromkeys(filled(KINDS[kind]), BAIT), "csrf": csrf_of(ilo), "entry_id": number()}
    answers = [
        ilo.post("/record", params={"kind": kind}, data=form),
        ilo.get("/record", params={"kind": kind, "lot": BAIT}),
        ilo.get("/records", params={"q": BAIT}),
    ]
    for answer in answers:
        assert answer.status_code < 500
        assert "<img src=x" not in answer.text
        assert "49" not in re.findall(r"onerror=alert\(1\)&gt;&#34;&#39;(\d+)", answer.text)


def test_markup_that_is_stored_is_text_wherever_it_is_shown(house: House) -> None:
    """Names, notes, reasons, labels: typed by one person, read by all the others."""
    ilo = client_of(house, "ilo")
    people.set_name(house, "besnik", BAIT[:80])
    csrf = csrf_of(ilo)
    ilo.post("/people/token", data={"csrf": csrf, "entry_id": number(), "label": BAIT, "scope": "reading"})
    ilo.post("/people/device", data={"csrf": csrf, "label": BAIT})
    ilo.post("/lots/AL-0310/hold", data={"csrf": csrf, "entry_id": number(), "reason": BAIT, "until": BAIT})
    rack = {"carrier": "T1", "sort": "rack", "number": "9", "instrument": "S1"}
    ilo.post("/tares", data={"csrf": csrf, "entry_id": number(), **rack})
    send(client_of(house, "besnik"), entry(kind="check.done/1", subject="", payload={
        "check": BAIT, "good": 0, "found": BAIT, "room": "D2"}))  # fmt: skip
    shown = 0
    for path in ("/people", "/records", "/lots", "/lots/AL-0310", "/today", "/rooms", "/tares", "/sign-in",
                 "/switch", "/sheets/weigh", "/facts", "/rooms/import"):  # fmt: skip
        text = ilo.get(path).text
        assert "<img src=x" not in text, path
        shown += "&lt;img src=x" in text
    assert shown >= 3


def test_every_page_bears_the_policy_and_runs_no_inline_script(house: House) -> None:
    """Nothing that the policy would stop: no inline script, style or handler, nothing from outside."""
    client = client_of(house, "ilo")
    for row in ROUTES:
        method, _, path = row.partition(" ")
        if method != "GET" or "{" in path:
            continue
        answer = client.get(path)
        policy = answer.headers["content-security-policy"]
        assert "unsafe" not in policy
        assert "script-src 'self'" in policy
        assert "frame-ancestors 'none'" in policy
        if answer.headers.get("content-type", "").startswith("text/html"):
            assert not re.search(r"<script(?![^>]*\bsrc=)|\son\w+=|\sstyle=|<style", answer.text), path
            assert not re.search(r'(?:src|href|action)="https?://(?!127\.0\.0\.1)', answer.text), path
