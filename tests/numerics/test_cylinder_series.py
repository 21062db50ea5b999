"""The engine in its linear mode against the classical series of a cylinder with surface resistance.

Source: Crank, The Mathematics of Diffusion, 2nd ed., chapter 5 (recalled); the series is
summed here by scipy's Bessel functions, and tables/cylinder_analytic.csv holds 107 rows
computed beforehand with 400 to 3000 terms.
"""

from __future__ import annotations

import csv
import itertools
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.special import j0, j1, jn_zeros
from tests.drying_cases import linear_air, linear_members

from saltloft.process.drying.integrate import Control, integrate
from saltloft.process.drying.nodes import radau_nodes

TABLE = Path(__file__).parent / "tables" / "cylinder_analytic.csv"
NODES = radau_nodes(14)


def _rows() -> list[dict[str, str]]:
    with TABLE.open(encoding="utf-8") as file:
        return list(csv.DictReader(file))


def _engine(biot: np.ndarray, fourier: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Share of the removable water gone, change on the axis and at the rim; (times, members)."""
    members = linear_members(len(biot))
    scale = (0.5 * members.diameter_m[0]) ** 2 / members.law.reference[0]
    end = np.full(len(biot), 1.01 * scale * fourier[-1])
    profiles = integrate(members, NODES, linear_air(members, biot, end), scale * fourier, Control(1e-6))
    drop = (2.0 - profiles.water) / (2.0 - 0.5)
    mean = np.einsum("n,tnm->tm", NODES.weight, drop)
    return mean, np.einsum("n,tnm->tm", NODES.axis, drop), drop[:, -1]


def test_every_row_of_the_table() -> None:
    """Biot 0.1 to 100 (and a surface held fixed, as Biot 1e6): within 1e-3 everywhere."""
    rows = _rows()
    names = sorted({row["biot"] for row in rows})
    biot = np.array([1e6 if name == "inf" else float(name) for name in names])
    fourier = np.array(sorted({float(row["fourier_Dt_over_R2"]) for row in rows}))
    mean, axis, rim = _engine(biot, np.concatenate([[0.0], fourier]))
    checked = 0
    for row in rows:
        if row["biot"] == "inf" and float(row["fourier_Dt_over_R2"]) < 0.01:
            continue  # a front of 4 % of the radius: the early law below covers it
        t = 1 + int(np.searchsorted(fourier, float(row["fourier_Dt_over_R2"])))
        m = names.index(row["biot"])
        assert mean[t, m] == pytest.approx(float(row["Mt_over_Minf"]), abs=1e-3), row
        assert axis[t, m] == pytest.approx(float(row["centre_change_fraction"]), abs=1e-3), row
        assert rim[t, m] == pytest.approx(float(row["surface_change_fraction"]), abs=1e-3), row
        checked += 1
    assert checked >= 100


@pytest.mark.parametrize("biot", [0.1, 1.0, 10.0, 100.0])
def test_the_series_summed_here(biot: float) -> None:
    """The same against the series summed with scipy's Bessel functions, not against a table."""
    zeros = np.concatenate([[0.0], jn_zeros(1, 200)])
    roots = np.array(
        [
            brentq(lambda b: b * j1(b) - biot * j0(b), low + 1e-9, high - 1e-9)
            for low, high in itertools.pairwise(zeros)
        ]
    )
    fourier = np.array([0.0, 0.02, 0.1, 0.5, 1.0])
    terms = 4.0 * biot**2 / (roots**2 * (roots**2 + biot**2))
    left = (terms[None, :] * np.exp(-(roots[None, :] ** 2) * fourier[:, None])).sum(axis=1)
    mean, _, _ = _engine(np.array([biot]), fourier)
    assert mean[1:, 0] == pytest.approx(1.0 - left[1:], abs=1e-3)


def test_early_law() -> None:
    """Surface held fixed: Mt/Minf = 4 sqrt(Fo/pi) - Fo for small Fo, so it goes with sqrt time."""
    fourier = np.array([0.0, 0.005, 0.01, 0.02])
    mean, _, _ = _engine(np.array([1e6]), fourier)
    law = 4.0 * np.sqrt(fourier / np.pi) - fourier
    assert mean[1:, 0] == pytest.approx(law[1:], rel=5e-3)
    assert (mean[3, 0] + fourier[3]) / (mean[1, 0] + fourier[1]) == pytest.approx(2.0, rel=5e-3)


def test_lumped_limit() -> None:
    """Biot 0.01: the whole body dries as one exponential, rate 2 Bi Fo."""
    fourier = np.array([0.0, 5.0, 20.0, 50.0])
    mean, axis, rim = _engine(np.array([0.01]), fourier)
    assert mean[1:, 0] == pytest.approx(1.0 - np.exp(-2.0 * 0.01 * fourier[1:]), abs=3e-3)
    assert axis[1:, 0] == pytest.approx(rim[1:, 0], abs=6e-3)


def test_time_goes_with_the_square_of_the_diameter() -> None:
    """Two calibres at one Biot number give one curve over Fo: time scales with d squared."""
    small, large = linear_members(1, diameter_m=0.04), linear_members(1, diameter_m=0.08)
    days = np.array([0.0, 5.0, 15.0]) * 86400.0
    curves = []
    for members, factor in ((small, 1.0), (large, 4.0)):
        air = linear_air(members, np.array([50.0]), np.array([1e8]))
        profiles = integrate(members, NODES, air, factor * days, Control(1e-6))
        curves.append(np.einsum("n,tnm->tm", NODES.weight, profiles.water)[:, 0])
    assert curves[0] == pytest.approx(curves[1], abs=1e-6)
