"""Compiled twin of the linear algebra in `step.py`, LANES members at once."""

# ruff: noqa: PLR0917 - compiled code takes plain arrays
# mypy: allow-untyped-defs, allow-untyped-calls, allow-untyped-decorators
from __future__ import annotations

from numba import njit

from saltloft.process.drying.kernel_lanes import fused, get, put, where
from saltloft.process.drying.scheme import GAMMA


@njit(error_model="numpy")
def factorise(size, a):
    """`step.factorise` of rows (n n); the diagonal then holds one over the pivot."""
    n = len(size)
    for c in range(n):
        pivot = 1.0 / get(a, c * n + c)
        put(a, c * n + c, pivot)
        for i in range(c + 1, n):
            factor = get(a, i * n + c) * pivot
            put(a, i * n + c, factor)
            for j in range(c + 1, n):
                put(a, i * n + j, fused(-factor, get(a, c * n + j), get(a, i * n + j)))


@njit(error_model="numpy")
def solve(size, a, b, first):
    """`step.solve` in place of n rows of b."""
    n = len(size)
    for i in range(1, n):
        total = get(b, first + i)
        for j in range(i):
            total = fused(-get(a, i * n + j), get(b, first + j), total)
        put(b, first + i, total)
    for i in range(n - 1, -1, -1):
        total = get(b, first + i)
        for j in range(i + 1, n):
            total = fused(-get(a, i * n + j), get(b, first + j), total)
        put(b, first + i, total * get(a, i * n + i))


@njit(error_model="numpy")
def subtract_product(size, a, x, first, s, into):
    """n rows of s less the matrix a times n rows of x."""
    n = len(size)
    for i in range(n):
        total = get(s, into + i)
        for j in range(n):
            total = fused(-get(a, i * n + j), get(x, first + j), total)
        put(s, into + i, total)


@njit(error_model="numpy")
def solve_both(size, xx, sx, ss, rank, x, s, first):
    """`StepMatrix.solve` in place of n rows of x and s; sx holds minus the Jacobian's block.

    rank: rows 0..n-1 the column of water, n..2n-1 that of salt, 2n one over 1 - its rim.
    """
    n = len(size)
    solve(size, xx, x, first)
    subtract_product(size, sx, x, first, s, first)
    solve(size, ss, s, first)
    rim = get(s, first + n - 1) * get(rank, 2 * n)
    for i in range(n):
        put(x, first + i, fused(get(rank, i), rim, get(x, first + i)))
        put(s, first + i, fused(get(rank, n + i), rim, get(s, first + i)))


@njit(error_model="numpy")
def rises(size, take, fresh, xx, sx, ss, rank, x, s, once_x, once_s):
    """`Step.rise`: rates x, s replaced by what they add; once_x, once_s are scratch of 2 n rows."""
    n = len(size)
    over = (1.0 / GAMMA) / take
    solve_both(size, xx, sx, ss, rank, x, s, 0)
    for i in range(n):
        put(x, i, (1.0 / GAMMA) * get(x, i))
        put(s, i, (1.0 / GAMMA) * get(s, i))
        put(once_x, i, over * get(x, i))
        put(once_s, i, over * get(s, i))
    solve_both(size, xx, sx, ss, rank, once_x, once_s, 0)
    for i in range(n):
        put(once_x, n + i, over * get(once_x, i))
        put(once_s, n + i, over * get(once_s, i))
    solve_both(size, xx, sx, ss, rank, once_x, once_s, n)
    for i in range(n):
        slow = fused(2.0, get(x, i), -get(once_x, i))
        slow_salt = fused(2.0, get(s, i), -get(once_s, i))
        settled = fused(3.0, get(once_x, i), -2.0 * get(once_x, n + i))
        settled_salt = fused(3.0, get(once_s, i), -2.0 * get(once_s, n + i))
        put(x, i, where(fresh > 0.5, settled, slow))
        put(s, i, where(fresh > 0.5, settled_salt, slow_salt))
