"""Who may ask for what: one row a route, enforced for every request before anything of it is read.

A route without a row is answered as if it were not there, and a test that
walks the application's routes names it. What a role may *state* is a matter of
`plant.rights`; this table says whose pages a page is among.
"""

from __future__ import annotations

import functools
import re

from fastapi import Request
from starlette.responses import Response

from saltloft.house import House
from saltloft.plant.people import ROLES
from saltloft.plant.rights import may
from saltloft.web import errors
from saltloft.web.visitor import standing

NOBODY = "nobody"
# What a token that is no person may do; see `jobs.people.SCOPES`.
ENTRIES, SCALE, READING, READINGS = "token:entries", "token:scale", "token:reading", "token:readings"
TOKENS = (ENTRIES, SCALE, READING, READINGS)
VISITORS = (*ROLES, NOBODY, *TOKENS)

Who = frozenset[str]
EVERYBODY: Who = frozenset(VISITORS)
SIGNED_IN: Who = frozenset(ROLES)
READERS: Who = SIGNED_IN - {"room_hand"}
FLOOR: Who = frozenset(role for role in ROLES if may(role, "piece.weighed"))
OFFICE: Who = FLOOR - {"room_hand"}
INVITING: Who = frozenset(role for role in ROLES if may(role, "person.added"))
SIGNING: Who = frozenset(role for role in ROLES if may(role, "lot.released"))
LIFTING: Who = frozenset(role for role in ROLES if may(role, "hold.lifted"))
CONFIRMING: Who = frozenset(role for role in ROLES if may(role, "fact.confirmed"))
DRILLING: Who = frozenset(role for role in ROLES if may(role, "recall.drilled"))
UNDOING: Who = frozenset(role for role in ROLES if may(role, "readings.voided"))

# Kept by address. A path in braces stands for one part between slashes.
ROUTES: dict[str, Who] = {
    "GET /": EVERYBODY,
    "GET /01/{gtin}": SIGNED_IN,
    "GET /01/{gtin}/10/{lot}": SIGNED_IN,
    "GET /01/{gtin}/10/{lot}/21/{serial}": SIGNED_IN,
    "GET /8004/{asset}": SIGNED_IN,
    "GET /api/v1/clock": EVERYBODY,
    "POST /api/v1/entries": FLOOR | {"auditor", ENTRIES},  # what an auditor sends is refused entry by entry
    "GET /api/v1/lots": READERS | {READING},
    "GET /api/v1/lots/{lot}": READERS | {READING},
    "GET /api/v1/openapi.json": EVERYBODY,
    "POST /api/v1/readings": frozenset({READINGS}),
    "GET /api/v1/scale/{scale}": FLOOR | {SCALE},
    "POST /api/v1/scale/{scale}": frozenset({SCALE}),
    "GET /api/v1/find": READERS | {READING},
    "GET /api/v1/recall": READERS | {READING},
    "GET /api/v1/today": READERS | {READING},
    "GET /api/v1/trace/{number}": READERS | {READING},
    "GET /cant": FLOOR,
    "POST /cant": FLOOR,
    "GET /docs": EVERYBODY,
    "GET /enter/press": FLOOR,
    "POST /enter/press": FLOOR,
    "POST /enter/ph": FLOOR,
    "POST /enter/weigh": FLOOR,
    "GET /enter/{sort}": FLOOR,
    "GET /enrol/{code}": EVERYBODY,
    "POST /enrol/{code}": EVERYBODY,
    "GET /entries/{entry_id}/correct": OFFICE,
    "POST /entries/{entry_id}/correct": OFFICE,
    "GET /facts": READERS,
    "POST /facts": CONFIRMING,
    "GET /g/{number}": SIGNED_IN,
    "GET /health": EVERYBODY,
    "GET /lots": READERS,
    "GET /lots/yields.csv": READERS,
    "GET /lots/{lot}": READERS,
    "GET /lots/{lot}/dossier.pdf": READERS,
    "GET /lots/{lot}/divide": FLOOR,
    "POST /lots/{lot}/hold": FLOOR,
    "POST /lots/{lot}/lift": LIFTING,
    "POST /lots/{lot}/merge": FLOOR,
    "POST /lots/{lot}/move": FLOOR,
    "GET /lots/{lot}/release": FLOOR,
    "POST /lots/{lot}/release": SIGNING,
    "POST /lots/{lot}/split": FLOOR,
    "GET /make": FLOOR,
    "POST /make": FLOOR,
    "GET /manifest.webmanifest": EVERYBODY,
    "GET /me": SIGNED_IN,
    "POST /me/link": INVITING,
    "POST /me/pin": SIGNED_IN,
    "GET /next": FLOOR,
    "GET /offline": EVERYBODY,
    "GET /outbox": EVERYBODY,
    "GET /paper.css": EVERYBODY,
    "GET /people": READERS,
    "POST /people": INVITING,
    "POST /people/device": INVITING,
    "POST /people/link": INVITING,
    "POST /people/pin": INVITING,
    "POST /people/revoke": INVITING,
    "POST /people/token": INVITING,
    "GET /receive": FLOOR,
    "POST /receive": FLOOR,
    "GET /record": FLOOR,
    "POST /record": FLOOR,
    "GET /records": READERS,
    "GET /rooms": READERS,
    "GET /rooms/import": OFFICE,
    "POST /rooms/import": OFFICE,
    "POST /rooms/import/undo": UNDOING,
    "GET /scan": FLOOR,
    "GET /sheets/{sort}": SIGNED_IN,
    "GET /sign-in": EVERYBODY,
    "POST /sign-in": EVERYBODY,
    "GET /sign-in/{token}": EVERYBODY,
    "POST /sign-in/{token}": EVERYBODY,
    "POST /sign-out": SIGNED_IN,
    "GET /static/{name}": EVERYBODY,
    "GET /sw.js": EVERYBODY,
    "GET /switch": EVERYBODY,
    "GET /tares": SIGNED_IN,
    "POST /tares": FLOOR,
    "GET /tags.pdf": SIGNED_IN,
    "GET /today": READERS,
    "GET /today.pdf": READERS,
    "GET /trace": READERS,
    "GET /trace/drills/{drill}": READERS,
    "GET /trace/drills/{drill}/record.pdf": READERS,
    "GET /trace/events.json": READERS,
    "GET /trace/letters.pdf": READERS,
    "GET /trace/recall": READERS,
    "POST /trace/recall": DRILLING,
    "GET /trace/recall.pdf": READERS,
    "GET /trace/suspect": READERS,
    "GET /trust": EVERYBODY,
    "GET /type/{sort}": FLOOR,
    "POST /type/{sort}": FLOOR,
    "GET /trust/saltloft-house.crt": EVERYBODY,
}


def row_of(method: str, path: str) -> Who | None:
    """Who may ask for an address by a method; None when no row speaks of the address at all.

    Args:
        method: str. 'GET', 'POST' and so on; HEAD counts as GET.
        path: str. As asked for, such as '/lots/AL-0310'.

    Returns:
        frozenset of str, of VISITORS. Everybody for a method no row names: the answer is then 405.
    """
    wanted = "GET" if method == "HEAD" else method
    known = False
    for own, pattern, who in _patterns():
        if pattern.fullmatch(path):
            known = True
            if own == wanted:
                return who
    return EVERYBODY if known else None


@functools.cache
def _patterns() -> tuple[tuple[str, re.Pattern[str], Who], ...]:
    """Rows as patterns, those without braces first, so that '/lots/yields.csv' is no lot."""
    rows = sorted(ROUTES.items(), key=lambda row: (row[0].count("{"), row[0]))
    return tuple((*_pattern(row), who) for row, who in rows)


def _pattern(row: str) -> tuple[str, re.Pattern[str]]:
    method, _, path = row.partition(" ")
    parts = re.split(r"\{\w+\}", path)
    return method, re.compile("[^/]+".join(re.escape(part) for part in parts))


def refusal(house: House, request: Request) -> Response | None:
    """The answer to a request that its sender may not make; None when it may go on.

    Notes:
        The one place where rights to routes are looked at; who asks is left in the request's state.
    """
    who = row_of(request.method, request.url.path)
    if who is None:
        return errors.not_here(request)
    comes_as = standing(house, request)
    if who & comes_as:
        return None
    # A device's cookie is no person: its pages ask who is there. A program's token is told no.
    known = NOBODY not in comes_as or "authorization" in request.headers
    return errors.other_role(request) if known and comes_as != {NOBODY} else errors.sign_in_first(request)
