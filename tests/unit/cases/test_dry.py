"""Case files for drying: what is taken, and what is refused with key, line and range."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.drying_cases import parameters

from saltloft.cases.dry import read_dry
from saltloft.foundation.errors import InputError, UnknownName

GOOD = """format = 1
title = "full"
[piece]
diameter_mm = [50, 58]
length_mm = 470
fat_pct = 25
salt_pct = 2.7
other_solutes_mol_kg = 0.33
sugar_g_kg = 5
casing = "collagen"
mould = true
[[stage]]
name = "fermentation"
duration_h = 60
temperature_c = 22
rh_pct = 92
air_m_s = 0.3
ph_end = 4.9
[[stage]]
name = "drying"
duration_d = 60
until_weight_loss_pct = 30
temperature_c = 14
rh_pct = [75, 85]
air_m_s = [0.05, 0.3]
[[stage]]
name = "in the bag"
duration_d = 5
temperature_c = 4
packed = true
[target]
weight_loss_pct = 35
moisture_protein = 1.9
water_activity = 0.90
water_activity_core = 0.92
[ensemble]
members = 40
seed = 7
[[weighing]]
day = 7
weight_loss_pct = 14.2
pieces = 6
[[weighing]]
day = 9
weight_loss_pct = 17.0
tag = "14"
spread_pct = 0.4
division_g = 5
"""
SMALL = "[piece]\ndiameter_mm = 50\n[[stage]]\nduration_d = 30\ntemperature_c = 14\nrh_pct = 78\n"


def _file(folder: Path, text: str) -> Path:
    path = folder / "case.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_full_case_is_read(tmp_path: Path) -> None:
    """Every key of the documented example lands where it belongs, in SI."""
    case = read_dry(_file(tmp_path, GOOD), parameters())
    assert (case.piece.diameter_m.low, case.piece.diameter_m.high) == pytest.approx((0.050, 0.058))
    assert case.piece.length_m is not None
    assert case.piece.length_m.low == pytest.approx(0.47)
    assert case.piece.casing == "collagen"
    assert case.piece.mould
    assert case.piece.sugar is not None
    assert case.piece.sugar.low == pytest.approx(0.005)
    first, second, third = case.programme.stages
    assert first.duration_d.low == pytest.approx(2.5)
    assert first.ph_end is not None
    assert second.relative_humidity.high == pytest.approx(0.85)
    assert second.until_weight_loss == pytest.approx(0.30)
    assert third.packed
    assert case.targets == {
        "weight_loss_pct": 35.0,
        "moisture_protein": 1.9,
        "water_activity": 0.90,
        "water_activity_core": 0.92,
    }
    assert (case.members, case.seed) == (40, 7)
    assert case.weighings[0].weight_loss == pytest.approx(0.142)
    assert case.weighings[1].tag == "14"
    assert case.weighings[1].spread == pytest.approx(0.004)
    # A 54 mm piece of 470 mm weighs about 1.13 kg, so 5 g are half a per cent.
    assert case.weighings[1].green_kg == pytest.approx(1.13, abs=0.01)


def test_the_smallest_case(tmp_path: Path) -> None:
    """Diameter and one stage are enough; the rest are defaults from the fact rows."""
    case = read_dry(_file(tmp_path, SMALL), parameters())
    assert case.piece.fat is None
    assert case.programme.stages[0].air_m_s.low == parameters().default_air_m_s
    assert case.programme.set_points_only
    assert (case.members, case.seed) == (400, 1)


@pytest.mark.parametrize(
    ("old", "new", "key", "line"),
    [
        ("fat_pct = 25", "fat_pct = 130", "piece.fat_pct", 6),
        ("rh_pct = 92", "rh_pct = 1.2", "stage[1].rh_pct", 16),
        ("rh_pct = 92", "rh_pct = 0.92", "stage[1].rh_pct", 16),
        ("ph_end = 4.9", "ph_end = 55", "stage[1].ph_end", 18),
        ("diameter_mm = [50, 58]", "diameter_mm = 900", "piece.diameter_mm", 4),
        ("diameter_mm = [50, 58]", "diameter_mm = [58, 50]", "piece.diameter_mm", 4),
        ("temperature_c = 22", "temperature_c = 72", "stage[1].temperature_c", 15),
        ("salt_pct = 2.7", 'salt_pct = "2.7 %"', "piece.salt_pct", 7),
        ("members = 40", "members = 1", "ensemble.members", 37),
        ("members = 40", "members = 1000000", "ensemble.members", 37),
        ("seed = 7", "seed = -1", "ensemble.seed", 38),
        ("day = 7", "day = 0", "weighing[1].day", 40),
        ("weight_loss_pct = 14.2", "weight_loss_pct = 142", "weighing[1].weight_loss_pct", 41),
        ("air_m_s = 0.3", "air_m_s = nan", "stage[1].air_m_s", 17),
    ],
)
def test_numbers_that_cannot_be(tmp_path: Path, old: str, new: str, key: str, line: int) -> None:
    """Refused with dotted key, line, what came and what is allowed."""
    with pytest.raises(InputError) as refusal:
        read_dry(_file(tmp_path, GOOD.replace(old, new, 1)), parameters())
    error = refusal.value
    assert error.key == key
    assert error.line == line
    assert error.allowed


@pytest.mark.parametrize(
    ("old", "new", "nearest"),
    [
        ("fat_pct = 25", "fat_pc = 25", "fat_pct"),
        ("rh_pct = 92", "humidity = 92", ""),
        ('casing = "collagen"', 'casing = "collagene"', "collagen"),
        ("[target]", "[targets]", "target"),
    ],
)
def test_unknown_names_offer_the_nearest(tmp_path: Path, old: str, new: str, nearest: str) -> None:
    """A mistyped key, casing or table is refused with the nearest names."""
    with pytest.raises(UnknownName) as refusal:
        read_dry(_file(tmp_path, GOOD.replace(old, new, 1)), parameters())
    assert nearest in refusal.value.allowed
    assert refusal.value.line


def test_a_composition_over_the_whole_is_refused(tmp_path: Path) -> None:
    """Fat 40, water 50, protein 20 and salt 2.7 % are 112.7 %."""
    text = GOOD.replace("fat_pct = 25", "fat_pct = 40\nwater_pct = 50\nprotein_pct = 20", 1)
    with pytest.raises(InputError) as refusal:
        read_dry(_file(tmp_path, text), parameters())
    assert "100" in refusal.value.message


def test_a_batter_no_meat_makes_is_refused_with_its_line(tmp_path: Path) -> None:
    """90 % fat is more than backfat holds; 80 % water is more than lean pork holds."""
    for text, key in (("fat_pct = 90", "piece.fat_pct"), ("water_pct = 80", "piece.water_pct")):
        with pytest.raises(InputError) as refusal:
            read_dry(_file(tmp_path, GOOD.replace("fat_pct = 25", text, 1)), parameters())
        assert refusal.value.key == key
        assert refusal.value.line == 6


def test_a_finished_composition_is_taken(tmp_path: Path) -> None:
    """25 % water, 64 % protein: dry as it is, a composition (issue 2)."""
    text = GOOD.replace("fat_pct = 25", "water_pct = 25\nprotein_pct = 64", 1)
    case = read_dry(_file(tmp_path, text), parameters())
    assert case.piece.protein is not None
    assert case.piece.protein.low == pytest.approx(0.64)


def test_humidity_is_required_unless_packed(tmp_path: Path) -> None:
    """A drying stage without rh_pct is refused with its line; a packed one is not."""
    with pytest.raises(InputError) as refusal:
        read_dry(_file(tmp_path, SMALL.replace("rh_pct = 78\n", "")), parameters())
    assert "rh_pct" in refusal.value.key
    read_dry(_file(tmp_path, SMALL.replace("rh_pct = 78", "packed = true")), parameters())


def test_files_that_are_no_case(tmp_path: Path) -> None:
    """Empty, binary, no TOML, missing, and 2 GB (sparse): refused, the last by size before reading."""
    for content in (b"", b"\x00\x01\x02\xff" * 50, b"[piece\n"):
        path = tmp_path / "bad.toml"
        path.write_bytes(content)
        with pytest.raises(InputError):
            read_dry(path, parameters())
    with pytest.raises(InputError):
        read_dry(tmp_path / "nowhere.toml", parameters())
    huge = tmp_path / "huge.toml"
    with huge.open("wb") as file:
        file.truncate(2 * 1024**3)
    with pytest.raises(InputError) as refusal:
        read_dry(huge, parameters())
    assert (
        "2147483648" in refusal.value.message.replace(",", "")
        or "GB" in refusal.value.message
        or "MB" in (refusal.value.message)
    )


def test_ten_thousand_weighings_are_too_many(tmp_path: Path) -> None:
    """Refused at once, with what is allowed, not computed for an hour."""
    text = SMALL + "[[weighing]]\nday = 7\nweight_loss_pct = 14\n" * 10_000
    with pytest.raises(InputError) as refusal:
        read_dry(_file(tmp_path, text), parameters())
    assert "500" in refusal.value.allowed


def test_two_members_learn_nothing_from_a_weighing(tmp_path: Path) -> None:
    """Two members tell no covariance: refused with what is allowed, never an answer of 'nan'."""
    text = SMALL + "[[weighing]]\nday = 7\nweight_loss_pct = 14\n[ensemble]\nmembers = 2\n"
    with pytest.raises(InputError) as refusal:
        read_dry(_file(tmp_path, text), parameters())
    assert refusal.value.key == "ensemble.members"
    assert "20" in refusal.value.allowed


def test_a_target_written_as_a_fraction_is_refused(tmp_path: Path) -> None:
    text = SMALL + "[target]\nweight_loss_pct = 0.35\n"
    with pytest.raises(InputError, match="write 35 for 35 %"):
        read_dry(_file(tmp_path, text), parameters())


def test_more_stages_than_a_programme_has_are_refused(tmp_path: Path) -> None:
    text = SMALL + "[[stage]]\nduration_d = 1\ntemperature_c = 14\nrh_pct = 78\n" * 500
    with pytest.raises(InputError, match="got 501; allowed: at most 500"):
        read_dry(_file(tmp_path, text), parameters())
