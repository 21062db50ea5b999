"""Events against the JSON Schema that GS1 publishes with EPCIS 2.0 (tables/epcis)."""

from __future__ import annotations

import copy
import json
import re
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import jsonschema
import pytest
from tests.trace_cases import KG, fennel

from saltloft.plant.digital_link import trade_item
from saltloft.plant.epcis import Naming, document
from saltloft.plant.trace import Link, Node

SCHEMA = json.loads(
    (Path(__file__).parent / "tables/epcis/EPCISDocument.schema.json").read_text(encoding="utf-8")
)
FORMATS = jsonschema.FormatChecker()


@FORMATS.checks("uri")
def is_uri(text: object) -> bool:
    """A URI begins with a scheme and a colon and has no blanks (RFC 3986, section 3.1)."""
    return not isinstance(text, str) or re.fullmatch(r"[A-Za-z][A-Za-z0-9+.-]*:[^\s]+", text) is not None


def check(made: object) -> None:
    """Hold a document against the schema, formats included."""
    jsonschema.validate(made, SCHEMA, format_checker=FORMATS)


ZONE = ZoneInfo("Europe/Dublin")
CREATED = datetime(2026, 7, 22, 9, 0, tzinfo=UTC)
# Prefix 952 is GS1's own for demonstrations and examples (GS1 style guide, section 2.18).
NAMING = Naming("https://house.example", {"RO": trade_item("9521234", 12), "HA": trade_item("9521234", 13)})


def whole() -> dict[str, Any]:
    """The fennel recall's house with a split, a merge, slices and a return besides."""
    nodes, links = fennel()
    day = "2026-07-19T09:00:00.000Z"
    more = [
        Node("RO-0601-A", "lot", "RO", 450 * KG, day),
        Node("RO-0601-B", "lot", "RO", 300 * KG, day),
        Node("RO-0601-C", "lot", "RO", 750 * KG, day),
        Node("SL-1", "lot", "RO", 100 * KG, day, "", "sliced"),
        Node("RET-1", "pack", "RO", 2 * KG, day, "cus-01", "returned, held"),
        Node("CAS-7", "material", "casing", 0, day, "sup-02", "accepted"),
    ]
    links += [
        Link("RO-0601", "RO-0601-A", "split", 450 * KG, day, "", "e1"),
        Link("RO-0601", "RO-0601-B", "split", 300 * KG, day, "", "e1"),
        Link("RO-0601-A", "RO-0601-C", "merge", 450 * KG, day, "", "e2"),
        Link("RO-0601-B", "RO-0601-C", "merge", 300 * KG, day, "", "e2"),
        Link("RO-0601-C", "SL-1", "slice", 100 * KG, day, "", "e3"),
        Link("SHIP-0001", "RET-1", "return", 2 * KG, day, "PK-RO-0601", "e4"),
        Link("CAS-7", "RO-0601", "batch", 0, day, "casing", "e-RO-0601"),
    ]
    return document({node.node: node for node in [*nodes, *more]}, links, NAMING, ZONE, CREATED)


def test_a_whole_year_s_sorts_of_steps_are_valid_epcis() -> None:
    """Every event of every sort of step is what the published schema takes."""
    made = json.loads(json.dumps(whole()))
    check(made)
    sorts = {event["type"] for event in made["epcisBody"]["eventList"]}
    assert sorts == {"ObjectEvent", "TransformationEvent", "AggregationEvent", "TransactionEvent"}


@pytest.mark.parametrize(
    ("sort", "path", "value"),
    [
        ("TransformationEvent", ("bizStep",), "stuffing"),
        ("TransformationEvent", ("eventTime",), 7),
        ("AggregationEvent", ("action",), "SEND"),
        ("TransactionEvent", ("bizTransactionList",), []),
        ("ObjectEvent", ("quantityList", 0, "uom"), "kilogram"),
        ("TransformationEvent", ("rack",), "R-1"),
    ],
)
def test_the_schema_would_have_seen_a_wrong_event(sort: str, path: tuple[Any, ...], value: object) -> None:
    """The check can fail: each of these is refused by the same schema."""
    made = copy.deepcopy(json.loads(json.dumps(whole())))
    event = next(one for one in made["epcisBody"]["eventList"] if one["type"] == sort)
    inner = event
    for step in path[:-1]:
        inner = inner[step]
    inner[path[-1]] = value
    with pytest.raises(jsonschema.ValidationError):
        check(made)


def test_weights_of_the_events_are_those_that_were_booked() -> None:
    """All that left in transaction events is what was shipped, in kilograms."""
    events = whole()["epcisBody"]["eventList"]
    left = [event for event in events if event["type"] == "TransactionEvent"]
    total = sum(amount["quantity"] for event in left for amount in event["quantityList"])
    assert total == pytest.approx(2204.0, abs=1e-6)
    assert len(left) == 31


def test_lots_of_numbered_products_are_named_by_their_digital_link() -> None:
    """The class of a Rowan lot is its GTIN and lot; what has no number bears the house's own address."""
    text = json.dumps(whole())
    assert f"https://id.gs1.org/01/0{trade_item('9521234', 12)}/10/RO-0601" in text
    assert "https://house.example/g/FEN-118" in text
    assert "https://house.example/g/AL-0602" in text


def test_the_same_records_give_the_same_events() -> None:
    """Sent twice, an event is the same event: its id comes of the record."""
    assert whole() == whole()
    ids = [event["eventID"] for event in whole()["epcisBody"]["eventList"]]
    assert len(ids) == len(set(ids))


def test_a_time_bears_the_offset_of_the_house() -> None:
    """Dublin in June is one hour ahead of UTC."""
    event = next(e for e in whole()["epcisBody"]["eventList"] if e["eventTime"].startswith("2026-06"))
    assert event["eventTimeZoneOffset"] == "+01:00"
    assert event["eventTime"].endswith("+01:00")
