"""Balances of single things, and the words of traces, recalls and drills."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from tests.trace_cases import KG, downwards, fennel_yields

from saltloft.plant.answers import HouseFace, JournalHead
from saltloft.plant.contact import COUNTER, OPEN_PIECE, SLICING, Contact, Run
from saltloft.plant.recall import RecallDrilled, Yielding, recall_of, refuse_impossible_drill
from saltloft.plant.trace import Node
from saltloft.plant.trace_words import (
    balance_words,
    clock_words,
    contact_words,
    drill_sentence,
    finished_words,
    kilograms,
    recall_sentence,
    stock_words,
    took,
)
from saltloft.plant.traced import (
    CLOSES,
    OPEN,
    OUTSIDE,
    SHORT,
    TOO_MUCH,
    WITHIN,
    Caller,
    RecallAnswer,
    balance_of,
)

NOW = datetime(2026, 7, 22, 9, tzinfo=UTC)
FACE = HouseFace("Test house", "Europe/Dublin", False, JournalHead(1, "0" * 64, NOW))


def lot(state: str = "off_racks", green_kg: int = 100) -> Node:
    return Node("RO-1", "lot", "rowan", green_kg * KG, "", "", state)


@pytest.mark.parametrize(
    ("node", "in_kg", "out_kg", "stand"),
    [
        (lot(), 102, 62, WITHIN),
        (lot(), 102, 55, OUTSIDE),
        (lot(), 102, 70, OUTSIDE),
        (lot("hanging"), 102, 10, OPEN),
        (lot(), 100, 103, TOO_MUCH),
        (lot("ended"), 102, 100, CLOSES),
        (Node("F", "material", "", 25 * KG), 0, 25, CLOSES),
        (Node("F", "material", "", 25 * KG), 0, 26, TOO_MUCH),
        (Node("F", "material", "", 25 * KG, counted_mg=5 * KG), 0, 20, CLOSES),
        (Node("F", "material", "", 25 * KG, counted_mg=3 * KG), 0, 20, SHORT),
        (Node("F", "material", "", 25 * KG, counted_mg=7 * KG), 0, 20, TOO_MUCH),
        (Node("P", "pack", "", 60 * KG), 61, 40, CLOSES),
        (Node("P", "pack", "", 60 * KG), 64, 40, SHORT),
        (Node("P", "pack", "", 60 * KG), 58, 40, TOO_MUCH),
        (Node("S", "shipment", "", 60 * KG), 60, 0, CLOSES),
        (Node("S", "shipment", "", 60 * KG), 61, 0, SHORT),
    ],
)
def test_how_books_close(node: Node, in_kg: int, out_kg: int, stand: str) -> None:
    """Yield band for lots, packing loss for packs, count for materials, to the gram for shipments."""
    band = Yielding(60 * KG, 63 * KG, 66 * KG) if node.sort == "lot" else None
    found = balance_of(node, in_kg * KG, out_kg * KG, band)
    assert found is not None
    assert found.stand == stand
    assert found.closes == (stand not in (OUTSIDE, TOO_MUCH, SHORT))
    assert balance_words(found)


def test_what_only_takes_has_no_balance() -> None:
    """Samples, waste and ends are where weight stays."""
    assert balance_of(Node("x/waste", "sink", "waste", KG), KG, 0, None) is None


def answer() -> RecallAnswer:
    """The fennel recall as pages get it."""
    recall = recall_of(downwards(), fennel_yields())
    return RecallAnswer(FACE, NOW, recall, (("cus-01", Caller("cus-01", "Shop 1")),), (("RO", "Rowan 50"),))


def test_the_sentence_of_the_recall() -> None:
    """Number of lots, stuffed, calls, stock, share, and what came through rework."""
    assert recall_sentence(answer()) == (
        "FEN-118 is in 9 lots, 5,730 kg stuffed: 31 customers to call, 1,190 kg in stock, "
        "100.0 % accounted for. Through rework 612 kg more: HA-0720."
    )
    assert "(−2.8 %, inside its band: 3,438 kg to 3,724 kg)" in finished_words(answer())
    assert stock_words(answer()) == "The stock of 9 pack lots and lots is by the books. Count it."


def test_a_lot_that_hangs_is_said_to_come() -> None:
    """Its yield is not judged before it is finished."""
    flow = downwards()
    nodes = {**flow.nodes, "RO-0601": flow.nodes["RO-0601"]._replace(state="hanging")}
    still = replace(answer(), recall=recall_of(replace(flow, nodes=nodes), fennel_yields()))
    assert finished_words(still) == "Finished so far 3,482 kg; still to come off: RO-0601."


def test_clocks_and_drills() -> None:
    """The drill of the year, and the paper drill of the year before (figures of the invented house)."""
    assert clock_words(timedelta(minutes=4, seconds=10)) == "4 min 10 s"
    assert clock_words(timedelta(hours=3, minutes=40)) == "3 h 40 min"
    done = RecallDrilled(
        "RCL-2025-1",
        ("FEN-97",),
        "audit",
        "2025-07-22T09:00:00+00:00",
        "2025-07-22T12:40:00+00:00",
        8,
        5_000 * KG,
        3_000 * KG,
        2_730 * KG,
        28,
        missed=("the ends worked into a Hazel batch",),
    )
    assert drill_sentence(done, took(done)) == (
        "RCL-2025-1: 91.0 % accounted for in 3 h 40 min; 0 of 28 customers told; 1 thing was missed."
    )
    refuse_impossible_drill(done)
    with pytest.raises(ValueError, match="moments with their zone"):
        refuse_impossible_drill(replace(done, started="yesterday"))
    with pytest.raises(ValueError, match="ends after it began"):
        refuse_impossible_drill(replace(done, ended="2025-07-22T08:00:00+00:00"))
    with pytest.raises(ValueError, match="what is called back"):
        refuse_impossible_drill(replace(done, starts=()))


def test_weights_are_said_as_they_are_read() -> None:
    """Grams below a kilogram, a tenth below a hundred, whole kilograms above."""
    assert [kilograms(mg) for mg in (0, 450_000, 25 * KG, 5_730 * KG)] == [
        "0 kg",
        "450 g",
        "25.0 kg",
        "5,730 kg",
    ]


def test_a_contact_says_what_lay_open_when() -> None:
    """Line, hour in the house's zone, and the piece."""
    own = Run("OK-1", COUNTER, "slicer 2", NOW, None, "e1", tag="14")
    other = Run("RO-1", SLICING, "slicer 2", NOW, NOW, "e2", "SL-1")
    said = contact_words(Contact(other, own, OPEN_PIECE), answer())
    assert said == "ran over slicer 2 at Wed 22 Jul 10:00 while tag 14 of OK-1 lay open"
