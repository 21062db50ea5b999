"""The compiled twin of `step.py` and of the rim's memory, for LANES members at a time."""

# ruff: noqa: PLR0917 - compiled loops take plain arrays and do one thing at length
# mypy: allow-untyped-defs, allow-untyped-calls, allow-untyped-decorators
from __future__ import annotations

import numpy as np
from numba import njit

from saltloft.process.drying.kernel_algebra import factorise, solve, solve_both, subtract_product
from saltloft.process.drying.kernel_lanes import (
    exponential,
    fused,
    get,
    largest,
    logarithm,
    number,
    put,
    root,
    row,
    size_of,
    smallest,
    where,
)
from saltloft.process.drying.kernel_rates import (
    END_VAPOUR,
    GREEN,
    POWER,
    SCALE,
    SOLUTES,
    VAPOUR,
    activity,
    jacobian,
    rates,
    rates_by_time,
)
from saltloft.process.drying.scheme import A31, A32, A43, C21, C31, C32, C41, C42, C43, DRIFT1, DRIFT2, GAMMA

# Rules of a step.
TOLERANCE, LOSS_TOLERANCE, CHANGE, LEFT, FIRST, SHORTEST, LONGEST, MOST, SORPTION_KELVIN = range(9)
REMEMBERS, WET, DRY, HARDEN, SOFTEN = range(9, 14)
# Rows of what a group knows of its steps.
NOW, LENGTH, TAKE, GOOD, GROWN, LOST, FRESH, REACHED, SHARE, RIM = range(10)
TIME_ROWS = 10


@njit(error_model="numpy")
def step(size, x, s, h, p, air, brine, tables, nodes, scalars, w, at, f, rank, xx, sx, ss, kx, ks, tx, ts):
    """`step.step`: the new profile into tx, ts; stages in the rows of kx, ks; the last is the error.

    f: rows 0..n-1 and n..2n-1 keep the rates of the start, the next 2 n are scratch.
    """
    n = len(size)
    f_x, f_s, g_x, g_s = f, row(f, n), row(f, 2 * n), row(f, 3 * n)
    rates(size, x, s, p, air, VAPOUR, brine, tables, nodes, scalars, w, at, f_x, f_s)
    jacobian(size, x, p, nodes, scalars, w, at, xx, sx, ss, rank)
    rates_by_time(size, air, scalars, at, f_x, f_s, g_x, g_s)
    o, take = 1.0 / get(h, TAKE), get(h, TAKE)
    for i in range(n):
        put(xx, i * n + i, fused(1.0 / GAMMA, o, get(xx, i * n + i)))
        put(ss, i * n + i, fused(1.0 / GAMMA, o, get(ss, i * n + i)))
        put(rank, n + i, 0.0)
    factorise(size, xx)
    factorise(size, ss)
    solve(size, xx, rank, 0)
    subtract_product(size, sx, rank, 0, rank, n)
    solve(size, ss, rank, n)
    put(rank, 2 * n, 1.0 / (1.0 - get(rank, 2 * n - 1)))
    for stage in range(4):
        if stage >= 2:
            for i in range(n):
                there = fused(A32, get(kx, n + i), fused(A31, get(kx, i), get(x, i)))
                salt_there = fused(A32, get(ks, n + i), fused(A31, get(ks, i), get(s, i)))
                if stage == 3:  # never 0 times a third stage that an earlier step left as no number
                    there = fused(A43, get(kx, 2 * n + i), there)
                    salt_there = fused(A43, get(ks, 2 * n + i), salt_there)
                put(tx, i, there)
                put(ts, i, salt_there)
            rates(size, tx, ts, p, air, END_VAPOUR, brine, tables, nodes, scalars, w, at, g_x, g_s)
        for i in range(n):
            if stage == 0:
                put(kx, i, fused(DRIFT1 * take, get(g_x, i), get(f_x, i)))
                put(ks, i, fused(DRIFT1 * take, get(g_s, i), get(f_s, i)))
            elif stage == 1:
                put(kx, n + i, fused(C21 * o, get(kx, i), fused(DRIFT2 * take, get(g_x, i), get(f_x, i))))
                put(ks, n + i, fused(C21 * o, get(ks, i), fused(DRIFT2 * take, get(g_s, i), get(f_s, i))))
            elif stage == 2:
                third_x = fused(C32, get(kx, n + i), C31 * get(kx, i))
                third_s = fused(C32, get(ks, n + i), C31 * get(ks, i))
                put(kx, 2 * n + i, fused(o, third_x, get(g_x, i)))
                put(ks, 2 * n + i, fused(o, third_s, get(g_s, i)))
            else:
                last_x = fused(C43, get(kx, 2 * n + i), fused(C42, get(kx, n + i), C41 * get(kx, i)))
                last_s = fused(C43, get(ks, 2 * n + i), fused(C42, get(ks, n + i), C41 * get(ks, i)))
                put(kx, 3 * n + i, fused(o, last_x, get(g_x, i)))
                put(ks, 3 * n + i, fused(o, last_s, get(g_s, i)))
        solve_both(size, xx, sx, ss, rank, kx, ks, stage * n)
    for i in range(n):  # tx, ts hold what the last stage looked at
        put(tx, i, get(tx, i) + get(kx, 3 * n + i))
        put(ts, i, get(ts, i) + get(ks, 3 * n + i))


@njit(error_model="numpy")
def judge(size, weight, x, s, p, tx, ts, kx, ks, rules, h):
    """Which lanes may take their step (1 or 0) into GOOD, the factor on the next one into GROWN."""
    n = len(size)
    wrong_x, wrong_s = 0.0 * get(x, 0), 0.0 * get(x, 0)
    change, total, good, finite = wrong_x, wrong_x, wrong_x + 1.0, wrong_x + 1.0
    for i in range(n):
        here, salt, there, salt_there = get(x, i), get(s, i), get(tx, i), get(ts, i)
        per_x, per_s = 1.0 / (size_of(here) + 0.05), 1.0 / (size_of(salt) + 0.02)
        by_x, by_s = get(kx, 3 * n + i) * per_x, get(ks, 3 * n + i) * per_s
        wrong_x = fused(number(weight, i) * by_x, by_x, wrong_x)
        wrong_s = fused(number(weight, i) * by_s, by_s, wrong_s)
        total = fused(number(weight, i), get(kx, 3 * n + i), total)
        change = largest(size_of(there - here) * per_x, change)
        change = largest(size_of(salt_there - salt) * per_s, change)
        good = where(there >= number(rules, LEFT) * here, good, 0.0)  # no number is never at least anything
        good = where(salt_there >= number(rules, LEFT) * salt, good, 0.0)
        finite = where((size_of(there) < 1e300) & (size_of(salt_there) < 1e300), finite, 0.0)
    lost = size_of(total) / get(p, GREEN)
    ratio = root(largest(wrong_x, wrong_s)) * (1.0 / number(rules, TOLERANCE))
    ratio = largest(largest(ratio, lost * (1.0 / number(rules, LOSS_TOLERANCE))), 1e-12)
    put(h, LOST, lost)
    grown = smallest(largest(0.9 * exponential((-1.0 / 3.0) * logarithm(ratio)), 0.2), 2.5)
    good = where(change <= number(rules, CHANGE), good, 0.0)
    grown = where(good > 0.5, grown, smallest(grown, 0.5))
    put(h, GOOD, where(ratio <= 1.0, good * finite, 0.0))
    put(h, GROWN, where(finite > 0.5, grown, 0.2))


@njit(error_model="numpy")
def between(size, at, old, new, rises_old, rises_new, fresh, out):
    """`integrate._between` into n rows of out: at the share `at` of the step, 1 for its very end."""
    n = len(size)
    fine = 0.0 * at + 1.0
    fading = (1.0 - at) * (1.0 - at) * (1.0 - at)
    for i in range(n):
        left, there, m1 = get(old, i), get(new, i), get(rises_new, i)
        rise = there - left
        m0 = get(rises_old, i)
        value = left + at * (m0 + at * (3.0 * rise - 2.0 * m0 - m1 + at * (m0 + m1 - 2.0 * rise)))
        value = where(fresh > 0.5, there - (1.0 - at) * m1 - (rise - m1) * fading, value)
        put(out, i, value)
        fine = where(value >= 0.5 * smallest(left, there), fine, 0.0)
    for i in range(n):
        left, there = get(old, i), get(new, i)
        value = where(fine > 0.5, get(out, i), fused(at, there - left, left))
        put(out, i, where(at < 1.0, value, there))


@njit(error_model="numpy")
def remember(back, lasting, activity, time_s, rules):
    """`RimMemory.after` of one member."""
    part = min(max((rules[WET] - activity) / (rules[WET] - rules[DRY]), 0.0), 1.0)
    goal = part * part * (3.0 - 2.0 * part)
    pace = rules[HARDEN] if goal > back else rules[SOFTEN]
    grown = goal + (lasting - goal) * np.exp(-time_s / rules[HARDEN])
    return goal + (back - goal) * np.exp(-time_s / pace), max(lasting, grown)


@njit(error_model="numpy")
def rim_activity(size, x, s, p, brine, h):
    """Water activity of the rim of the group, into the row RIM of h."""
    n = len(size)
    rim = activity(get(x, n - 1), get(s, n - 1), get(p, SOLUTES), get(p, SCALE), get(p, POWER), brine)
    put(h, RIM, rim[0])
