"""pH in time against the printed table of the model, and the order of the time steps.

Source of the table: Saltloft's own fermentation model as first computed by an independent script
(confidence: computed, constants own), at yield 0.9, lean 0.75, nitrite 100 mg/kg, water activity 0.965,
a piece at room temperature, and without the cap on temperature. It was stepped by Euler's rule in steps
of 0.05 h; ours by the midpoint rule, hence 0.013 instead of half a printed digit.
"""

from __future__ import annotations

import numpy as np
import pytest

from saltloft.cases.fermentation_parameters import fermentation_parameters
from saltloft.facts.loader import load_facts
from saltloft.process.fermentation.model import CORE, Members, run, time_grid

PARAMETERS = fermentation_parameters(load_facts(), cap_temperature=False)
LACTATE = PARAMETERS.lactate_per_dextrose


def one_member(temperature_c: float, dextrose_g_kg: float) -> Members:
    """A thread-thin piece, so that it is at room temperature from the start."""
    one = np.ones(1)
    return Members(
        radius_m=0.001 * one,
        film_heat_w_m2k=5000.0 * one,
        start_c=temperature_c * one,
        start_ph=5.75 * one,
        lean=0.75 * one,
        water=0.6 * one,
        buffer_scale=one,
        acid_potential_mmol_kg=LACTATE * 0.9 * dextrose_g_kg * one,
        density_log10=6.7 * one,
        rate_scale=one,
        lag_h=4.0 * one,
        acid_per_growth=1.25e-11 * one,
        nitrite_mg_kg=100.0 * one,
    )


def ph_at(
    temperature_c: float, dextrose_g_kg: float, time_h: np.ndarray, water_activity: float = 0.965
) -> np.ndarray:
    """Core pH over time."""
    course = run(
        one_member(temperature_c, dextrose_g_kg),
        PARAMETERS.model,
        time_h,
        np.full(time_h.size, temperature_c),
        np.full((time_h.size, 2), water_activity),
    )
    return course.ph[:, CORE, 0]


@pytest.mark.parametrize(
    ("temperature_c", "dextrose_g_kg", "printed"),
    [
        (24.0, 6.0, {0: 5.75, 12: 5.70, 18: 5.56, 24: 5.31, 30: 5.10, 36: 4.96, 48: 4.81, 78: 4.77}),
        (20.0, 4.0, {24: 5.53, 30: 5.34, 36: 5.17, 48: 4.98}),
        (30.0, 8.0, {18: 5.29, 24: 5.01, 36: 4.77, 48: 4.67}),
    ],
)
def test_ph_in_time(temperature_c: float, dextrose_g_kg: float, printed: dict[float, float]) -> None:
    """Three printed courses (computed)."""
    time_h = time_grid(78.0)
    ph = ph_at(temperature_c, dextrose_g_kg, time_h)
    for hour, value in printed.items():
        assert float(np.interp(hour, time_h, ph)) == pytest.approx(value, abs=0.013), hour


def test_steps_converge_with_second_order() -> None:
    """Halved steps divide the error by about four, away from the jump at the end of the lag."""
    ends = []
    for step in (1.0, 0.5, 0.25, 0.125):
        time_h = np.arange(0.0, 36.0 + step / 2, step)
        ends.append(ph_at(24.0, 6.0, time_h)[-1])
    exact = ph_at(24.0, 6.0, np.arange(0.0, 36.0 + 1 / 128, 1 / 64))[-1]
    errors = np.abs(np.array(ends) - exact)
    orders = np.log2(errors[:-1] / errors[1:])
    assert float(np.mean(orders)) > 1.6
    assert errors[2] < 1e-3, "the step that is used"


def test_acid_stops_where_the_starter_is_too_dry() -> None:
    """At water activity 0.928 and under nothing moves (Mejlholm & Dalgaard, from memory)."""
    time_h = time_grid(48.0)
    assert np.ptp(ph_at(24.0, 6.0, time_h, water_activity=0.928)) < 1e-9
    assert np.ptp(ph_at(24.0, 6.0, time_h, water_activity=0.94)) > 0.2


def test_published_starter_sausages_lie_in_reach() -> None:
    """Seleshe 2021 (read): 5.26 / 5.21 / 5.15 on day 1; salami 5.8 to 4.8 in three days (second-hand)."""
    time_h = time_grid(78.0)
    day_one = [float(np.interp(24.0, time_h, ph_at(24.0, sugar, time_h))) for sugar in (5.0, 8.0)]
    assert min(day_one) < 5.45
    assert max(day_one) > 5.1
    assert float(ph_at(22.0, 6.0, time_h)[-1]) == pytest.approx(4.8, abs=0.1)
