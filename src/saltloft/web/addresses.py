"""Addresses of the house as a phone reaches it, and as a QR that its camera reads."""

from __future__ import annotations

import io

import segno
from fastapi import Request
from markupsafe import Markup

LOCAL_HOSTS = ("127.0.0.1", "localhost", "[::1]")


def outside_address(request: Request, path: str = "/") -> str:
    """An address of this house that other devices can open.

    Args:
        request: Request.
        path: str. Begins with '/'.

    Returns:
        str. Under the name asked for; when that is this machine's own, under the first name on the network.
    """
    host = request.url.hostname or ""
    bracketed = f"[{host}]" if ":" in host else host
    if bracketed in LOCAL_HOSTS:
        names = [name for name in request.app.state.hosts if name not in LOCAL_HOSTS]
        bracketed = names[0] if names else bracketed
    port = f":{request.url.port}" if request.url.port else ""
    return f"{request.url.scheme}://{bracketed}{port}{path}"


def reaches_phones(request: Request) -> bool:
    """True when the house answers under a name that other devices know."""
    return any(name not in LOCAL_HOSTS for name in request.app.state.hosts)


def qr_picture(text: str, words: str) -> Markup:
    """A QR as a picture within the page (ISO/IEC 18004, error correction M).

    Args:
        text: str. What the camera reads.
        words: str. Said to whoever does not see it.
    """
    out = io.BytesIO()
    segno.make(text, error="m", micro=False).save(
        out,
        kind="svg",
        xmldecl=False,
        svgns=True,
        border=4,
        light="#fff",
        dark="#000",
        omitsize=True,
        title=words,
    )
    return Markup(out.getvalue().decode()).replace("<svg ", Markup('<svg class="qr" role="img" '), 1)
