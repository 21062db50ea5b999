"""No network, a closed browser, a killed server, a resent entry: always exactly one entry."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, Playwright, expect

from tests.e2e import plant
from tests.e2e.harness import PHONE, Relay, Server, free_port, kept_phone, press, sign_in

pytestmark = pytest.mark.browser
WEIGH = f"/enter/weigh?lot={plant.CURING}"
KEPT = "async path => Boolean(await (await caches.open('pages')).match(path))"


@pytest.fixture
def lone_server(tmp_path: Path) -> Iterator[Server]:
    server = Server(plant.build(tmp_path / "linnet"), free_port()).start()
    yield server
    server.stop()


def _keep_entry_pages(page: Page, url: str) -> None:
    """Wait until the service worker holds the entry pages."""
    page.goto(f"{url}/next")
    page.wait_for_function("navigator.serviceWorker.controller !== null")
    page.goto(f"{url}/next")
    for path in ("/next", "/enter/weigh"):
        page.wait_for_function(KEPT, arg=path)


def test_an_entry_survives_the_closed_browser(
    playwright: Playwright, lone_server: Server, tmp_path: Path
) -> None:
    """Weighed without a network, the browser closed and opened twice, then online: one entry."""
    storage, folder, url = tmp_path / "phone", lone_server.folder, lone_server.url
    before = plant.weighings_of(folder)
    with kept_phone(playwright, storage) as (_, page):
        sign_in(page, url, folder, "besnik")
        _keep_entry_pages(page, url)
    lone_server.stop()
    with kept_phone(playwright, storage) as (_, page):
        page.goto(url + WEIGH)
        press(page, "0.852")
        page.get_by_role("button", name="Done").tap()
        expect(page.locator(".told:visible")).to_contain_text("waiting to send")
        expect(page.locator("#waiting")).to_have_text("waiting to send: 1")
    with kept_phone(playwright, storage) as (_, page):
        page.goto(f"{url}/next")
        expect(page.locator("#waiting")).to_have_text("waiting to send: 1")
        page.goto(f"{url}/today")
        expect(page.get_by_text("kept on this device")).to_be_visible()
    assert plant.weighings_of(folder) == before
    lone_server.start()
    with kept_phone(playwright, storage) as (_, page):
        page.goto(f"{url}/next")
        expect(page.locator("#waiting")).to_be_hidden(timeout=15_000)
        page.reload()
        expect(page.locator("#waiting")).to_be_hidden()
    assert plant.weighings_of(folder) == [*before, "0.852"]


def test_a_server_killed_before_it_answers_leaves_one_entry(browser: Browser, lone_server: Server) -> None:
    """kill -9 after the entry was written and before the answer left; then resent twice."""
    folder, relay = lone_server.folder, Relay(lone_server.port)
    before = plant.weighings_of(folder)
    context = browser.new_context(**PHONE)
    page = context.new_page()
    sign_in(page, relay.url, folder, "besnik")
    page.goto(relay.url + WEIGH)

    def kill(answer: bytes) -> bool:
        assert b'"stored"' in answer, answer
        lone_server.kill_web()
        return True

    relay.lose = kill
    press(page, "0.853")
    page.get_by_role("button", name="Done").tap()
    expect(page.locator(".told:visible")).to_contain_text("waiting to send")
    assert plant.weighings_of(folder) == [*before, "0.853"]
    lost: list[bytes] = []

    def lose_once_more(answer: bytes) -> bool:
        lost.append(answer)
        return len(lost) == 1

    relay.lose = lose_once_more
    lone_server.start()
    page.evaluate("SaltloftPage.sendWaiting()")
    expect(page.locator("#waiting")).to_have_text("waiting to send: 1")
    page.evaluate("SaltloftPage.sendWaiting()")
    expect(page.locator("#waiting")).to_be_hidden(timeout=15_000)
    assert [b'"already"' in answer for answer in lost] == [True, True]
    assert plant.weighings_of(folder) == [*before, "0.853"]
    context.close()
    relay.stop()


def test_a_refused_entry_stays_in_the_outbox_with_its_reason(browser: Browser, lone_server: Server) -> None:
    """What the house does not take is not lost: it waits with the reason until a person mends it."""
    context = browser.new_context(**PHONE)
    page = context.new_page()
    sign_in(page, lone_server.url, lone_server.folder, "besnik")
    page.goto(f"{lone_server.url}/outbox")
    item = {
        "kind": "piece.weighed/1",
        "subject": "AL-9",
        "person": "besnik",
        "label": "AL-9 · 3",
        "payload": {"lot": "AL-9", "mass": {"number": "1", "unit": "kg"}, "instrument": "S2", "tag": "3"},
    }
    page.evaluate("item => SaltloftOutbox.add(item)", item)
    page.evaluate("SaltloftPage.sendWaiting()")
    expect(page.locator("#waiting")).to_have_text("not taken: 1")
    expect(page.locator("#outbox-list")).to_contain_text("AL-9")
    page.get_by_role("button", name="Put away").tap()
    expect(page.locator("#outbox-empty")).to_be_visible()
    context.close()
