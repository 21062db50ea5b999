"""Shape, rim and outlook of a forecast: what a case may say, what the answer says, what a pack keeps."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tests.drying_cases import central_draws, parameters, piece, stage, standard

from saltloft.process.build import batter_of, members_of
from saltloft.process.draws import draw
from saltloft.process.drying.nodes import radau_nodes
from saltloft.process.drying.pace import resting_rim
from saltloft.process.drying.rates import rim_activity
from saltloft.process.drying.shape import Path, pressed
from saltloft.process.ensemble import forecast
from saltloft.process.outlook import outlook_of, pace_of
from saltloft.process.programme import Programme, Span
from saltloft.process.series import output_days
from saltloft.process.simulate import Run, first_day, simulate
from saltloft.science.water_activity import of_mixture


def run_of(diameter: float, programme: Programme, until_d: float = 60.0, **more: object) -> Run:
    """A hundred members; no day's air errs, whose error is of the water alone and not of the rate."""
    draws = draw(1, "outlook", 100, len(programme.stages))
    draws = replace(draws, lot=draws.lot[:, : -draws.air.shape[1]])
    return simulate(piece(diameter, **more), programme, parameters(), draws, output_days(until_d))


def median_day(run: Run, loss: float = 0.30) -> float:
    """Median day of a loss."""
    return float(np.median(first_day(run.time_d, run.weight_loss, loss, falling=False)))


def test_pressed_and_short_pieces_dry_sooner() -> None:
    """60 mm pressed to 40 mm: as a slab of its thickness would, well before the round one; short ones too."""
    whole = median_day(run_of(60, standard(60.0)))
    flat = median_day(run_of(60, standard(60.0), pressed_to_m=Span.of(0.040)))
    oval = median_day(run_of(60, standard(60.0), pressed_to_m=Span.of(0.040), oval=True))
    short = median_day(run_of(60, standard(60.0), length_m=Span.of(0.12)))
    thin = median_day(run_of(40, standard(60.0)))
    assert thin < flat < 0.92 * whole
    assert flat < whole
    assert oval < whole
    assert 0.8 * whole < short < 0.95 * whole


def test_the_standard_length_changes_nothing() -> None:
    """Seven diameters long, pressed to its own diameter: the day is that of the plain piece."""
    plain = run_of(60, standard(40.0), 40.0)
    same = run_of(60, standard(40.0), 40.0, pressed_to_m=Span.of(0.060))
    assert same.weight_loss == pytest.approx(plain.weight_loss, abs=1e-12)


def test_a_heat_of_sorption_makes_a_colder_dry_rim_hold_more_water() -> None:
    """Colder: lower a_w at equal water where protein binds it; nothing where it does not; none by default.

    Clausius and Clapeyron: d ln a_w/d(1/T) = -q/R with q = 5000 J/mol times the protein term.
    """
    draws = central_draws(1)
    made = piece(50)
    batter = batter_of(made, parameters(), draws)
    plain = members_of(made, parameters(), draws, batter)
    hot = replace(plain, sorption_heat_k=np.full(2, 5000.0 / 8.314462618))
    water, salt = np.full(2, 0.10), np.zeros(2)
    activity = {k: rim_activity(hot, water, salt, np.full(2, k))[0][0] for k in (277.15, 287.15, 297.15)}
    assert activity[277.15] < activity[287.15] < activity[297.15]
    assert activity[287.15] == pytest.approx(rim_activity(plain, water, salt, np.full(2, 287.15))[0][0])
    swelling = np.ravel((plain.halsey.scale / 0.10) ** plain.halsey.power)[0]
    slope = np.log(activity[277.15] / activity[297.15]) / (1.0 / 277.15 - 1.0 / 297.15)
    assert slope == pytest.approx(-5000.0 / 8.314462618 * swelling, rel=1e-6)
    wet = np.full(2, 2.0)
    assert rim_activity(hot, wet, salt, np.full(2, 277.15))[0] == pytest.approx(
        rim_activity(hot, wet, salt, np.full(2, 297.15))[0], abs=2e-4
    )


def test_the_resting_rim_has_the_wanted_activity() -> None:
    """Its salt follows from no salt flux: c = c_mean (X_mean/X)^(sigma/r)."""
    run = run_of(50, standard(20.0), 20.0)
    members = run.members
    mean = np.stack([members.water, 0.6 * members.water])
    rim = resting_rim(members, mean, 0.82)
    brine = members.salt / mean * (mean / rim) ** (members.salt_drag / members.salt_ratio)
    activity = of_mixture(rim, brine * rim, members.solutes, members.brine, members.halsey)
    assert activity == pytest.approx(np.full_like(activity, 0.82), abs=1e-5)
    assert (rim < mean).all()


@pytest.mark.parametrize(
    ("diameter", "rh", "shape"), [(50, 0.78, {}), (80, 0.76, {}), (60, 0.77, {"flat": 0.04})]
)
def test_the_pace_is_the_loss_at_which_the_rim_rests_there(
    diameter: float, rh: float, shape: dict[str, float]
) -> None:
    """In steady air, when a member's rim comes down to 0.82 its loss is about its pace.

    A prediction: the pace is worked out from the mean water alone, the loss from the whole profile.
    """
    more = {"pressed_to_m": Span.of(shape["flat"])} if shape else {}
    run = run_of(diameter, standard(60.0, rh), **more)
    everything = np.arange(len(run.time_d))
    ratio = run.states.loss_rate_s / pace_of(run, parameters(), everything)
    rim = run.states.water_activity_rim
    low, high = np.argmax(rim < 0.822, axis=0), (rim < 0.822).any(axis=0)
    wet = run.states.water_activity_core[low, np.arange(rim.shape[1])] > 0.89
    chosen = high & wet
    assert chosen.sum() > 20
    at = ratio[low, np.arange(rim.shape[1])][chosen]
    assert np.median(at) == pytest.approx(0.95, abs=0.15)
    assert np.quantile(at, 0.1) > 0.7
    assert np.quantile(at, 0.9) < 1.3


def test_easing_of_known_paths() -> None:
    """Round: 1/2. Very flat (F = e): the integral of s^2 is 1/3 over e."""
    nodes = radau_nodes(8)
    assert Path().easing(nodes.share, nodes.weight) == pytest.approx([0.5])
    flat = Path(np.array([1000.0]), np.array([0.0]), np.array([0.0]))
    assert flat.easing(nodes.share, nodes.weight) == pytest.approx([1.0 / 3000.0])
    assert pressed(np.array([0.3])).easing(nodes.share, nodes.weight)[0] < 0.5


def test_the_early_warning_comes_before_the_hardening() -> None:
    """65 mm in hard air: warned by most, days before the flag; in gentle air hardly any.

    Within the model only: no record of press or cut stands behind it.
    """
    hard = forecast(
        piece(65), standard(60.0, 0.70), parameters(), targets={"weight_loss_pct": 30.0}, members=100
    )
    by_code = {flag.code: flag for flag in hard.flags}
    ahead, shut = by_code["hardening_ahead"], by_code["case_hardening"]
    assert ahead.share > 0.7
    assert ahead.at_d is not None
    assert shut.at_d is not None
    assert ahead.at_d < shut.at_d - 2.0
    gentle = forecast(
        piece(50), standard(60.0, 0.86), parameters(), targets={"weight_loss_pct": 25.0}, members=100
    )
    assert {flag.code: flag.share for flag in gentle.flags}.get("hardening_ahead", 0.0) < 0.15
    assert hard.outlook is not None
    assert gentle.outlook is not None
    assert hard.outlook.faster_than_core.max() > 0.6
    assert hard.outlook.shut_days.p50 > 2.0 > gentle.outlook.shut_days.p50  # type: ignore[operator]


def test_hours_in_which_moulds_can_grow() -> None:
    """All hours of a wet warm stage count, none of a cold one for the unwanted; a dry rim ends both."""
    warm = run_of(80, Programme((stage(10.0, 20.0, 0.93, 0.2),)), 10.0)
    outlook, _ = outlook_of(warm, parameters())
    assert outlook.mould_wanted.hours.p05 == pytest.approx(240.0, abs=1.0)
    assert outlook.mould_unwanted.hours.p50 == pytest.approx(240.0, abs=24.0)
    cold, _ = outlook_of(run_of(80, Programme((stage(10.0, 12.0, 0.93, 0.2),)), 10.0), parameters())
    assert cold.mould_wanted.share == 1.0
    assert cold.mould_unwanted.share == 0.0
    dry, _ = outlook_of(run_of(40, Programme((stage(30.0, 14.0, 0.72, 0.5),)), 30.0), parameters())
    assert dry.mould_wanted.hours.p95 is not None
    assert dry.mould_wanted.hours.p95 < 400.0


def test_a_sealed_pack_keeps_its_weight() -> None:
    """Also with the slow model error in: it stands still while nothing can leave."""
    programme = Programme(
        (
            stage(3.0, 22.0, 0.92, 0.3),
            stage(20.0, 14.0, 0.78, 0.15),
            stage(30.0, 4.0, 0.78, 0.15, packed=True),
        )
    )
    run = run_of(50, programme, 53.0)
    packed = run.time_d >= 23.0
    change = run.weight_loss[packed] - run.weight_loss[packed][0]
    assert np.abs(change[1:] - change[1]).max() < 1e-9
    assert np.abs(change).max() < 0.02


def test_a_casing_and_a_mould_slow_the_first_days() -> None:
    """Fibrous against natural, and with a mould coat: less lost on day 3, the same end."""
    programme = standard(60.0)
    day, end = 3.0, 60.0
    runs = {
        name: run_of(50, programme, casing=name.split("+")[0], mould="+" in name)
        for name in ("natural", "fibrous", "natural+mould")
    }
    early = {
        name: float(np.median(run.weight_loss[np.searchsorted(run.time_d, day)]))
        for name, run in runs.items()
    }
    late = {
        name: float(np.median(run.weight_loss[np.searchsorted(run.time_d, end)]))
        for name, run in runs.items()
    }
    assert early["fibrous"] < 0.97 * early["natural"]
    assert early["natural+mould"] < early["natural"]
    assert late["fibrous"] == pytest.approx(late["natural"], abs=0.004)


def test_a_rim_at_rest_has_the_humidity_of_the_room_also_with_a_heat_of_sorption() -> None:
    """At 4 degC and 60 %RH the rim's water activity comes to 0.60 either way; its water does not."""
    programme = Programme((stage(200.0, 4.0, 0.60, 0.5),))
    runs = [
        simulate(
            piece(25, net_heat_j_mol=heat), programme, parameters(), central_draws(1), np.array([0.0, 200.0])
        )
        for heat in (0.0, 10_000.0)
    ]
    for run in runs:
        assert run.states.water_activity_rim[1] == pytest.approx([0.60, 0.60], abs=3e-3)
    rims = [run.profiles.water[1, -1, 0] for run in runs]
    assert rims[1] > 1.02 * rims[0], "colder than its reference: the same a_w holds more water"
