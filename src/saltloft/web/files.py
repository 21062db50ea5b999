"""Our own style sheets and scripts, served from memory under a name that changes with their content."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from importlib.resources import files

from fastapi import APIRouter, HTTPException, Request
from fastapi.responses import JSONResponse, Response

MEDIA_TYPES = {".css": "text/css", ".js": "text/javascript", ".svg": "image/svg+xml", ".png": "image/png"}
SHELL_PAGE = "/offline"


@dataclass(frozen=True)
class StaticFile:
    """One file as served.

    Args:
        name: str.
        body: bytes.
        media_type: str.
        version: str. First 10 digits of its SHA-256.
    """

    name: str
    body: bytes
    media_type: str
    version: str

    @property
    def address(self) -> str:
        """Where pages point to; the version makes it cacheable for ever."""
        return f"/static/{self.name}?v={self.version}"


def load_static() -> dict[str, StaticFile]:
    """Every file of web/static by name."""
    found = {}
    for entry in (files("saltloft.web") / "static").iterdir():
        suffix = "." + entry.name.rsplit(".", 1)[-1]
        if suffix in MEDIA_TYPES:
            body = entry.read_bytes()
            digest = hashlib.sha256(body).hexdigest()[:10]
            found[entry.name] = StaticFile(entry.name, body, MEDIA_TYPES[suffix], digest)
    return found


def router(static: dict[str, StaticFile], shell_version: str) -> APIRouter:
    """Routes for the static files, the service worker and the manifest.

    Args:
        static: dict of str to StaticFile.
        shell_version: str. Changes when the templates of the kept pages change.
    """
    routes = APIRouter()

    @routes.get("/static/{name}", include_in_schema=False)
    def one_file(name: str, v: str = "") -> Response:
        file = static.get(name)
        if file is None:
            raise HTTPException(404)
        age = "public, max-age=31536000, immutable" if v == file.version else "no-cache"
        return Response(file.body, media_type=file.media_type, headers={"Cache-Control": age})

    @routes.get("/sw.js", include_in_schema=False)
    def service_worker() -> Response:
        kept = {
            "version": hashlib.sha256(
                "".join(sorted(f.version for f in static.values())).encode()
            ).hexdigest()[:10]
            + shell_version,
            "files": [SHELL_PAGE, *sorted(file.address for file in static.values() if file.name != "sw.js")],
        }
        head = f"self.SALTLOFT = {json.dumps(kept)};\n".encode()
        return Response(
            head + static["sw.js"].body, media_type="text/javascript", headers={"Cache-Control": "no-cache"}
        )

    @routes.get("/manifest.webmanifest", include_in_schema=False)
    def manifest(request: Request) -> Response:
        return JSONResponse(
            {
                "name": request.app.state.house_name,
                "short_name": "Saltloft",
                "start_url": "/",
                "display": "standalone",
                "background_color": "#fbfaf6",
                "theme_color": "#fbfaf6",
                "icons": [{"src": static["mark.svg"].address, "sizes": "any", "type": "image/svg+xml"}],
            },
            media_type="application/manifest+json",
        )

    return routes
