"""`saltloft serve`: the pages and the worker, two processes side by side.

The web application is named as text only: the command line never imports the
web framework, and the web process never loads the drying kernel.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from types import FrameType
from typing import TYPE_CHECKING, Annotated

import typer

from saltloft.cli.opening import house_folder, open_house
from saltloft.foundation.errors import InputError
from saltloft.foundation.words import say

if TYPE_CHECKING:
    from saltloft.jobs.serving import Secured

WEB_APP = "saltloft.web.app:from_environment"
WORKER = "saltloft.cli.worker"
EVERYWHERE = "0.0.0.0"  # asked for by --lan, behind HTTPS
LOCAL = ("127.0.0.1", "localhost", "::1")
PAUSE_S = 0.25
# An item cut off is taken again, so the worker need not finish it.
STOP_S = 3.0


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command(name="serve", help="Open the house's pages to a browser, and start the worker.")(serve)


def serve(
    house: Annotated[Path | None, typer.Option(help="Folder of the house.")] = None,
    address: Annotated[str, typer.Option(help="Address to listen on; the house's setting without.")] = "",
    lan: Annotated[
        bool, typer.Option("--lan", help="Answer phones and desks on the house's network, by HTTPS.")
    ] = False,
    port: Annotated[
        int, typer.Option(min=0, max=65535, help="Port to listen on; the house's setting without.")
    ] = 0,
) -> None:
    """Run until stopped; a worker that dies is started again, a web process that dies ends it all."""
    # Only the settings are read here: the two processes open the house, and the pages answer at once.
    from saltloft.jobs.serving import where

    folder = house_folder(house)
    if folder is None:
        with open_house(house):
            raise typer.Exit(2)
    folder = folder.resolve()
    found = where(folder, os.environ)
    port = port or found.port
    address = address or (EVERYWHERE if lan and found.address in LOCAL else found.address)
    if lan:
        raise typer.Exit(run(folder, address, port, secured=_secured(folder, port)))
    if address not in LOCAL:
        _plain(address, allowed=found.allow_plain_http)
    print(say("Pages: http://{address}:{port}/ (Ctrl+C stops)", address=address, port=port), flush=True)
    raise typer.Exit(run(folder, address, port))


def _secured(folder: Path, port: int) -> Secured:
    """The certificates of the house, with words of where it answers and whom to trust."""
    from saltloft.jobs.serving import secure

    found = secure(folder, os.environ, datetime.now(UTC))
    for name in found.names:
        print(say("Pages: https://{address}:{port}/", address=_in_address(name), port=port))
    print(say("A phone trusts this house once: open /trust on it, and compare"))
    print(found.fingerprint)
    print(say("(Ctrl+C stops)"), flush=True)
    return found


def _plain(address: str, *, allowed: bool) -> None:
    """Without HTTPS nobody but this machine is answered, unless the house says so and knows what is lost."""
    if not allowed:
        raise InputError(
            "others on the network would read everything without HTTPS",
            got=address,
            allowed=", ".join(LOCAL),
            do="use 'saltloft serve --lan', keep to this machine, or set allow_plain_http = true in "
            "house.toml and accept that names, PINs and sessions cross the network in the clear",
            key="address",
        )
    print(
        say(
            "Without HTTPS: whoever is on this network can read names, PINs and sessions and enter in "
            "another's name; phones keep no pages for use without Wi-Fi. 'saltloft serve --lan' ends that."
        ),
        file=sys.stderr,
        flush=True,
    )


@dataclass
class Pair:
    """The two processes.

    Args:
        web: Popen.
        worker: Popen.
    """

    web: subprocess.Popen[bytes]
    worker: subprocess.Popen[bytes]


def run(folder: Path, address: str, port: int, secured: Secured | None = None) -> int:
    """Start both and look after them; returns the exit code.

    Args:
        folder: Path. Of the house.
        address: str.
        port: int.
        secured: Secured or None. None: plain http.
    """
    names = tuple(_in_address(name) for name in secured.names) if secured else hosts(address)
    environment = {**os.environ, "SALTLOFT_HOUSE": str(folder), "SALTLOFT_HOSTS": ",".join(names)}
    commands = (web_command(address, port, secured), [sys.executable, "-m", WORKER])
    stopping = False

    def stop(_signal: int, _frame: FrameType | None) -> None:
        nonlocal stopping
        stopping = True

    signal.signal(signal.SIGTERM, stop)
    signal.signal(signal.SIGINT, stop)
    pair = Pair(*(_start(command, environment) for command in commands))
    while not stopping and pair.web.poll() is None:
        if pair.worker.poll() is not None:
            print(say("The worker stopped and is started again."), file=sys.stderr, flush=True)
            time.sleep(1.0)
            pair.worker = _start(commands[1], environment)
        time.sleep(PAUSE_S)
    _stop((pair.worker, pair.web))
    return 0 if stopping else 1


def hosts(address: str) -> tuple[str, ...]:
    """Names under which the pages answer."""
    names = ("127.0.0.1", "localhost", "[::1]")
    return names if address in LOCAL else (*names, address)


def _in_address(name: str) -> str:
    """A name as it stands in an address: IPv6 in brackets."""
    return f"[{name}]" if ":" in name else name


def web_command(address: str, port: int, secured: Secured | None = None) -> list[str]:
    """How the web process is started."""
    keys = ["--ssl-certfile", str(secured.certificate), "--ssl-keyfile", str(secured.key)] if secured else []
    return [
        sys.executable, "-m", "uvicorn", "--factory", WEB_APP, "--host", address, "--port", str(port),
        "--no-server-header", "--log-level", "warning", "--timeout-graceful-shutdown", "3", *keys,
    ]  # fmt: skip


def _start(command: Sequence[str], environment: dict[str, str]) -> subprocess.Popen[bytes]:
    # A group of its own: Ctrl+C reaches the parent only, which then ends both in order.
    return subprocess.Popen(command, env=environment, start_new_session=True)


def _stop(processes: Sequence[subprocess.Popen[bytes]]) -> None:
    for process in processes:
        if process.poll() is None:
            process.terminate()
    end = time.monotonic() + STOP_S
    for process in processes:
        try:
            process.wait(max(end - time.monotonic(), 0.1))
        except subprocess.TimeoutExpired:
            process.kill()
