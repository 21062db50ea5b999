"""Browsers for the tests of the web application in process."""

from __future__ import annotations

from typing import Any

from fastapi.testclient import TestClient

from saltloft.house import House
from saltloft.jobs import people
from saltloft.web.app import create_app

URL = "http://127.0.0.1:8765"
NUMBERS = iter(range(1, 10_000))


def client_of(house: House, person: str = "") -> TestClient:
    """A browser of its own; signed in when a person is named."""
    client = TestClient(create_app(house), base_url=URL, follow_redirects=False)
    if person:
        code = people.make_link(house, person, house.now())
        answer = client.post(f"/sign-in/{code}", data={"device": "phone"})
        assert answer.status_code == 303, answer.text
    return client


def entry(number: str = "1.01", **more: Any) -> dict[str, Any]:
    payload = {"lot": "AL-0310", "mass": {"number": number, "unit": "kg"}, "instrument": "S1", "tag": "14"}
    return {
        "id": f"01990000-0000-7000-8000-{next(NUMBERS):012d}",
        "kind": "piece.weighed/1",
        "subject": "AL-0310",
        "happened_at": "2026-03-11T12:30:00+00:00",
        "payload": payload,
        **more,
    }


def send(client: TestClient, *entries: dict[str, Any], **headers: str) -> list[dict[str, Any]]:
    answer = client.post("/api/v1/entries", json={"entries": list(entries)}, headers=headers)
    assert answer.status_code == 200, answer.text
    return list(answer.json()["entries"])
