"""What the five families promise: their oddity, conservation, reproducible seeds, honest records."""

from __future__ import annotations

import ast
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest
from tests.truth import families
from tests.truth.families import FAMILIES, make_lots, time_grid
from tests.truth.houses import PIECES, draw_lot, practice_days
from tests.truth.known import KnownLot, Lot
from tests.truth.laws import moisture_exponential, obstruction
from tests.truth.rooms import hang, logged, true_room

TRUTH = Path(families.__file__).parent
FEW = 8


@lru_cache(maxsize=8)
def _lots(name: str) -> list[Lot]:
    return make_lots(name, FEW, 1)


def test_the_truth_imports_nothing_of_the_package() -> None:
    """It was there first, and an engine can't be graded by its own equations."""
    for file in TRUTH.glob("*.py"):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
            names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            assert not any(name.split(".")[0] == "saltloft" for name in names), file.name


@pytest.mark.parametrize("name", FAMILIES)
def test_mass_is_kept_in_every_piece_on_every_day(name: str) -> None:
    """Weight lost is water gone; water left and gone make what was there; salt stays; some water is left."""
    for lot in _lots(name):
        truth = lot.truth
        assert abs(truth.weight_kg[0] - truth.weight_kg - truth.evaporated_kg).max() < 1e-12
        assert abs(truth.water_kg + truth.evaporated_kg - truth.water_kg[0]).max() < 1e-12
        assert abs(truth.salt_kg - truth.salt_kg[0]).max() < 1e-12
        assert truth.water_kg.min() > 0.0
        assert truth.weight_kg.shape == (len(truth.day), PIECES)


@pytest.mark.parametrize("name", FAMILIES)
def test_days_to_the_target_are_those_of_practice(name: str) -> None:
    """Median against 30 d at 50 mm times (d/50)^1.65 (memory, computed), a third about it."""
    lots = _lots(name)
    ratio = [lot.truth.target_day / practice_days(np.array(lot.known.calibre_m)) for lot in lots]
    assert 0.7 < float(np.median(ratio)) < 1.4
    assert sum(np.isinf(ratio)) <= 1


def test_target_day_is_where_the_lots_own_loss_is_the_target() -> None:
    """Straight between the whole days around it, the lot's loss is the target."""
    for lot in _lots("moving_racks"):
        at = np.interp(lot.truth.target_day, lot.truth.day, lot.truth.lot_loss())
        if np.isfinite(lot.truth.target_day):
            assert at == pytest.approx(lot.known.target_loss, abs=6e-4)


def test_the_square_root_family_is_exactly_that() -> None:
    """Every piece's loss over the square root of time is one number, and the target day follows from it."""
    for lot in _lots("square_root"):
        loss = 1.0 - lot.truth.weight_kg / lot.truth.weight_kg[0]
        slope = loss[1:] / np.sqrt(lot.truth.day[1:])[:, None]
        np.testing.assert_allclose(slope, slope[:1].repeat(len(slope), axis=0), rtol=1e-10)
        mean = lot.truth.lot_loss()[1]
        assert lot.truth.target_day == pytest.approx((lot.known.target_loss / mean) ** 2, rel=1e-9)
        assert lot.truth.followed_d <= lot.truth.horizon_d


@pytest.mark.parametrize("name", ["two_compartments", "square_root"])
def test_a_lot_hangs_on_its_seed_and_number_only(name: str) -> None:
    """The same seed gives the same bytes, alone or among more lots; another seed gives others."""
    again, alone = make_lots(name, FEW, 1), make_lots(name, 3, 1)
    for one, two in [*zip(_lots(name), again, strict=True), *zip(_lots(name), alone, strict=False)]:
        assert one.truth.weight_kg.shape == two.truth.weight_kg.shape
        assert one.truth.weight_kg.tobytes() == two.truth.weight_kg.tobytes()
        assert one.known.log.relative_humidity.tobytes() == two.known.log.relative_humidity.tobytes()
        assert one.known.weighings.weight_kg.tobytes() == two.known.weighings.weight_kg.tobytes()
    assert make_lots(name, 1, 2)[0].truth.target_day != _lots(name)[0].truth.target_day


@pytest.mark.parametrize("name", FAMILIES)
def test_the_house_knows_only_what_a_house_can(name: str) -> None:
    """Weights in steps of the scale, records in time order, two weighings by day 3, no word of the family."""
    for lot in _lots(name):
        known = lot.known
        steps = known.weighings.weight_kg / known.scale_division_kg
        assert np.nanmax(abs(steps - np.round(steps))) < 1e-6
        assert (np.diff(known.weighings.time_d) > 0).all()
        assert (np.diff(known.log.time_d) > 0).all()
        assert known.log.time_d[0] == 0.0
        assert (known.weighings.time_d <= 3.0).sum() >= 2
        assert not any(isinstance(value, str) and value in FAMILIES for value in vars(known).values())
        loss = known.mean_loss()[1]
        assert (loss[:-1] < known.target_loss).all(), "the house goes on weighing after it sold the lot"
        assert 0.030 <= known.calibre_m <= 0.095
        assert 0.18 <= known.fat <= 0.35


def test_as_of_leaves_nothing_from_later() -> None:
    """Log, weighings and moves end at the as-of day; the plan stays."""
    known: KnownLot = _lots("moving_racks")[0].known
    cut = known.as_of(7.0)
    assert cut.log.time_d[-1] <= 7.0 < known.log.time_d[-1]
    assert cut.weighings.time_d[-1] <= 7.0
    assert all(move.time_d <= 7.0 for move in cut.moves)
    assert cut.stages == known.stages


def test_the_other_law_is_another_law() -> None:
    """Fresh batter is slower than at 2 kg/kg, where obstruction has it faster, and dry rims differ too."""
    one, fat = np.ones(1), np.full(1, 0.3)
    ours, theirs = moisture_exponential(one, 4.0 * one, 0.95 * one), obstruction(one, 1.7 * one, 0.25 * one)
    water = np.array([3.3, 2.0, 0.3])[:, None]
    a, b = ours(water, fat)[:, 0], theirs(water, fat)[:, 0]
    assert a[0] / a[1] < 0.95 < b[0] / b[1]
    assert abs(np.log(a[2] / a[1] * b[1] / b[2])) > 0.15


def test_places_matter_and_racks_change_them() -> None:
    """Racks stand elsewhere after a swap, a piece's air goes with its place, the house notes some of it."""
    draw = draw_lot(1, FAMILIES["moving_racks"].number, 0)
    room, places = true_room(draw, 90, False), hang(draw, 90, True)
    edges = time_grid(90)
    moving = families.piece_air(FAMILIES["moving_racks"], [draw], [room], [places], edges)
    plain = families.piece_air(FAMILIES["two_compartments"], [draw], [room], [places], edges)
    days = np.floor(edges[:-1] + 1e-9).astype(int)
    place, home = places.place[days], draw.house.place_humidity
    dry = (moving.relative_humidity[:, :2] < 0.98).all(axis=1)  # nearer to saturation the air is capped
    assert dry.mean() > 0.9
    wetter = (moving.relative_humidity[:, 0] - moving.relative_humidity[:, 1])[dry]
    by_place = (home[place[:, 0]] - home[place[:, 1]])[dry]
    np.testing.assert_allclose(wetter, 2.5 * by_place, atol=1e-12)
    assert len(set(np.round(wetter, 9))) > 3
    usual = (plain.relative_humidity[:, 0] - plain.relative_humidity[:, 1])[dry]
    np.testing.assert_allclose(usual, by_place, atol=1e-12)
    swaps = {float(d) for d in range(1, 90) if (places.place[d] != places.place[d - 1]).any()}
    noted = {move.time_d for move in places.moves} - {0.0}
    assert noted
    assert noted <= swaps
    assert len({tuple(row) for row in hang(draw, 90, False).place}) == 1


def test_the_probe_drifts_and_the_fans_stop_unlogged() -> None:
    """Logged minus true grows by the drift; the log with and without stops is the same air."""
    for number in range(4):
        draw = draw_lot(3, FAMILIES["drifted_probe"].number, number)
        room = true_room(draw, 80, True)
        log = logged(draw, room, True)
        hours = np.arange(len(room.relative_humidity)) / 24.0
        error = log.relative_humidity - np.interp(log.time_d, hours, room.relative_humidity)
        calendar = np.mod(draw.start_day + log.time_d, 182.0)
        slope, bias = np.polyfit(calendar, error, 1)
        assert slope == pytest.approx(draw.house.probe_drift_per_d, abs=2e-5)
        assert bias == pytest.approx(draw.house.probe_humidity, abs=2e-3)
        stopped = room.exchange < 1.0
        assert 0.005 < stopped.mean() < 0.4
        assert (room.air_m_s[stopped] < 0.05).all()


@pytest.mark.long
@pytest.mark.parametrize("name", FAMILIES)
def test_full_size_families_keep_to_practice_by_calibre(name: str) -> None:
    """200 lots: the median within a fifth of practice, each size class within 0.7 to 1.4, few never ready.

    A class is ten products of ten houses, whose rooms and recipes differ by 30 %: its median has a
    standard error of a tenth.
    """
    lots = make_lots(name, 200, 101)
    ratio = np.array([lot.truth.target_day / practice_days(np.array(lot.known.calibre_m)) for lot in lots])
    assert 0.8 < np.median(ratio) < 1.25
    for size in range(4):
        assert 0.7 < np.median(ratio[np.arange(200) % 4 == size]) < 1.4
    assert np.isinf(ratio).mean() <= 0.04
