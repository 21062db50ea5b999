"""Warming of a piece against the classical series of a cylinder with a film."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.special import j0, j1

from saltloft.cases.fermentation_parameters import fermentation_parameters
from saltloft.facts.loader import load_facts
from saltloft.process.fermentation.members import Batch, draws, members_of
from saltloft.process.fermentation.model import CORE, RIM, lag_time_h, roots, temperatures
from saltloft.process.programme import Span

PARAMETERS = fermentation_parameters(load_facts())


def series(biot: float, fourier: float, place: float, terms: int = 12) -> float:
    """Carslaw & Jaeger, cylinder with surface resistance: (T - room) / (start - room)."""
    total = 0.0
    for k in range(terms):
        low, high = (1e-9, 2.404825557695773) if k == 0 else (np.pi * k, np.pi * (k + 1))
        root = brentq(lambda b: b * j1(b) - biot * j0(b), low, high)
        coefficient = 2.0 * j1(root) / (root * (j0(root) ** 2 + j1(root) ** 2))
        total += coefficient * j0(root * place) * np.exp(-(root**2) * fourier)
    return float(total)


@pytest.mark.parametrize("biot", [0.1, 0.6, 1.0, 5.0])
def test_roots(biot: float) -> None:
    """Five modes against Carslaw & Jaeger's equation put to another root finder."""
    found = roots(np.array([biot]), 5)[:, 0]
    for k, root in enumerate(found):
        low, high = (1e-9, 2.404825557695773) if k == 0 else (np.pi * k, np.pi * (k + 1))
        exact = brentq(lambda b: b * j1(b) - biot * j0(b), low, high)
        assert float(root) == pytest.approx(exact, abs=1e-9)


@pytest.mark.parametrize("diameter_m", [0.032, 0.050, 0.065, 0.095])
def test_core_and_rim_follow_the_series(diameter_m: float) -> None:
    """A batter at 4 degC into 22 degC: twelve terms of the series, within 0.05 K from half an hour."""
    batch = Batch(
        Span.of(diameter_m), Span.of(0.75), Span.of(0.6), Span.of(5.0), Span.of(4.0), Span.of(100.0)
    )
    members = members_of(np.zeros_like(draws(1, "x", 1, 1)), batch, PARAMETERS)
    time_h = np.arange(0.0, 30.0, 0.25)
    found = temperatures(members, PARAMETERS.model, time_h, np.full(time_h.size, 22.0))
    radius = 0.5 * diameter_m
    biot = float(members.film_heat_w_m2k[0]) * radius / PARAMETERS.model.conductivity_w_mk
    for place, at in ((CORE, 0.0), (RIM, 1.0)):
        for index, hour in enumerate(time_h[2::5], start=0):
            fourier = PARAMETERS.model.diffusivity_m2_s * hour * 3600.0 / radius**2
            exact = 22.0 - 18.0 * series(biot, fourier, at)
            assert found[2 + 5 * index, place, 0] == pytest.approx(exact, abs=0.05)


def test_core_lag_of_a_65_mm_piece() -> None:
    """About seven hours until the core stays within 1 K of the room (invented house)."""
    batch = Batch(Span.of(0.065), Span.of(0.75), Span.of(0.6), Span.of(5.0), Span.of(4.0), Span.of(100.0))
    members = members_of(np.zeros_like(draws(1, "x", 1, 1)), batch, PARAMETERS)
    tau = lag_time_h(members, PARAMETERS.model)
    assert 5.0 < float(tau[0]) * np.log(18.0) < 9.0
