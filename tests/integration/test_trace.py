"""The recall of FEN-118 on records, on both databases; what touched it; any number on a tag."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest
from tests.fennel_house import GTINS, at, fennel_house
from tests.small_house import enter, stored, weighing, with_lot
from tests.trace_cases import AGAIN, BATCHES, KG

from saltloft.foundation.errors import InputError, UnknownName
from saltloft.foundation.units import mass
from saltloft.house import House
from saltloft.jobs import standards, trace
from saltloft.plant import flow
from saltloft.plant.recall import StockCounted, drilled, stuffed_mg, yielding_of
from saltloft.plant.trace import UP
from saltloft.plant.trace_words import finished_words, recall_sentence, trace_sentence

pytestmark = pytest.mark.usefixtures("either_database")


@pytest.fixture(scope="module")
def house(either_database: str, tmp_path_factory: pytest.TempPathFactory) -> Iterator[House]:
    """The fennel house; tests only read it."""
    folder = tmp_path_factory.mktemp(f"fennel-{either_database}")
    with fennel_house(folder / "house") as found:
        yield found


def test_the_recall_of_the_bag_to_the_kilogram(house: House) -> None:
    """Scenario B on records: the figures of the audit day, sentence and account."""
    answer = trace.recall(house, ["FEN-118"])
    recall = answer.recall
    assert {lot.node.node for lot in recall.direct} == set(BATCHES)
    assert stuffed_mg(recall.direct) == 5_730 * KG
    assert recall.account.finished_mg == 3_482 * KG
    places = {place: mg for place, mg in recall.account.places.items() if mg}
    other = places.pop("sample") + places.pop("waste")
    assert places == {"shipped": 2_204 * KG, "stock": 1_190 * KG, "rework": 61 * KG}
    assert other == 27 * KG
    assert recall.account.accounted_pct == 100.0
    assert len(recall.customers) == 31
    assert [lot.node.node for lot in recall.reworked] == [AGAIN]
    assert stuffed_mg(recall.reworked) == 612 * KG
    band = yielding_of(recall.direct)
    assert band is not None
    assert (band.low_mg, band.expected_mg, band.high_mg) == (3_438 * KG, 3_581_250_000, 3_724_500_000)
    assert "−2.8 %, inside its band" in finished_words(answer)
    assert "9 lots, 5,730 kg stuffed: 31 customers to call, 1,190 kg in stock, 100.0 %" in recall_sentence(
        answer
    )
    assert f"612 kg more: {AGAIN}" in recall_sentence(answer)


def test_the_phone_list_comes_from_outside_the_chain(house: House) -> None:
    """Name, address and telephone are not in the journal; an erased one leaves the id."""
    answer = trace.recall(house, ["FEN-118"])
    caller = answer.caller("cus-01")
    assert (caller.name, caller.phone) == ("Shop 1", "+353 1 555 0001")
    assert "Corrowmere" in caller.address
    bodies = " ".join(entry.body.decode() for entry in house.store.entries(limit=500))
    assert "Shop 1" not in bodies


def test_amounts_of_the_bag_add_up_to_the_bag(house: House) -> None:
    """25 kg went in; what is found everywhere is 25 kg, to the milligram."""
    found = trace.trace(house, ["FEN-118"])
    assert found.start_mg == found.found_mg == 25 * KG
    assert found.open_balances == ()
    assert trace_sentence(found).startswith("FEN-118 (25.0 kg) went into 10 lots, 9 pack lots, 31 customers.")


def test_up_from_a_customer_s_shipment_to_every_delivery(house: House) -> None:
    """One shipment holds meat, fat and fennel of one batch, and as much of the bag as down says."""
    up = trace.trace(house, ["SHIP-0001"], UP)
    assert {row.node.node for row in up.of_sort("material")} == {"FEN-118", "LT-F", "BF-F"}
    of_bag = next(row for row in up.rows if row.node.node == "FEN-118")
    down = trace.trace(house, ["FEN-118"])
    there = next(row for row in down.rows if row.node.node == "SHIP-0001")
    assert of_bag.likely_mg == pytest.approx(there.likely_mg, abs=3)


def test_as_it_stood_before_the_shipments(house: House) -> None:
    """On 17 July nothing had left: all that was packed is in stock, nobody is to call."""
    answer = trace.recall(house, ["FEN-118"], at(7, 17))
    assert answer.recall.customers == ()
    assert answer.recall.account.places["stock"] == 3_394 * KG
    assert answer.recall.reworked == ()


@pytest.mark.parametrize(
    ("typed", "first"),
    [
        ("FEN-118", "FEN-118"),
        ("fen-118", "FEN-118"),
        ("K-4471", "FEN-118"),
        ("https://house.example/g/PK-RO-0601", "PK-RO-0601"),
        (f"https://id.gs1.org/01/0{GTINS['rowan']}/10/RO-0601", "RO-0601"),
        (f"(01)0{GTINS['rowan']}(10)PK-RO-0605", "PK-RO-0605"),
        ("R-7", AGAIN),
        ("cus-31", "SHIP-0031"),
        ("SHIP-000", "SHIP-0001"),
    ],
)
def test_any_number_on_a_tag_finds_its_thing(house: House, typed: str, first: str) -> None:
    """Our number, the supplier's, a tag's address, the line below its code, a rack, a customer."""
    assert trace.find(house, typed)[0].node == first


def test_a_piece_s_tag_finds_its_lot(tmp_path: Path) -> None:
    """A number as short as 14 is a tag before it is the beginning of anything."""
    with with_lot(tmp_path / "house") as house:
        stored(house, weighing("1.05", green=1))
        hits = trace.find(house, "14")
        assert [(hit.node, hit.why) for hit in hits] == [("AL-0310", "tag 14")]


def test_a_product_s_number_finds_its_newest_lots(house: House) -> None:
    """The code of an unlabelled pack without a lot leads to what was made of it."""
    hits = trace.find(house, f"https://id.gs1.org/01/0{GTINS['hazel']}")
    assert hits[0].node == AGAIN


def test_a_wrong_check_digit_is_refused(house: House) -> None:
    """A slip of the finger must not open another product."""
    wrong = GTINS["rowan"][:-1] + str((int(GTINS["rowan"][-1]) + 1) % 10)
    with pytest.raises(InputError, match="last digit"):
        trace.find(house, f"(01)0{wrong}(10)RO-0601")


def test_a_number_nobody_knows_offers_the_nearest(house: House) -> None:
    """A trace of a wrong number says which it may have been."""
    with pytest.raises(UnknownName, match="FEN-118"):
        trace.trace(house, ["FEN-181"])


def test_suspect_windows(house: House) -> None:
    """Room, line, supplier and shift each give the starts of a recall."""
    june = (at(6, 1, 0), at(6, 6, 0))
    assert trace.scope(house, "room", "D2", *june) == ["AL-0602", "RO-0601", "RO-0605"]
    assert trace.scope(house, "supplier", "sup-07", at(5, 28, 0), at(5, 29, 0)) == ["FEN-118"]
    assert trace.scope(house, "shift", "", *june) == ["RO-0601", "AL-0602", "RO-0605"]
    assert len(trace.scope(house, "line", "P1", at(7, 15, 0), at(7, 16, 0))) == 9
    assert trace.scope(house, "instrument", "S1", *june) == []
    with pytest.raises(UnknownName):
        trace.scope(house, "moon", "full", *june)


def test_what_else_was_in_contact(house: House) -> None:
    """Of one lot's recall: the other eight pack lots ran over the same line on the same day."""
    answer = trace.recall(house, ["RO-0601"])
    packed = {contact.run.made for contact in answer.contacts if contact.run.made}
    assert packed == {f"PK-{lot}" for lot in BATCHES if lot != "RO-0601"}


def test_the_events_of_one_bag_are_its_own(house: House) -> None:
    """31 shipments, nine batches and one with rework, nine packings; nothing else of the house."""
    made = standards.events(house, ["FEN-118"], base="https://house.example")
    events = json.loads(json.dumps(made))["epcisBody"]["eventList"]
    assert sum(event["type"] == "TransactionEvent" for event in events) == 31
    assert sum(event["bizStep"] == "packing" for event in events) == 9
    assert sum(event["bizStep"] == "commissioning" for event in events) == 10


def test_tags_lead_to_their_lot(house: House) -> None:
    """A tag for each rack, with the Digital Link of the lot; a pack label says its use-by as entered."""
    racks = standards.tags(house, AGAIN, base="https://house.example")
    assert [tag.lines[-1] for tag in racks.tags] == ["rack R-7, room D2", "rack R-8, room D2"]
    assert racks.tags[0].link == f"https://house.example/01/0{GTINS['hazel']}/10/{AGAIN}"
    label = standards.tags(house, "PK-RO-0601", base="https://house.example").tags[0]
    assert label.link.startswith(f"https://house.example/01/0{GTINS['rowan']}/10/PK-RO-0601?17=261015")
    sticker = standards.tags(house, "R-7", base="https://house.example", prefix="9521234").tags[0]
    assert sticker.link == "https://house.example/8004/9521234R-7"
    assert trace.find(house, sticker.link)[0].node == AGAIN
    with pytest.raises(InputError, match="tag_address"):
        standards.tags(house, AGAIN, base="")


def test_a_drill_is_recorded_and_read_again(tmp_path: Path) -> None:
    """Two pack lots counted, one short: the record says what share has a place, and what was missed."""
    with fennel_house(tmp_path / "house") as house:
        whole = trace.recall(house, ["FEN-118"]).recall
        counted = StockCounted("PK-RO-0601", mass("100", "kg"))
        answer = trace.recall(house, ["FEN-118"], counted_mg={"PK-RO-0601": 100 * KG})
        short = whole.account.here_mg["PK-RO-0601"] - 100 * KG
        assert answer.recall.account.lost_mg == {"PK-RO-0601": short}
        done = drilled(
            answer.recall,
            drill="RCL-2026-1",
            reason="customer audit",
            started=at(7, 22).isoformat(),
            ended=(at(7, 22) + timedelta(minutes=4, seconds=10)).isoformat(),
            told=("cus-01",),
            counted=(counted,),
            missed=("no telephone for cus-09",),
        )
        stored(house, done, at=at(7, 22, 10))
        said = house.store.drills.all()[-1].payload
        assert said == done
        assert said.accounted_mg == 3_482 * KG - short
        backwards = drilled(
            answer.recall, drill="X", reason="", started=at(7, 22).isoformat(), ended=at(7, 21).isoformat()
        )
        assert "ends after it began" in enter(house, backwards, at=at(7, 22, 10))[0].words


def test_an_open_piece_on_the_counter_widens_the_scope(tmp_path: Path) -> None:
    """A Rowan lay open on slicer 2 while a Hazel was sliced there: the Hazel's slices are a contact."""
    with fennel_house(tmp_path / "house") as house:
        stored(
            house,
            flow.CounterOpened(
                "PK-RO-0601", "slicer 2", at(7, 16, 8).isoformat(), at(7, 16, 12).isoformat(), "14"
            ),
            at=at(7, 16, 12),
        )
        sliced = flow.LotSliced(
            "SL-9",
            "PK-HA-0615",
            "slicer 2",
            at(7, 16, 9).isoformat(),
            at(7, 16, 10).isoformat(),
            mass("5", "kg"),
            mass("4.9", "kg"),
        )
        stored(house, sliced, at=at(7, 16, 10))
        answer = trace.recall(house, ["RO-0601"])
        closest = answer.contacts[0]
        assert (closest.run.made, closest.why) == ("SL-9", "open_piece")


def test_a_rebuild_traces_the_same(tmp_path: Path) -> None:
    """Tables built anew from the journal answer as before."""
    with fennel_house(tmp_path / "house") as house:
        before = trace.trace(house, ["FEN-118"])
        house.store.rebuild()
        after = trace.trace(house, ["FEN-118"])
        assert before.rows == after.rows
        assert trace.trace(house, ["SHIP-0001"], UP).rows
