"""Growth and death rates against the printed check values.

Sources beside each check; 'computed' values were computed from the published equation by an
independent script.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from saltloft.facts.loader import load_facts
from saltloft.science.growth import (
    Cardinal,
    CardinalGrowth,
    GrowthGate,
    KillCredit,
    SquareRootGrowth,
    cardinal_rate_h,
    credited_kill_log10,
    death_rate_log10_h,
    growth_possible,
    interaction,
    square_root_factors,
    square_root_rate_h,
)

FACTS = load_facts()
N = FACTS.number


def _cardinal(organism: str, name: str) -> Cardinal:
    return Cardinal(*(N(f"growth.{organism}.{name}_{end}") for end in ("min", "optimum", "max")))


def _model(organism: str) -> CardinalGrowth:
    names = ("temperature", "ph", "water_activity")
    return CardinalGrowth(
        N(f"growth.{organism}.rate_optimum"), *(_cardinal(organism, name) for name in names)
    )


LACTOBACILLUS = SquareRootGrowth(
    N("fermentation.lactobacillus.rate_25c"),
    N("fermentation.lactobacillus.temperature_min"),
    N("fermentation.lactobacillus.temperature_cap"),
    N("fermentation.lactobacillus.water_activity_min"),
    N("fermentation.lactobacillus.ph_min"),
    N("fermentation.lactobacillus.undissociated_lactic_max"),
    N("fermentation.lactobacillus.nitrite_max"),
)
LISTERIA = SquareRootGrowth(
    N("growth.listeria_monocytogenes.rate_25c"),
    N("growth.listeria_monocytogenes.temperature_root"),
    math.inf,
    N("growth.listeria_monocytogenes.water_activity_root"),
    N("growth.listeria_monocytogenes.ph_root"),
    N("growth.listeria_monocytogenes.undissociated_lactic_max"),
    N("growth.listeria_monocytogenes.nitrite_max"),
    2.0,
)
CREDIT = KillCredit(
    N("growth.escherichia_coli.kill_intercept"),
    N("growth.escherichia_coli.kill_slope"),
    N("growth.kill.conservative_factor"),
    N("growth.kill.none_from_ph"),
    N("growth.kill.none_above_water_activity"),
    N("growth.kill.none_below_temperature"),
)


def _undissociated(total: float, ph: float) -> float:
    return total / (1.0 + 10.0 ** (ph - N("fermentation.lactic_pka")))


@pytest.mark.parametrize(
    ("conditions", "printed"),
    [
        ((25.0, 1.0, 7.0, 0.0, 0.0), 0.582),
        ((24.0, 0.965, 5.7, 100.0, 100.0), 0.2297),
        ((20.0, 0.965, 5.7, 100.0, 100.0), 0.1712),
        ((15.0, 0.965, 5.7, 100.0, 100.0), 0.1101),
        ((24.0, 0.928, 5.7, 100.0, 100.0), 0.0),
    ],
)
def test_lactobacillus_rate(conditions: tuple[float, float, float, float, float], printed: float) -> None:
    """Mejlholm & Dalgaard 2007/2013 (constants from memory; check values computed)."""
    temperature_c, water_activity, ph, lactate, nitrite = conditions
    rate = square_root_rate_h(
        temperature_c,
        ph,
        water_activity,
        undissociated_lactic_mol_m3=_undissociated(lactate, ph),
        nitrite_mg_kg=nitrite,
        model=LACTOBACILLUS,
    )
    assert float(rate) == pytest.approx(printed, abs=0.00006 if printed < 0.5 else 0.0006)


@pytest.mark.parametrize(
    ("conditions", "printed"),
    [
        ((25.0, 1.0, 7.0, 0.0, 0.0), 0.4151),
        ((8.0, 0.97, 6.0, 90.0, 20.0), 0.02589),
        ((20.0, 0.965, 5.6, 90.0, 100.0), 0.03458),
        ((20.0, 0.95, 5.3, 120.0, 50.0), 0.0),
        ((15.0, 0.922, 5.9, 0.0, 0.0), 0.0),
    ],
)
def test_listeria_rate(conditions: tuple[float, float, float, float, float], printed: float) -> None:
    """Mejlholm & Dalgaard 2009 (constants from memory; check values computed)."""
    temperature_c, water_activity, ph, lactate, nitrite = conditions
    rate = square_root_rate_h(
        temperature_c,
        ph,
        water_activity,
        undissociated_lactic_mol_m3=_undissociated(lactate, ph),
        nitrite_mg_kg=nitrite,
        model=LISTERIA,
    )
    assert float(rate) == pytest.approx(printed, abs=0.00006)


@pytest.mark.parametrize(
    ("temperature_c", "water_activity", "ph", "printed"),
    [
        (24.0, 0.965, 5.6, 0.3907),
        (20.0, 0.965, 5.6, 0.2271),
        (15.6, 0.965, 5.6, 0.0953),
        (30.0, 0.965, 5.4, 0.6375),
        (15.0, 0.90, 5.6, 0.0282),
    ],
)
def test_staphylococcus_rate(temperature_c: float, water_activity: float, ph: float, printed: float) -> None:
    """Medvedova et al. 2019 (temperature and water activity read, pH second-hand; values computed)."""
    rate = cardinal_rate_h(temperature_c, ph, water_activity, _model("staphylococcus_aureus"))
    assert float(rate) == pytest.approx(printed, abs=0.00006)


@pytest.mark.parametrize(
    ("temperature_c", "water_activity", "ph", "printed"),
    [(22.0, 0.965, 5.7, 0.1234), (22.0, 0.965, 5.3, 0.1044), (14.0, 0.955, 5.4, 0.0123)],
)
def test_salmonella_factor(temperature_c: float, water_activity: float, ph: float, printed: float) -> None:
    """Product of the three factors (growth-limit table read; products computed)."""
    model = _model("salmonella")
    rate = cardinal_rate_h(temperature_c, ph, water_activity, model)
    assert float(rate) / model.rate_h == pytest.approx(printed, abs=0.00006)


def test_death_of_e_coli_per_day() -> None:
    """McQuestin, Shadbolt & Ross 2009, Table 2 (read); log10 per day (computed)."""
    printed = {
        4: 0.0254, 10: 0.0567, 12: 0.0735, 15: 0.1077, 18: 0.1567, 20: 0.2003, 24: 0.3242, 25: 0.3649,
        30: 0.6517, 37: 1.4223,
    }  # fmt: skip
    for temperature_c, per_day in printed.items():
        rate = 24.0 * float(death_rate_log10_h(temperature_c, CREDIT.intercept, CREDIT.slope_k))
        assert rate == pytest.approx(per_day, abs=0.00006), temperature_c


def test_worked_kill_of_three_days_and_three_weeks() -> None:
    """3 d at 24 degC and 21 d at 14 degC: 2.97 log10 mean, 0.12 of it conservative (computed)."""
    time_s = 3600.0 * np.arange(0, 24 * 24 + 1)
    temperature_c = np.where(time_s <= 3 * 86400.0, 24.0, 14.0)
    kill = credited_kill_log10(
        time_s,
        temperature_c,
        np.full(time_s.shape, 4.9),
        np.full(time_s.shape, 0.93),
        growth_open=np.zeros(time_s.shape, bool),
        credit=CREDIT,
    )
    assert kill[-1] == pytest.approx(2.97, abs=0.01)
    assert CREDIT.conservative * kill[-1] == pytest.approx(0.12 * 2.97, abs=0.002)


def test_five_log_days() -> None:
    """Days to 5 log10 at constant temperature (computed from the published equation)."""
    for temperature_c, days in {13: 59.9, 16: 40.9, 19: 28.2, 23: 17.4, 25: 13.7, 35: 4.4}.items():
        rate = float(death_rate_log10_h(temperature_c, CREDIT.intercept, CREDIT.slope_k))
        assert 5.0 / rate / 24.0 == pytest.approx(days, abs=0.06)


def test_growth_and_kill_are_never_netted() -> None:
    """An hour in which growth is possible again takes all counted kill away."""
    time_s = 3600.0 * np.arange(5)
    flat = np.full(5, 20.0)
    kill = credited_kill_log10(
        time_s, flat, flat * 0 + 4.9, flat * 0 + 0.9,
        growth_open=np.array([False, False, False, True, False]), credit=CREDIT,
    )  # fmt: skip
    assert kill[2] > 0.0
    assert kill[3] == 0.0
    assert 0.0 <= kill[4] < kill[2]


def test_no_kill_in_the_cold_or_in_sweet_wet_meat() -> None:
    """pH 6 and more with water activity above 0.95, and cold storage: nothing is credited (computed)."""
    time_s = 3600.0 * np.arange(3)
    for temperature_c, ph, water_activity in ((4.0, 4.9, 0.90), (20.0, 6.0, 0.96)):
        kill = credited_kill_log10(
            time_s, np.full(3, temperature_c), np.full(3, ph), np.full(3, water_activity),
            growth_open=np.zeros(3, bool), credit=CREDIT,
        )  # fmt: skip
        assert not kill.any()


def test_gates_hold_on_both_sides() -> None:
    """A value on the limit still allows growth; just past it does not (growth-limit table, read)."""
    gate = GrowthGate(7.0, 4.0, 0.83, 11.0)
    assert growth_possible(7.0, 4.0, 0.83, 11.0, gate)
    for args in ((6.99, 5, 0.9, 0), (10, 3.99, 0.9, 0), (10, 5, 0.829, 0), (10, 5, 0.9, 11.01)):
        assert not growth_possible(*args, gate)


@pytest.mark.parametrize(
    ("conditions", "psi", "grows"),
    [
        ((25.0, 1.0, 7.0, 0.0, 0.0), 0.0, True),
        ((8.0, 0.97, 6.0, 90.0, 20.0), 0.249, True),
        ((20.0, 0.965, 5.6, 90.0, 100.0), 0.156, True),
        ((5.0, 0.93, 5.9, 90.0, 0.0), 1.059, False),
    ],
)
def test_interaction_of_listeria(
    conditions: tuple[float, float, float, float, float], psi: float, grows: bool
) -> None:
    """Le Marc 2002 / Augustin 2005 on the Listeria factors (constants from memory; psi computed)."""
    temperature_c, water_activity, ph, lactate, nitrite = conditions
    factors = square_root_factors(
        temperature_c,
        ph,
        water_activity,
        undissociated_lactic_mol_m3=_undissociated(lactate, ph),
        nitrite_mg_kg=nitrite,
        model=LISTERIA,
    )
    found, together = interaction(factors[:, None])
    assert found[0] == pytest.approx(psi, abs=0.0006)
    assert bool(together[0] > 0.0) is grows


def test_interaction_is_one_without_strain_and_none_beyond_one() -> None:
    """Le Marc 2002 in the form of Augustin 2005 (from memory): ends and one value by hand."""
    psi, xi = interaction(np.array([[1.0], [1.0]]))
    assert psi[0] == 0.0
    assert xi[0] == 1.0
    psi, xi = interaction(np.array([[0.0], [1.0]]))
    assert psi[0] >= 0.5
    by_hand = 0.25 / (2 * 0.75) * 2
    psi, xi = interaction(np.array([[0.25], [0.25]]))
    assert psi[0] == pytest.approx(by_hand)
    assert xi[0] == 1.0


def test_conservative_factor_follows_from_the_eight_cases() -> None:
    """0.73 geometric mean, 0.25 log10 spread, n = 8: bound with k 3.19 is 0.12, plain 5 % is 0.28."""
    mean, spread = N("growth.kill.observed_over_predicted"), N("growth.kill.observed_over_predicted_log10_sd")
    assert mean * 10 ** (-3.19 * spread) == pytest.approx(N("growth.kill.conservative_factor"), abs=0.006)
    assert mean * 10 ** (-1.645 * spread) == pytest.approx(N("growth.kill.plain_lower_factor"), abs=0.006)
