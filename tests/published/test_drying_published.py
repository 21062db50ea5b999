"""The drying forecast against what was published, and against our own earlier trial.

What is a fit and what is a prediction: diffusivity, its exponents and the sorption term were
chosen in an earlier trial of our own on these very rows (Harbin, Palumbo's ratio, practice
days). Agreement with them is agreement by selection, not validation; such tests say so. The
cooling, the rate windows and the finished compositions were not used for choosing.
"""

from __future__ import annotations

import numpy as np
import pytest
from tests.drying_cases import (
    central_draws,
    engine_case,
    parameters,
    piece,
    stage,
    standard,
    standard_forecast,
    trial_parameters,
)
from tests.published.drying_scores import (
    apparent_diffusivity,
    finished_activity,
    harbin_activity_misses,
    rows,
)

from saltloft.process.drying.integrate import integrate
from saltloft.process.drying.nodes import radau_nodes
from saltloft.process.drying.outputs import states_of
from saltloft.process.ensemble import forecast
from saltloft.process.programme import DAY_S, Programme, Span
from saltloft.science import moist_air, transfer

NODES = radau_nodes(8)


def observations(study: str) -> list[dict[str, str]]:
    """The rows of one study."""
    return [row for row in rows("drying_observations") if row["study"] == study]


def median_on(result, quantity: str, day: float) -> float:  # type: ignore[no-untyped-def]
    """Median over pieces on one day."""
    return float(np.interp(day, result.time_d, result.bands[quantity].p50))


# --- our own earlier trial (a fit, not an outside check) ---------------------------------


@pytest.mark.parametrize(
    ("diameter", "ratio_1_9", "loss_35"),
    [(32, 7.7, 13.9), (50, 14.1, 28.8), (65, 20.9, 45.0), (80, 29.0, 66.0), (95, 38.5, 90.0)],
)
def test_medians_of_the_own_trial(diameter: float, ratio_1_9: float, loss_35: float) -> None:
    """Days of our own earlier trial model (own_drying_trial, table of the standard batter).

    Within 5 %: two random designs of 400 members, good to 2 % each.
    """
    targets = standard_forecast(diameter, trial=True).targets
    assert targets["moisture_protein"].piece.p50 == pytest.approx(ratio_1_9, rel=0.05)
    assert targets["weight_loss_pct"].piece.p50 == pytest.approx(loss_35, rel=0.05)


@pytest.mark.parametrize(
    ("diameter", "losses"),
    [
        (32, (2.0, 7.4, 24.0, 35.0, 41.0)),
        (50, (1.1, 4.2, 15.0, 25.0, 36.0)),
        (95, (0.5, 1.8, 6.6, 13.4, 22.0)),
    ],
)
def test_losses_of_the_own_trial(diameter: float, losses: tuple[float, ...]) -> None:
    """Median loss on days 1, 3, 7, 14, 30 of our own earlier trial, within 0.8 points."""
    result = standard_forecast(diameter, trial=True)
    found = [median_on(result, "weight_loss_pct", day) for day in (1.0, 3.0, 7.0, 14.0, 30.0)]
    assert found == pytest.approx(losses, abs=0.8)


# --- issue 2: what any credible model must show --------------------------------------------


def test_median_day_of_the_50_mm_case() -> None:
    """50 mm, 28 % fat to 35 % loss: median between 15 and 50 d, as logged air and as set-points."""
    for measured in (True, False):
        day = standard_forecast(50, measured=measured).targets["weight_loss_pct"].piece.p50
        assert day is not None
        assert 15.0 < day < 50.0


def test_exponent_of_time_against_calibre() -> None:
    """Local exponent of the day against the calibre between 1 (film alone) and 2 (diffusion alone).

    A property of the equations, so without the model's own slow error.
    """
    calibres = np.array([32.0, 50.0, 65.0, 80.0, 95.0])
    for measured in (True, False):
        days = [
            standard_forecast(float(d), measured=measured, trial=True).targets["weight_loss_pct"].piece.p50
            for d in calibres
        ]
        local = np.diff(np.log(np.array(days, dtype=float))) / np.diff(np.log(calibres))
        assert local.min() > 1.0, local
        assert local.max() < 2.0, local


@pytest.mark.parametrize("diameter", [32.0, 50.0, 65.0, 95.0])
def test_first_day_is_not_above_the_film_limit(diameter: float) -> None:
    """Day-1 loss at most what the bare film lets through, isothermal, no casing.

    Churchill-Bernstein and Chilton-Colburn; the forecast's 95 % piece may have twice the film.
    """
    result = standard_forecast(diameter)
    air = transfer.air_properties(22.0)
    film = transfer.film_mass_m_s(transfer.film_heat_w_m2k(diameter / 1000.0, 0.3, air), air)
    gap = float(result.bands["water_activity_mean"].p50[0]) - 0.92
    flux = float(film) * float(moist_air.vapour_concentration_kg_m3(22.0)) * gap
    limit = 100.0 * flux * 4.0 * DAY_S / (1060.0 * diameter / 1000.0)
    assert 0.0 < median_on(result, "weight_loss_pct", 1.0) < limit
    assert float(np.interp(1.0, result.time_d, result.bands["weight_loss_pct"].p95)) < 2.0 * limit + 1.0


def test_film_table() -> None:
    """The printed first-day column of our film table: 1.5 %/d for 55 mm, 0.1 m/s, gap 0.05, 14 degC."""
    air = transfer.air_properties(14.0)
    film = transfer.film_mass_m_s(transfer.film_heat_w_m2k(0.055, 0.1, air), air)
    flux = float(film) * float(moist_air.vapour_concentration_kg_m3(14.0)) * 0.05
    assert 100.0 * flux * 4.0 * DAY_S / (1060.0 * 0.055) == pytest.approx(1.5, abs=0.15)


# --- outside checks --------------------------------------------------------------------------


def test_cooling_of_the_90_mm_salami() -> None:
    """Day 2, 90 mm, 85/15, room 16.08 degC: core 1.75 K under the air (HFBFT 2004, read).

    A prediction of the cooling law; the RH was not printed: 75 % is the one that fits, and
    the air speed hardly matters, as the theory says.
    """
    for air in (0.1, 0.5):
        programme = Programme((stage(5.0, 16.08, 0.75, air),))
        members, blocks = engine_case(piece(90, fat=0.15), programme, central_draws(1), horizon_d=5.0)
        times = DAY_S * np.array([0.0, 2.0])
        profiles = integrate(members, NODES, blocks, times)
        states = states_of(members, NODES, blocks, times, profiles)
        assert 16.08 - states.temperature_c[1, 0] == pytest.approx(1.75, abs=0.4)


def test_palumbo_fat_ratio() -> None:
    """Apparent D at 25.1 % over that at 13.3 % fat: 4.7/5.7 = 0.82 (Palumbo et al. 1977, read).

    The fat exponent was chosen on this ratio in our trial, so this is agreement by selection.
    Diameter, temperature and RH were guessed. The absolute value is a weaker check: within 2x.
    """
    lean, fatty = apparent_diffusivity(0.133), apparent_diffusivity(0.251)
    assert fatty / lean == pytest.approx(0.82, abs=0.08)
    assert 5.7e-11 / 2.0 < lean < 5.7e-11 * 2.0


def test_harbin_water_activity_from_composition() -> None:
    """20 pairs of moisture and a_w (Harbin 2021, read): rms under 0.03 with the prior medians.

    Salt 2.6 % and the fat of each recipe from its first moisture (the table closes it); the
    solutes and protein term were moved once after looking at these rows: by selection.
    """
    misses = harbin_activity_misses()
    assert len(misses) == 20
    assert np.sqrt(np.mean(np.square(misses))) < 0.045
    assert abs(np.mean(misses)) < 0.03


@pytest.mark.parametrize(
    ("code", "low", "high"),
    [("07071", 0.85, 0.92), ("07072", 0.88, 0.95), ("07057", 0.85, 0.92), ("07019", 0.88, 0.95)],
)
def test_finished_products(code: str, low: float, high: float) -> None:
    """a_w computed from printed finished compositions (USDA SR) lies where such products are sold.

    Not used for choosing. The printed sodium is taken as salt.
    """
    assert low < finished_activity(code) < high


def test_etuvage() -> None:
    """About 12 % in 24 to 48 h of étuvage (French teaching document; common practice, no source).

    At 24 degC, 72 %: 48 h with 0.2 to 0.3 m/s on a 50 mm piece bracket it.
    """
    losses = []
    for air in (0.1, 0.5):
        programme = Programme((stage(2.0, 24.0, 0.72, air),))
        members, blocks = engine_case(piece(50), programme, central_draws(1), horizon_d=2.0)
        times = DAY_S * np.array([0.0, 2.0])
        profiles = integrate(members, NODES, blocks, times)
        states = states_of(members, NODES, blocks, times, profiles)
        losses.append(100.0 * float(states.weight_loss[1, 0]))
    assert losses[0] < 12.0 < losses[1]


@pytest.mark.parametrize(
    ("diameter", "low", "high"), [(32, 12, 20), (50, 25, 35), (65, 40, 50), (80, 55, 70), (95, 75, 110)]
)
def test_practice_days(diameter: float, low: float, high: float) -> None:
    """Usual days to 35 % loss by calibre: common practice, no source; and the trial was fitted on them.

    The median lies in the usual range widened by a fifth, the usual range inside the band.
    """
    days = standard_forecast(diameter).targets["weight_loss_pct"].piece
    assert days.p05 is not None
    assert days.p95 is not None
    assert low / 1.2 < days.p50 < high * 1.2  # type: ignore[operator]
    assert days.p05 < high
    assert days.p95 > low


def test_home_piece() -> None:
    """One home-made piece (practice, weak): 25 % on day 7 and 35.8 % on day 14 at 55 to 60 %RH.

    Diameter and temperature were guessed (45 mm, 15 degC): inside the 90 % band, no more.
    """
    programme = Programme((stage(21.0, 15.0, 0.575, 0.15),))
    result = forecast(piece(45), programme, parameters(), targets={}, members=400)
    loss = result.bands["weight_loss_pct"]
    for row in observations("HomeMaker2009"):
        day, value = float(row["time_d"]), float(row["value"])
        assert float(np.interp(day, result.time_d, loss.p05)) < value
        assert float(np.interp(day, result.time_d, loss.p95)) > value


def test_german_guide() -> None:
    """RH kept under the product from 93 down to 85 %: usual loss 20 to 35 % (guide, read) by day 35."""
    stages = (stage(5.0, 20.0, 0.92, 0.3), stage(10.0, 16.0, 0.90, 0.15), stage(45.0, 14.0, 0.85, 0.15))
    result = forecast(piece(50), Programme(stages), parameters(), targets={}, members=200)
    assert 20.0 < median_on(result, "weight_loss_pct", 35.0) < 35.0


def test_legal_minimum_days_lie_beyond_the_legal_ratio() -> None:
    """Varzi (rules, bounds only): water:protein 1.9 is reached well before the minimum days."""
    for grams, diameter in (("0.5-0.7", 55.0), ("1-2 kg single", 75.0)):
        row = next(r for r in observations("VarziPDO") if grams in r["product"])
        programme = Programme((stage(3.0, 20.0, 0.88, 0.2), stage(200.0, 13.0, 0.82, 0.15)))
        result = forecast(
            piece(diameter), programme, parameters(), targets={"moisture_protein": 1.9}, members=200
        )
        reached = result.targets["moisture_protein"].piece.p95
        assert reached is not None
        assert reached < float(row["value"])


def test_fat_matters_more_for_loss_than_for_the_ratio() -> None:
    """15 against 35 % fat: the day to 35 % loss more than doubles, that to M:P 1.9 moves under 15 %."""
    days = {}
    for fat in (0.15, 0.35):
        result = forecast(
            piece(50, fat=fat),
            standard(),
            parameters(),
            targets={"weight_loss_pct": 35.0, "moisture_protein": 1.9},
            members=200,
        )
        days[fat] = {name: target.piece.p50 for name, target in result.targets.items()}
    assert days[0.35]["weight_loss_pct"] > 2.0 * days[0.15]["weight_loss_pct"]
    assert days[0.35]["moisture_protein"] == pytest.approx(days[0.15]["moisture_protein"], rel=0.15)


def test_wet_room_is_told_apart() -> None:
    """90 %RH never brings a 28 % fat piece to 35 %: no date, and a flag that says why."""
    result = forecast(
        piece(50),
        Programme((stage(60.0, 14.0, 0.90, 0.15),)),
        trial_parameters(),
        targets={"weight_loss_pct": 35.0},
        members=200,
    )
    target = result.targets["weight_loss_pct"]
    assert target.piece.p50 is None
    assert target.share_reached < 0.3
    flag = next(flag for flag in result.flags if flag.code == "equilibrium_short_of_target")
    assert flag.share > 0.7


def test_drier_air_is_never_later() -> None:
    """A comparison principle: RH 0.60 < 0.70 < 0.78 gives never later days, member by member."""
    days = []
    for rh in (0.60, 0.70, 0.78):
        result = forecast(
            piece(50, diameter_m=Span.of(0.05)),
            standard(rh=rh),
            parameters(),
            targets={"weight_loss_pct": 30.0},
            members=100,
        )
        days.append(result.targets["weight_loss_pct"].piece)
    for drier, wetter in ((days[0], days[1]), (days[1], days[2])):
        assert drier.p05 < wetter.p05
        assert drier.p50 < wetter.p50
        assert drier.p95 < wetter.p95
