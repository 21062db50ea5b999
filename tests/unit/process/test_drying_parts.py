"""Programme, piece, draws, diffusivity law, flags and bands of the drying forecast."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.drying_cases import central_draws, noisy_log, parameters, piece, stage, standard, standard_forecast

from saltloft.foundation.errors import InputError
from saltloft.process.build import batter_of, members_of
from saltloft.process.draws import KNOTS_D, draw, slow_error, value_of
from saltloft.process.ensemble import forecast
from saltloft.process.flags import lasting
from saltloft.process.log_air import block_means, cut_log, held_means
from saltloft.process.parameters import Prior
from saltloft.process.piece import with_errors
from saltloft.process.programme import AirTrace, Programme, Span
from saltloft.process.series import output_days
from saltloft.process.simulate import first_day, lot_mean, simulate
from saltloft.process.targets import day_band
from saltloft.science.composition import Composition


def test_block_means_keep_the_area_of_the_log() -> None:
    """Means over blocks times their lengths are the trapezoid area of the whole log."""
    trace = noisy_log(20.0)
    borders = cut_log(trace).border_d
    means = block_means(trace, borders, trace.relative_humidity)
    area = np.trapezoid(trace.relative_humidity, trace.time_d)
    assert (means * np.diff(borders)).sum() == pytest.approx(area, rel=1e-12)


def test_a_fan_stop_is_a_block_of_its_own() -> None:
    """Speeds are held to the next reading: the mean is by hours, and a stop cuts the log."""
    time_d = np.arange(0.0, 49.0) / 24.0
    speed = np.where((time_d >= 10.0 / 24.0) & (time_d < 21.0 / 24.0), 0.0, 0.2)
    trace = AirTrace(time_d, np.full(49, 14.0), np.full(49, 0.78), speed)
    borders = cut_log(trace).border_d
    assert {10.0, 21.0} <= {round(24.0 * day) for day in borders}
    assert held_means(trace, np.array([0.0, 1.0, 2.0]), speed) == pytest.approx([0.2 * 13.0 / 24.0, 0.2])
    with pytest.raises(InputError, match="air speed"):
        AirTrace(time_d, np.full(49, 14.0), np.full(49, 0.78), speed - 0.1)


def test_block_borders_hold_every_day_and_every_jump() -> None:
    """Days end where blocks end; a jump of 8 K begins a block within the hour."""
    trace = noisy_log(30.0)
    borders = cut_log(trace).border_d
    assert set(np.arange(0.0, 31.0)) <= set(np.round(borders, 9))
    assert np.abs(borders - 2.5).min() < 0.05
    assert np.diff(borders).min() > 0.0
    assert len(borders) < 120


def test_a_straight_log_is_one_programme() -> None:
    """Constant readings give the same drying as a stage of those numbers, within 0.02 points."""
    time_d = np.arange(0.0, 31.0)
    trace = AirTrace(time_d, np.full(31, 14.0), np.full(31, 0.78), 0.15)
    days = np.array([0.0, 10.0, 30.0])
    by_log = simulate(piece(50), Programme((), trace), parameters(), central_draws(0), days)
    by_stage = simulate(
        piece(50), Programme((stage(30.0, 14.0, 0.78, 0.15),)), parameters(), central_draws(1), days
    )
    assert by_log.states.weight_loss == pytest.approx(by_stage.states.weight_loss, abs=2e-4)


@pytest.mark.parametrize(
    ("times", "rh"),
    [
        ([0.0, 1.0, 0.5], [0.8, 0.8, 0.8]),
        ([0.0, 1.0], [0.8, 80.0]),
        ([0.0], [0.8]),
        ([0.0, 1.0], [0.8, np.nan]),
    ],
)
def test_a_log_that_cannot_be_is_refused(times: list[float], rh: list[float]) -> None:
    """Time running backwards, per cent for a fraction, one reading, a number that is none."""
    with pytest.raises(InputError):
        AirTrace(np.array(times), np.full(len(times), 14.0), np.array(rh), 0.15)


@given(st.floats(-0.2, 0.2), st.floats(-0.1, 0.1), st.floats(-0.02, 0.02))
def test_errors_of_the_batter_keep_it_whole(fat: float, water: float, salt: float) -> None:
    """Any error leaves parts that sum to 1 and none below zero."""
    batter = Composition(
        np.array([0.53]), np.array([0.145]), np.array([0.28]), np.array([0.027]), 0.0, np.array([0.018])
    )
    made = with_errors(batter, fat=np.array([fat]), water=np.array([water]), salt=np.array([salt]))
    parts = [made.water, made.protein, made.fat, made.salt, made.sugar, made.other]
    assert float(sum(np.sum(part) for part in parts)) == pytest.approx(1.0)
    assert min(float(np.min(part)) for part in parts) >= 0.0


def test_finished_compositions_are_taken() -> None:
    """25 % water and 64 % protein (issue 2): a composition, no complaint, and it can be dried."""
    made = piece(40, water=Span.of(0.25), protein=Span.of(0.64))
    batter = batter_of(replace(made, fat=None), parameters(), central_draws(2))
    assert float(batter.water[0]) == pytest.approx(0.25, abs=1e-9)
    assert float(batter.protein[0]) == pytest.approx(0.64, abs=1e-9)


def test_more_than_the_whole_is_refused() -> None:
    """Water 60, protein 25 and fat 30 % are 115 %."""
    made = piece(40, fat=0.30, water=Span.of(0.60), protein=Span.of(0.25))
    with pytest.raises(InputError):
        batter_of(made, parameters(), central_draws(2))


def test_a_measured_start_is_met() -> None:
    """start_water_activity 0.95: the members start there, whatever their table says."""
    run = simulate(
        piece(50, start_water_activity=Span.of(0.95)),
        standard(),
        parameters(),
        central_draws(2),
        np.array([0.0, 1.0]),
    )
    assert run.states.water_activity_mean[0] == pytest.approx(np.full(2, 0.95), abs=1e-9)


def test_sugar_adds_to_the_solutes() -> None:
    """5 g/kg of sugar lowers the start by about 0.0009 (0.028 mol per 0.53 kg of water)."""
    days = np.array([0.0, 1.0])
    plain, sweet = (
        simulate(piece(50, sugar=sugar), standard(), parameters(), central_draws(2), days)
        for sugar in (None, Span.of(0.005))
    )
    drop = plain.states.water_activity_mean[0, 0] - sweet.states.water_activity_mean[0, 0]
    assert 0.0005 < drop < 0.0015


def test_draws_hang_on_seed_lot_and_member_alone() -> None:
    """More members leave the first ones as they were; another lot or seed changes them."""
    few, many = draw(1, "AL-0310", 20, 2), draw(1, "AL-0310", 200, 2)
    assert (many.lot[:10] == few.lot).all()
    assert (many.piece[:20] == few.piece).all()
    assert (few.piece[0::2] == -few.piece[1::2]).all()
    assert not (draw(1, "AL-0311", 20, 2).lot == few.lot).any()
    assert not (draw(2, "AL-0310", 20, 2).lot == few.lot).any()


def test_priors_have_the_spread_they_say() -> None:
    """Median and log-sd of a log-normal, mean and sd of a normal, bounds kept; 4,000 draws."""
    z = draw(1, "spread", 8000, 0).lot[:, 0]
    log = np.log(value_of(Prior("a", 3.0, log_sd=0.4), z))
    assert log.mean() == pytest.approx(np.log(3.0), abs=0.03)
    assert log.std() == pytest.approx(0.4, rel=0.04)
    bounded = value_of(Prior("b", 0.6, sd=0.25, low=0.0, high=1.0), z)
    assert bounded.min() == 0.0
    assert bounded.max() == 1.0


def test_the_slow_error_is_autocorrelated() -> None:
    """Unit spread at the knots, correlation exp(-lag/14 d) between two of them."""
    path = slow_error(draw(4, "slow", 8000, 0), 1.0, KNOTS_D)
    assert path.std(axis=1) == pytest.approx(np.ones(len(KNOTS_D)), abs=0.05)
    pair = np.corrcoef(path[2], path[3])[0, 1]
    assert pair == pytest.approx(np.exp(-np.log(KNOTS_D[3] / KNOTS_D[2])), abs=0.04)


@given(st.floats(0.05, 5.0), st.floats(0.05, 5.0))
def test_diffusivity_rises_with_water(one: float, other: float) -> None:
    """Drier meat never lets water through faster."""
    members = _central_members()
    low, high = sorted((one, other))
    assert members.law.at(np.array([low]))[0] <= members.law.at(np.array([high]))[0] * (1.0 + 1e-12)


def test_diffusivity_table_of_the_own_trial() -> None:
    """D of our earlier trial at 28 % fat, as printed to two digits, X 3.3 down to 0.2 kg/kg."""
    law = _central_members().law
    printed = {3.3: 1.0e-10, 2.5: 8.3e-11, 2.0: 6.8e-11, 1.5: 5.0e-11, 1.0: 3.0e-11, 0.7: 1.8e-11,
               0.5: 1.05e-11, 0.4: 6.7e-12, 0.3: 3.2e-12, 0.2: 7e-13}  # fmt: skip
    for water, expected in printed.items():
        assert float(law.at(np.array([water]))[0]) == pytest.approx(expected, rel=0.06)


def _central_members():  # type: ignore[no-untyped-def]
    draws = central_draws(0)
    batter = batter_of(piece(50), parameters(), draws)
    return members_of(piece(50), parameters(), draws, batter)


@settings(max_examples=30, deadline=None)
@given(st.floats(0.02, 6.0))
def test_the_potential_is_the_integral(water: float) -> None:
    """U of the table against Gauss quadrature of D/v2, within 1e-6 of its largest; slope against D/v2."""
    members = _central_members()
    place, rule = np.polynomial.legendre.leggauss(400)
    points = 0.5 * water * (place + 1.0)
    exact = 0.5 * water * rule @ members.law.slope_of_potential(points[:, None])[:, 0]
    value, slope, _ = members.potential.at(np.full((1, members.count), water))
    largest = float(members.potential.value[0, -1])
    assert float(value[0, 0]) == pytest.approx(float(exact), abs=1e-6 * largest)
    true = members.law.slope_of_potential(np.array([[water], [2.0]]))[:, 0]
    assert float(slope[0, 0]) == pytest.approx(float(true[0]), rel=1e-3, abs=1e-4 * float(true[1]))


def test_length_counts_only_against_the_standard() -> None:
    """Seven diameters long: nothing changes; three diameters: the ends dry it faster."""
    days = np.array([0.0, 10.0])
    plain, standard_long, short = (
        simulate(piece(50, length_m=length), standard(), parameters(), central_draws(2), days)
        for length in (None, Span.of(0.35), Span.of(0.15))
    )
    assert standard_long.states.weight_loss == pytest.approx(plain.states.weight_loss, abs=1e-12)
    assert (short.states.weight_loss[1] > plain.states.weight_loss[1]).all()


def test_a_stage_ends_when_the_lot_is_there() -> None:
    """until_weight_loss 15 %: each lot draw leaves the stage at that loss, never after its latest end."""
    first = replace(stage(20.0, 18.0, 0.75, 0.3), until_weight_loss=0.15)
    programme = Programme((first, stage(30.0, 12.0, 0.85, 0.1)))
    run = simulate(piece(50), programme, parameters(), draw(1, "until", 40, 2), output_days(60.0))
    assert run.ends_d[0].max() <= 20.0 + 1e-9
    assert run.ends_d[0].min() > 2.0
    loss = lot_mean(run.states.weight_loss, run.draws.lots)
    at_end = np.array([np.interp(end, run.time_d, loss[:, i]) for i, end in enumerate(run.ends_d[0])])
    early = run.ends_d[0] < 19.9
    assert early.sum() > 10
    assert at_end[early] == pytest.approx(np.full(early.sum(), 0.15), abs=0.004)
    assert (run.ends_d[1] - run.ends_d[0]) == pytest.approx(np.full(run.draws.lots, 30.0))


def test_first_day_interpolates_and_knows_never() -> None:
    """By hand: 0, 10, 20 % on days 0, 1, 2 reach 15 % on day 1.5; 30 % never."""
    values = np.array([[0.0], [10.0], [20.0]])
    days = np.array([0.0, 1.0, 2.0])
    assert first_day(days, values, 15.0, falling=False)[0] == pytest.approx(1.5)
    assert first_day(days, -values, -15.0, falling=True)[0] == pytest.approx(1.5)
    assert np.isinf(first_day(days, values, 30.0, falling=False)[0])
    assert first_day(days, values, 0.0, falling=False)[0] == 0.0


def test_quantiles_of_days_with_never() -> None:
    """60 of 100 reach it: the median is a day, the 95 % quantile is not."""
    days = np.concatenate([np.arange(1.0, 61.0), np.full(40, np.inf)])
    band = day_band(days)
    assert band.p05 == pytest.approx(5.5)
    assert band.p50 == pytest.approx(50.5)
    assert band.p95 is None


def test_lasting_counts_an_unbroken_stretch() -> None:
    """Three days held, one broken, two held: only the first stretch lasts two and a half days."""
    marked = np.array([[1], [1], [1], [1], [0], [1], [1], [1]], dtype=bool)
    days = np.arange(8.0)
    assert lasting(marked, days, 2.5)[:, 0].tolist() == [
        False,
        False,
        False,
        True,
        False,
        False,
        False,
        False,
    ]


def test_the_lot_mean_is_narrower_than_a_piece() -> None:
    """Bands of the mean lie within bands of a piece; nine tenths of the pieces are later than half.

    At the trial's doubt; under the wider slow error both late ends lie within sampling of each other.
    """
    result = standard_forecast(50, trial=True)
    target = result.targets["weight_loss_pct"]
    assert target.piece.p05 < target.mean.p05
    assert target.mean.p95 < target.piece.p95
    for name in ("p05", "p50", "p95"):
        half, most = (getattr(target.share_of_pieces[share], name) for share in ("0.5", "0.9"))
        assert half < most


def test_set_points_only_are_wider_and_marked() -> None:
    """Without a log: flag, later median (air between racks is wetter), wider band of the day."""
    logged, planned = standard_forecast(50), standard_forecast(50, measured=False)
    assert "set_points_only" in {flag.code for flag in planned.flags}
    assert "set_points_only" not in {flag.code for flag in logged.flags}
    days = [result.targets["weight_loss_pct"].piece for result in (logged, planned)]
    assert days[1].p50 > days[0].p50
    assert np.log(days[1].p95 / days[1].p05) > 1.3 * np.log(days[0].p95 / days[0].p05)


def test_kill_counts_only_after_growth_has_ended() -> None:
    """E. coli: nothing while the core may still grow it; conservative well under the mean."""
    result = standard_forecast(50)
    mean, conservative = result.kill_log10["escherichia_coli"]
    core = result.bands["water_activity_core"].p50
    open_days = core > 0.955
    assert (mean[open_days] == 0.0).all()
    assert mean[-1] > 1.0
    assert (conservative <= 0.12 * mean + 1e-12).all()


def test_hard_air_is_flagged() -> None:
    """65 mm in dry wind: case_hardening and salt crystals show; gentle air shows neither."""
    hard = forecast(
        piece(65, salt=0.035),
        Programme((stage(60.0, 14.0, 0.62, 0.5),)),
        parameters(),
        targets={},
        members=60,
    )
    codes = {flag.code: flag for flag in hard.flags}
    assert codes["case_hardening"].share > 0.5
    assert codes["salt_crystals"].share > 0.1
    gentle = forecast(
        piece(65), Programme((stage(60.0, 14.0, 0.87, 0.1),)), parameters(), targets={}, members=60
    )
    assert not {"case_hardening", "salt_crystals"} & {flag.code for flag in gentle.flags}


def test_outside_the_range_is_said() -> None:
    """45 % fat: the law was not fitted there, and the answer says so."""
    result = forecast(piece(50, fat=0.45), standard(), parameters(), targets={}, members=20)
    words = next(flag.words for flag in result.flags if flag.code == "outside_range")
    assert "fat" in words


def test_the_last_air_goes_on_to_the_target() -> None:
    """A target beyond the stated days: computed with the last air, and said."""
    result = forecast(
        piece(95), standard(days=30.0), parameters(), targets={"weight_loss_pct": 35.0}, members=100
    )
    assert result.targets["weight_loss_pct"].piece.p50 > 32.5
    assert result.horizon_d > 60.0
    assert "programme_extended" in {flag.code for flag in result.flags}


@pytest.mark.parametrize(
    ("targets", "members"), [({"weight_loss": 35.0}, 20), ({}, 1), ({}, 100_000)], ids=["name", "one", "many"]
)
def test_what_cannot_be_asked_is_refused(targets: dict[str, float], members: int) -> None:
    """A target nobody knows; too few or too many members."""
    with pytest.raises(InputError):
        forecast(piece(50), standard(), parameters(), targets=targets, members=members)
