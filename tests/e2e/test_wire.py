"""The floor on real phones: ten pieces, a day without Wi-Fi, HTTPS, a scale on its line, a typed sheet."""

from __future__ import annotations

import base64
import hashlib
import http.client
import os
import pty
import ssl
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat
from playwright.sync_api import Browser, Page, Playwright, expect

from saltloft.foundation.units import mass
from saltloft.house import House
from saltloft.jobs import devices, people, record
from saltloft.plant.readings import PieceWeighed
from saltloft.plant.stated import Draft, Stamp
from tests.e2e import plant
from tests.e2e.harness import CHROMIUM, DESK, FLAGS, PHONE, Relay, Server, free_port, press, sign_in

pytestmark = pytest.mark.browser
NAME = "linnet.local"
STORED = "count => document.querySelectorAll('.chips .done').length >= count"
ANSWERED = f"count => ({STORED})(count) || document.querySelector('form .told .ask') !== null"
KEPT = "async path => Boolean(await (await caches.open('pages')).match(path))"


def weigh_more_tags(folder: Path, tags: tuple[str, ...]) -> None:
    """Further tagged pieces of the curing lot, each weighed green."""
    with House.open(folder) as house:
        hung = house.store.lots.get(plant.CURING).hung_at
        assert hung is not None
        said = [PieceWeighed(plant.CURING, mass("0.985", "kg"), "S2", tag, green=1, rack="3") for tag in tags]
        drafts = [Draft(house.new_id(), one, hung) for one in said]
        receipts = record.enter(house, Stamp("maren", "console", house.now()), drafts)
        assert {receipt.status for receipt in receipts} == {"stored"}


def test_a_phone_weighs_ten_pieces_in_under_a_minute(
    browser: Browser, tmp_path: Path, figure: Callable[[str], None]
) -> None:
    """Scripted taps, one piece after the other; each acknowledged by the house before the next."""
    server = Server(plant.build(tmp_path / "linnet"), free_port()).start()
    weigh_more_tags(server.folder, ("51", "52", "53", "54"))
    context = browser.new_context(**PHONE)
    page = context.new_page()
    sign_in(page, server.url, server.folder, "besnik")
    before = plant.weighings_of(server.folder)
    page.goto(f"{server.url}/enter/weigh?lot={plant.CURING}")
    weights = [f"0.8{number}7" for number in range(10, 20)]
    started = time.monotonic()
    for place, weight in enumerate(weights, 1):
        press(page, weight[:5])
        page.get_by_role("button", name="Done").tap()
        page.wait_for_function(ANSWERED, arg=place)
        keep = page.locator(".told:visible .ask").get_by_role("button", name="Keep")
        if keep.count():
            keep.tap()
            page.wait_for_function(STORED, arg=place)
    took = time.monotonic() - started
    figure(f"10 pieces weighed on a phone in {took:.1f} s of scripted taps")
    assert len(plant.weighings_of(server.folder)) == len(before) + 10
    assert took < 60.0
    context.close()
    server.stop()


def test_a_day_without_wifi_arrives_once(browser: Browser, tmp_path: Path) -> None:
    """200 entries kept, the session over, answers lost twice: the journal holds each once, and says so."""
    server = Server(plant.build(tmp_path / "linnet"), free_port()).start()
    relay = Relay(server.port)
    context = browser.new_context(**PHONE)
    page = context.new_page()
    sign_in(page, relay.url, server.folder, "besnik")
    page.goto(f"{relay.url}/outbox")
    before = plant.weighings_of(server.folder)
    page.evaluate("clearInterval(1)")
    context.set_offline(True)
    page.evaluate(
        """async lot => {
          for (let number = 0; number < 200; number += 1) {
            await SaltloftOutbox.add({
              kind: 'piece.weighed/1', subject: lot, person: 'besnik', label: String(number),
              payload: { lot: lot, mass: { number: (0.8 + number / 10000).toFixed(4), unit: 'kg' },
                         instrument: 'S2', tag: '3', kept: 1 },
              happened_at: new Date(Date.now() - 8 * 3600e3 + number * 60e3).toISOString(),
              clock_offset_ms: -2500, made_ms: Date.now() - 8 * 3600e3 + number * 60e3,
            });
          }
        }""",
        plant.CURING,
    )
    page.evaluate("SaltloftPage.sendWaiting()")
    expect(page.locator("#waiting")).to_have_text("waiting to send: 200")
    context.clear_cookies(name="saltloft_session")
    lost: list[bytes] = []

    def lose_two(answer: bytes) -> bool:
        lost.append(answer)
        return len(lost) <= 2

    relay.lose = lose_two
    context.set_offline(False)
    for _ in range(3):
        page.evaluate("SaltloftPage.sendWaiting()")
    expect(page.locator("#waiting")).to_be_hidden(timeout=30_000)
    assert len(lost) >= 6  # 4 batches, and two of them again
    assert b'"already"' in b"".join(lost[1:])
    after = plant.weighings_of(server.folder)
    assert len(after) == len(before) + 200
    assert len(set(after[len(before) :])) == 200
    with House.open(server.folder) as house:
        assert house.store.verify().whole
        own = [one.entry_id for one in house.store.lots.get(plant.CURING).weighings[-200:]]
        marks = devices.offline_marks(house, own)
        assert set(marks) == set(own)
        assert {(mark.session, mark.offset_ms) for mark in marks.values()} == {(0, -2500)}
    context.close()
    relay.stop()
    server.stop()


def test_two_people_correct_one_entry_and_both_see_why(
    browser: Browser, server: Server, folder: Path
) -> None:
    """The later one is refused, with both sides shown, and keeps what was typed; the earlier one stands."""
    with House.open(folder) as house:
        entry = house.store.lots.get(plant.CURING).weighings[0].entry_id
    pages: list[Page] = []
    for person in ("maren", "ilo"):
        page = browser.new_context(**DESK).new_page()
        sign_in(page, server.url, folder, person)
        page.goto(f"{server.url}/entries/{entry}/correct")
        pages.append(page)
    for page, value, why in zip(pages, ("0.991 kg", "0.993 kg"), ("misread", "scale off"), strict=True):
        page.locator("input[name=mass]").fill(value)
        page.locator("input[name=reason]").fill(why)
        page.get_by_role("button", name="Correct it").click()
        page.wait_for_load_state()
    refused = pages[1].locator("#problem")
    expect(refused).to_contain_text("Maren stated as no.")
    expect(refused).to_contain_text("misread")
    expect(refused).to_contain_text("0.991")
    expect(refused).to_contain_text("0.993")
    expect(pages[1].locator("input[name=mass]")).to_have_value("0.993 kg")
    pages[0].goto(f"{server.url}/records?kind=piece.weighed&q=0.991")
    pages[0].goto(f"{server.url}/records?q={plant.CURING}&kind=entry.corrected")
    expect(pages[0].locator("main")).to_contain_text("misread")
    expect(pages[0].locator("main")).not_to_contain_text("scale off")
    for page in pages:
        page.context.close()


class Secured(Server):
    """`saltloft serve --lan` under a name of the house's network."""

    @property
    def url(self) -> str:
        return f"https://{NAME}:{self.port}"

    def start(self) -> Server:
        command = [
            str(Path(sys.executable).parent / "saltloft"),
            "serve",
            "--lan",
            "--house",
            str(self.folder),
        ]
        self.process = subprocess.Popen(
            [*command, "--port", str(self.port)], env=self.environment, start_new_session=True
        )
        self._wait()
        return self

    def get(self, path: str) -> tuple[int, str]:
        authority = self.folder / "certificates" / "authority.crt"
        if not authority.exists():
            raise OSError("no certificate yet")
        trusting = ssl.create_default_context(cafile=str(authority))
        connection = http.client.HTTPSConnection("127.0.0.1", self.port, timeout=10, context=trusting)
        try:
            connection.request("GET", path)
            answer = connection.getresponse()
            return answer.status, answer.read().decode()
        finally:
            connection.close()


@pytest.fixture(scope="module")
def secured(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    folder = plant.build(tmp_path_factory.mktemp("lan") / "linnet")
    with (folder / "house.toml").open("a", encoding="utf-8") as written:
        written.write(f'lan_names = "{NAME}"\n')
    running = Secured(folder, free_port()).start()
    yield running
    running.stop()


def trusting_phone(playwright: Playwright, server: Server, storage: Path) -> Page:
    """A phone that took the house's certificate in, and finds the name on its network."""
    pem = (server.folder / "certificates" / "server.crt").read_bytes()
    key = x509.load_pem_x509_certificate(pem).public_key()
    digest = hashlib.sha256(key.public_bytes(Encoding.DER, PublicFormat.SubjectPublicKeyInfo)).digest()
    flags = [
        *FLAGS,
        f"--ignore-certificate-errors-spki-list={base64.b64encode(digest).decode()}",
        f"--host-resolver-rules=MAP {NAME} 127.0.0.1",
    ]
    context = playwright.chromium.launch_persistent_context(
        str(storage), executable_path=CHROMIUM, args=flags, **PHONE
    )
    context.set_default_timeout(10_000)
    return context.pages[0]


def test_over_https_the_entry_pages_open_without_wifi_and_another_person_takes_over(
    playwright: Playwright, secured: Server, tmp_path: Path
) -> None:
    """Under a LAN name: service worker, secure cookies; the house away, a name picked, one entry by it."""
    with House.open(secured.folder) as house:
        for person in ("besnik", "maren"):
            people.set_pin(house, person, "4711")
    page = trusting_phone(playwright, secured, tmp_path / "phone")
    sign_in(page, secured.url, secured.folder, "besnik")
    cookies = {cookie["name"]: cookie for cookie in page.context.cookies()}
    assert set(cookies) == {"__Host-saltloft_session", "__Host-saltloft_device"}
    assert all(cookie["secure"] and cookie["httpOnly"] for cookie in cookies.values())
    page.goto(f"{secured.url}/next")
    page.wait_for_function("navigator.serviceWorker.controller !== null")
    page.goto(f"{secured.url}/next")
    for path in ("/next", "/enter/weigh", "/switch"):
        page.wait_for_function(KEPT, arg=path)
    before = plant.weighings_of(secured.folder)
    secured.stop()
    page.goto(f"{secured.url}/switch")
    page.locator("input[name=person][value=maren]").check(force=True)
    page.get_by_role("button", name="Sign in").tap()
    expect(page.locator("#switch .told")).to_contain_text("without a PIN")
    page.goto(f"{secured.url}/enter/weigh?lot={plant.CURING}")
    expect(page.locator("#who-is-it")).to_contain_text("Maren")
    press(page, "0.857")
    page.get_by_role("button", name="Done").tap()
    expect(page.locator("#waiting")).to_have_text("waiting to send: 1")
    secured.start()
    page.evaluate("SaltloftPage.sendWaiting()")
    expect(page.locator("#waiting")).to_be_hidden(timeout=20_000)
    assert plant.weighings_of(secured.folder) == [*before, "0.857"]
    with House.open(secured.folder) as house:
        last = house.store.lots.get(plant.CURING).weighings[-1]
        assert last.person == "maren"
        assert set(devices.offline_marks(house, [last.entry_id])) == {last.entry_id}
    page.context.close()


def test_the_trust_page_gives_the_certificate_and_its_number(
    playwright: Playwright, secured: Server, tmp_path: Path
) -> None:
    page = trusting_phone(playwright, secured, tmp_path / "phone")
    page.goto(f"{secured.url}/trust")
    authority = x509.load_pem_x509_certificate(
        (secured.folder / "certificates" / "authority.crt").read_bytes()
    )
    der = authority.public_bytes(Encoding.DER)
    expect(page.locator("main")).to_contain_text(hashlib.sha256(der).hexdigest()[:2].upper() + ":")
    expect(page.locator("svg.qr")).to_be_visible()
    fetched = page.evaluate(
        """async () => {
          const answer = await fetch('/trust/saltloft-house.crt');
          return Array.from(new Uint8Array(await answer.arrayBuffer()));
        }"""
    )
    assert bytes(fetched) == der
    page.context.close()


def test_a_scale_on_its_serial_line_stands_on_the_weighing_screen(
    phone: Page, server: Server, folder: Path
) -> None:
    """A pseudo-terminal in place of the line: the command hands on, the phone shows, a tap takes it in."""
    with House.open(folder) as house:
        token = people.enrol_device(house, "rack-scale", "scale", house.now())
    line, other = pty.openpty()
    command = [str(Path(sys.executable).parent / "saltloft"), "scale", os.ttyname(other)]
    process = subprocess.Popen(
        [*command, "--instrument", "S2", "--url", server.url],
        env={**os.environ, "SALTLOFT_SCALE_TOKEN": token},
        stderr=subprocess.PIPE,
    )
    stop = threading.Event()

    def speak() -> None:
        while not stop.wait(0.3):
            os.write(line, b"ST,GS,+  0.861kg\r\n")

    voice = threading.Thread(target=speak)
    voice.start()
    try:
        phone.goto(f"{server.url}/enter/weigh?lot={plant.CURING}")
        shown = phone.locator("[data-from-scale] button:visible")
        expect(shown).to_have_text("S2 shows 0.861 kg: take it", timeout=30_000)
        shown.tap()
        expect(phone.locator(".reading input:visible")).to_have_value("0.861")
        before = plant.weighings_of(folder)
        phone.get_by_role("button", name="Done").tap()
        expect(phone.locator(".told:visible .stored")).to_be_visible()
        assert plant.weighings_of(folder) == [*before, "0.861"]
    finally:
        stop.set()
        voice.join()
        process.terminate()
        process.wait(10)
        os.close(line)
        os.close(other)


def test_a_sheet_is_typed_in_by_keyboard_alone(browser: Browser, server: Server, folder: Path) -> None:
    """Enter goes on; a wrong line stays with its reason in focus; a reload loses nothing."""
    page = browser.new_context(**DESK).new_page()
    sign_in(page, server.url, folder, "maren")
    page.goto(f"{server.url}/type/weigh")
    before = plant.weighings_of(folder)
    for text in (plant.CURING, "7", "0.868"):
        page.keyboard.type(text)
        page.keyboard.press("Enter")
    page.reload()
    expect(page.locator("input[name='number.1']")).to_have_value("0.868")
    for text in ("", "14", "o.87"):
        page.keyboard.type(text)
        page.keyboard.press("Tab")
    page.locator("input[name='lot.3']").focus()
    page.keyboard.press("Enter")
    expect(page.locator("tr.wrong")).to_have_count(1, timeout=15_000)
    # A sheet's moment is the minute it names, which may lie before a scale's reading of this run.
    assert sorted(plant.weighings_of(folder)) == sorted([*before, "0.868"])
    assert page.evaluate("document.activeElement.name") == "number.1"
    page.keyboard.press("Control+A")
    page.keyboard.type("0.872")
    page.locator("input[name='lot.2']").focus()
    page.keyboard.press("Enter")
    # The first answer also read '1 line stored.': wait for the second.
    expect(page.locator("tr.wrong")).to_have_count(0, timeout=15_000)
    expect(page.locator(".answer .sentence")).to_contain_text("1 line stored.")
    assert sorted(plant.weighings_of(folder)) == sorted([*before, "0.868", "0.872"])
    page.context.close()


def test_a_typed_tag_opens_its_job(phone: Page, server: Server) -> None:
    phone.goto(f"{server.url}/scan")
    phone.locator("#code").fill(f"{plant.CURING} 14")
    phone.get_by_role("button", name="Open the job").tap()
    expect(phone.locator("h1:visible")).to_contain_text(f"{plant.CURING} · 14")
