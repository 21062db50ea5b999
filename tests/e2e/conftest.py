"""One small house and one running server for all browser tests of a file."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, Playwright, sync_playwright

from tests.e2e import plant
from tests.e2e.harness import CHROMIUM, FLAGS, PHONE, Server, free_port, sign_in


@pytest.fixture(scope="session")
def playwright() -> Iterator[Playwright]:
    with sync_playwright() as running:
        yield running


@pytest.fixture(scope="session")
def browser(playwright: Playwright) -> Iterator[Browser]:
    launched = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
    yield launched
    launched.close()


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    folder = plant.build(tmp_path_factory.mktemp("house") / "linnet")
    running = Server(folder, free_port()).start()
    yield running
    running.stop()


@pytest.fixture
def phone(browser: Browser, server: Server) -> Iterator[Page]:
    """Besnik's phone, signed in."""
    context = browser.new_context(**PHONE)
    context.set_default_timeout(10_000)
    page = context.new_page()
    sign_in(page, server.url, server.folder, "besnik")
    yield page
    context.close()


@pytest.fixture
def folder(server: Server) -> Path:
    return server.folder
