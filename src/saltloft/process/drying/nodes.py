"""Legendre-Radau nodes in the share of dry solids, with their derivative and integral."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.polynomial import legendre
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Nodes:
    """Where the profile is kept, 0 = axis, 1 = rim (the last node is the rim itself).

    Args:
        share: array (n,). Share of dry solids inside the node, 0..1.
        weight: array (n,). Quadrature weights; they add up to 1.
        derivative: array (n, n). Values to d/dshare at the nodes.
        integral: array (n, n). Values to the integral from 0 to each node.
        divergence: array (n, n). weight^-1 derivative^T weight, the weak form's derivative.
        axis: array (n,). Values to the value on the axis (share 0).
        outer: array (n,). Values to the mean over the outer 15 per cent of the solids.
        inner: array (n,). Values to the mean over the inner 85 per cent.
    """

    share: Array
    weight: Array
    derivative: Array
    integral: Array
    divergence: Array
    axis: Array
    outer: Array
    inner: Array

    @property
    def count(self) -> int:
        """Number of nodes."""
        return len(self.share)


def _radau(count: int) -> tuple[Array, Array]:
    """Nodes and weights of the Radau rule on 0..1 that holds the right end."""
    high, low = np.zeros(count + 1), np.zeros(count + 1)
    high[count], low[count - 1] = 1.0, 1.0
    inside = legendre.legroots(legendre.legsub(low, high))
    place = np.sort(inside.real)
    place[-1] = 1.0
    at_place = legendre.legval(place, low[:count])
    weight = (1.0 + place) / (count * at_place) ** 2
    return 0.5 * (place + 1.0), 0.5 * weight


def _cardinal(share: Array, at: Array) -> Array:
    """Lagrange polynomials of `share` at the points `at`, array (at, n)."""
    rows = np.ones((len(at), len(share)))
    for j, own in enumerate(share):
        for i, other in enumerate(share):
            if i != j:
                rows[:, j] *= (at - other) / (own - other)
    return rows


def _slopes(share: Array) -> Array:
    """Derivative matrix by the barycentric formula (rows sum to zero exactly)."""
    gap = share[:, None] - share[None, :]
    np.fill_diagonal(gap, 1.0)
    scale = gap.prod(axis=1)
    slopes: Array = scale[:, None] / (scale[None, :] * gap)
    np.fill_diagonal(slopes, 0.0)
    np.fill_diagonal(slopes, -slopes.sum(axis=1))
    return slopes


@lru_cache(maxsize=16)
def radau_nodes(count: int, outer_share: float = 0.15) -> Nodes:
    """The nodes for a profile of `count` values.

    Args:
        count: int. Number of nodes, 4..32; 8 is the default of the engine.
        outer_share: float. Share of the solids that counts as the outer layer. [-]

    Notes:
        X is even in the radius, so it is analytic in the solids share and the error
        falls exponentially with the count. Own work; weights checked in the tests.
    """
    share, weight = _radau(count)
    place, rule = legendre.leggauss(count + 2)
    unit, unit_rule = 0.5 * (place + 1.0), 0.5 * rule

    def mean_to(upper: float) -> Array:
        return np.asarray(unit_rule @ _cardinal(share, upper * unit))

    integral = np.array([upper * mean_to(float(upper)) for upper in share])
    slopes = _slopes(share)
    border = 1.0 - outer_share
    inner = mean_to(border)
    return Nodes(
        share=share,
        weight=weight,
        derivative=slopes,
        integral=integral,
        divergence=slopes.T * weight[None, :] / weight[:, None],
        axis=_cardinal(share, np.zeros(1))[0],
        outer=(weight - border * inner) / outer_share,
        inner=inner,
    )


def values_at(nodes: Nodes, at: Array) -> Array:
    """Values at the nodes to values anywhere, by the same polynomial, array (at, n).

    Args:
        nodes: Nodes (n).
        at: array (at,). Shares of the solids, 0..1.
    """
    return _cardinal(nodes.share, np.asarray(at, dtype=np.float64))
