"""The API against its own description, as each visitor: no fault of the program, no answer untold of."""

from __future__ import annotations

import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, given, settings
from schemathesis.checks import not_a_server_error
from schemathesis.generation import GenerationMode
from schemathesis.schemas import APIOperation
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)
from tests import small_house
from tests.web_client import client_of

from saltloft.house import House
from saltloft.jobs import people
from saltloft.plant.people import ROLES, PersonAdded
from saltloft.web.app import create_app
from saltloft.web.route_rights import NOBODY, VISITORS

CHECKS = [not_a_server_error, status_code_conformance, content_type_conformance, response_schema_conformance]
EXAMPLES, LONG_EXAMPLES = 3, 250


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> House:
    made = small_house.with_lot(tmp_path_factory.mktemp("api") / "house")
    small_house.stored(made, small_house.weighing("1.05", green=1))
    small_house.stored(made, *(PersonAdded(f"a-{role}", role) for role in ROLES))
    return made


def headers_of(house: House, visitor: str) -> dict[str, str]:
    """What a visitor sends with every request."""
    headers = {"Host": "127.0.0.1:8765"}
    if visitor in ROLES:
        headers["Cookie"] = f"saltloft_session={client_of(house, f'a-{visitor}').cookies['saltloft_session']}"
    elif visitor != NOBODY:
        scope = visitor.removeprefix("token:")
        token = people.enrol_device(house, f"device-{scope}", scope, house.now())
        headers["Authorization"] = f"Bearer {token}"
    return headers


def ask(operation: APIOperation, headers: dict[str, str], mode: GenerationMode, examples: int) -> int:
    """Ask one operation with made-up values, right or wrong ones; returns how often it was asked."""
    asked = 0

    @settings(
        max_examples=examples,
        deadline=None,
        database=None,
        derandomize=True,
        phases=[Phase.explicit, Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(case=operation.as_strategy(generation_mode=mode))
    def one(case: schemathesis.Case) -> None:
        nonlocal asked
        asked += 1
        case.call_and_validate(headers=headers, checks=CHECKS)

    one()
    return asked


def ask_everything(house: House, visitor: str, examples: int) -> int:
    headers = headers_of(house, visitor)
    schema = schemathesis.openapi.from_asgi("/api/v1/openapi.json", create_app(house), headers=headers)
    operations = [found.ok() for found in schema.get_all_operations()]
    assert len(operations) >= 7
    # Nothing can be wrong about an operation that takes nothing, or any text in its address.
    taking = [own for own in operations if own.body or own.query]
    right = sum(ask(own, headers, GenerationMode.POSITIVE, examples) for own in operations)
    return right + sum(ask(own, headers, GenerationMode.NEGATIVE, examples) for own in taking)


@pytest.mark.parametrize("visitor", VISITORS)
def test_each_visitor_gets_described_answers_only(house: House, visitor: str) -> None:
    assert ask_everything(house, visitor, EXAMPLES) > 7


@pytest.mark.long
@pytest.mark.parametrize("visitor", VISITORS)
def test_each_visitor_gets_described_answers_only_at_length(house: House, visitor: str) -> None:
    assert ask_everything(house, visitor, LONG_EXAMPLES) > 1000
