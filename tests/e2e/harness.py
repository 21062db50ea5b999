"""A real server in a process of its own, a relay that can lose answers, and a real Chromium."""

from __future__ import annotations

import http.client
import os
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

from playwright.sync_api import BrowserContext, Page, Playwright

from tests.e2e import plant

CHROMIUM = os.environ.get("SALTLOFT_BROWSER", "/usr/bin/chromium")
FLAGS = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
]  # fmt: skip
PHONE: dict[str, Any] = {"viewport": {"width": 390, "height": 844}, "is_mobile": True, "has_touch": True}
DESK: dict[str, Any] = {"viewport": {"width": 1280, "height": 900}}


def free_port() -> int:
    """A port nobody listens on just now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


class Server:
    """`saltloft serve` of one house, as a user starts it.

    Args:
        folder: Path. Of the house.
        port: int.
        environment: dict. Added to the process's own.
    """

    def __init__(self, folder: Path, port: int, environment: dict[str, str] | None = None) -> None:
        self.folder, self.port = folder, port
        self.environment = {**os.environ, **(environment or {})}
        self.process: subprocess.Popen[bytes] | None = None

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def start(self) -> Server:
        command = [str(Path(sys.executable).parent / "saltloft"), "serve", "--house", str(self.folder)]
        self.process = subprocess.Popen(
            [*command, "--port", str(self.port)], env=self.environment, start_new_session=True
        )
        self._wait()
        return self

    def _wait(self) -> None:
        end = time.monotonic() + 30.0
        while time.monotonic() < end:
            assert self.process is not None
            assert self.process.poll() is None, "the server ended by itself"
            try:
                if self.get("/health")[0] == 200:
                    return
            except OSError:
                time.sleep(0.1)
        raise AssertionError("the server did not answer")

    def get(self, path: str) -> tuple[int, str]:
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=10)
        try:
            connection.request("GET", path)
            answer = connection.getresponse()
            return answer.status, answer.read().decode()
        finally:
            connection.close()

    def stop(self) -> None:
        if self.process is not None and self.process.poll() is None:
            self.process.terminate()
            self.process.wait(15)

    def kill_web(self) -> None:
        """kill -9 of the web process; `serve` then ends too."""
        assert self.process is not None
        children = Path(f"/proc/{self.process.pid}/task/{self.process.pid}/children").read_text().split()
        for child in children:
            if b"uvicorn" in Path(f"/proc/{child}/cmdline").read_bytes():
                os.kill(int(child), signal.SIGKILL)
        self.process.wait(15)


class Relay:
    """Stands between browser and server, so that an answer can be lost on the way.

    Args:
        upstream: int. The server's port.
    """

    def __init__(self, upstream: int) -> None:
        self.upstream = upstream
        # Called with the server's answer to an entry before the browser gets it; True loses it.
        self.lose: Callable[[bytes], bool] = lambda _: False
        relay = self

        class Handler(BaseHTTPRequestHandler):
            protocol_version = "HTTP/1.1"

            def _forward(self) -> None:
                body = self.rfile.read(int(self.headers.get("content-length", "0")))
                connection = http.client.HTTPConnection("127.0.0.1", relay.upstream, timeout=20)
                try:
                    headers = {
                        name: value
                        for name, value in self.headers.items()
                        if name.lower() != "accept-encoding"
                    }
                    connection.request(self.command, self.path, body, headers)
                    answer = connection.getresponse()
                    content = answer.read()
                except OSError:
                    self.close_connection = True
                    return
                if self.path == "/api/v1/entries" and relay.lose(content):
                    self.close_connection = True
                    return
                self.send_response_only(answer.status)
                for name, value in answer.getheaders():
                    if name.lower() not in ("transfer-encoding", "content-length", "connection"):
                        self.send_header(name, value)
                self.send_header("content-length", str(len(content)))
                self.end_headers()
                self.wfile.write(content)

            do_GET = do_POST = _forward

            def log_message(self, *_: Any) -> None:
                return

        self.http = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.http.daemon_threads = True
        threading.Thread(target=self.http.serve_forever, daemon=True).start()

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.http.server_address[1]}"

    def stop(self) -> None:
        self.http.shutdown()
        self.http.server_close()


@contextmanager
def kept_phone(playwright: Playwright, folder: Path) -> Iterator[tuple[BrowserContext, Page]]:
    """A phone's browser with its own storage on disk; leaving it closes the browser for real."""
    context = playwright.chromium.launch_persistent_context(
        str(folder), executable_path=CHROMIUM, args=FLAGS, **PHONE
    )
    context.set_default_timeout(10_000)
    try:
        yield context, context.pages[0] if context.pages else context.new_page()
    finally:
        context.close()


def sign_in(page: Page, url: str, folder: Path, person: str) -> None:
    """Open a one-time link and use it."""
    page.goto(f"{url}/sign-in/{plant.link(folder, person)}")
    page.get_by_role("button").first.click()
    page.wait_for_load_state()


def watch_console(page: Page) -> list[str]:
    """Collects every console error and page error from now on."""
    found: list[str] = []
    page.on(
        "console",
        lambda message: found.append(message.text) if message.type in ("error", "warning") else None,
    )
    page.on("pageerror", lambda error: found.append(str(error)))
    return found


def press(page: Page, number: str) -> None:
    """Type a number on the page's own pad."""
    for digit in number:
        page.locator(f".pad:visible button[data-key='{digit}']").tap()
