"""Fans that run and rest: where cycles end, what a piece does in them, what a case may say."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from tests.drying_cases import central_draws, engine_case, parameters, piece, stage

from saltloft.cases.dry import read_dry
from saltloft.foundation.errors import InputError
from saltloft.process.draws import draw
from saltloft.process.programme import DAY_S, Programme
from saltloft.process.pulses import Pulse, fans_run, pulse_ends
from saltloft.process.simulate import Run, simulate

CASE = """
[piece]
diameter_mm = 60
[[stage]]
duration_d = 20
temperature_c = 14
rh_pct = 74
air_m_s = 0.4
{pulse}
"""


def run_of(programme: Programme, days: np.ndarray, members: int = 40) -> Run:
    """65 mm pieces."""
    return simulate(
        piece(65), programme, parameters(), draw(1, "pulse", members, len(programme.stages)), days
    )


def test_cycles_end_where_they_should() -> None:
    """Eight hours on, sixteen off for three days from day 2; another member's stage is half as long."""
    ends = pulse_ends(DAY_S * np.array([2.0, 2.0]), DAY_S * np.array([5.0, 3.5]), Pulse(8.0, 16.0))
    assert ends.shape == (6, 2)
    assert ends[:, 0] / 3600.0 == pytest.approx([56.0, 72.0, 80.0, 96.0, 104.0, 120.0])
    assert ends[-1, 1] == DAY_S * 3.5
    assert (np.diff(ends, axis=0) > 0.0).all()


def test_the_blocks_take_turns() -> None:
    """On: the stage's air. Off: the natural-convection floor of still air, and the resting humidity."""
    one = replace(stage(2.0, 14.0, 0.74, 0.4), pulse=Pulse(12.0, 12.0, 0.88))
    still = stage(2.0, 14.0, 0.88, 0.0)
    draws = central_draws(1)
    _, blocks = engine_case(piece(65), Programme((one,)), draws, horizon_d=1.0)
    _, rest = engine_case(piece(65), Programme((still,)), draws, horizon_d=1.0)
    assert (blocks.film_heat[0::2] > 1.5 * blocks.film_heat[1::2]).all()
    assert blocks.film_heat[1] == pytest.approx(rest.film_heat[0])
    assert blocks.vapour[1] == pytest.approx(rest.vapour[0])
    assert rest.film_heat[0].min() > 1.0, "still air has a film"


def test_pulse_drying_keeps_its_balance_and_spares_the_rim() -> None:
    """A third of the time on: salt kept, loss rising, between fans always on and never on; softer rim.

    At equal loss the rim of the rested piece is wetter after its rest than that of the one never rested.
    """
    days = np.arange(0.0, 20.25, 0.25)
    dry = stage(20.0, 14.0, 0.70, 0.4)
    pulsed = run_of(Programme((replace(dry, pulse=Pulse(8.0, 16.0, 0.90)),)), days)
    always = run_of(Programme((dry,)), days)
    never = run_of(Programme((stage(20.0, 14.0, 0.90, 0.0),)), days)
    weight = pulsed.nodes.weight
    drift = np.einsum("n,tnm->tm", weight, pulsed.profiles.salt) / pulsed.members.salt - 1.0
    assert np.abs(drift).max() < 1e-10
    end = [float(np.median(run.weight_loss[-1])) for run in (never, pulsed, always)]
    assert end[0] < end[1] < end[2]
    rim = np.median(pulsed.states.water_activity_rim, axis=1)
    whole_days = days[days >= 5.0]
    after_rest = np.array([rim[np.searchsorted(days, day)] for day in whole_days if day % 1.0 == 0.0])
    after_run = np.array([rim[np.searchsorted(days, day)] for day in whole_days if day % 1.0 == 0.25])
    shared = min(len(after_rest), len(after_run))
    assert (after_rest[:shared] > after_run[:shared] + 0.01).all()
    assert np.median(pulsed.states.case_hardening[-1]) < np.median(always.states.case_hardening[-1]) - 0.1


@pytest.mark.parametrize(
    ("pulse", "wrong"),
    [
        ("fans_on_h = 8\nfans_off_h = 16\nrest_rh_pct = 88", ""),
        ("", ""),
        ("fans_on_h = 8", "fans_on_h"),
        ("rest_rh_pct = 88", "rest_rh_pct"),
        ("fans_on_h = 0\nfans_off_h = 16", "fans_on_h"),
        ("fans_on_h = 8\nfans_off_h = 16\nrest_rh_pct = 0.88", "rest_rh_pct"),
    ],
)
def test_what_a_case_may_say_of_fans(tmp_path: Path, pulse: str, wrong: str) -> None:
    """Both lengths or none; a resting humidity only with both, in per cent."""
    path = tmp_path / "case.toml"
    path.write_text(CASE.format(pulse=pulse), encoding="utf-8")
    if wrong:
        with pytest.raises(InputError) as refused:
            read_dry(path, parameters())
        assert wrong in refused.value.key
        return
    found = read_dry(path, parameters()).programme.stages[0].pulse
    assert found == (Pulse(8.0, 16.0, 0.88) if pulse else None)


@pytest.mark.parametrize(
    ("line", "wrong"),
    [
        ("length_mm = 40", "length_mm"),
        ("pressed_to_mm = 70", "pressed_to_mm"),
        ("pressed_to_mm = 20", "pressed_to_mm"),
        ("oval = true", "oval"),
        ("salt_pct = 2.7\nstart_water_activity = 0.995", "start_water_activity"),
        ("salt_pct = 2.7\nstart_water_activity = 0.60", "start_water_activity"),
        ("pressed_to_mm = [40, 45]\noval = true\nsorption_heat_kj_mol = 5\nrim_remembers = true", ""),
        ("salt_pct = 2.7\nstart_water_activity = 0.965", ""),
    ],
)
def test_what_a_case_may_say_of_its_piece(tmp_path: Path, line: str, wrong: str) -> None:
    """A piece that cannot be is refused by its line; what can be is taken over."""
    path = tmp_path / "case.toml"
    path.write_text(
        CASE.format(pulse="").replace("diameter_mm = 60", f"diameter_mm = 60\n{line}"), encoding="utf-8"
    )
    if wrong:
        with pytest.raises(InputError) as refused:
            read_dry(path, parameters())
        assert wrong in refused.value.key
        return
    made = read_dry(path, parameters()).piece
    assert made.oval == ("oval" in line)
    assert made.rim_remembers == ("remembers" in line)
    assert (made.net_heat_j_mol == 5000.0) == ("heat" in line)


def test_planned_fans_run_their_share_of_a_log_whatever_its_step() -> None:
    """Half-hour means of a log: cycles of six hours are followed, cycles of half an hour by their share."""
    hours = np.arange(0.0, 240.0, 0.5)
    long = fans_run(hours, Pulse(2.0, 4.0))
    assert long[:12].tolist() == [True] * 4 + [False] * 8
    assert long.mean() == pytest.approx(1.0 / 3.0, abs=0.01)
    short = fans_run(hours, Pulse(0.1, 0.3))
    assert short.mean() == pytest.approx(0.25, abs=0.01)
    assert not (short[1:] & short[:-1]).any()
    assert fans_run(hours[:1], Pulse(2.0, 4.0)).tolist() == [True]
