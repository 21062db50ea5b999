"""Every page: strict policy without a console error, no serious axe fault, nothing clipped when longer."""

from __future__ import annotations

import json
import re
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page

from saltloft.house import House
from saltloft.web.app import create_app
from tests.e2e import page_list, plant, pseudo
from tests.e2e.harness import DESK, PHONE, Server, free_port, sign_in, watch_console

pytestmark = pytest.mark.browser
AXE = Path(__file__).parents[2] / "node_modules" / "axe-core" / "axe.min.js"
CLIPPED = """() => {
  const found = [], root = document.documentElement;
  if (root.scrollWidth > root.clientWidth) found.push(['page', root.scrollWidth, root.clientWidth]);
  const text = 'h1, h2, h3, p, a, button, label, legend, span, td, th, dt, dd, summary, li, caption';
  for (const own of document.querySelectorAll(text)) {
    if (own.closest('.unseen, [hidden], .stack thead, .skip, svg') || !own.getClientRects().length) continue;
    const look = getComputedStyle(own);
    if (look.display === 'inline' || look.overflowX === 'auto' || look.clipPath !== 'none') continue;
    if (!own.clientWidth) continue;
    if (own.scrollWidth > own.clientWidth + 1)
      found.push([own.tagName, own.textContent.trim().slice(0, 60), own.scrollWidth, own.clientWidth]);
  }
  return found;
}"""
TEXTS = """() => {
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT), found = [];
  while (walker.nextNode()) {
    const node = walker.currentNode, own = node.parentElement;
    if (own.closest('script, style, code, template, [data-given]') || !own.getClientRects().length) continue;
    if (node.textContent.trim()) found.push(node.textContent.trim());
  }
  return found;
}"""


@pytest.fixture(scope="module")
def long_words(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """A house whose people read the lengthened language."""
    folder = plant.build(tmp_path_factory.mktemp("long") / "linnet", language=pseudo.LANGUAGE)
    catalogue = pseudo.write_catalogue(tmp_path_factory.mktemp("locale"))
    running = Server(folder, free_port(), {"SALTLOFT_LOCALE": str(catalogue)}).start()
    yield running
    running.stop()


def _worked(server: Server) -> None:
    """Wait until the worker has computed and drawn everything."""
    end = time.monotonic() + 90.0
    while time.monotonic() < end:
        state = json.loads(server.get("/health")[1])
        if not (state["queue"]["waiting"] or state["queue"]["running"] or state["behind"]):
            assert state["queue"]["failed"] == 0, state
            return
        time.sleep(0.3)
    raise AssertionError("the worker did not finish")


def _paths(server: Server, person: str) -> list[str]:
    if person == "besnik":
        return list(page_list.FLOOR)
    with House.open(server.folder) as house:
        entry = house.store.lots.get(plant.CURING).weighings[-1].entry_id
    return [*page_list.HOUSE, page_list.CORRECTION.format(entry=entry)]


def _faults(page: Page) -> list[str]:
    page.evaluate(AXE.read_text(encoding="utf-8"))
    found = page.evaluate("axe.run(document, {resultTypes: ['violations']})")
    return [
        f"{one['id']}: {node['target']} {node['failureSummary']}"
        for one in found["violations"]
        if one["impact"] in ("serious", "critical")
        for node in one["nodes"]
    ]


@pytest.mark.parametrize(("person", "size"), [("besnik", PHONE), ("maren", PHONE), ("ilo", DESK)])
def test_every_page_is_clean(browser: Browser, server: Server, person: str, size: dict[str, object]) -> None:
    """No console message, no request to anywhere else, no serious fault, nothing sideways."""
    _worked(server)
    context = browser.new_context(**size)
    page = context.new_page()
    told = watch_console(page)
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    sign_in(page, server.url, server.folder, person)
    for path in _paths(server, person):
        answer = page.goto(server.url + path)
        assert answer is not None
        assert answer.status == 200, path
        policy = answer.headers["content-security-policy"]
        assert "unsafe" not in policy
        assert "script-src 'self';" in policy
        assert _faults(page) == [], path
        assert page.evaluate(CLIPPED) == [], path
        assert told == [], (path, told)
    assert [url for url in asked if not url.startswith((server.url, "data:"))] == []
    context.close()


def test_pages_without_a_person_are_clean(browser: Browser, server: Server) -> None:
    """Signing in, a wrong link, and the page for no network."""
    context = browser.new_context(**PHONE)
    page = context.new_page()
    told = watch_console(page)
    for path in page_list.NOBODY:
        page.goto(server.url + path)
        assert (_faults(page), page.evaluate(CLIPPED), told) == ([], [], []), path
    context.close()


def test_the_checks_see_a_fault(browser: Browser, server: Server) -> None:
    """A nameless button, a script in the page and a word that runs out of its box are all found."""
    context = browser.new_context(**PHONE)
    page = context.new_page()
    told = watch_console(page)
    page.goto(f"{server.url}/offline")
    page.evaluate(
        """() => {
          document.querySelector('main').insertAdjacentHTML('beforeend', '<button></button>');
          const script = document.createElement('script');
          script.textContent = 'window.ran = true';
          document.body.append(script);
          document.querySelector('h1').textContent = 'x'.repeat(400);
          document.querySelector('h1').setAttribute('class', 'number');
        }"""
    )
    assert [fault for fault in _faults(page) if fault.startswith("button-name")]
    assert page.evaluate(CLIPPED) != []
    assert any("Content Security Policy" in words for words in told)
    assert page.evaluate("window.ran") is None
    context.close()


@pytest.mark.parametrize(("person", "size"), [("besnik", PHONE), ("ilo", PHONE), ("maren", DESK)])
def test_forty_per_cent_longer_words_are_not_clipped(
    browser: Browser, long_words: Server, person: str, size: dict[str, object]
) -> None:
    """Every page in a language 40 % longer: nothing runs out of its box, and nothing stays in English."""
    _worked(long_words)
    context = browser.new_context(**size)
    page = context.new_page()
    sign_in(page, long_words.url, long_words.folder, person)
    loose: dict[str, list[str]] = {}
    for path in _paths(long_words, person):
        page.goto(long_words.url + path)
        assert page.evaluate(CLIPPED) == [], path
        english = [text for text in page.evaluate(TEXTS) if _plain_english(text)]
        if english:
            loose[path] = english
    assert loose == {}, json.dumps(loose, indent=1, ensure_ascii=False)
    context.close()


# What a house typed, names and measures itself; and dates, which Babel writes.
GIVEN = re.compile(
    r"\b(Linnet Yard|Alder|Rowan|Oak|Bramble|alder|rowan|oak|bramble|Ilo|Maren|Besnik|Tamsin|Saltloft|"
    r"lean trim|backfat|curing salt|dextrose|ilo|maren|besnik|tamsin|administrator|console|desk|phone|round|"
    r"slope|meat|Mon|Tue|Wed|Thu|Fri|Sat|Sun|Jan|Feb|Mar|Apr|May|Jun|Jul|Aug|Sep|Oct|Nov|Dec)\b"
)
WORD = re.compile(r"[^\W\d_]{4,}")


def _plain_english(text: str) -> bool:
    """True for a text of our own that the lengthened language did not reach."""
    left = GIVEN.sub("", text)
    return (
        bool(WORD.search(left))
        and left.translate(pseudo.VOWELS) != left
        and not re.search("[áéíóúÁÉÍÓÚ]", left)
    )


def test_no_page_is_left_out(server: Server) -> None:
    """Every GET route of the application is in the list of pages, or named as none."""
    with House.open(server.folder) as house:
        routes = [route for router in create_app(house).state.routers for route in router.routes]
    known = [*page_list.FLOOR, *page_list.HOUSE, *page_list.NOBODY, page_list.CORRECTION]
    bare = {path.partition("?")[0] for path in known}
    patterns = {
        route.path
        for route in routes
        if "GET" in getattr(route, "methods", ()) and not route.path.startswith("/api/")
    } - page_list.NO_PAGES
    assert len(patterns) > 20
    missing = [path for path in patterns if not any(_fits(path, page) for page in bare)]
    assert missing == []


def _fits(pattern: str, path: str) -> bool:
    return re.fullmatch(re.sub(r"\{[^}]*\}", "[^/]+", pattern), path) is not None
