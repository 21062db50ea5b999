"""What every answer carries and every request must show, before any page runs.

The content policy allows our own files only: no inline script or style, no
evaluation, nothing from outside, no framing. Host and Origin are checked, and
a body larger than its limit is refused before it is read.
"""

from __future__ import annotations

import secrets
from collections.abc import Collection

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from saltloft.foundation.words import say

CONTENT_POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self' data:",
        "font-src 'self'",
        "connect-src 'self'",
        "worker-src 'self'",
        "manifest-src 'self'",
        "form-action 'self'",
        "base-uri 'none'",
        "frame-ancestors 'none'",
    )
)
HEADERS = {
    "Content-Security-Policy": CONTENT_POLICY,
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=(), payment=()",
}
READING = frozenset({"GET", "HEAD", "OPTIONS"})
LARGEST_BODY = 256 * 1024
# Where a file is handed in. A larger one goes in by `saltloft import` on the house's computer.
UPLOADS = {"/rooms/import": 16 * 1024 * 1024, "/api/v1/readings": 16 * 1024 * 1024}
# Said under a name of its own only: on 'localhost' or an address it would bind every other port and
# device there too. Short, so that a house that makes its authority anew is reached again within a month.
STRICT_TRANSPORT = "max-age=2592000"


class Guard:
    """ASGI middleware: host, origin and size of a request; headers of its answer.

    Args:
        app: ASGIApp.
        hosts: collection of str. Names under which this house answers, with or without port.
        largest_body: int. [bytes]
    """

    def __init__(self, app: ASGIApp, hosts: Collection[str], largest_body: int = LARGEST_BODY) -> None:
        self.app = app
        self.hosts = frozenset(hosts)
        self.largest_body = largest_body

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let one request through, or answer it here with 400, 403 or 413."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        scope.setdefault("state", {})["request_id"] = secrets.token_hex(6)

        asked = Headers(scope=scope)
        strict = scope["scheme"] == "https" and _own_name(asked.get("host", ""))

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers.setdefault(name, value)
                headers.setdefault("Cache-Control", "no-store")
                if strict:
                    headers["Strict-Transport-Security"] = STRICT_TRANSPORT
                headers["X-Request-Id"] = scope["state"]["request_id"]
            await send(message)

        largest = self._largest(scope)
        refusal = self._refusal(scope, asked, largest)
        if refusal is not None:
            await refusal(scope, receive, send_with_headers)
            return
        await self.app(scope, self._measured(receive, largest), send_with_headers)

    def _largest(self, scope: Scope) -> int:
        """The largest body one address takes. [bytes]"""
        return max(self.largest_body, UPLOADS.get(scope["path"], 0))

    def _refusal(self, scope: Scope, headers: Headers, largest: int) -> PlainTextResponse | None:
        host = headers.get("host", "").lower()
        # A foreign name that leads here (DNS rebinding) is nobody's way in.
        if host not in self.hosts and host.rsplit(":", 1)[0] not in self.hosts:
            return PlainTextResponse(say("This house does not answer under that name."), 400)
        if scope["method"] not in READING and not _same_origin(headers, scope["scheme"], host):
            return PlainTextResponse(say("That request did not come from a page of this house."), 403)
        length = headers.get("content-length", "0")
        if not length.isdigit() or int(length) > largest:
            return PlainTextResponse(
                say("That is larger than {limit} kB; nothing was read.", limit=largest // 1024), 413
            )
        return None

    def _measured(self, receive: Receive, largest: int) -> Receive:
        """A body sent without a length is cut off at the same limit."""
        seen = 0

        async def counted() -> Message:
            nonlocal seen
            message = await receive()
            seen += len(message.get("body", b""))
            return {"type": "http.disconnect"} if seen > largest else message

        return counted


def _own_name(host: str) -> bool:
    """True for a name of this house's computer, not for an address, nor for 'localhost'."""
    name = host.rsplit(":", 1)[0].lower() if not host.endswith("]") else host
    return (
        bool(name)
        and name != "localhost"
        and not name.startswith("[")
        and not name.replace(".", "").isdigit()
    )


def _same_origin(headers: Headers, scheme: str, host: str) -> bool:
    """True when a writing request comes from one of our own pages, or from no browser at all."""
    origin = headers.get("origin")
    if origin is not None:
        return origin.lower() == f"{scheme}://{host}"
    return headers.get("sec-fetch-site", "same-origin") in ("same-origin", "none")
