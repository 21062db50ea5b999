"""`saltloft ferment` from file to answer: schema, basis, ends, refusals, words."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import jsonschema
import pytest
import typer
from typer.testing import CliRunner

from saltloft.cli import ferment as command
from saltloft.foundation.errors import InputError
from saltloft.jobs.ferment import FermentationDesk

ROOT = Path(__file__).resolve().parents[3]
SCHEMA = json.loads((ROOT / "docs" / "schemas" / "ferment-1.json").read_text(encoding="utf-8"))
FORBIDDEN = re.compile(r"\b(safe|unsafe|pass|passed|passes|ok to eat|fit to eat)\b", re.IGNORECASE)
CASE = """
title = "stuck"
[piece]
diameter_mm = 65
fat_pct = 27
salt_pct = 2.7
[[stage]]
duration_h = 48
temperature_c = 22
[[stage]]
duration_h = 40
temperature_c = 24
[sugar]
dextrose_g_kg = 3.0
[start]
ph = 5.86
[ensemble]
members = 40
seed = 5
"""


def reading(hour: float, ph: float, where: str = "core") -> str:
    """One [[reading]]."""
    return f'[[reading]]\nhour = {hour}\nph = {ph}\nwhere = "{where}"\npieces = 5\n'


@pytest.fixture(scope="module")
def desk() -> FermentationDesk:
    """One desk for all; its clock stands still."""
    return FermentationDesk.open(lambda: 0.0)


def answer(desk: FermentationDesk, folder: Path, text: str) -> dict[str, Any]:
    """The JSON answer of a case, checked against its schema."""
    file = folder / "case.toml"
    file.write_text(text)
    found: dict[str, Any] = json.loads(json.dumps(desk.as_json(desk.answer(file))))
    jsonschema.validate(found, SCHEMA)
    assert not FORBIDDEN.search(json.dumps([found["degree_hours"], found["flags"]]))
    return found


def test_a_forecast_never_yields_an_outcome(desk: FermentationDesk, tmp_path: Path) -> None:
    """Without a core reading both markets are 'not shown', however sure the forecast is."""
    found = answer(desk, tmp_path, CASE + reading(48, 5.1, "test_mince"))
    for market in ("us", "ca"):
        heat = found["degree_hours"][market]
        assert heat["outcome"] == "not shown"
        assert heat["basis"] == "forecast"
        assert heat["probability"] is not None
    assert found["readings"] == {"used": 0, "left_out": 1, "share_effective": 1.0}


def test_readings_end_the_count_at_the_first_core_at_5_3(desk: FermentationDesk, tmp_path: Path) -> None:
    """Core 5.31 at 68 h does not, 5.28 at 72 h does: 921.6 of 1200 F.h, and Canada by the same steps."""
    found = answer(desk, tmp_path, CASE + reading(68, 5.31) + reading(72, 5.28) + reading(80, 5.1))
    us, ca = found["degree_hours"]["us"], found["degree_hours"]["ca"]
    assert us["used"] == pytest.approx(48 * 11.6 + 24 * 15.2)
    assert ca["used"] == pytest.approx(48 * 6.4 + 24 * 8.4)
    assert (us["outcome"], ca["outcome"]) == ("met", "met")
    assert us["basis"] == "readings"
    assert us["unit"] == "F.h"
    assert "if the room was as stated" in us["words"]


def test_without_an_acid_core_the_count_runs_to_the_end(desk: FermentationDesk, tmp_path: Path) -> None:
    """Mince at 5.2 ends nothing; all 88 hours count."""
    found = answer(desk, tmp_path, CASE + reading(48, 5.49) + reading(50, 5.2, "test_mince"))
    us = found["degree_hours"]["us"]
    assert us["used"] == pytest.approx(48 * 11.6 + 40 * 15.2)
    assert us["outcome"] == "not shown"


def test_a_limit_used_up_is_not_met(desk: FermentationDesk, tmp_path: Path) -> None:
    """80 h at exactly 75 degF uses 1200 of 1200: not met; 79.9 h is met."""
    hot = CASE.replace("duration_h = 48", "duration_h = 90").replace(
        "temperature_c = 22", "temperature_c = 23.88888888888889"
    )
    for hour, outcome in ((80.0, "not met"), (79.9, "met")):
        found = answer(desk, tmp_path, hot + reading(hour, 5.3))
        assert found["degree_hours"]["us"]["outcome"] == outcome, hour


def test_a_cold_room_gives_no_protection(desk: FermentationDesk, tmp_path: Path) -> None:
    """14 degC throughout: does not apply with readings, not shown by forecast, the words say why."""
    cold = CASE.replace("temperature_c = 22", "temperature_c = 14").replace(
        "temperature_c = 24", "temperature_c = 14"
    )
    read, forecast = answer(desk, tmp_path, cold + reading(80, 5.2)), answer(desk, tmp_path, cold)
    for found, outcome in ((read, "does not apply"), (forecast, "not shown")):
        for market in ("us", "ca"):
            assert found["degree_hours"][market]["outcome"] == outcome
            assert found["degree_hours"][market]["limit"] is None
            assert "this rule gives no protection here" in found["degree_hours"][market]["words"]


def test_a_stated_range_of_temperature_is_taken_at_its_worst(desk: FermentationDesk, tmp_path: Path) -> None:
    """[20, 30] degC: the high end breaks the limit, the low end does not: not shown."""
    wide = CASE.replace("temperature_c = 24", "temperature_c = [20, 30]")
    found = answer(desk, tmp_path, wide + reading(88, 5.3))
    assert found["degree_hours"]["us"]["outcome"] == "not shown"
    assert "leaves it open" in found["degree_hours"]["us"]["words"]


def test_only_diameter_and_one_stage_are_needed(desk: FermentationDesk, tmp_path: Path) -> None:
    """Everything else has a default, and every default's row is among the facts."""
    found = answer(
        desk, tmp_path, "[piece]\ndiameter_mm = 55\n[[stage]]\nduration_d = 3\ntemperature_c = 22\n"
    )
    keys = {row["key"] for row in found["facts"]}
    assert {"fermentation.dextrose", "fermentation.nitrite", "fermentation.batter_temperature"} <= keys
    assert "degree_hours.us.base" in keys
    assert found["run"]["members"] == 400
    assert found["time_to_5_3_h"]["p05"] < found["time_to_5_3_h"]["p50"] < found["time_to_5_3_h"]["p95"]


def test_stated_end_ph_and_until_ph_are_used(desk: FermentationDesk, tmp_path: Path) -> None:
    """A stated end of 5.1 pulls the final pH there; a stage until 5.3 ends before its latest end."""
    stated = answer(desk, tmp_path, CASE.replace("temperature_c = 24", "temperature_c = 24\nph_end = 5.25"))
    free = answer(desk, tmp_path, CASE)
    assert stated["final_ph"]["p50"] > free["final_ph"]["p50"] + 0.02
    assert stated["readings"]["used"] == 1
    until = answer(desk, tmp_path, CASE.replace("duration_h = 48", "duration_h = 48\nuntil_ph = 5.5"))
    assert until["time_h"][-1] < free["time_h"][-1]


def test_wild_flora_is_flagged(desk: FermentationDesk, tmp_path: Path) -> None:
    """A start of 4 to 5 log10 means wild flora: flagged, and later than with a starter."""
    wild = answer(desk, tmp_path, CASE.replace("ph = 5.86", "ph = 5.86\nstarter_log10_cfu_g = [4, 5]"))
    tame = answer(desk, tmp_path, CASE)
    assert "wild_flora" in {flag["code"] for flag in wild["flags"]}
    assert (wild["time_to_5_3_h"]["p50"] or 1e9) > tame["time_to_5_3_h"]["p50"] + 10.0


@pytest.mark.parametrize(
    ("old", "new", "key"),
    [
        ("ph = 5.86", "ph = 55", "start.ph"),
        ("ph = 5.86", "starter_log10 = 6", "start.starter_log10"),
        ("dextrose_g_kg = 3.0", "dextrose_g_kg = 300", "sugar.dextrose_g_kg"),
        ("members = 40", "members = 1.5", "ensemble.members"),
        ("seed = 5", "seed = 5\n[[reading]]\nhour = 90\nph = 5.3", "reading[1].hour"),
        ("seed = 5", 'seed = 5\n[[reading]]\nhour = 20\nph = 5.3\nwhere = "middle"', "reading[1].where"),
        ("fat_pct = 27", "fat_pct = 80\nwater_pct = 30", "piece.water_pct"),
        ("duration_h = 40", "duration_d = 399", "stage[2]"),
    ],
)
def test_refusals_name_the_key(desk: FermentationDesk, tmp_path: Path, old: str, new: str, key: str) -> None:
    """pH 55, an unknown key, 300 g of sugar, a reading after the end, a place nobody knows."""
    file = tmp_path / "case.toml"
    file.write_text(CASE.replace(old, new))
    with pytest.raises(InputError) as refusal:
        desk.answer(file)
    assert refusal.value.key == key
    assert refusal.value.line is not None


def _run(*arguments: str) -> Any:
    app = typer.Typer()
    command.register(app)
    app.callback()(lambda: None)
    return CliRunner().invoke(app, ["ferment", *arguments])


def test_several_files_answer_one_line_each_and_a_refused_one_stops_nothing(tmp_path: Path) -> None:
    """Good, bad, good: three JSON lines in order, the second an error, exit code 1; good alone: 0."""
    good, bad = tmp_path / "good.toml", tmp_path / "bad.toml"
    good.write_text(CASE)
    bad.write_text(CASE.replace("ph = 5.86", "ph = 55"))
    result = _run(str(good), str(bad), str(good), "--json")
    lines = [json.loads(line) for line in result.stdout.splitlines()]
    assert [("error" in line) for line in lines] == [False, True, False]
    for line in lines:
        jsonschema.validate(line, SCHEMA)
    assert lines[1]["error"]["key"] == "start.ph"
    assert result.exit_code == 1
    first, last = ({**line, "run": None} for line in (lines[0], lines[2]))
    assert first == last, "the same case gives the same answer"
    assert _run(str(good), "--json").exit_code == 0


def test_the_plain_answer_carries_the_caution_and_no_forbidden_word(tmp_path: Path) -> None:
    """A sentence with the number and the doubt first, the caution last."""
    good = tmp_path / "good.toml"
    good.write_text(CASE + reading(72, 5.28))
    result = _run(str(good))
    assert result.exit_code == 0
    assert "Core pH 5.3: about hour" in result.stdout
    assert "the inspector and a process authority do" in result.stdout
    assert not FORBIDDEN.search(result.stdout)
