"""`saltloft dry` as a person and a program meet it: sentences, JSON lines, exit codes."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import numpy as np
import pytest
import typer
from typer.testing import CliRunner

from saltloft.cases.dry_schema import dry_schema, written
from saltloft.cli import dry as cli_dry
from saltloft.jobs.calculate import DryingDesk
from saltloft.process.result import QUANTITIES

ROOT = Path(__file__).resolve().parents[3]
CASE = """title = "{title}"
[piece]
diameter_mm = {diameter}
fat_pct = 28
[[stage]]
duration_d = 2.5
temperature_c = 22
rh_pct = 92
air_m_s = 0.3
ph_end = 4.9
[[stage]]
duration_d = 30
temperature_c = 14
rh_pct = 78
air_m_s = 0.15
[target]
weight_loss_pct = 35
water_activity = 0.5
[ensemble]
members = 60
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two good cases and one that is refused."""
    made = tmp_path_factory.mktemp("cases")
    (made / "one.toml").write_text(CASE.format(title="one", diameter=40), encoding="utf-8")
    (made / "bad.toml").write_text(CASE.format(title="bad", diameter=4000), encoding="utf-8")
    (made / "two.toml").write_text(CASE.format(title="two", diameter=60), encoding="utf-8")
    return made


def _run(*arguments: str) -> tuple[int, str]:
    app = typer.Typer()
    app.callback()(lambda: None)  # keeps `dry` a command of its own name
    cli_dry.register(app)
    result = CliRunner().invoke(app, ["dry", *arguments])
    return result.exit_code, result.output


def test_one_object_a_line_in_order(folder: Path) -> None:
    """Good, refused, good: three lines in that order, exit code 1, the refusal named."""
    code, output = _run(*(str(folder / f"{name}.toml") for name in ("one", "bad", "two")), "--json")
    lines = [json.loads(line) for line in output.splitlines()]
    assert code == 1
    assert [line.get("title") for line in lines] == ["one", None, "two"]
    refusal = lines[1]["error"]
    assert set(refusal) == {"message", "key", "line", "allowed"}
    assert (refusal["key"], refusal["line"]) == ("piece.diameter_mm", 3)
    for line in (lines[0], lines[2]):
        jsonschema.validate(line, dry_schema())


def test_the_answer_field_by_field(folder: Path) -> None:
    """Lengths agree, an unreached target is null, quantities order, facts carry confidence."""
    desk = DryingDesk.open(lambda: 0.0)
    answer = desk.as_json(desk.answer(folder / "one.toml"))
    count = len(answer["time_d"])  # type: ignore[arg-type]
    for quantity in QUANTITIES:
        for name in ("p05", "p50", "p95", "mean_p05", "mean_p50", "mean_p95"):
            assert len(answer[quantity][name]) == count, quantity  # type: ignore[index]
    target = answer["targets"]["weight_loss_pct"]  # type: ignore[index]
    assert target["p05"] < target["p50"] < target["p95"]
    assert sum(target["composition"].values()) == pytest.approx(100.0, abs=0.01)
    never = answer["targets"]["water_activity"]  # type: ignore[index]
    assert never["p05"] is None
    assert never["share_reached"] == 0.0
    assert never["composition"] == {}
    ph = answer["ph"]["p50"]  # type: ignore[index]
    assert ph[0] is None
    assert ph[-1] == 4.9
    kill = answer["kill_log10"]
    assert list(kill) == [  # type: ignore[arg-type]
        "escherichia_coli",
        "salmonella",
        "listeria_monocytogenes",
        "staphylococcus_aureus",
        "clostridium_botulinum",
    ]
    assert kill["salmonella"]["mean"] == [None] * count  # type: ignore[index]
    rows = {row["key"]: row for row in answer["facts"]}  # type: ignore[union-attr]
    assert rows["drying.water_diffusivity"]["confidence"] == "own"
    assert rows["drying.water_diffusivity"]["confirmed"] is False
    assert rows["growth.escherichia_coli.kill_intercept"]["confidence"] == "read"
    assert answer["run"]["members"] == 60  # type: ignore[index]


def test_days_and_bands_say_the_same(folder: Path) -> None:
    """The median loss passes 35 % about the day the median piece gets there."""
    desk = DryingDesk.open(lambda: 0.0)
    answered = desk.answer(folder / "one.toml")
    day = answered.forecast.targets["weight_loss_pct"].piece.p50
    median = answered.forecast.bands["weight_loss_pct"].p50
    assert float(np.interp(day, answered.forecast.time_d, median)) == pytest.approx(35.0, abs=1.0)  # type: ignore[arg-type]


def test_the_same_case_gives_the_same_answer_in_any_company(folder: Path) -> None:
    """Alone or after another case: every number the same."""
    desk = DryingDesk.open(lambda: 0.0)
    first = desk.as_json(desk.answer(folder / "two.toml"))
    desk.answer(folder / "one.toml")
    assert desk.as_json(desk.answer(folder / "two.toml")) == first
    assert DryingDesk.open(lambda: 0.0).as_json(desk.answer(folder / "two.toml")) == first


def test_plain_words(folder: Path) -> None:
    """A sentence a target, a table, the set-point warning and the caution; exit code 0."""
    code, output = _run(str(folder / "one.toml"))
    assert code == 0
    assert "weight loss 35 %: about day" in output
    assert "water activity 0.5: not reached" in output
    assert "no promise date" in output
    assert "-0.0" not in output
    assert "Saltloft does not decide whether this may be eaten or sold" in output


def test_the_schema_on_paper_is_the_schema() -> None:
    """docs/schemas/dry-1.json is what the program generates, and a valid schema."""
    assert (ROOT / "docs" / "schemas" / "dry-1.json").read_text(encoding="utf-8") == written()
    jsonschema.Draft202012Validator.check_schema(dry_schema())
