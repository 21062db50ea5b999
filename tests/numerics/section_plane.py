"""The heat equation in the plane section of a pressed or oval piece, by finite differences.

Shortley-Weller arms at the curved border, a quarter of the section, a second-order L-stable
step. Nothing from saltloft: the yardstick for `process/drying/shape.py`.
"""

from __future__ import annotations

import numpy as np
from scipy import sparse
from scipy.sparse.linalg import splu


def share_gone(oval: bool, width: float, times: np.ndarray, cells: int = 30) -> np.ndarray:
    """Share gone from a section of half thickness 1 whose border is held at rest.

    width: half length of the longer side. times: Fourier numbers on the radius of the circle of
    the same area.
    """
    flat = width - 1.0
    area = np.pi * width if oval else np.pi + 4.0 * flat
    h = 1.0 / cells

    def border_x(y: np.ndarray) -> np.ndarray:
        half = np.sqrt(1.0 - y * y)
        return width * half if oval else flat + half

    def border_y(x: np.ndarray) -> np.ndarray:
        off = x / width if oval else np.maximum(x - flat, 0.0)
        return np.sqrt(np.maximum(1.0 - off * off, 0.0))

    x, y = (np.arange(int(np.ceil(width / h))) + 0.5) * h, (np.arange(cells) + 0.5) * h
    inside = y[None, :] < border_y(x)[:, None]
    number = np.full(inside.shape, -1)
    number[inside] = np.arange(inside.sum())
    matrix = sparse.lil_matrix((inside.sum(), inside.sum()))
    for i, j in zip(*np.nonzero(inside), strict=True):
        own = number[i, j]
        for (di, dj), to_border in (((1, 0), border_x(y[j]) - x[i]), ((0, 1), border_y(x[i]) - y[j])):
            above = (i + di, j + dj)
            there = above[0] < inside.shape[0] and above[1] < inside.shape[1] and inside[above]
            arm = h if there else max(min(float(to_border), h), 1e-3 * h)
            if min(i - di, j - dj) >= 0:  # else the mirror: no flux
                matrix[own, number[i - di, j - dj]] += 2.0 / (h * (h + arm))
                matrix[own, own] -= 2.0 / (h * (h + arm))
            if there:
                matrix[own, number[above]] += 2.0 / (arm * (h + arm))
            matrix[own, own] -= 2.0 / (arm * (h + arm))
    fine = (np.arange(8) + 0.5) / 8 * h - 0.5 * h
    weight = sum((y[None, :] + b < border_y(x + a)[:, None]).astype(float) for a in fine for b in fine)
    share = weight[inside] / weight.sum()  # what lies beyond the outermost nodes is gone
    system, one = matrix.tocsc(), sparse.identity(matrix.shape[0], format="csc")
    state, now, gone = np.ones(matrix.shape[0]), 0.0, []
    gamma = 1.0 - 1.0 / np.sqrt(2.0)
    for then in times * area / np.pi:
        part = (then - now) / 24.0
        factors = splu((one - gamma * part * system).tocsc())
        for _ in range(24):
            first = factors.solve(system @ state)
            second = factors.solve(system @ (state + (1.0 - gamma) * part * first))
            state = state + part * ((1.0 - gamma) * first + gamma * second)
        now = then
        gone.append(1.0 - share @ state)
    return np.array(gone)
