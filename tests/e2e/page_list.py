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
    "/outbox",
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
    "/docs",
    "/today?print=1",
    "/facts",
    f"/facts?lot={CURING}",
)
NOBODY = ("/sign-in", "/sign-in/unknown-code", "/offline")
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
    }
    | {"/lots/yields.csv", "/paper.css"}
)
