"""The flow of material through the one way in: what is left, split, merged, held, packed, sent, refused."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from tests.small_house import (
    MADE_AT,
    QUALITY,
    alder,
    correction,
    draft,
    enter,
    lot_made,
    stored,
    weighing,
    with_lot,
)

from saltloft.cases.lot import lot_case
from saltloft.foundation.errors import UnknownName
from saltloft.foundation.units import mass
from saltloft.house import House
from saltloft.jobs import judge, keep, record
from saltloft.jobs import parties as parties_job
from saltloft.plant import flow, lots, orders, parties, readings, recipes, rooms, stock
from saltloft.plant.permit import ReleasePermit
from saltloft.store.flow_state import FlowState

pytestmark = pytest.mark.usefixtures("either_database")
DAY = timedelta(days=1)


@pytest.fixture
def house(tmp_path: Path) -> House:
    """A house with AL-0310 hanging in D2, a second drying room and a customer."""
    found = with_lot(tmp_path / "house")
    stored(
        found,
        rooms.RoomDefined("D1", "drying", 7000, Decimal(150), Decimal(35)),
        parties.PartyAdded("cust-1", "customer"),
        parties.PartyAdded("s-01", "supplier"),
        at=MADE_AT,
    )
    return found


def refused(house: House, payload: Any, at: Any = MADE_AT + 9 * DAY) -> str:
    """The words and the permitted of an entry that must be refused."""
    receipt = enter(house, payload, at=at)[0]
    assert receipt.status == "refused", receipt
    return f"{receipt.words} {receipt.allowed}"


def used(source: str, kg: str) -> lots.Consumed:
    """A weighed amount of a source."""
    return lots.Consumed(source, "part", mass(kg, "kg"))


def split(house: House, at: Any = MADE_AT + 5 * DAY) -> None:
    """AL-0310, 60 to 40, over two rooms."""
    parts = (flow.SplitPart("AL-0310-A", Decimal(60), "D2"), flow.SplitPart("AL-0310-B", Decimal(40), "D1"))
    stored(house, flow.LotSplit("AL-0310", parts), at=at)


def same_after_rebuild(house: House) -> None:
    """The reading tables follow from the journal alone."""
    assert keep.rebuild(house).same


def test_no_more_is_taken_of_a_material_lot_than_is_left(house: House) -> None:
    """A second batch cannot weigh in what the first one used; a count puts a wrong book right."""
    stored(house, stock.MaterialReceived("FEN-1", "fennel", "s-01", mass("25", "kg"), sort="spice"))
    first = lots.LotMade(
        "AL-0311", "alder", "alder-1",
        (used("LT-1", "900"), used("FEN-1", "20")),
        mass("900", "kg"), 900,
    )  # fmt: skip
    stored(house, first, at=MADE_AT + DAY)
    again = lots.LotMade(
        "AL-0312", "alder", "alder-1",
        (used("LT-1", "600"), used("FEN-1", "6")),
        mass("600", "kg"), 600,
    )  # fmt: skip
    assert "not so much is left of FEN-1" in refused(house, again, MADE_AT + 2 * DAY)
    assert "up to 5.000 kg" in refused(house, again, MADE_AT + 2 * DAY)
    counted = enter(
        house, flow.MaterialCounted("FEN-1", mass("7", "kg"), "bag was fuller"), at=MADE_AT + 2 * DAY
    )
    assert "+2.000 kg" in counted[0].words
    stored(house, again, at=MADE_AT + 2 * DAY + timedelta(hours=1))
    assert house.store.stock.get("FEN-1").left_mg == 1_000_000
    stored(house, flow.MaterialWasted("FEN-1", mass("1", "kg"), "spilt"), at=MADE_AT + 3 * DAY)
    assert house.store.stock.get("FEN-1").left_mg == 0
    stored(house, flow.MaterialCounted("FEN-1", None), at=MADE_AT + 4 * DAY)
    assert "up to 0.000 kg" in refused(house, flow.MaterialWasted("FEN-1", mass("1", "g"), "spilt"))
    same_after_rebuild(house)


def test_parts_add_up_to_the_milligram_and_carry_the_history_on(house: House) -> None:
    """60/40 of 1,280 kg and of odd milligrams; weighings and rooms before the split are the parts' own."""
    stored(house, weighing("1.05", green=1))
    stored(house, weighing("1.01"), at=MADE_AT + DAY)
    split(house)
    first, second = (house.store.lots.get(name) for name in ("AL-0310-A", "AL-0310-B"))
    assert first.green_mass.mg + second.green_mass.mg == 1_280_000_000
    assert (first.green_mass.mg, first.pieces, second.pieces) == (768_000_000, 784, 522)
    assert [item.payload.mass.number for item in first.weighings] == ["1.05", "1.01"]
    assert first.made_at == MADE_AT
    assert [stay.room for stay in second.rooms] == ["D2", "D1"]
    assert (first.room, second.room, first.line) == ("D2", "D1", ("AL-0310",))
    whole = house.store.lots.get("AL-0310")
    assert (whole.state, whole.hanging) == ("ended", False)
    assert "goes on as AL-0310-A, AL-0310-B" in refused(house, weighing("0.99"))
    stored(house, weighing("0.99", lot="AL-0310-A"), at=MADE_AT + 6 * DAY)
    assert len(house.store.lots.get("AL-0310-A").weighings) == 3
    assert {record.lot for record in house.store.lots.hanging()} == {"AL-0310-A", "AL-0310-B"}
    same_after_rebuild(house)


def test_a_hold_on_the_whole_holds_its_parts_also_when_it_comes_later(house: House) -> None:
    """Lifted on the whole it is lifted on the parts; on one part, on that alone."""
    split(house)
    held = stored(house, lots.LotHeld("AL-0310", "meter A failed"), at=MADE_AT + 6 * DAY)[0]
    assert [house.store.lots.get(name).state for name in ("AL-0310-A", "AL-0310-B")] == ["held", "held"]
    assert {row.lot: row.open_holds for row in house.store.lots.summaries()} == {
        "AL-0310": 1, "AL-0310-A": 1, "AL-0310-B": 1,
    }  # fmt: skip
    by = {"at": MADE_AT + 7 * DAY, "by": QUALITY}
    stored(house, lots.HoldLifted("AL-0310-A", held.entry_id, "read with meter B"), **by)
    assert [house.store.lots.get(name).state for name in ("AL-0310-A", "AL-0310-B")] == ["hanging", "held"]
    same_after_rebuild(house)
    stored(house, lots.HoldLifted("AL-0310", held.entry_id, "read with meter B"), **by)
    assert house.store.lots.get("AL-0310-B").state == "hanging"
    same_after_rebuild(house)


def test_parts_come_together_again_with_everything_measured_on_both(house: House) -> None:
    """Split 60/40, weighed apart, merged: green weight, pieces, weighings and the rooms of both."""
    split(house)
    stored(
        house,
        weighing("0.98", lot="AL-0310-A", tag="1"),
        weighing("0.97", lot="AL-0310-B", tag="2"),
        at=MADE_AT + 8 * DAY,
    )
    stored(house, flow.LotsMerged("AL-0310-M", ("AL-0310-A", "AL-0310-B"), "D2"), at=MADE_AT + 9 * DAY)
    merged = house.store.lots.get("AL-0310-M")
    assert (merged.green_mass.mg, merged.pieces, merged.made_at) == (1_280_000_000, 1306, MADE_AT)
    assert {item.payload.tag for item in merged.weighings} == {"1", "2"}
    assert merged.stuffings == ()
    apart = [stay for stay in merged.rooms if stay.start == MADE_AT + 5 * DAY]
    assert [(stay.room, round(stay.share, 3)) for stay in apart] == [("D1", 0.4), ("D2", 0.6)]
    assert (merged.room, merged.hanging) == ("D2", True)
    assert house.store.lots.get("AL-0310-A").state == "ended"
    assert "goes on as AL-0310-M" in refused(house, weighing("0.96", lot="AL-0310-B"), MADE_AT + 10 * DAY)
    same_after_rebuild(house)


def test_a_part_is_forecast_and_judged_from_the_stuffing_of_the_whole(house: House) -> None:
    """Losses count from the whole's green weights, days from its stuffing; so do degree-hours."""
    stored(house, weighing("1.00", green=1))
    stored(house, weighing("0.92"), at=MADE_AT + 4 * DAY)
    before = judge.judge(house, "AL-0310")
    split(house)
    stored(house, weighing("0.90", lot="AL-0310-B"), at=MADE_AT + 6 * DAY)
    case = lot_case(house, "AL-0310-B", MADE_AT + 7 * DAY, as_recorded=False)
    assert [(round(one.day, 3), round(one.loss, 3)) for one in case.readings] == [(4.0, 0.08), (6.0, 0.1)]
    assert case.record.green_mass.mg == 512_000_000
    assert case.batter is not None
    part = judge.judge(house, "AL-0310-B")
    hours = [[v.used for stand in one.hazards for v in stand.verdicts] for one in (before, part)]
    assert len(hours[0]) == len(hours[1]) > 0


def test_a_merged_lot_stands_as_its_worst_stuffing(house: House) -> None:
    """One stuffing's core set does not end the count of the other."""
    younger = MADE_AT + DAY
    stored(house, lot_made("AL-0311"), at=younger)
    stored(house, lots.LotHung("AL-0311", "D2"), at=younger)
    five = tuple(Decimal("5.20") for _ in range(5))
    stored(house, readings.PhRead("AL-0311", five, "core", "pH-A"), at=younger + DAY)
    stored(house, flow.LotsMerged("AL-M", ("AL-0310", "AL-0311")), at=MADE_AT + 4 * DAY)
    merged = house.store.lots.get("AL-M")
    assert [len(one.ph_sets) for one in merged.stuffings] == [0, 1]
    found = judge.judge(house, "AL-M")
    words = [v.words for stand in found.hazards for v in stand.verdicts if v.rule.startswith("degree_hours")]
    assert words
    assert all(one.startswith("AL-031") for one in words)


def test_only_like_lots_are_merged_and_the_youngest_days_count(house: House) -> None:
    """Another recipe is refused; two stuffings of one product become one, each standing for itself."""
    older, younger = house.store.lots.get("AL-0310"), MADE_AT + 2 * DAY
    stored(house, lot_made("AL-0312").__class__(**{**vars(lot_made("AL-0312")), "consumed": ()}), at=younger)
    stored(house, lots.LotHung("AL-0312", "D2"), at=younger)
    lines = (recipes.Ingredient("lean trim", "meat", Decimal(1000), "10072"),)
    stored(house, recipes.RecipeDefined("alder-2", "meat", lines), at=MADE_AT)
    other = lots.LotMade("AL-0313", "alder", "alder-2", (), mass("100", "kg"), 100)
    stored(house, other, at=younger)
    assert "different recipe" in refused(house, flow.LotsMerged("AL-M", ("AL-0310", "AL-0313")))
    stored(house, flow.LotsMerged("AL-M", ("AL-0310", "AL-0312")), at=MADE_AT + 4 * DAY)
    merged = house.store.lots.get("AL-M")
    assert merged.made_at == younger
    assert merged.green_mass.mg == 2 * older.green_mass.mg
    assert [record.lot for record in merged.stuffings] == ["AL-0310", "AL-0312"]
    same_after_rebuild(house)


def test_a_split_that_is_struck_out_never_was(house: House) -> None:
    """The parts go, the whole hangs again; but not once a part was weighed."""
    parts = (flow.SplitPart("X-A", Decimal(1)), flow.SplitPart("X-B", Decimal(2)))
    made = stored(house, flow.LotSplit("AL-0310", parts), at=MADE_AT + DAY)[0]
    strike = readings.Corrected(made.entry_id, "other lot", "lot.split/1")
    stored(house, strike, at=MADE_AT + 2 * DAY)
    assert house.store.lots.get("AL-0310").state == "hanging"
    assert house.store.lots.find("X-A") is None
    stored(house, weighing("1.0"), at=MADE_AT + 3 * DAY)
    same_after_rebuild(house)


def released(house: House, lot: str) -> None:
    """A release as the signing job writes it; the permit's own checks are tested elsewhere."""
    seen = house.store.lots.get(lot).last_seq
    said = draft(lots.LotReleased(lot, "us", "0" * 64), MADE_AT + 60 * DAY)
    permit = ReleasePermit(lot, "us", "0" * 64, "ilo", MADE_AT + 60 * DAY, seen)
    assert record.enter(house, QUALITY, [said], permits=[permit])[0].status == "stored"


def test_from_the_racks_to_the_customer_and_back(house: House) -> None:
    """Sliced, packed, sampled, sent, returned: no more than there is; nothing unsigned or held leaves."""
    later = MADE_AT + 61 * DAY
    stored(house, lots.LotYielded("AL-0310", mass("832", "kg"), "pack"), at=MADE_AT + 59 * DAY)
    slicing = flow.LotSliced(
        "SL-1", "AL-0310", "slicer 1", "2026-05-10T08:00:00+00:00", "2026-05-10T09:30:00+00:00",
        mass("120", "kg"), mass("112", "kg"), mass("5", "kg"), mass("1", "kg"),
    )  # fmt: skip
    stored(house, slicing, at=later)
    pack = flow.PackMade(
        "PK-1", "alder", (lots.Consumed("SL-1", "slices", mass("112", "kg")),), mass("111.6", "kg"), 1395,
        line="line 2", use_by="2026-07-30",
    )  # fmt: skip
    stored(house, pack, at=later)
    more = flow.PackMade(
        "PK-2", "alder", (lots.Consumed("SL-1", "slices", mass("1", "kg")),), mass("1", "kg"), 12
    )
    assert "not so much is left of SL-1" in refused(house, more, later)
    sent = orders.ShipmentSent("SHIP-1", "cust-1", (orders.ShipmentLine("PK-1", mass("40", "kg"), 500),))
    assert "was not signed out" in refused(house, sent, later)
    released(house, "AL-0310")
    stored(house, sent, at=later)
    too_much = orders.ShipmentSent("SHIP-2", "cust-1", (orders.ShipmentLine("PK-1", mass("72", "kg")),))
    assert "up to 71.600 kg" in refused(house, too_much, later)
    stored(house, flow.LotSampled("PK-1", mass("0.4", "kg"), "kept back"), at=later)
    back = orders.GoodsReturned("RET-1", "SHIP-1", "PK-1", mass("5", "kg"), "torn film", "stock", 62)
    stored(house, back, at=later + DAY)
    again = orders.GoodsReturned("RET-2", "SHIP-1", "PK-1", mass("36", "kg"), "late")
    assert "more than left with SHIP-1" in refused(house, again, later + 2 * DAY)
    stored(
        house,
        orders.ShipmentSent("SHIP-3", "cust-1", (orders.ShipmentLine("RET-1", mass("5", "kg")),)),
        at=later + 2 * DAY,
    )
    stored(house, lots.LotHeld("AL-0310", "swab positive"), at=later + 3 * DAY)
    held = orders.ShipmentSent("SHIP-4", "cust-1", (orders.ShipmentLine("PK-1", mass("1", "kg")),))
    assert "AL-0310 is on hold" in refused(house, held, later + 4 * DAY)
    with house.store.database.reading() as connection:
        assert FlowState(connection).lots_behind("RET-1") == ("AL-0310",)
    same_after_rebuild(house)


def test_ends_with_nitrite_do_not_go_into_fresh_sausage_at_any_depth(house: House) -> None:
    """Ends of a cured lot go into a second lot; the ends of that one are refused in a fresh batch too."""
    stored(house, lots.LotYielded("AL-0310", mass("12", "kg"), "ends"), at=MADE_AT + 40 * DAY)
    plain = (recipes.Ingredient("lean trim", "meat", Decimal(1000), "10072"),)
    stored(
        house,
        recipes.RecipeDefined("bramble-1", "meat", plain),
        recipes.RecipeDefined("plain-1", "meat", plain),
    )
    rework = lots.Consumed("AL-0310/ends", "rework", mass("12", "kg"))
    trim = lots.Consumed("LT-1", "lean trim", mass("50", "kg"))
    fresh = lots.FreshMade("BR-1", "bramble", "bramble-1", (rework,), mass("12", "kg"))
    at = MADE_AT + 41 * DAY
    assert "carries nitrite of AL-0310" in refused(house, fresh, at)
    # A second batch by a recipe without cure still carries what went into the first.
    second = lots.LotMade("AL-0420", "alder", "plain-1", (trim, rework), mass("60", "kg"), 60)
    stored(house, second, at=at)
    stored(house, lots.LotYielded("AL-0420", mass("3", "kg"), "ends"), at=at + 30 * DAY)
    deep = lots.FreshMade(
        "BR-2",
        "bramble",
        "bramble-1",
        (lots.Consumed("AL-0420/ends", "rework", mass("3", "kg")),),
        mass("3", "kg"),
    )
    assert "carries nitrite of AL-0310" in refused(house, deep, at + 31 * DAY)
    too_many = lots.LotMade(
        "AL-0421",
        "alder",
        "alder-1",
        (lots.Consumed("AL-0420/ends", "rework", mass("3.1", "kg")),),
        mass("3", "kg"),
        3,
    )
    assert "not so much is left of AL-0420/ends" in refused(house, too_many, at + 31 * DAY)
    same_after_rebuild(house)


def test_a_corrected_amount_moves_what_is_left(house: House) -> None:
    """A line corrected from 940 to 960 kg leaves 20 kg less; no correction may take more than there is."""
    made = house.store.lots.get("AL-0310").made.entry_id
    payload = {
        **vars(lot_made()),
        "consumed": (
            lots.Consumed("LT-1", "lean trim", mass("960", "kg")),
            lots.Consumed("BF-1", "backfat", mass("350", "kg")),
        ),
    }
    stored(house, correction(made, lots.LotMade(**payload)), at=MADE_AT + DAY)
    assert house.store.stock.get("LT-1").left_mg == 1_540_000_000
    payload["consumed"] = (lots.Consumed("LT-1", "lean trim", mass("2600", "kg")),)
    assert "not so much is left of LT-1" in refused(house, correction(made, lots.LotMade(**payload)))
    same_after_rebuild(house)


def test_racks_move_one_by_one(house: House) -> None:
    """A rack that goes to another room takes its share of the lot with it."""
    stored(house, lots.LotMoved("AL-0310", "D2", ("1", "2")), at=MADE_AT + DAY)
    stored(house, flow.RackMoved("AL-0310", "2", "D1", "by the door"), at=MADE_AT + 2 * DAY)
    stored(house, flow.PieceRehung("AL-0310", "1", "14", reason="fell"), at=MADE_AT + 3 * DAY)
    record = house.store.lots.get("AL-0310")
    now = {stay.room: (stay.racks, stay.share) for stay in record.rooms if stay.end is None}
    assert now == {"D1": (("2",), 0.5), "D2": (("1",), 0.5)}
    assert alder().product == record.product


def test_a_customers_name_is_erased_and_the_chain_stays_whole(house: House) -> None:
    """The journal holds the id alone; once its erasure is stated nothing of the name is left."""
    parties_job.keep_name(house, "cust-1", "Venn Cross Larder", "3 Market Row")
    assert house.store.secrets.contacts()["cust-1"] == "Venn Cross Larder"
    stored(house, parties.PartyNameErased("cust-1", "asked for it"), at=MADE_AT + DAY)
    assert "cust-1" not in house.store.secrets.contacts()
    assert house.store.verify().whole
    assert not any(b"Larder" in entry.body for entry in house.store.entries(limit=500))
    with pytest.raises(UnknownName, match="cust-1"):
        parties_job.keep_name(house, "cust-2", "Somebody")
