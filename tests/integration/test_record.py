"""Taking entries in: what is refused, what is asked about, who may state what."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from tests.small_house import (
    BY,
    MADE_AT,
    NOW,
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

from saltloft.foundation.units import mass
from saltloft.house import House
from saltloft.jobs import record
from saltloft.plant import hams, lots, people, readings, recipes, stock
from saltloft.plant.permit import ReleasePermit
from saltloft.plant.stated import Stamp

PH = readings.PhRead("AL-0310", (Decimal("5.31"),), "core", "pH-A")
DAY = timedelta(days=1)

pytestmark = pytest.mark.usefixtures("either_database")


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> House:
    """One house for all refusals: they change nothing."""
    made = with_lot(tmp_path_factory.mktemp("record") / "house")
    stored(
        made, stock.MaterialReceived("BAD-1", "lean trim", "s-01", mass("90", "kg"), "refused", note="8 degC")
    )
    stored(made, hams.HamGroupSalted("OK-0310", "oak-9", 60, mass("756", "kg"), ("LEG-1",), None, "H1", 13))
    return made


REFUSED: list[tuple[Any, str]] = [
    (lots.LotHung("AL-0301", "D2"), "AL-0310"),
    (lots.LotHung("AL-0310", "D3"), "D2"),
    (lots.LotHung("AL-0310", ""), "D2"),
    (replace(PH, instrument="pH-B"), "pH-A"),
    (replace(PH, instrument="S1"), "does not measure that"),
    (replace(PH, values=(Decimal(55),)), "did you mean 5.5"),
    (weighing("1500"), "heavier than its whole lot"),
    (lot_made(), "exists already"),
    (replace(lot_made("AL-0401"), product="aldar"), "alder"),
    (replace(lot_made("AL-0401"), product="bramble"), "not made that way"),
    (replace(lot_made("AL-0401"), recipe="alder-9"), "alder-1"),
    (
        replace(lot_made("AL-0401"), consumed=(lots.Consumed("LT-2", "lean trim", mass("1300", "kg")),)),
        "LT-1",
    ),
    (
        replace(lot_made("AL-0401"), consumed=(lots.Consumed("BAD-1", "lean trim", mass("1300", "kg")),)),
        "refused at the door",
    ),
    (lots.FreshChilled("AL-0310", Decimal(2)), "not of that kind"),
    (lots.LotYielded("AL-0310", mass("1400", "kg"), "pack"), "more than AL-0310 weighed green"),
    (hams.HamGroupSaltedOut("OK-0310", mass("900", "kg"), "H1"), "weighed green"),
    (hams.HamGroupWeighed("OK-0310", mass("700", "kg"), 61), "more legs"),
    (lots.LotDispatched("AL-0310", mass("1400", "kg")), "more than came of"),
    (lots.HoldLifted("AL-0310", "no-such-hold", "done"), "no open hold"),
    (lots.LotHeld("AL-0310", " "), "needs a reason"),
    (lots.LotReleased("AL-0310", "us", "0" * 64), "after every hazard was asked"),
    (lots.LotReleased("AL-0310", "eu", "0" * 64), "does not sell there"),
    (replace(alder(), plan=recipes.PlanStep(signed_by="maren")), "signed by a quality person"),
    (replace(alder(), hazards=(recipes.Hazard("trichinella", "no pork"),)), "signed by a quality person"),
    (readings.CheckDone("round", 1, room="D9"), "D2"),
    (people.FactConfirmed("degree_hours.us", "1986", "0" * 64, demo=1), "belongs in the demo house"),
    (readings.DocumentRecorded("x", "1", "2026-01-01", "y", covers_lots=("AL-0999",)), "AL-0310"),
    (readings.DocumentRecorded("x", "1", "2026-01-01", "y", covers_products=("elder",)), "alder"),
    (readings.ReadingsVoided("b-1", "wrong"), "no batch"),
    (readings.ReadingsSealed("b-1", "f", "0" * 64, 1, "0" * 64, ("D2/rh_pct",), "", ""), "import"),
    (people.HouseSetUp("Test house", "UTC", "metric", (), demo=1), "real house never becomes one"),
    (correction("no-such-entry", None), "no entry of that number"),
]


@pytest.mark.parametrize(("payload", "words"), REFUSED, ids=[type(one[0]).__name__ for one in REFUSED])
def test_it_is_refused_and_nothing_is_written(house: House, payload: Any, words: str) -> None:
    """The receipt says what was wrong and what would have been taken; the head stays where it was."""
    before = house.store.head()
    receipt = enter(house, payload, at=MADE_AT + DAY, by=QUALITY)[0]
    assert receipt.status == "refused"
    assert words in f"{receipt.words} {receipt.allowed}"
    assert house.store.head() == before


@pytest.mark.parametrize(
    ("at", "words"),
    [
        (NOW + timedelta(minutes=10), "in the future"),
        (MADE_AT - timedelta(minutes=1), "before AL-0310 was made"),
        (datetime(1980, 1, 1, tzinfo=UTC), "too long ago"),
        (datetime(2026, 3, 12, 6), "time zone"),  # noqa: DTZ001 - the point of the test
    ],
)
def test_an_impossible_time_is_refused(house: House, at: datetime, words: str) -> None:
    """The future, the time before the lot, another century, a time without a zone."""
    receipt = record.enter(house, BY, [replace(draft(weighing("1.05")), happened_at=at)])[0]
    assert receipt.status == "refused"
    assert words in receipt.words


def test_a_phone_a_little_ahead_is_taken(tmp_path: Path) -> None:
    """A clock three minutes fast is no reason to lose a weighing."""
    assert (
        enter(with_lot(tmp_path / "h"), weighing("0.7"), at=NOW + timedelta(minutes=3))[0].status == "stored"
    )


@pytest.mark.parametrize(
    ("person", "payload", "status"),
    [
        ("besnik", weighing("1.00"), "stored"),
        ("besnik", alder(), "refused"),
        ("aude", weighing("1.00"), "refused"),
        ("maren", people.FactConfirmed("k", "1", "0" * 64), "refused"),
        ("ilo", people.FactConfirmed("k", "1", "0" * 64), "stored"),
        ("maren", people.PersonAdded("new", "curer"), "refused"),
        ("nobody", weighing("1.00"), "refused"),
    ],
)
def test_who_may_state_what(tmp_path: Path, person: str, payload: Any, status: str) -> None:
    """Roles: a room hand weighs, quality signs, an auditor and a stranger change nothing."""
    receipt = enter(with_lot(tmp_path / "h"), payload, at=MADE_AT + DAY, by=Stamp(person, "phone", NOW))[0]
    assert receipt.status == status


def test_an_unexpected_weight_is_asked_about_and_kept_when_told_so(tmp_path: Path) -> None:
    """10.4 after 1.05 is asked about; sent again with kept=1 under the same id it is stored as typed."""
    house = with_lot(tmp_path / "h")
    stored(house, weighing("1.05", green=1))
    slip = draft(weighing("10.4"), MADE_AT + DAY)
    asked = record.enter(house, BY, [slip])[0]
    assert asked.status == "ask"
    assert asked.words == "10.40 kg? The last was 1.05 kg. Keep it, or mend it."
    assert len(house.store.lots.get("AL-0310").weighings) == 1
    kept = record.enter(house, BY, [replace(slip, payload=weighing("10.4", kept=1))])[0]
    assert kept.status == "stored"
    mended = record.enter(
        house, BY, [draft(correction(slip.id, weighing("1.04"), "decimal slip"), MADE_AT + DAY)]
    )[0]
    assert mended.status == "stored"
    last = house.store.lots.get("AL-0310").weighings[-1]
    assert (last.payload.mass.number, last.original.mass.number) == ("1.04", "10.4")


def test_a_correction_counts_and_the_old_value_stays_visible(tmp_path: Path) -> None:
    """What counts, what was first said, who corrected it and why are all read back."""
    house = with_lot(tmp_path / "h")
    first = draft(weighing("1.05"), MADE_AT + DAY)
    record.enter(house, Stamp("besnik", "phone", MADE_AT + DAY), [first])
    right = correction(first.id, weighing("1.03"), "read the wrong line")
    record.enter(house, Stamp("maren", "tablet", MADE_AT + 2 * DAY), [draft(right, MADE_AT + 2 * DAY)])
    now = house.store.lots.get("AL-0310").weighings[0]
    assert now.payload.mass.number == "1.03"
    assert now.original.mass.number == "1.05"
    assert now.corrected
    assert not now.struck
    assert (now.corrections[0].person, now.corrections[0].reason) == ("maren", "read the wrong line")
    assert len(now.entry_ids) == 2


def test_striking_an_entry_out_and_correcting_again(tmp_path: Path) -> None:
    """A second correction of the first entry counts; struck out it counts no more but stays to be seen."""
    house = with_lot(tmp_path / "h")
    first = stored(house, weighing("1.05"), at=MADE_AT + DAY)[0].entry_id
    stored(house, correction(first, weighing("1.03")), correction(first, weighing("1.02")), at=MADE_AT + DAY)
    assert house.store.lots.get("AL-0310").weighings[0].payload.mass.number == "1.02"
    stored(house, correction(first, None, "not this lot"), at=MADE_AT + DAY)
    lot = house.store.lots.get("AL-0310")
    assert lot.weighings == ()
    assert [item.struck for item in lot.history if item.entry_id == first] == [True]
    one = house.store.entry(first)
    assert one is not None
    assert len(one.corrections) == 3


def test_corrections_that_are_refused(tmp_path: Path) -> None:
    """Another lot, another kind, impossible values, a correction itself, holds, lots in use, no reason."""
    house = with_lot(tmp_path / "h")
    weighed = stored(house, weighing("1.05"))[0].entry_id
    held = stored(house, lots.LotHeld("AL-0310", "x"))[0].entry_id
    corrected = stored(house, correction(weighed, weighing("1.04")))[0].entry_id
    stored(house, lot_made("AL-0401"))
    made = house.store.lots.get("AL-0310").made.entry_id
    for said, words in (
        (correction(weighed, weighing("1.05", lot="AL-0401")), "stays with the same lot"),
        (correction(weighed, PH), "of another kind"),
        (correction(weighed, weighing("1.05", pieces=3)), "tagged"),
        (correction(weighed, replace(weighing("1.05"), instrument="S9")), "S1"),
        (correction(made, replace(lot_made(), recipe="alder-9")), "alder-1"),
        (correction(corrected, weighing("1.03")), "not corrected itself"),
        (correction(held, None), "not struck out"),
        (replace(correction(made, None), kind="lot.made/1"), "while other entries speak of it"),
        (correction(weighed, weighing("1.03"), " "), "needs its reason"),
    ):
        receipt = enter(house, said)[0]
        assert (receipt.status, words in receipt.words + receipt.allowed) == ("refused", True), receipt
    receipt = enter(house, correction(weighed, None), by=Stamp("aude", "office", NOW))[0]
    assert receipt.status == "refused"
    mended = enter(house, correction(made, replace(lot_made(), pieces=1300)))[0]
    assert mended.status == "stored"
    assert house.store.lots.get("AL-0310").pieces == 1300


def test_a_release_needs_a_permit_that_fits(tmp_path: Path) -> None:
    """The permit of the release job fits lot, market, digest and signer, and nothing was stated since."""
    house = with_lot(tmp_path / "h")
    seen = house.store.lots.get("AL-0310").last_seq
    permit = ReleasePermit("AL-0310", "us", "a" * 64, "ilo", NOW, seen)
    said = lots.LotReleased("AL-0310", "us", "a" * 64)

    def ask(*permits: ReleasePermit, payload: Any = said) -> str:
        return record.enter(house, QUALITY, [draft(payload, NOW)], permits=permits)[0].status

    assert ask() == "refused"
    assert ask(replace(permit, market="ca")) == "refused"
    assert ask(replace(permit, verdict_digest="b" * 64)) == "refused"
    assert ask(replace(permit, person="maren")) == "refused"
    assert ask(replace(permit, lot="AL-0311")) == "refused"
    stored(house, weighing("0.7"), at=NOW)
    assert ask(permit) == "refused"
    now = replace(permit, seen=house.store.lots.get("AL-0310").last_seq)
    assert ask(now) == "stored"
    assert house.store.lots.get("AL-0310").state == "released"
    release = house.store.lots.get("AL-0310").release
    assert release is not None
    changed = correction(release.entry_id, lots.LotReleased("AL-0310", "ca", "a" * 64))
    assert enter(house, changed, by=QUALITY)[0].status == "refused"


def test_a_held_lot_is_not_released_and_does_not_leave(tmp_path: Path) -> None:
    """Whatever permit there is; once lifted, goods that leave unreleased are recorded and marked so."""
    house = with_lot(tmp_path / "h")
    hold = stored(house, lots.LotHeld("AL-0310", "swab", "result"), at=NOW)[0]
    permit = ReleasePermit("AL-0310", "us", "a" * 64, "ilo", NOW, hold.seq)
    said = lots.LotReleased("AL-0310", "us", "a" * 64)
    assert record.enter(house, QUALITY, [draft(said, NOW)], permits=[permit])[0].status == "refused"
    leaves = lots.LotDispatched("AL-0310", mass("100", "kg"), "c-1")
    refused = enter(house, leaves, at=NOW)[0]
    assert refused.status == "refused"
    assert "swab" in refused.words
    stored(house, lots.HoldLifted("AL-0310", hold.entry_id, "negative"), at=NOW, by=QUALITY)
    left = enter(house, leaves, at=NOW)[0]
    assert left.status == "stored"
    assert "not signed out" in left.words


def test_only_the_demo_house_takes_entries_as_recorded_at_another_time(tmp_path: Path) -> None:
    """A year of demo records keeps its own times; a real house records when the entry comes in."""
    early = replace(draft(weighing("1.05")), recorded_at=MADE_AT)
    for demo, status in ((False, "refused"), (True, "stored")):
        house = with_lot(tmp_path / f"h{demo}", demo=demo)
        assert record.enter(house, BY, [early])[0].status == status


def test_what_was_recorded_later_is_unknown_before(tmp_path: Path) -> None:
    """asof cuts by the time of recording: weighings, corrections and holds that came later are not there."""
    house = with_lot(tmp_path / "h", demo=True)
    first = draft(weighing("1.05"), MADE_AT, recorded_at=MADE_AT + DAY)
    later = draft(correction(first.id, weighing("1.03")), MADE_AT, recorded_at=MADE_AT + 3 * DAY)
    moved = draft(lots.LotMoved("AL-0310", "F2"), MADE_AT + DAY, recorded_at=MADE_AT + 4 * DAY)
    made = [one.entry_id for one in house.store.lots.get("AL-0310").history]
    assert len(made) == 2
    lot = replace(draft(lot_made("AL-0402")), recorded_at=MADE_AT)
    early = [lot, *(replace(one, payload=one.payload) for one in (first, later, moved))]
    assert {one.status for one in record.enter(house, BY, early)} == {"stored"}
    assert house.store.lots.get("AL-0402", asof=MADE_AT + DAY).lot == "AL-0402"
    # AL-0310 itself was recorded at NOW, so nothing is known of it before.
    assert house.store.lots.find("AL-0310", asof=MADE_AT + DAY) is None
    assert house.store.lots.get("AL-0310", asof=NOW).weighings[0].payload.mass.number == "1.03"


def test_what_an_earlier_version_wrote_may_come_again(tmp_path: Path) -> None:
    """A device resends an entry that was taken in before the program was brought up: nothing is added."""
    from saltloft.plant.canonical import canonical_bytes
    from saltloft.plant.earlier import PressedAndCut1
    from saltloft.plant.entries import decode, encode
    from saltloft.store import writing
    from saltloft.store.journal import NewEntry

    house = with_lot(tmp_path / "house")
    old, at = PressedAndCut1("AL-0310", (3, 3, 4), Decimal("1.5"), good=1), MADE_AT + timedelta(days=20)
    body = canonical_bytes(encode(old))
    entry = NewEntry(
        "e-of-version-1", "lot.pressed_and_cut/1", "AL-0310", body, at, at, "maren", "tablet", None
    )
    house.store.write(lambda connection: writing.append(connection, [entry]))
    (cut,) = house.store.lots.get("AL-0310").pressed_and_cut
    assert (cut.kind, cut.payload.rim_mm, cut.payload.ring) == ("lot.pressed_and_cut/1", Decimal("1.5"), -1)
    again = decode("lot.pressed_and_cut/1", encode(old))
    sent = Stamp("maren", "tablet", NOW)
    receipt = record.enter(house, sent, [draft(again, at, id="e-of-version-1")])[0]
    assert receipt.status == "already"
    other = replace(again, press=(5, 5, 5))
    refused = record.enter(house, sent, [draft(other, at, id="e-of-version-1")])[0]
    assert refused.status == "refused"
    assert house.store.verify().whole
