"""One stiff step for all members at once: the scheme of `scheme.py`, block-triangular factors."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from saltloft.process.drying.members import Members
from saltloft.process.drying.nodes import Nodes
from saltloft.process.drying.rates import Air, Jacobian, jacobian, rates, rates_by_time
from saltloft.process.drying.scheme import (
    A31,
    A32,
    A43,
    C21,
    C31,
    C32,
    C41,
    C42,
    C43,
    DRIFT1,
    DRIFT2,
    GAMMA,
)

Array = NDArray[np.float64]


def factorise(matrix: Array) -> Array:
    """LU factors in place, without pivoting.

    Args:
        matrix: array (n, n, members). [1/s]

    The matrices are 1/(h gamma) minus a dissipative Jacobian: scaled by the quadrature
    weights their symmetric part is positive, so no pivot can vanish.
    """
    for k in range(matrix.shape[0] - 1):
        matrix[k + 1 :, k] /= matrix[k, k]
        matrix[k + 1 :, k + 1 :] -= matrix[k + 1 :, k, None] * matrix[k, None, k + 1 :]
    return matrix


def solve(factors: Array, right: Array) -> Array:
    """Solution of a factorised system.

    Args:
        factors: array (n, n, members). From `factorise`. [1/s]
        right: array (n, members). Right side. [kg/kg.s]
    """
    answer = right.copy()
    count = factors.shape[0]
    for k in range(1, count):
        answer[k] -= np.einsum("jm,jm->m", factors[k, :k], answer[:k])
    for k in range(count - 1, -1, -1):
        answer[k] -= np.einsum("jm,jm->m", factors[k, k + 1 :], answer[k + 1 :])
        answer[k] /= factors[k, k]
    return answer


@dataclass(frozen=True)
class StepMatrix:
    """1/(h gamma) minus the Jacobian, factorised: two n x n and one rank-one term."""

    xx: Array
    ss: Array
    sx: Array
    rank_x: Array
    rank_s: Array

    def solve(self, right_x: Array, right_s: Array) -> tuple[Array, Array]:
        """Solution for right sides (n, members) of water and salt."""
        x = solve(self.xx, right_x)
        s = solve(self.ss, right_s + np.einsum("ijm,jm->im", self.sx, x))
        rim = s[-1] / (1.0 - self.rank_s[-1])
        return x + self.rank_x * rim, s + self.rank_s * rim


def step_matrix(change: Jacobian, over_step: Array) -> StepMatrix:
    """Factorise for one step.

    Args:
        change: Jacobian.
        over_step: array (members,). 1/(h gamma). [1/s]
    """
    diagonal = np.arange(change.xx.shape[0])
    xx, ss = -change.xx, -change.ss
    xx[diagonal, diagonal] += over_step
    ss[diagonal, diagonal] += over_step
    factorise(xx)
    factorise(ss)
    rank_x = solve(xx, change.column_x)
    rank_s = solve(ss, np.einsum("ijm,jm->im", change.sx, rank_x))
    return StepMatrix(xx, ss, change.sx, rank_x, rank_s)


@dataclass(frozen=True)
class Step:
    """What one step did; arrays (n, members).

    Args:
        water, salt: arrays. The new profile. [kg/kg]
        water_error, salt_error: arrays. Embedded estimate of its error. [kg/kg]
        matrix: StepMatrix. Of this step.
    """

    water: Array
    salt: Array
    water_error: Array
    salt_error: Array
    matrix: StepMatrix

    def rise(self, rate: tuple[Array, Array], step_s: Array, fresh: Array) -> tuple[Array, Array]:
        """What a rate adds over the step, without what the step cannot see, (n, members). [kg/kg]

        With A = (1 - gamma h J)^-1 it is (2 A - A^2) h f: h f to second order for slow motion,
        little for what settles much faster than the step. Where `fresh` is 1 a jump is still
        settling: there (3 A^2 - 2 A^3) h f, nothing of it. Every A keeps totals.
        """
        over = 1.0 / (GAMMA * step_s)
        once = [part / GAMMA for part in self.matrix.solve(*rate)]
        twice = self.matrix.solve(*(over * part for part in once))
        thrice = self.matrix.solve(*(over * part for part in twice))

        def chosen(a: Array, b: Array, c: Array) -> Array:
            return np.where(fresh > 0.0, 3.0 * b - 2.0 * c, 2.0 * a - b)

        return chosen(once[0], twice[0], thrice[0]), chosen(once[1], twice[1], thrice[1])


def step(  # noqa: PLR0917 - six parts of one step, always in this order
    members: Members,
    nodes: Nodes,
    air: Air,
    profile: tuple[Array, Array],
    rate: tuple[Array, Array],
    step_s: Array,
) -> Step:
    """Advance every member by its own step.

    Args:
        members: Members.
        nodes: Nodes (n).
        air: Air. At the start of the step; its vapour drifts.
        profile: pair of arrays (n, members). Water and salt at the start. [kg/kg]
        rate: pair of arrays (n, members). `rates` at the start. [1/s]
        step_s: array (members,). Step of each member, above 0. [s]

    Returns:
        Step. Nothing is judged here: the caller accepts or halves.
    """
    water, salt = profile
    matrix = step_matrix(jacobian(members, nodes, air, water, salt), 1.0 / (GAMMA * step_s))
    over = 1.0 / step_s
    drift_x, drift_s = (step_s * part for part in rates_by_time(members, nodes, air, profile, rate))
    x1, s1 = matrix.solve(rate[0] + DRIFT1 * drift_x, rate[1] + DRIFT1 * drift_s)
    x2, s2 = matrix.solve(
        rate[0] + DRIFT2 * drift_x + C21 * over * x1, rate[1] + DRIFT2 * drift_s + C21 * over * s1
    )
    end = air.after(step_s)
    there = water + A31 * x1 + A32 * x2, salt + A31 * s1 + A32 * s2
    third = rates(members, nodes, end, *there)
    x3, s3 = matrix.solve(third[0] + over * (C31 * x1 + C32 * x2), third[1] + over * (C31 * s1 + C32 * s2))
    there = there[0] + A43 * x3, there[1] + A43 * s3
    fourth = rates(members, nodes, end, *there)
    x4, s4 = matrix.solve(
        fourth[0] + over * (C41 * x1 + C42 * x2 + C43 * x3),
        fourth[1] + over * (C41 * s1 + C42 * s2 + C43 * s3),
    )
    return Step(
        water=there[0] + x4,
        salt=there[1] + s4,
        water_error=x4,
        salt_error=s4,
        matrix=matrix,
    )
