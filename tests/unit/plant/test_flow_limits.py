"""Entries of the flow that no house can mean are refused with the field and what would be taken."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest

from saltloft.foundation.errors import InputError
from saltloft.foundation.units import Mass, mass
from saltloft.plant import flow, orders, parties, stock
from saltloft.plant.flow_limits import refuse_impossible_flow
from saltloft.plant.lots import Consumed

KG = mass("1", "kg")
FROM, TO = "2026-07-22T09:00:00+00:00", "2026-07-22T10:00:00+00:00"
LINES = (orders.ShipmentLine("P", KG),)
PARTS = (flow.SplitPart("A-1", Decimal(60)), flow.SplitPart("A-2", Decimal(40)))


def slicing(**more: Any) -> flow.LotSliced:
    """A slicing log that can be, but for what is given."""
    said: dict[str, Any] = {
        "sliced": "SL", "lot": "A", "line": "1", "start": FROM, "end": TO, "mass_in": mass("10", "kg"),
        "mass": mass("9.5", "kg"),
    }  # fmt: skip
    return flow.LotSliced(**{**said, **more})


@pytest.mark.parametrize(
    "said",
    [
        flow.LotSplit("A", PARTS),
        flow.LotsMerged("A-3", ("A-1", "A-2")),
        slicing(ends=mass("0.5", "kg")),
        parties.PartyAdded("s-1", "supplier"),
        stock.MaterialReceived("F", "film", "s-1", KG, sort="packaging", best_before="2027-01-31"),
        orders.OrderEnded("O", "shipped"),
    ],
)
def test_what_can_be_is_taken(said: object) -> None:
    """Ordinary entries pass."""
    refuse_impossible_flow(said)


@pytest.mark.parametrize(
    ("said", "key"),
    [
        (flow.LotSplit("A", PARTS[:1]), "parts"),
        (flow.LotSplit("A", (PARTS[0], PARTS[0])), "lot"),
        (flow.LotSplit("A", (PARTS[0], flow.SplitPart("A-2", Decimal(0)))), "share"),
        (flow.LotSplit("A", (PARTS[0], flow.SplitPart("A/2", Decimal(1)))), "lot"),
        (flow.LotsMerged("B", ("A",)), "sources"),
        (flow.LotsMerged("B", ("A", "A")), "sources"),
        (flow.PieceRehung("A", "1", "14", 2), "pieces"),
        (slicing(end=FROM, start=TO), "end"),
        (slicing(end="09:00"), "end"),
        (slicing(ends=mass("0.6", "kg")), "mass"),
        (flow.PackMade("P", "x", (Consumed("A", "whole", KG),), mass("1.02", "kg"), 4), "mass"),
        (flow.PackMade("P", "x", (Consumed("A", "whole", Mass(5, "1", "kg")),), KG, 4), "sources"),
        (flow.PackMade("P", "x", (Consumed("A", "whole", KG),), KG, 0), "packs"),
        (flow.CounterOpened("A", "counter 1", ""), "start"),
        (flow.LotWasted("A", KG, " "), "reason"),
        (orders.OrderEnded("O", "cancelled"), "reason"),
        (orders.ShipmentSent("S", "c", ()), "lines"),
        (orders.ShipmentSent("S", "c", LINES, temperature_c=Decimal(75)), "temperature_c"),
        (orders.GoodsReturned("R", "S", "P", KG, "torn", "eaten"), "decision"),
        (parties.PartyAdded("s-1", "friend"), "role"),
        (stock.MaterialReceived("F", "film", "s-1", KG, best_before="31.1.2027"), "best_before"),
        (stock.MaterialReceived("F", "film", "s-1", KG, sort="stuff"), "sort"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_with_its_field(said: object, key: str) -> None:
    """The refusal names the field and what is allowed."""
    with pytest.raises(InputError) as refused:
        refuse_impossible_flow(said)
    assert refused.value.key == key
    assert refused.value.allowed
