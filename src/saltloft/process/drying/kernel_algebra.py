"""Compiled twin of the linear algebra in `step.py`, members innermost in LANES."""

# ruff: noqa: PLR0917 - compiled loops take plain arrays
# mypy: allow-untyped-defs, allow-untyped-calls, allow-untyped-decorators
from __future__ import annotations

from numba import njit

from saltloft.process.drying.kernel_rates import LANES


@njit(error_model="numpy")
def factorise(a):
    """`step.factorise` on (n, n, lanes)."""
    n = a.shape[0]
    for c in range(n - 1):
        for i in range(c + 1, n):
            for k in range(LANES):
                a[i, c, k] /= a[c, c, k]
            for j in range(c + 1, n):
                for k in range(LANES):
                    a[i, j, k] -= a[i, c, k] * a[c, j, k]


@njit(error_model="numpy")
def solve(a, b):
    """`step.solve` in place of b (n, lanes)."""
    n = a.shape[0]
    for i in range(1, n):
        for j in range(i):
            for k in range(LANES):
                b[i, k] -= a[i, j, k] * b[j, k]
    for i in range(n - 1, -1, -1):
        for j in range(i + 1, n):
            for k in range(LANES):
                b[i, k] -= a[i, j, k] * b[j, k]
        for k in range(LANES):
            b[i, k] /= a[i, i, k]


@njit(error_model="numpy")
def solve_both(xx, sx, ss, rank_x, rank_s, x, s):
    """`StepMatrix.solve` in place of x and s (n, lanes); sx holds minus the Jacobian's block."""
    n = xx.shape[0]
    solve(xx, x)
    for i in range(n):
        for j in range(n):
            for k in range(LANES):
                s[i, k] -= sx[i, j, k] * x[j, k]
    solve(ss, s)
    for k in range(LANES):
        rim = s[n - 1, k] / (1.0 - rank_s[n - 1, k])
        for i in range(n):
            x[i, k] += rank_x[i, k] * rim
            s[i, k] += rank_s[i, k] * rim


@njit(error_model="numpy")
def rises(h, cube, rank_x, rank_s, x, s, kx, ks):
    """`Step.rise`: rates x, s (n, lanes) replaced by what they add; kx[0..1], ks[0..1] are scratch."""
    n = x.shape[0]
    for i in range(n):
        for k in range(LANES):
            kx[0, i, k], ks[0, i, k] = x[i, k], s[i, k]
    solve_both(cube[3], cube[4], cube[5], rank_x, rank_s, kx[0], ks[0])
    for i in range(n):
        for k in range(LANES):
            x[i, k], s[i, k] = 2.0 * kx[0, i, k], 2.0 * ks[0, i, k]
            kx[0, i, k], ks[0, i, k] = x[i, k] * (2.0 / h[k]), s[i, k] * (2.0 / h[k])
    solve_both(cube[3], cube[4], cube[5], rank_x, rank_s, kx[0], ks[0])
    for i in range(n):
        for k in range(LANES):
            x[i, k] = 2.0 * x[i, k] - kx[0, i, k]
            s[i, k] = 2.0 * s[i, k] - ks[0, i, k]
