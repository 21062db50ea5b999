"""The invented house built from its packed files, through the jobs every house uses."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from saltloft.cases.yields import lot_facts
from saltloft.cli.demo_house import DemoBuilt, build_demo_house, read_demo_files
from saltloft.foundation.errors import InputError
from saltloft.foundation.units import mass
from saltloft.house import House
from saltloft.jobs import balance, record
from saltloft.plant.lots import Consumed, FreshMade
from saltloft.plant.stated import Draft, Stamp

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from demo.build import SHIPPED_SEED, write_files  # noqa: E402
from demo.clock import START, STEP_SECONDS, TODAY  # noqa: E402
from demo.house import ROOM_INDEX  # noqa: E402
from demo.records import flow  # noqa: E402
from demo.truth.year import Year, simulate  # noqa: E402


@pytest.fixture(scope="module")
def year() -> Year:
    return simulate(SHIPPED_SEED)


@pytest.fixture(scope="module")
def built(year: Year, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, DemoBuilt]:
    place = tmp_path_factory.mktemp("built")
    write_files(SHIPPED_SEED, year, place / "files")
    return place / "house", build_demo_house(
        place / "house", read_demo_files(place / "files"), lambda _: None
    )


@pytest.fixture(scope="module")
def house(built: tuple[Path, DemoBuilt]) -> Iterator[House]:
    with House.open(built[0]) as opened:
        yield opened


def test_every_record_and_file_was_taken(built: tuple[Path, DemoBuilt], house: House) -> None:
    """No entry refused, no file asked about, and the chain over all of it holds."""
    folder, told = built
    assert told.files == 132
    assert told.entries > 25_000
    assert not list(folder.parent.glob(".saltloft-demo-*"))
    head = house.store.head()
    assert head is not None
    # Two entries of the opening, what was entered, and one seal a file.
    assert head.seq == told.entries + 2 + told.files


def test_the_house_takes_its_own_moment_as_now(house: House) -> None:
    """Tuesday 3 November 2026, 06:00 in the house's zone; marked as invented."""
    assert house.demo
    assert f"{house.now().astimezone(house.zone):%A %d %B %Y %H:%M}" == "Tuesday 03 November 2026 06:00"
    assert {person.name for person in house.store.people.all()} >= {"Maren Dvorin", "Ilo Hastrand"}


def test_past_lots_were_signed_out_and_todays_hang(
    built: tuple[Path, DemoBuilt], house: House, year: Year
) -> None:
    """What hangs is what hangs in the truth; most finished lots were signed out by the release job."""
    hanging = {lot.lot for lot in house.store.lots.hanging() if lot.family == "dry_sausage"}
    assert hanging == {life.plan.name for life in year.lots if life.plan.made_at < TODAY < life.ended_at}
    assert len(built[1].released) > 100
    assert not hanging & set(built[1].released)
    for lot in built[1].refused:
        assert not house.store.lots.get(lot).dispatches


@pytest.mark.parametrize(
    ("room", "logger"),
    [("F1", ""), ("F2", ""), ("D2", ""), ("A1", ""), ("H3", ""), ("D1", "L08"), ("F2", "L07")],
)
def test_readings_follow_the_true_air(house: House, year: Year, room: str, logger: str) -> None:
    """The reader's time, unit and order against the truth's own clock: degC within the sensor's error.

    Over the whole year the misfit without the sensor's bias is under 0.2 degC, and shifting the readings
    by an hour makes it worse.
    """
    start, end = START, datetime(2026, 11, 3, 5, tzinfo=UTC)
    times, values = house.store.readings.trace(room, "temperature_c", start, end, logger=logger)
    assert times.size > 50_000

    def misfit(shift_s: int) -> float:
        index = (times - int(START.timestamp()) + shift_s) / STEP_SECONDS
        true = np.interp(index, np.arange(len(year.air.rh)), year.air.temperature_c[:, ROOM_INDEX[room]])
        return float(np.sqrt(np.mean((values - np.mean(values - true) - true) ** 2)))

    assert misfit(0) < 0.2
    assert misfit(0) < min(misfit(3600), misfit(-3600))


def test_unconfirmed_rules_are_confirmed_for_the_invented_house_only(house: House) -> None:
    """Every unconfirmed row of the three rule topics, each marked as a demo confirmation."""
    said = [item.payload for item in house.store.confirmations.all()]
    topics = ("degree_hours", "shelf_stability", "moisture_protein")
    open_rows = {
        key for topic in topics for key in house.facts.keys(topic) if not house.facts.confirmed_by_source(key)
    }
    assert {one.fact for one in said} == open_rows
    assert len(open_rows) > 20
    assert all(one.demo and "not read" in one.edition for one in said)


def test_a_folder_with_something_in_it_is_left_alone(tmp_path: Path) -> None:
    """Nothing of another folder is touched."""
    (tmp_path / "mine.txt").write_text("mine", encoding="utf-8")
    files = read_demo_files(_smallest(tmp_path.parent / "few"))
    with pytest.raises(InputError, match="empty folder"):
        build_demo_house(tmp_path, files, lambda _: None)
    assert [path.name for path in tmp_path.iterdir()] == ["mine.txt"]


def test_missing_files_are_named(tmp_path: Path) -> None:
    """A source folder without generated files says how to make them."""
    with pytest.raises(InputError, match="scripts/demo"):
        read_demo_files(tmp_path)


def _smallest(folder: Path) -> Path:
    import lzma

    folder.mkdir()
    (folder / "manifest.json").write_text("{}", encoding="utf-8")
    (folder / "records.jsonl.xz").write_bytes(lzma.compress(b""))
    return folder


def test_the_mass_of_the_year_closes_to_the_milligram(house: House) -> None:
    """What came in is left, hangs, dried away, was lost, thrown away or delivered; no term out of range."""
    found = balance.house_balance(house)
    assert found.rest_mg == 0
    assert [node.node for node in found.nodes if node.rest_mg] == []
    assert [(node.node, term.name) for node in found.open_nodes for term in node.open_terms] == []
    assert set(found.terms_mg) == {
        *("line", "dried", "hangs", "shelf", "slicing", "packing", "counted", "delivered", "gone")
    }
    assert found.terms_mg["counted"] == 0  # the spice shelf was counted, and held what the book said
    assert found.received_mg > 250_000_000_000
    # Eleven digits of milligrams are added up: one milligram less received would show.
    assert found.received_mg == sum(found.terms_mg.values())


def test_what_some_lots_should_give_is_what_it_is_among_all(house: House) -> None:
    """Asked for a few lots, their yields are read without the house's other weighings, to the same bands."""
    every = lot_facts(house, house.store.flow.links())
    assert len(every) > 380
    some = sorted(every)[::3]
    assert lot_facts(house, house.store.trace.taken_aside(), [*some, "no-such-lot"]) == {
        lot: every[lot] for lot in some
    }
    grounds = {found.expected.words.split()[0] for found in every.values() if found.expected is not None}
    # Its target loss, its own pieces, what so many finished lots gave: every ground occurs.
    assert grounds == {"its", "what"}
    assert {lot for lot in some if (band := every[lot].expected) and band.words.startswith("what")}
    courses = {course.lot: course for course in house.store.lot_courses.all()}
    for lot in house.store.lots.all():
        course = courses.pop(lot.lot)
        assert (course.green_mass, course.hanging, course.state, course.product, course.yields) == (
            (lot.green_mass, lot.hanging, lot.state, lot.product, lot.yields)
        )
    assert courses == {}


def test_rework_goes_two_batches_deep_and_a_split_lot_came_together_again(house: House) -> None:
    """Ends of a Rowan in a Hazel, of that one in a later one; 60 to 40 over two rooms, merged, signed out."""
    depth, front = 0, {f"{flow.REWORKED_LOT}/ends"}
    while front := {link.lot for source in front for link in house.store.lots.links(source=source)}:
        depth += 1
        front = {f"{lot}/ends" for lot in front if house.store.lots.find(lot) is not None}
    assert depth == 2
    whole = house.store.lots.get(flow.SPLIT_LOT)
    parts = [house.store.lots.get(f"{flow.SPLIT_LOT}-{letter}") for letter in "AB"]
    merged = house.store.lots.get(f"{flow.SPLIT_LOT}-C")
    assert sum(part.green_mass.mg for part in parts) == whole.green_mass.mg == merged.green_mass.mg
    assert [round(part.green_mass.mg / whole.green_mass.mg, 6) for part in parts] == [0.6, 0.4]
    assert {stay.room for stay in merged.rooms} == {"F1", "D1", "D2"}
    assert merged.release is not None
    assert merged.made_at == whole.made_at


def test_ends_with_nitrite_are_refused_in_fresh_sausage(house: House) -> None:
    """Somebody tries to book 12 kg of ends of a cured lot into Bramble; nothing is stored."""
    left = house.store.flow.left_mg(("sink",))
    ends = next(name for name, mg in sorted(left.items()) if name.endswith("/ends") and mg > 12_000_000)
    used = (Consumed(ends, "rework", mass("12", "kg")),)
    fresh = FreshMade("BR-1103", "bramble", "bramble-1", used, mass("12", "kg"))
    stamp = Stamp("maren", "tablet-make", house.now())
    receipt = record.enter(house, stamp, [Draft(house.new_id(), fresh, house.now())])[0]
    assert (receipt.status, "carries nitrite of" in receipt.words) == ("refused", True)
