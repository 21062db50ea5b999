"""`judge --from`: a logger file and pH readings held against the rules, without a house."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from saltloft.foundation.errors import InputError
from saltloft.jobs.judge import judge_file
from saltloft.plant.checks.verdict import Outcome

START = datetime(2026, 3, 10, 14, 0, tzinfo=UTC)
CASE = """
title = "the stuck lot"
start = "2026-03-10T14:00+00:00"
market = "us"
[room]
log = "F2.csv"
zone = "UTC"
highest_temperature_c = 35
[plan]
core_readings = 5
ph_guard = 0.02
[[reading]]
at = "2026-03-12T14:00+00:00"
ph = {ph}
pieces = 5
where = "{where}"
"""


def written(
    folder: Path, *, ph: str = "5.28", where: str = "core", hole: tuple[int, int] | None = None
) -> Path:
    """A room at 22 °C every five minutes for 60 h, and one pH set after 48 h."""
    lines = ["date;time;temperature C"]
    for step in range(60 * 12 + 1):
        moment = START + timedelta(minutes=5 * step)
        if hole is None or not hole[0] <= step < hole[1]:
            lines.append(f"{moment:%Y-%m-%d};{moment:%H:%M};22.0")
    (folder / "F2.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    case = folder / "case.toml"
    case.write_text(CASE.format(ph=ph, where=where), encoding="utf-8")
    return case


def test_48_hours_at_22_degrees_are_557_degree_hours(tmp_path: Path) -> None:
    """By hand: 22 °C is 71.6 °F, 11.6 above the base of 60, times 48 h."""
    found = judge_file(written(tmp_path))
    (verdict,) = found.hazards[0].verdicts
    assert verdict.outcome is Outcome.MET
    assert verdict.used == pytest.approx(11.6 * 48.0, abs=0.1)
    assert not found.releasable
    assert "nothing to sign out" in found.open[-1]


@pytest.mark.parametrize(("ph", "where"), [("5.29", "core"), ("5.10", "test_mince")])
def test_a_set_above_the_guard_or_of_test_mince_ends_nothing(tmp_path: Path, ph: str, where: str) -> None:
    (verdict,) = judge_file(written(tmp_path, ph=ph, where=where)).hazards[0].verdicts
    assert verdict.outcome is Outcome.NOT_SHOWN


def test_a_hole_of_an_hour_needs_a_second_logger(tmp_path: Path) -> None:
    (verdict,) = judge_file(written(tmp_path, hole=(120, 132))).hazards[0].verdicts
    assert verdict.outcome is Outcome.NOT_SHOWN
    assert verdict.gaps


def test_what_is_wrong_is_named_with_its_line(tmp_path: Path) -> None:
    case = written(tmp_path)
    case.write_text(case.read_text(encoding="utf-8").replace("F2.csv", "F3.csv"), encoding="utf-8")
    with pytest.raises(InputError, match=r"line 6: the logger file is not there; got F3.csv"):
        judge_file(case)
    case = written(tmp_path)
    case.write_text(
        case.read_text(encoding="utf-8").replace("2026-03-12T14:00+00:00", "12.3."), encoding="utf-8"
    )
    with pytest.raises(InputError, match="such as 2026-03-10T14:00"):
        judge_file(case)
    case.write_text(
        case.read_text(encoding="utf-8").replace("highest_temperature_c", "highest_c"), encoding="utf-8"
    )
    with pytest.raises(InputError, match="highest_temperature_c"):
        judge_file(case)
