"""The truth's finite volumes against exact results."""

from __future__ import annotations

import numpy as np
import pytest
from tests.truth.cylinder import Body, PieceAir, dry, solve_tridiagonal
from tests.truth.materials import batter, film_w_m2k, vapour_kg_m3, water_activity


def _body(**changes: object) -> Body:
    """Two like pieces of 50 mm with a constant diffusivity."""
    pair = np.ones(2)
    plain: dict[str, object] = {
        "diameter_m": 0.050 * pair,
        "water": 3.2 * pair,
        "salt": 0.16 * pair,
        "fat": 1.7 * pair,
        "solutes": 1.9 * pair,
        "law": lambda water, fat: np.full_like(water, 6e-11),
        "activation_j_mol": 30e3 * pair,
        "salt_ratio": 2.5 * pair,
        "drag": 0.5 * pair,
        "film_factor": pair,
        "casing_s_m": 40.0 * pair,
        "radiation_w_m2k": 2.2 * pair,
        "slow_share": 0.0 * pair,
        "slow_per_s": 0.0 * pair,
    }
    return Body(**(plain | changes))  # type: ignore[arg-type]


def _air(days: int, steps_a_day: int, humidity: float, exchange: float = 1.0) -> PieceAir:
    steps = days * steps_a_day
    shape = (steps, 2)
    return PieceAir(
        np.linspace(0.0, days, steps + 1),
        np.full(shape, 14.0),
        np.full(shape, humidity),
        np.full(shape, 0.2),
        np.full(shape, exchange),
    )


def test_tridiagonal_solution_is_that_of_a_dense_solver() -> None:
    """Against numpy.linalg.solve."""
    rng = np.random.default_rng(1)
    lower, upper = rng.normal(size=(2, 7, 3))
    diagonal, right = 4.0 + rng.random((7, 3)), rng.normal(size=(7, 3))
    got = solve_tridiagonal(lower, diagonal, upper, right)
    for system in range(3):
        dense = np.diag(diagonal[:, system])
        dense += np.diag(lower[1:, system], -1) + np.diag(upper[:-1, system], 1)
        np.testing.assert_allclose(got[:, system], np.linalg.solve(dense, right[:, system]), rtol=1e-12)


@pytest.mark.parametrize(("fourier", "uptake"), [(0.1, 0.60582), (0.05, None)])
def test_small_change_follows_the_cylinder_series(fourier: float, uptake: float | None) -> None:
    """A step of 2 % with a film that resists nothing: 1 - sum 4/b^2 exp(-b^2 Fo).

    Series of Crank, Mathematics of Diffusion, ch. 5 (memory), over the roots of J0; the printed
    0.60582 at Fo 0.1 is the facts' own table.
    """
    from scipy.special import jn_zeros

    roots = jn_zeros(0, 200)
    series = float(1.0 - np.sum(4.0 / roots**2 * np.exp(-(roots**2) * fourier)))
    if uptake is not None:
        assert series == pytest.approx(uptake, abs=1e-5)
    radius, start, end = 0.025, 3.2, 3.136
    diffusivity = fourier * radius**2 / 86400.0
    body = _body(
        salt=np.full(2, 1e-9),
        film_factor=np.full(2, 1e6),
        casing_s_m=np.zeros(2),
        law=lambda water, fat: np.full_like(water, diffusivity),
        activation_j_mol=np.zeros(2),
    )
    humidity = float(water_activity(np.array(end), np.array(0.0), np.array(1.9)))
    course = dry(body, _air(1, 1000, humidity), nodes=40)
    share = (start - course.water[-1, 0]) / (start - end)
    assert share == pytest.approx(series, rel=0.02)


def test_at_rest_the_whole_piece_stands_at_the_rooms_humidity() -> None:
    """End state: water activity of the mean is the air's, salt evened out."""
    body = _body(law=lambda water, fat: np.full_like(water, 1e-9))
    course = dry(body, _air(120, 4, 0.80))
    activity = water_activity(course.water[-1], course.salt[-1] / course.water[-1], np.full(2, 1.9))
    np.testing.assert_allclose(activity, 0.80, atol=1e-4)


@pytest.mark.parametrize("slow_share", [0.0, 0.35])
def test_no_water_and_no_salt_is_lost_on_the_way(slow_share: float) -> None:
    """Conservation: water left and evaporated make what was there, salt stays, with both compartments."""
    body = _body(slow_share=np.full(2, slow_share), slow_per_s=np.full(2, 3e-6))
    course = dry(body, _air(20, 12, 0.70))
    assert course.evaporated[-1, 0] > 1.0
    np.testing.assert_allclose(course.water + course.evaporated, 3.2, rtol=1e-12)
    np.testing.assert_allclose(course.salt, 0.16, rtol=1e-12)


def test_sealed_pieces_lose_nothing() -> None:
    """No exchange with the air, no loss."""
    course = dry(_body(), _air(5, 12, 0.5, exchange=1e-12))
    assert abs(course.evaporated[-1]).max() < 1e-9


def test_a_second_compartment_gives_its_water_later() -> None:
    """Water that must come out of the particles first is late, by several parts in a hundred."""
    air = _air(15, 12, 0.76)
    one = dry(_body(), air).evaporated[-1, 0]
    two = dry(_body(slow_share=np.full(2, 0.35), slow_per_s=np.full(2, 2.9e-6)), air).evaporated[-1, 0]
    assert two < 0.97 * one


def test_refined_steps_and_nodes_change_the_loss_little() -> None:
    """Convergence: the grid in use is within 2e-3 of the green weight of one 16 times finer."""
    days, coarse = 30, _air(30, 8, 0.76)
    coarse = _air(days, 8, 0.76)
    fine = _air(days, 64, 0.76)
    green = 1.0 + 1.7 + 3.2 + 0.16
    difference = dry(_body(), coarse, nodes=20).evaporated - dry(_body(), fine, nodes=40).evaporated
    assert abs(difference[1:]).max() / green < 2e-3


def test_the_materials_stand_where_handbooks_put_them() -> None:
    """Spot values: brine 10 % 0.935 and saturated 0.7524 (Pitzer, the facts' table; the quadratic is
    known to be 0.024 high there), saturation at 14 degC 1598 Pa as density, film 10.1 W/m2K at 55 mm and
    0.5 m/s (Churchill and Bernstein, the facts' table), shoulder lean's water."""
    no_solutes = np.array(0.0)
    wet = np.array(100.0)
    assert water_activity(wet, np.array(10.0 / 90.0), no_solutes) == pytest.approx(0.935, abs=0.004)
    assert water_activity(wet, np.array(0.6), no_solutes) == pytest.approx(0.7524, abs=0.03)
    assert vapour_kg_m3(np.array(14.0)) == pytest.approx(1598.0 * 0.018015 / (8.314 * 287.15), rel=0.005)
    assert film_w_m2k(np.array(0.055), np.array(0.5)) == pytest.approx(10.1, rel=0.1)
    water, protein = batter(np.array(0.07), np.array(0.0))
    assert water == pytest.approx(0.72, abs=0.01)
    assert protein == pytest.approx(0.194, abs=0.01)
