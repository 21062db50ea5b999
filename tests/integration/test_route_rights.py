"""Every route x role: the table of rights against the routes there are and the answers they give."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest
from fastapi.testclient import TestClient
from tests import small_house
from tests.web_client import URL, client_of

from saltloft.house import House
from saltloft.jobs import people
from saltloft.plant.people import ROLES, PersonAdded
from saltloft.web import route_rights
from saltloft.web.app import create_app
from saltloft.web.route_rights import NOBODY, ROUTES, TOKENS, VISITORS

BUILT_IN = ("GET /api/v1/openapi.json",)  # made by the web framework itself


def routes_of(house: House) -> set[str]:
    """Every 'METHOD /path' the application answers, as registered."""
    app = create_app(house)
    found = {
        f"{method} {route.path}"
        for router in app.state.routers
        for route in router.routes
        for method in route.methods - {"HEAD"}
    }
    # One entry each in the application: no route came in beside the listed routers.
    assert len(app.routes) == len(app.state.routers) + len(BUILT_IN)
    return found | set(BUILT_IN)


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Iterator[House]:
    made = small_house.make_house(tmp_path_factory.mktemp("rights") / "house")
    small_house.stored(made, *(PersonAdded(f"a-{role}", role) for role in ROLES))
    yield made
    made.close()


@pytest.fixture(scope="module")
def visitors(house: House) -> dict[str, tuple[TestClient, dict[str, str]]]:
    """A browser or program for each of VISITORS, with the headers it sends."""
    found: dict[str, tuple[TestClient, dict[str, str]]] = {NOBODY: (client_of(house), {})}
    for role in ROLES:
        client = client_of(house, f"a-{role}")
        # Without the device's token: the role alone is asked for.
        client.cookies.delete("saltloft_device")
        found[role] = (client, {})
    for token in TOKENS:
        scope = token.removeprefix("token:")
        secret = people.enrol_device(house, f"device-{scope}", scope, house.now())
        client = TestClient(create_app(house), base_url=URL, follow_redirects=False)
        found[token] = (client, {"authorization": f"Bearer {secret}"})
    return found


def test_every_route_has_a_row_and_every_row_a_route(house: House) -> None:
    assert routes_of(house) == set(ROUTES)


def test_a_route_without_a_row_is_not_there(house: House, monkeypatch: pytest.MonkeyPatch) -> None:
    """Forgetting the row shuts the route; it does not open it."""
    client = client_of(house, "a-quality")
    assert client.get("/rooms").status_code == 200
    monkeypatch.delitem(ROUTES, "GET /rooms")
    route_rights._patterns.cache_clear()
    try:
        assert client.get("/rooms").status_code == 404
    finally:
        monkeypatch.undo()
        route_rights._patterns.cache_clear()


@pytest.mark.parametrize("visitor", VISITORS)
def test_each_visitor_gets_in_where_the_table_says_and_nowhere_else(
    visitors: dict[str, tuple[TestClient, dict[str, str]]], visitor: str
) -> None:
    """Asked for over the wire; a refusal is known by its status and its words."""
    client, headers = visitors[visitor]
    for row, who in ROUTES.items():
        if row == "POST /sign-out":
            continue
        method, _, path = row.partition(" ")
        answer = client.request(method, re.sub(r"\{\w+\}", "nothing-here", path), headers=headers)
        if answer.status_code == 303 and path == "/":
            continue  # each person's first page, or where to sign in
        to_sign_in = answer.status_code == 401 or answer.headers.get("location") == "/sign-in"
        other_role = answer.status_code == 403 and "belongs to another role" in answer.text
        assert (to_sign_in or other_role) == (visitor not in who), (row, visitor, answer.status_code)
        assert answer.status_code < 500, (row, visitor)


def test_an_auditor_sees_what_a_reader_sees_and_changes_nothing() -> None:
    """Design 10: read-only. What an auditor may send is their own session, and entries that are refused."""
    changing = {
        row for row, who in ROUTES.items() if "auditor" in who and "GET " not in row and NOBODY not in who
    }
    assert changing == {"POST /api/v1/entries", "POST /me/pin", "POST /sign-out"}
    seen = {
        row
        for row, who in ROUTES.items()
        if row.startswith("GET ") and "quality" in who and NOBODY not in who
    }
    hidden = {row for row in seen if "auditor" not in ROUTES[row]}
    # Forms for entering only; every page that shows something is open.
    assert hidden == {
        "GET /api/v1/scale/{scale}", "GET /cant", "GET /enter/press", "GET /enter/{sort}",
        "GET /entries/{entry_id}/correct", "GET /lots/{lot}/divide", "GET /lots/{lot}/release",
        "GET /make", "GET /next", "GET /receive", "GET /record", "GET /rooms/import", "GET /scan",
        "GET /type/{sort}",
    }  # fmt: skip
