"""Single modes of a sealed cylinder: salt alone, water alone; each decays by its exact rate."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.special import j0, jn_zeros
from tests.drying_cases import linear_air, linear_members

from saltloft.process.drying.integrate import Control, Start, integrate
from saltloft.process.drying.members import Blocks, Members
from saltloft.process.drying.nodes import radau_nodes

NODES = radau_nodes(12)
RADIUS_M, DIFFUSIVITY = 0.025, 5e-11
SECOND_S = 0.1 * RADIUS_M**2 / DIFFUSIVITY


def sealed(members: Members) -> Blocks:
    """A pack around it."""
    air = linear_air(members, np.ones(members.count), np.full(members.count, 20.0 * SECOND_S))
    return replace(air, open=np.array([False]))


def mode(number: int) -> tuple[np.ndarray, float]:
    """J0(j s^1/2) with no flux at the rim, array (n, 1), and its rate in D/R^2 (j: zero of J1)."""
    root = float(jn_zeros(1, number)[-1])
    return j0(root * np.sqrt(NODES.share))[:, None], root * root


@pytest.mark.parametrize("number", [1, 2])
@pytest.mark.parametrize("ratio", [1.0, 3.0])
def test_pure_salt_diffusion(number: int, ratio: float) -> None:
    """Even water, uneven salt, sealed: the mode decays as exp(-r D j^2 t/R^2), the water stays even.

    Solution of the cylinder without flux at its border (Crank, ch. 5, from memory); r the salt's
    diffusivity over the water's. The drag has nothing to drag.
    """
    members = replace(linear_members(), salt_ratio=np.full(1, ratio), salt_drag=np.full(1, 0.6))
    shape, rate = mode(number)
    salt = 0.15 + 0.03 * shape
    start = Start(0.0, np.full((12, 1), 2.0), salt, np.full(1, 300.0))
    times = SECOND_S * np.array([0.0, 0.3, 1.0])
    profiles = integrate(members, NODES, sealed(members), times, Control(1e-6, 1e-9), start)
    for t, found in zip(times, profiles.salt, strict=True):
        left = np.exp(-ratio * rate * DIFFUSIVITY * t / RADIUS_M**2)
        assert found == pytest.approx(0.15 + 0.03 * left * shape, abs=3e-6)
    assert profiles.water == pytest.approx(np.full_like(profiles.water, 2.0), abs=1e-12)


def test_sealed_equalisation_of_water_drags_salt_with_it() -> None:
    """Water alone: its mode decays as exp(-D j^2 t/R^2). With drag the salt of the wet core moves out too."""
    shape, rate = mode(1)
    water = 2.0 + 0.5 * shape
    times = SECOND_S * np.array([0.0, 0.5, 1.0, 15.0])
    for drag in (0.0, 0.6):
        members = replace(linear_members(), salt_ratio=np.full(1, 3.0), salt_drag=np.full(1, drag))
        start = Start(0.0, water, 0.05 * water, np.full(1, 300.0))  # brine even: salt follows the water only
        profiles = integrate(members, NODES, sealed(members), times, Control(1e-6, 1e-9), start)
        for t, found in zip(times, profiles.water, strict=True):
            left = np.exp(-rate * DIFFUSIVITY * t / RADIUS_M**2)
            assert found == pytest.approx(2.0 + 0.5 * left * shape, abs=2e-5)
        total = NODES.weight @ profiles.salt[:, :, 0].T
        assert total == pytest.approx(np.full(4, total[0]), rel=1e-12)
        brine = profiles.salt[-1] / profiles.water[-1]
        assert brine.max() - brine.min() < 1e-6, "in the end the brine is even"


def test_brine_that_flows_whole_stays_even() -> None:
    """With all of the moving water dragging its salt, even brine stays even while the water evens out."""
    shape, _ = mode(1)
    water = 2.0 + 0.5 * shape
    members = replace(linear_members(), salt_ratio=np.full(1, 3.0), salt_drag=np.ones(1))
    start = Start(0.0, water, 0.05 * water, np.full(1, 300.0))
    profiles = integrate(
        members, NODES, sealed(members), SECOND_S * np.array([0.0, 0.5]), Control(1e-6, 1e-9), start
    )
    assert profiles.salt[1] / profiles.water[1] == pytest.approx(np.full((12, 1), 0.05), abs=1e-6)
