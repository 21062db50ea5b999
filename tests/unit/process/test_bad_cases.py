"""What no piece, air or weighing can be: a clear refusal or a flagged answer, never a silent number."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from tests.drying_cases import parameters, piece, stage, standard

from saltloft.cli.main import main
from saltloft.foundation.errors import InputError
from saltloft.process.ensemble import forecast
from saltloft.process.learning import Weighing
from saltloft.process.piece import Piece
from saltloft.process.programme import AirTrace, Programme, Span
from saltloft.process.result import DryingForecast

HOURS = np.arange(0.0, 20.0 * 24.0 + 1.0)
CASE = """
[piece]
diameter_mm = {diameter}
fat_pct = {fat}
salt_pct = 2.7
[[stage]]
duration_d = {days}
temperature_c = 14
rh_pct = {rh}
air_m_s = {air}
measured = true
[target]
weight_loss_pct = 35
{more}
"""
PLAIN = {"diameter": "50", "fat": "28", "days": "40", "rh": "78", "air": "0.15", "more": ""}


def _dry(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, **odd: str
) -> str:
    """What `saltloft dry` says to a case, on both of its outputs."""
    path = tmp_path / "odd.toml"
    path.write_text(CASE.format(**{**PLAIN, **odd}), encoding="utf-8")
    monkeypatch.setattr("sys.argv", ["saltloft", "dry", str(path)])
    with pytest.raises(SystemExit):
        main()
    printed = capsys.readouterr()
    return printed.out + printed.err


@pytest.mark.parametrize(
    ("odd", "said"),
    [
        ({"rh": "101"}, "line 9: stage[1].rh_pct cannot be this number; got 101; allowed: 20 to 100"),
        ({"rh": "nan"}, "rh_pct cannot be this number; got nan"),
        ({"air": "-0.1"}, "air_m_s cannot be this number; got -0.1; allowed: 0 to 5"),
        ({"diameter": "201"}, "diameter_mm cannot be this number; got 201; allowed: 10 to 200"),
        ({"fat": "95"}, "fat_pct cannot be this number; got 95; allowed: 0 to 90"),
        ({"days": "-3"}, "duration_d cannot be this number; got -3"),
        (
            {"more": "[[weighing]]\nday = 3\nweight_loss_pct = 5\n" * 10_000},
            "too many weighings in one case; got 10000; allowed: at most 500",
        ),
    ],
)
def test_the_command_refuses_with_line_and_what_is_allowed(
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    odd: dict[str, str],
    said: str,
) -> None:
    """What cannot be is named with its line, what came and what is allowed."""
    assert said in _dry(tmp_path, capsys, monkeypatch, **odd)


@pytest.mark.parametrize(
    ("odd", "flag"),
    [
        ({"air": "0"}, "no air moves"),
        ({"diameter": "200"}, "outside the range of the model: a diameter"),
        ({"fat": "60"}, "outside the range of the model: fat"),
        ({"rh": "100"}, "air wetter than"),
        ({"rh": "100"}, "grows heavier"),
        ({"rh": "20", "diameter": "20"}, "air drier than 50 %RH"),
    ],
)
def test_the_command_flags_what_it_still_answers(
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    odd: dict[str, str],
    flag: str,
) -> None:
    """Zero air, 200 mm, 60 % fat, wet air, dried to nothing: an answer with its flag."""
    said = _dry(tmp_path, capsys, monkeypatch, **odd)
    assert any(flag in line for line in said.splitlines() if line.startswith("!")), said


def _forecast(programme: Programme, what: Piece | None = None, **more: object) -> DryingForecast:
    given = {"targets": {"weight_loss_pct": 35.0}, "members": 40, **more}
    return forecast(what or piece(50), programme, parameters(), **given)  # type: ignore[arg-type]


def _log(hours: np.ndarray, rh: float = 0.78) -> Programme:
    count = len(hours)
    trace = AirTrace(hours / 24.0, np.full(count, 14.0), np.full(count, rh), 0.15)
    return Programme((stage(30.0, 14.0, 0.78, 0.15),), trace)


def test_a_log_with_a_hole_of_three_days_is_flagged() -> None:
    """Straight across the hole, and said so with its length."""
    result = _forecast(_log(np.concatenate([HOURS[:100], HOURS[172:]])))
    words = {flag.code: flag.words for flag in result.flags}
    assert "3.0 d" in words["log_gap"]


@pytest.mark.parametrize(
    ("hours", "rh", "said"),
    [
        (HOURS[::-1], 0.78, "runs backwards"),
        (np.concatenate([HOURS[:50], HOURS[40:]]), 0.78, "runs backwards"),
        (HOURS, 1.2, "outside 0..1"),
        (HOURS, float("nan"), "no number"),
        (HOURS[:1], 0.78, "two readings"),
    ],
)
def test_a_log_that_cannot_be_is_refused(hours: np.ndarray, rh: float, said: str) -> None:
    """Time running backwards or twice, RH as per cent, holes of no number, a single reading."""
    with pytest.raises(InputError, match=said):
        _log(hours, rh)


def test_a_log_that_begins_two_days_late_is_a_hole_too() -> None:
    """Before its first reading the air stands as that reading, and the flag names how long."""
    result = _forecast(_log(HOURS + 50.0))
    assert any(flag.code == "log_gap" and "2.1 d" in flag.words for flag in result.flags)


@pytest.mark.parametrize(
    ("days", "celsius", "rh", "air"),
    [(-3.0, 14.0, 0.78, 0.1), (3.0, 14.0, 1.2, 0.1), (3.0, 14.0, -0.1, 0.1), (3.0, 14.0, 0.78, -1.0),
     (3.0, float("nan"), 0.78, 0.1), (3.0, 14.0, 78.0, 0.1)],
)  # fmt: skip
def test_a_stage_that_cannot_be_is_refused(days: float, celsius: float, rh: float, air: float) -> None:
    """Time backwards, RH above 100 or below nothing, air slower than nothing, no number, per cent."""
    with pytest.raises(InputError, match="a stage that cannot be"):
        stage(days, celsius, rh, air)


@pytest.mark.parametrize(
    "odd",
    [
        {"diameter_m": Span.of(0.0)},
        {"diameter_m": Span(0.06, 0.05)},
        {"fat": Span.of(float("nan"))},
        {"salt": Span.of(2.7)},
    ],
)
def test_a_piece_that_cannot_be_is_refused(odd: dict[str, Span]) -> None:
    """No size, ends the wrong way round, no number, per cent for a fraction."""
    with pytest.raises(InputError, match="a piece that cannot be"):
        replace(piece(50), **odd)


def test_dried_to_nothing_never_loses_more_than_its_water() -> None:
    """20 mm at 30 degC, 30 %RH and 1 m/s for 400 days: finite, and short of all of its water."""
    result = _forecast(
        Programme((stage(400.0, 30.0, 0.30, 1.0),)), piece(20), targets={"weight_loss_pct": 60.0}
    )
    loss = result.bands["weight_loss_pct"]
    assert np.isfinite(loss.p95).all()
    assert loss.p95.max() < 58.0, "the batter holds 53 % water, give or take its doubt and the model's"
    assert result.bands["moisture_pct"].p05.min() > 0.0
    assert {"outside_range", "equilibrium_short_of_target"} <= {flag.code for flag in result.flags}


@pytest.mark.parametrize("level", [float("nan"), float("inf")])
def test_a_target_that_is_no_number_is_refused(level: float) -> None:
    """A level of no number is reached never, silently: it is refused instead."""
    with pytest.raises(InputError, match="a target that is no number"):
        _forecast(standard(), targets={"weight_loss_pct": level})


@pytest.mark.parametrize(
    ("day", "loss"), [(-1.0, 0.1), (float("nan"), 0.1), (3.0, float("nan")), (500.0, 0.3)]
)
def test_a_weighing_that_cannot_be_is_refused(day: float, loss: float) -> None:
    """Before stuffing, after the longest horizon, or no number."""
    with pytest.raises(InputError, match="a weighing that no piece can have"):
        _forecast(standard(), weighings=[Weighing(day=day, weight_loss=loss)])
