"""Receive, Make and dividing a lot in a browser: with script, without, and with no network at the door."""

from __future__ import annotations

from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from saltloft.house import House
from tests.e2e.harness import PHONE, Server, sign_in, watch_console


def stock_of(folder: Path, name: str) -> object:
    """A material lot as the journal has it."""
    with House.open(folder) as house:
        return house.store.stock.find(name)


def test_a_delivery_in_one_screen(phone: Page, server: Server) -> None:
    """What came last stands ready: a weight, a temperature, one tap; refused, it comes back as typed."""
    errors = watch_console(phone)
    phone.goto(f"{server.url}/receive")
    phone.locator("label", has_text="lean trim").tap()
    number = phone.locator("[name=material_lot]").input_value()
    phone.get_by_label("Weight as the scale shows it").fill("412,5")
    phone.get_by_label("Core °C").fill("2.1")
    phone.get_by_role("button", name="Done").tap()
    expect(phone.locator(".told .stored")).to_contain_text(number)
    found = stock_of(server.folder, number)
    assert (found.left_mg, str(found.received.payload.core_temperature_c)) == (412_500_000, "2.1")
    phone.goto(f"{server.url}/receive?units=us")
    phone.get_by_label("Weight as the scale shows it").fill("100")
    phone.get_by_label("Our number").fill("LB-1")
    phone.get_by_label("Core °F").fill("36.5")
    phone.get_by_role("button", name="Done").tap()
    expect(phone.locator(".told .stored")).to_contain_text("LB-1")
    found = stock_of(server.folder, "LB-1")
    # 100 lb of 0.45359237 kg each (agreement of 1959).
    assert (found.left_mg, str(found.received.payload.core_temperature_c)) == (45_359_237, "2.5")
    phone.get_by_label("Weight as the scale shows it").fill("12")
    phone.get_by_label("Our number").fill("bad/number")
    phone.get_by_role("button", name="Done").tap()
    expect(phone.locator(".problem")).to_be_visible()
    assert phone.get_by_label("Weight as the scale shows it").input_value() == "12"
    assert [error for error in errors if "422" not in error] == []


def test_a_delivery_without_a_network_waits_on_the_phone(phone: Page, server: Server) -> None:
    """The door of the cold store has no Wi-Fi: the entry waits, and arrives once when the network is back."""
    phone.goto(f"{server.url}/receive")
    phone.get_by_label("Our number").fill("OFF-1")
    phone.get_by_label("Weight as the scale shows it").fill("25")
    phone.context.set_offline(True)
    phone.get_by_role("button", name="Done").tap()
    expect(phone.locator(".told .ask")).to_contain_text("OFF-1")
    phone.context.set_offline(False)
    phone.goto(f"{server.url}/outbox")
    phone.evaluate("() => self.SaltloftPage.sendWaiting()")
    found = stock_of(server.folder, "OFF-1")
    assert found is not None
    assert found.received.payload.mass.mg == 25_000_000


@pytest.mark.parametrize("script", [True, False])
def test_a_batch_is_weighed_in_and_hung(browser: Browser, server: Server, script: bool) -> None:
    """The sheet asks by the recipe, takes what was weighed, and hangs the lot; with and without script."""
    context = browser.new_context(**PHONE, java_script_enabled=script)
    page = context.new_page()
    sign_in(page, server.url, server.folder, "besnik")
    page.goto(f"{server.url}/make")
    page.get_by_role("link", name="Alder").first.click()
    lot = f"AL-T{int(script)}"
    page.get_by_label("Lot", exact=True).fill(lot)
    page.get_by_label("Green weight").fill("40")
    page.get_by_label("Pieces", exact=True).fill("41")
    page.get_by_role("button", name="Done").click()
    with House.open(server.folder) as house:
        made = house.store.lots.get(lot)
    assert (made.green_mass.mg, made.pieces, made.hanging) == (40_000_000, 41, True)
    context.close()


def test_a_lot_is_split_and_merged_on_the_phone(phone: Page, server: Server) -> None:
    """Sixty to forty, then together again; the parts add up to the whole."""
    phone.goto(f"{server.url}/lots/AL-1/divide")
    phone.get_by_role("button", name="Split").tap()
    phone.wait_for_url("**/lots/AL-1-A/divide")
    with House.open(server.folder) as house:
        whole = house.store.lots.get("AL-1")
        parts = [house.store.lots.get(f"AL-1-{letter}") for letter in "AB"]
    assert sum(part.green_mass.mg for part in parts) == whole.green_mass.mg
    phone.locator("label", has_text="AL-1-B").tap()
    phone.get_by_role("button", name="Merge").tap()
    phone.wait_for_url("**/lots/AL-1-C/divide")
    expect(phone.locator(".place")).to_contain_text("AL-1-C hangs in")
    width = phone.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    assert width == 0
