"""The engine against an independent finite-volume code that shares nothing with it.

`finite_volume.py` beside this file: graded cells, scipy's BDF, own film, sorption, salt flux
and surface balance; no import from saltloft. Allowed: weight loss within 1e-3 at every output,
of which the two codes' own saturation-pressure and latent-heat formulas take about 1e-4.
"""

from __future__ import annotations

import numpy as np
import pytest

from saltloft.process.drying.integrate import integrate
from saltloft.process.drying.nodes import radau_nodes
from saltloft.process.programme import DAY_S, Programme
from saltloft.process.simulate import CONTROL, NODES
from tests.drying_cases import central_draws, engine_case, piece, stage
from tests.reference import finite_volume

DAYS = np.array([0.0, 1.0, 3.0, 7.0, 14.0, 21.0, 30.0, 45.0, 60.0])
CASES = [
    ("the standard programme", 50, 0.28, 0.027, ((2.5, 22.0, 0.92, 0.3), (60.0, 14.0, 0.78, 0.15))),
    ("hard dry air", 80, 0.28, 0.027, ((2.5, 22.0, 0.92, 0.3), (60.0, 14.0, 0.65, 0.5))),
    ("thin and lean", 32, 0.15, 0.030, ((3.0, 24.0, 0.88, 0.3), (60.0, 13.0, 0.80, 0.10))),
    (
        "fans off, then a drop of RH",
        65,
        0.33,
        0.024,
        ((7.0, 16.0, 0.72, 0.3), (10.0, 14.0, 0.90, 0.0), (60.0, 14.0, 0.70, 0.3)),
    ),
]


@pytest.mark.parametrize(("name", "diameter", "fat", "salt", "air"), CASES, ids=[case[0] for case in CASES])
def test_weight_loss_agrees(
    name: str, diameter: float, fat: float, salt: float, air: tuple[tuple[float, float, float, float], ...]
) -> None:
    """Weight loss within 0.1 points on days 1 to 60, as the engine runs by default."""
    starts = [0.0, *(row[0] for row in air)]
    stages = [stage(row[0] - start, *row[1:]) for row, start in zip(air, starts, strict=False)]
    members, blocks = engine_case(
        piece(diameter, fat=fat, salt=salt), Programme(tuple(stages)), central_draws(len(stages))
    )
    profiles = integrate(members, radau_nodes(NODES), blocks, DAY_S * DAYS, CONTROL)
    mean = np.einsum("n,tnm->tm", radau_nodes(NODES).weight, profiles.water)
    loss = ((members.water - mean) / members.green_mass)[:, 0]
    law = members.law
    case = finite_volume.Case(
        diameter_m=diameter / 1000.0,
        water=float(members.water[0]),
        salt=float(members.salt[0]),
        fat=float(law.fat_volume[0] * 920.0),
        solutes=float(members.solutes[0]),
        green_mass=float(members.green_mass[0]),
        air=air,
    )
    reference = finite_volume.dry(case, DAYS)["loss"]
    assert loss == pytest.approx(reference, abs=1e-3), name
    reached = reference[-1] * 0.8
    days = [float(np.interp(reached, curve, DAYS)) for curve in (loss, reference)]
    assert days[0] == pytest.approx(days[1], abs=0.1)


def test_the_reference_is_converged() -> None:
    """Its own 40 cells against 60: within 0.02 points, so it can be leaned on above."""
    case = finite_volume.Case()
    days = np.array([0.0, 3.0, 14.0])
    coarse, fine = (finite_volume.dry(case, days, cells)["loss"] for cells in (40, 60))
    assert coarse == pytest.approx(fine, abs=2e-4)
