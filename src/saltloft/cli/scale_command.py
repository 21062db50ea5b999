"""`saltloft scale`: hands on what a scale at a rack says over its serial line to the house's pages."""

from __future__ import annotations

import json
import os
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from saltloft.foundation.errors import InputError
from saltloft.foundation.words import say
from saltloft.plant.scale_lines import ScaleLine, read_line

if TYPE_CHECKING:
    import ssl

LONGEST_LINE = 200
WAIT_S = 5.0
# A scale may say the same ten times a second; the screen forgets what is older than ten seconds.
SAME_AGAIN_S = 2.0
TOKEN_VARIABLE = "SALTLOFT_SCALE_TOKEN"


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command(name="scale", help="Hand on what a scale says over its serial line.")(scale)


def scale(
    device: Annotated[str, typer.Argument(help="Serial line, such as /dev/ttyUSB0.")],
    instrument: Annotated[str, typer.Option(help="The scale's tag in the house, such as S2.")],
    url: Annotated[str, typer.Option(help="Address of the house's pages.")] = "http://127.0.0.1:8765",
    baud: Annotated[int, typer.Option(min=300, max=921600, help="Speed of the line.")] = 9600,
    token_file: Annotated[
        Path | None, typer.Option(help=f"File with the scale's token; without, {TOKEN_VARIABLE}.")
    ] = None,
    authority: Annotated[
        Path | None, typer.Option(help="Certificate of the house's authority, for https.")
    ] = None,
) -> None:
    """Run until stopped; a house that does not answer is asked again with the next line."""
    import ssl
    from urllib.parse import quote, urlsplit

    token = _token(token_file)
    if urlsplit(url).scheme not in ("http", "https"):
        raise InputError("this is no address of pages", got=url, allowed="http://… or https://…", key="url")
    where = f"{url.rstrip('/')}/api/v1/scale/{quote(instrument, safe='')}"
    context = ssl.create_default_context(cafile=str(authority)) if authority else None
    lost, last, told_at = False, None, 0.0
    for line in lines(device, baud):
        if line == last and time.monotonic() - told_at < SAME_AGAIN_S:
            continue
        last, told_at = line, time.monotonic()
        problem = tell(where, token, line, context)
        if problem and not lost:
            print(say("The house does not take it: {why}", why=problem), file=sys.stderr, flush=True)
        lost = bool(problem)


def lines(device: str, baud: int) -> Iterator[ScaleLine]:
    """What the scale says, line by line; lines that say nothing are left out.

    Raises:
        InputError: no pyserial, or the line cannot be opened.
    """
    try:
        import serial  # type: ignore[import-untyped]
    except ImportError as error:
        raise InputError(
            "reading a serial line needs pyserial", do="install it: pip install 'saltloft[serial]'"
        ) from error
    try:
        port = serial.Serial(device, baud, timeout=1.0)
    except (serial.SerialException, ValueError) as error:
        raise InputError("the serial line cannot be opened", got=str(error), key="device") from error
    with port:
        while True:
            try:
                raw = port.readline(LONGEST_LINE)
            except serial.SerialException as error:
                raise InputError("the scale's line is gone", got=str(error), do="plug it in again") from error
            found = read_line(raw.decode("ascii", "replace").strip()) if raw else None
            if found is not None:
                yield found


def tell(where: str, token: str, line: ScaleLine, context: ssl.SSLContext | None) -> str:
    """Hand one reading on; returns why it was not taken, or nothing.

    Args:
        where: str. Address of the scale in the house's API.
        token: str.
        line: ScaleLine.
        context: SSLContext or None. Whom to trust; None: the system's authorities.
    """
    import urllib.error
    import urllib.request

    body = json.dumps({"number": line.number, "unit": line.unit, "still": line.still}).encode()
    headers = {"Authorization": f"Bearer {token}", "Content-Type": "application/json"}
    request = urllib.request.Request(where, body, headers)
    try:
        with urllib.request.urlopen(request, timeout=WAIT_S, context=context):
            return ""
    except urllib.error.HTTPError as error:
        return f"{error.code} {error.read(300).decode('utf-8', 'replace')}"
    except OSError as error:
        return str(error)


def _token(file: Path | None) -> str:
    if file is not None:
        if file.stat().st_mode & 0o077:
            raise InputError(
                "the token's file can be read by others", got=str(file), do=f"run: chmod 600 {file.name}"
            )
        return file.read_text(encoding="ascii").strip()
    found = os.environ.get(TOKEN_VARIABLE, "").strip()
    if not found:
        raise InputError(
            "the scale needs its token",
            do=f"make one on the People page; name its file by --token-file or put it in {TOKEN_VARIABLE}",
            key="token",
        )
    return found
