"""Weighing on a phone: quickly, with a comma, wrongly, and without the page's script."""

from __future__ import annotations

from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.e2e import plant
from tests.e2e.harness import PHONE, Server, press, sign_in

pytestmark = pytest.mark.browser


def _open(page: Page, server: Server, lot: str = plant.CURING, sort: str = "weigh") -> None:
    page.goto(f"{server.url}/enter/{sort}?lot={lot}")


def test_a_piece_is_weighed_with_the_number_pad(phone: Page, server: Server, folder: Path) -> None:
    """Six taps: four keys, the comma, Done; the page says what was stored and goes to the next piece."""
    before = plant.weighings_of(folder)
    _open(phone, server)
    expect(phone.locator("h1:visible")).to_contain_text("AL-1 · 3")
    press(phone, "0.857")
    phone.get_by_role("button", name="Done").tap()
    expect(phone.locator(".told:visible .stored")).to_contain_text("fits")
    expect(phone.locator("h1:visible")).to_contain_text("AL-1 · 7")
    assert plant.weighings_of(folder) == [*before, "0.857"]


def test_every_target_is_as_large_as_a_glove(phone: Page, server: Server) -> None:
    """trade.md 7.2: at least 15 mm; look.md: 56 px or more on the floor pages."""
    for path in (
        "/next",
        f"/enter/weigh?lot={plant.CURING}",
        f"/enter/ph?lot={plant.SLICING}",
        f"/enter/press?lot={plant.CURING}",
        "/cant",
    ):
        phone.goto(server.url + path)
        sizes = phone.locator(
            "main button:visible, main .chips span:visible, main a.button:visible"
        ).evaluate_all("found => found.map(one => [one.textContent, one.getBoundingClientRect().height])")
        assert sizes
        assert [own for own in sizes if own[1] < 55.9] == [], path


def test_the_whole_entry_fits_on_one_screen(phone: Page, server: Server) -> None:
    """Nothing has to be scrolled between the first key and Done."""
    for path in (
        f"/enter/weigh?lot={plant.CURING}",
        f"/enter/ph?lot={plant.SLICING}",
        f"/enter/press?lot={plant.CURING}",
        "/next",
    ):
        phone.goto(server.url + path)
        box = phone.get_by_role("button", name="Done").bounding_box()
        assert box is not None
        assert box["y"] + box["height"] <= 844, path


def test_a_piece_is_pressed_and_cut_by_taps(phone: Page, server: Server, folder: Path) -> None:
    """Nothing tapped is refused; six taps are one look, kept on the phone first and then taken."""
    from saltloft.house import House

    phone.goto(f"{server.url}/enter/press?lot={plant.CURING}")
    phone.get_by_role("button", name="Done").tap()
    expect(phone.locator(".told:visible .problem")).to_contain_text("cannot be nothing")
    for name, value in (("top", "3"), ("middle", "2"), ("bottom", "3"), ("rim", "2"), ("ring", "1")):
        phone.locator(f"form:visible input[name={name}][value='{value}']").check(force=True)
    phone.locator("form:visible select[name=colour]").select_option("grey_rim")
    phone.get_by_role("button", name="Done").tap()
    expect(phone.locator(".told:visible .stored")).to_contain_text("Recorded")
    with House.open(folder) as house:
        (cut,) = house.store.lots.get(plant.CURING).pressed_and_cut
    said = cut.payload
    assert (said.press, str(said.rim_mm), said.ring, said.hollow, said.colour, said.good) == (
        (3, 2, 3), "2", 1, -1, "grey_rim", -1,
    )  # fmt: skip
    assert phone.locator("form:visible input[name=top]:checked").count() == 0


def test_next_leads_from_job_to_job(phone: Page, server: Server) -> None:
    """One thing at a time: the pH first, then the pieces still to be weighed."""
    phone.goto(f"{server.url}/next")
    expect(phone.locator("h1:visible")).to_contain_text(plant.SLICING)
    for value in ("5.51", "5.53", "5.50"):
        press(phone, value)
        phone.get_by_role("button", name="One more piece").tap()
    press(phone, "5.54")
    phone.get_by_role("button", name="Done").tap()
    expect(phone.locator("h1:visible")).to_contain_text(plant.CURING)
    expect(phone.locator(".told:visible")).to_contain_text("Recorded")


@pytest.mark.parametrize(("typed", "told"), [("0,851", "fits"), ("0.851", "fits")])
def test_comma_and_point_are_both_decimal_marks(phone: Page, server: Server, typed: str, told: str) -> None:
    _open(phone, server)
    phone.locator(".reading input:visible").fill(typed)
    phone.get_by_role("button", name="Done").tap()
    expect(phone.locator(".told:visible .stored")).to_contain_text(told)


def test_a_slip_of_the_decimal_mark_is_asked_about(phone: Page, server: Server, folder: Path) -> None:
    """10.4 kg after 1.04: nothing is stored until the person keeps or mends it."""
    before = plant.weighings_of(folder)
    phone.goto(f"{server.url}/enter/weigh?lot={plant.CURING}&tag=41")
    expect(phone.locator("h1:visible")).to_contain_text("AL-1 · 41")
    press(phone, "8.57")
    phone.get_by_role("button", name="Done").tap()
    expect(phone.locator(".told:visible .ask")).to_contain_text("8.57? The last was")
    assert plant.weighings_of(folder) == before
    phone.get_by_role("button", name="Mend").tap()
    expect(phone.locator(".reading input:visible")).to_have_value("8.57")
    phone.get_by_role("button", name="Done").tap()
    phone.get_by_role("button", name="Keep").tap()
    expect(phone.locator(".told:visible .stored")).to_be_visible()
    assert plant.weighings_of(folder) == [*before, "8.57"]


@pytest.mark.parametrize(
    ("sort", "typed"), [("weigh", "abc"), ("weigh", "1.2.3"), ("ph", "five"), ("weigh", "-1")]
)
def test_what_is_no_number_stays_in_the_field(phone: Page, server: Server, sort: str, typed: str) -> None:
    _open(phone, server, plant.CURING, sort)
    phone.locator(".reading input:visible").fill(typed)
    phone.get_by_role("button", name="Done").tap()
    expect(phone.locator(".told:visible .problem")).to_contain_text(typed)
    expect(phone.locator(".reading input:visible")).to_have_value(typed)


def test_an_impossible_ph_is_refused_with_what_is_allowed(phone: Page, server: Server) -> None:
    """pH 55 is asked about, and kept only in the field: no meter shows it."""
    _open(phone, server, plant.SLICING, "ph")
    press(phone, "55")
    phone.get_by_role("button", name="Done").tap()
    phone.get_by_role("button", name="Keep").tap()
    expect(phone.locator(".told:visible .problem")).to_contain_text("2 to 10")
    expect(phone.locator(".reading input:visible")).to_have_value("55")


def test_without_script_the_same_form_is_sent_to_the_server(
    browser: Browser, server: Server, folder: Path
) -> None:
    """A browser that runs no script: refused with what was typed kept, asked about, then stored."""
    before = plant.weighings_of(folder)
    context = browser.new_context(**PHONE, java_script_enabled=False)
    page = context.new_page()
    sign_in(page, server.url, folder, "besnik")
    _open(page, server)
    page.locator("input[name=number]:visible").fill("8,4x")
    page.get_by_role("button", name="Done").click()
    expect(page.locator(".problem")).to_contain_text("8,4x")
    expect(page.locator("input[name=number]:visible")).to_have_value("8,4x")
    page.locator("input[name=number]:visible").fill("8,43")
    page.get_by_role("button", name="Done").click()
    expect(page.locator(".ask")).to_contain_text("The last was")
    page.locator("input[name=number]:visible").fill("0,849")
    page.get_by_role("button", name="Done").click()
    expect(page.locator(".stored")).to_be_visible()
    assert plant.weighings_of(folder) == [*before, "0,849"]
    context.close()
