"""Observed order in space and time, each code against the other's limit.

Both codes get the same film, saturation pressure and latent heat here, so what is left is
discretisation, and the engine's power law of the film in the diameter (about 1.5e-5).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from saltloft.process.drying.integrate import Control, integrate
from saltloft.process.drying.members import Blocks, Members
from saltloft.process.drying.nodes import radau_nodes
from saltloft.process.programme import DAY_S, Programme
from tests.drying_cases import central_draws, engine_case, piece, stage
from tests.reference import finite_volume
from tests.reference.finite_volume import Array, Case, Log
from tests.reference.random_cases import case_of

DAYS = np.array([0.0, 0.5, 1.0, 3.0, 7.0, 14.0, 30.0])
MILD, HARD = (14.0, 0.78, 0.15), (14.0, 0.65, 0.5)


def _with_own_air(blocks: Blocks, case: Case, air: tuple[float, float, float]) -> Blocks:
    """The engine's blocks with the finite volume's own properties of air."""
    celsius, humidity, speed = air
    wide, over = finite_volume.film(case.diameter_m, speed, celsius)
    thin, _ = finite_volume.film(0.8 * case.diameter_m, speed, celsius)
    saturated = finite_volume.saturated_kg_m3(celsius)
    rise = finite_volume.saturated_kg_m3(celsius + 0.01) / finite_volume.saturated_kg_m3(celsius - 0.01)
    warmth = -case.activation / 8.314462618 * (1.0 / (celsius + 273.15) - 1.0 / 287.15)
    own = {
        "speed_up": np.exp(warmth), "kelvin": celsius + 273.15, "saturated": saturated,
        "vapour": humidity * saturated, "log_slope": np.log(rise) / 0.02,
        "latent": 2.501e6 - 2361.0 * celsius, "film_heat": case.film * wide,
        "film_power": np.log(thin / wide) / np.log(0.8), "film_ratio": over,
    }  # fmt: skip
    return replace(blocks, **{name: np.full_like(blocks.saturated, value) for name, value in own.items()})


def _case(diameter_mm: float, air: tuple[float, float, float]) -> tuple[Members, Blocks, Case]:
    draws = central_draws(1)
    members, blocks = engine_case(piece(diameter_mm), Programme((stage(30.0, *air),)), draws)
    case = case_of(members, draws)
    return members, _with_own_air(blocks, case, air), case


def _loss(members: Members, blocks: Blocks, count: int, control: Control) -> Array:
    nodes = radau_nodes(count)
    profiles = integrate(members, nodes, blocks, DAY_S * DAYS, control)
    mean = np.einsum("n,tnm->tm", nodes.weight, profiles.water)
    return np.asarray(((members.water - mean) / members.green_mass)[:, 0])


def _limit(case: Case, air: tuple[float, float, float]) -> tuple[Array, dict[int, float]]:
    """The finite volume carried on to cells without end, and the error of 10 to 80 cells."""
    log = Log.of_stages((30.0, *air))
    by = {n: finite_volume.dry(case, log, DAYS, n, 1e-8).loss for n in (10, 20, 40, 80)}
    limit = (4.0 * by[80] - by[40]) / 3.0
    return limit, {n: float(np.abs(loss - limit).max()) for n, loss in by.items()}


@pytest.mark.parametrize(("diameter", "air"), [(50, MILD), (80, HARD)], ids=["mild", "hard"])
def test_order_in_space(
    diameter: float, air: tuple[float, float, float], figure: Callable[[str], None]
) -> None:
    """The finite volume is of second order; the engine meets its limit from eight nodes on.

    In hard dry air the rim's diffusivity vanishes, the profile is no longer smooth and the
    engine's exponential convergence turns algebraic: that is where its error comes from.
    """
    members, blocks, case = _case(diameter, air)
    limit, coarse = _limit(case, air)
    order = np.log2([coarse[10] / coarse[20], coarse[20] / coarse[40]])
    assert order == pytest.approx(2.0, abs=0.1), coarse
    errors = [float(np.abs(_loss(members, blocks, n, Control(1e-5)) - limit).max()) for n in (6, 8, 12, 24)]
    figure(
        f"{diameter} mm, {100 * air[1]:.0f} %RH: engine with 6, 8, 12, 24 nodes "
        + ", ".join(f"{error:.1e}" for error in errors)
        + f"; finite volume 40 cells {coarse[40]:.1e}, order {order.min():.2f}"
    )
    assert errors[-1] < 4e-5
    assert errors[1] < (5e-5 if air == MILD else 4e-4)
    if air == HARD:
        assert np.log2(errors[0] / errors[2]) > 2.3, "of the order 2.3 or more from 6 to 12 nodes"


def test_order_in_time(figure: Callable[[str], None]) -> None:
    """Steps of 1/8, 1/16, 1/32 of a day from a fresh piece on: order 2 or more.

    A step of half a day is already within 1e-5 of the loss. Third order is seen from a smooth
    profile (`test_drying_numerics`); a fresh piece is not smooth at its rim. The limit is the
    finite volume's, to the 1.5e-5 the film's law takes.
    """
    members, blocks, case = _case(50, MILD)
    limit, _ = _limit(case, MILD)
    fine = _loss(members, blocks, 12, Control(1e-6))
    assert fine == pytest.approx(limit, abs=3e-5)
    steps = (0.5, 0.125, 0.0625, 0.03125)
    errors = [
        float(np.abs(_loss(members, blocks, 12, Control(fixed_step_s=h * DAY_S)) - fine).max()) for h in steps
    ]
    order = np.log2(np.array(errors[1:-1]) / np.array(errors[2:]))
    figure("time steps of 1/2, 1/8, 1/16, 1/32 d: " + ", ".join(f"{error:.1e}" for error in errors))
    assert max(errors) < 1e-5, errors
    assert order.min() > 1.9, (errors, order)
    judged = [
        float(np.abs(_loss(members, blocks, 12, Control(tolerance)) - limit).max())
        for tolerance in (1e-2, 1e-3, 1e-4)
    ]
    figure("tolerances 1e-2, 1e-3, 1e-4: " + ", ".join(f"{error:.1e}" for error in judged))
    assert judged[0] < 1e-3
    assert judged[1] < 2e-4
    assert judged[2] < 5e-5
