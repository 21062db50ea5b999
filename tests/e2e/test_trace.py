"""Trace in the browser: 500 things on a phone and a desk, and a drill from its first tap to its record."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest
from benchmarks.trace import fill, rows_of
from playwright.sync_api import Browser

from saltloft.house import House
from tests.e2e.harness import DESK, PHONE, Server, free_port, sign_in, watch_console
from tests.fennel_house import fennel_house

pytestmark = pytest.mark.browser
# How many boxes the shown picture has, and which of them meet or let words out.
BOXES = """() => {
  const shown = own => own.getBoundingClientRect().width > 0;
  const apart = (one, other) => one.left >= other.right - 1 || other.left >= one.right - 1
    || one.top >= other.bottom - 1 || other.top >= one.bottom - 1;
  const picture = [...document.querySelectorAll('svg.flow')].find(shown);
  const boxes = [...picture.querySelectorAll('a')].map(own => {
    const outlines = [...own.querySelectorAll('path.box:not([fill=none])')];
    return [outlines[outlines.length - 1].getBoundingClientRect(), own];
  });
  const wrong = [];
  boxes.forEach(([one, own], place) => {
    for (const [other] of boxes.slice(place + 1))
      if (!apart(one, other)) wrong.push(own.textContent);
    for (const text of own.querySelectorAll('text')) {
      const said = text.getBoundingClientRect();
      if (said.left < one.left || said.right > one.right) wrong.push(text.textContent);
    }
  });
  return [boxes.length, wrong, document.documentElement.scrollWidth - document.documentElement.clientWidth];
}"""


@pytest.fixture(scope="module")
def fennel(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """The fennel house with a second bag that went into hundreds of packs."""
    folder = tmp_path_factory.mktemp("house") / "fennel"
    with fennel_house(folder) as house:
        rows = rows_of(9_000, 1)
        known = {row["node"] for row in rows.nodes}
        rows.links = [link for link in rows.links if link["lot"] in known]
        fill(house.store, rows)
    running = Server(folder, free_port()).start()
    yield running
    running.stop()


@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_five_hundred_things_stay_readable(browser: Browser, fennel: Server, size: dict[str, object]) -> None:
    """Nothing overlaps, no word leaves its box, nothing scrolls sideways, no console message."""
    context = browser.new_context(**size)
    page = context.new_page()
    told = watch_console(page)
    sign_in(page, fennel.url, fennel.folder, "ilo")
    with House.open(fennel.folder) as house:
        assert len(house.store.trace.flow(["fennel-00001"]).nodes) > 450
    for node in ("fennel-00001", "FEN-118", "SHIP-0001&way=up"):
        page.goto(f"{fennel.url}/trace?node={node}")
        count, wrong, sideways = page.evaluate(BOXES)
        assert (wrong, sideways) == ([], 0), node
        assert 3 < count < 60
    assert told == []
    context.close()


def test_a_drill_from_the_first_tap_to_its_record(browser: Browser, fennel: Server) -> None:
    """Type the bag's number, start the clock, tick two customers, count one pack lot, record."""
    context = browser.new_context(**PHONE)
    context.set_default_timeout(10_000)
    page = context.new_page()
    told = watch_console(page)
    sign_in(page, fennel.url, fennel.folder, "ilo")
    page.goto(f"{fennel.url}/trace")
    page.fill("#q", "k-4471")
    page.click("text=Find")
    page.click("text=Recall from here")
    page.click("text=Start the clock")
    clock = page.locator("[data-clock]")
    before = clock.inner_text()
    page.wait_for_function("text => document.querySelector('[data-clock]').innerText !== text", arg=before)
    assert re.match(r"\d+:\d\d", clock.inner_text())
    page.check("[name='told.cus-01']")
    page.check("[name='told.cus-02']")
    page.fill("[name='count.PK-RO-0601']", "0")
    page.fill("#missed", "PK-RO-0601 was not where it should be")
    page.click("text=Stop the clock and record")
    page.wait_for_url("**/trace/drills/*")
    assert "2 of 31 customers told; 1 thing was missed" in page.inner_text("main")
    assert told == []
    with House.open(fennel.folder) as house:
        done = house.store.drills.all()[-1].payload
    assert done.told == ("cus-01", "cus-02")
    assert [(one.node, one.mass) for one in done.counted] == [("PK-RO-0601", None)]
    assert done.accounted_mg < done.finished_mg
    context.close()
