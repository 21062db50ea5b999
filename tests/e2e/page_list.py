"""Every page by role; `test_pages` fails for a route that is missing here."""

from __future__ import annotations

from tests.e2e.plant import CURING, SLICING

FLOOR = (
    "/next",
    "/enter/weigh",
    f"/enter/weigh?lot={CURING}",
    f"/enter/ph?lot={SLICING}",
    f"/enter/press?lot={CURING}",
    f"/cant?sort=ph&lot={SLICING}",
    "/receive",
    "/make",
    "/make?product=alder",
    f"/lots/{CURING}/divide",
    "/outbox",
    "/scan",
    "/tares",
    "/sheets/weigh",
    "/sheets/ph",
    "/sheets/round",
    "/type/weigh",
    "/type/ph",
    "/switch",
    "/record",
    "/record?kind=lot.moved/1",
    "/me",
)
HOUSE = (
    "/today",
    "/rooms",
    "/rooms/import",
    "/lots",
    f"/lots/{CURING}",
    f"/lots/{CURING}?print=1",
    f"/lots/{SLICING}",
    "/lots/OK-1",
    "/lots/BR-1",
    f"/lots/{CURING}/release",
    "/trace",
    "/trace?q=L",
    f"/trace?node={CURING}&way=up",
    f"/trace?node={CURING}",
    "/trace/suspect",
    f"/trace/recall?of={CURING}",
    f"/trace/recall?of={CURING}&began=2026-01-01T00:00:00%2B00:00",
    "/trace/drills/RCL-1",
    "/docs",
    "/people",
    "/records",
    f"/records?q={CURING}&kind=piece.weighed",
    "/today?print=1",
    "/facts",
    f"/facts?lot={CURING}",
)
NOBODY = ("/sign-in", "/trust", "/enrol/unknown-code", "/sign-in/unknown-code", "/offline")
# Filled in by the test: one entry to correct.
CORRECTION = "/entries/{entry}/correct"
# Not pages for people to read.
NO_PAGES = frozenset(
    {
        "/",
        "/health",
        "/static/{name}",
        "/sw.js",
        "/manifest.webmanifest",
        "/today.pdf",
        "/lots/{lot}/dossier.pdf",
        "/trust/saltloft-house.crt",
        "/tags.pdf",
        "/trace/recall.pdf",
        "/trace/letters.pdf",
        "/trace/events.json",
        "/trace/drills/{drill}/record.pdf",
        # What a scanned tag asks for; each leads to a page.
        "/g/{number}",
        "/01/{gtin}",
        "/01/{gtin}/10/{lot}",
        "/01/{gtin}/10/{lot}/21/{serial}",
        "/8004/{asset}",
    }
    | {"/lots/yields.csv", "/paper.css"}
)
