"""The coefficients of one step in time, from the one number the scheme leaves free.

A Rosenbrock scheme of four stages and order 3, L-stable, with an embedded order 2 that is L-stable
too. Stages one and two look at the start of the step, three and four at its end. The classic choice
of that build, RODAS3 with GAMMA = 1/2, overdoes the answer of a deep piece to a jump of its surface
(what it takes up grows with the root of time) by 3.1 % when one step covers it; here GAMMA is the
number at which that answer is exact. Order conditions and stability: Hairer & Wanner, Solving
Ordinary Differential Equations II, section IV.7, from memory and proved by the order test.
"""

from __future__ import annotations

import numpy as np

GAMMA = 0.2708  # L-stable from 0.2236 to 0.5728


def _coefficients(g: float) -> tuple[list[float], list[float], list[float], list[float]]:
    """Places a31, a32, a43; pulls c21, c31, c32 and c41, c42, c43; weights of the drift."""
    second = 0.5 - 2.0 * g + g * g  # what order 2 asks of the stages after the first
    third = 1.0 / 6.0 - g + g * g - g * second
    b3 = 1.0 / 3.0 - g
    b2 = (second - b3 * (1.0 - g)) / g
    beta = np.diag(np.full(4, g))
    beta[1, 0] = g
    beta[2, 1] = third / (b3 * g)
    beta[2, 0] = 1.0 - g - beta[2, 1]
    beta[3, :3] = 1.0 - g - b2 - b3, b2, b3
    alpha = np.zeros((4, 4))
    alpha[2, :2] = g, 1.0 - g  # nothing of what is infinitely fast is left at either end
    far = np.linalg.solve(beta[:3, :3], -np.ones(3))
    alpha[3, :3] = np.linalg.solve(
        np.array([[1.0, 1.0, 1.0], [0.0, g, 1.0 - g], far]), np.array([1.0, 0.5 - g, -1.0])
    )
    gamma = beta - alpha
    inverse = np.linalg.inv(gamma)
    place, pull = alpha @ inverse, -inverse
    return (
        [float(place[i, j]) for i, j in ((2, 0), (2, 1), (3, 2))],
        [float(pull[i, j]) for i, j in ((1, 0), (2, 0), (2, 1))],
        [float(pull[3, j]) for j in range(3)],
        [float(total) for total in gamma.sum(axis=1)],
    )


(A31, A32, A43), (C21, C31, C32), (C41, C42, C43), (DRIFT1, DRIFT2, *_) = _coefficients(GAMMA)
