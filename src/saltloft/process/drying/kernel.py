"""The compiled twin of `rates.py`, `step.py` and `integrate.py`; those are the definition.

Members stand innermost in LANES; every lane has its own time, step and block. Equal to the
NumPy form within 1e-9 (a test). One pass over the lanes per formula. All compiled code stands in
this one file with its constants as arguments: the cache looks at this file alone for changes.
"""

# ruff: noqa: PLR0917, PLR0912, PLR0915 - compiled loops take plain arrays and do one thing at length
# mypy: allow-untyped-defs, allow-untyped-calls, allow-untyped-decorators
from __future__ import annotations

import numpy as np
from numba import njit

LANES = 64

# Rows of the member table.
VOLUME, SOLIDS, FIXED, LENGTH, RATIO, DRAG, SCALE, POWER, SOLUTES, RESIST, HEAT, ACTIVE, ENDS = range(13)
# Rows of the air table.
SPEED, KELVIN, SATURATED, VAPOUR, SLOPE, LATENT, FILM, FILM_POWER, FILM_RATIO, OPEN = range(10)
# Work arrays (n, lanes).
V, U, G, B, C, FREE, DU, DC, PUSH, WF, SF, COMMON, C_X, C_S, CARRY, DRAGS, SWELL = range(17)
# Rules of a step.
TOLERANCE, CHANGE, LEFT, FIRST, SHORTEST, MOST = range(6)
# Surface values (lanes,).
LOSS, LOSS_A, LOSS_V, WARM, WARM_A, WARM_V, BY_X, BY_S, FACTOR = range(9)


@njit(cache=True, error_model="numpy")
def activity(x, s, solutes, scale, power, brine):
    """Water activity with its slopes by water and salt; brine as in `brine_table`."""
    if brine[9] > 0.0:
        return brine[9] * x, brine[9], 0.0
    x = max(x, 1e-4)
    total = max(s, 0.0) / brine[7] / x
    m = min(total, brine[6])
    root = np.sqrt(m)
    limit = 1.0 + brine[4] * root
    pitzer = brine[1] * np.exp(-brine[5] * root)
    m_phi = m * (1.0 - brine[3] * root / limit + m * (brine[0] + pitzer + m * brine[2]))
    slope = (
        1.0
        - brine[3] * root * (1.5 + brine[4] * root) / (limit * limit)
        + m * (2.0 * brine[0] + pitzer * (2.0 - 0.5 * brine[5] * root))
        + 3.0 * brine[2] * m * m
    )
    by_m = -2.0 * brine[8] * slope if total < brine[6] else 0.0
    moles = solutes * brine[8]
    swelling = (scale / x) ** power
    a = np.exp(-2.0 * brine[8] * m_phi - swelling) * (x / (x + moles))
    return a, a * (power * swelling + moles / (x + moles) - by_m * m) / x, a * by_m / (brine[7] * x)


@njit(cache=True, error_model="numpy")
def surface(k, x, s, volume, p, air, brine, out):
    """`rates.surface` for lane k, into out[:, k]."""
    a, by_x, by_s = activity(x, s, p[SOLUTES, k], p[SCALE, k], p[POWER, k], brine)
    swell = volume / p[VOLUME, k]
    shrunk = 0.5 * (1.0 - p[LENGTH, k]) * air[FILM_POWER, k]
    film = air[FILM, k] * swell**shrunk
    film_v = film * shrunk / volume
    exchange = film + p[HEAT, k]
    ratio = air[FILM_RATIO, k]
    conductance = 1.0 / (1.0 / (film * ratio) + p[RESIST, k])
    conductance_f = conductance * conductance / (ratio * film * film)
    drive = conductance * air[SATURATED, k]
    gap = a - air[VAPOUR, k] / air[SATURATED, k]
    cooling = air[LATENT, k] / exchange
    damping = 1.0 + drive * cooling * air[SLOPE, k] * a
    flux = air[OPEN, k] * drive * gap / damping
    by_a = (air[OPEN, k] * drive - flux * drive * cooling * air[SLOPE, k]) / damping
    damping_f = air[SATURATED, k] * cooling * air[SLOPE, k] * a * (conductance_f - conductance / exchange)
    by_f = (air[OPEN, k] * conductance_f * air[SATURATED, k] * gap - flux * damping_f) / damping
    length = swell ** p[LENGTH, k]
    area = 2.0 * np.sqrt(np.pi * length * volume / p[SOLIDS, k]) * p[ENDS, k]
    colder = cooling * flux
    colder_f = cooling * by_f - colder / exchange
    warmth = p[ACTIVE, k] / (air[KELVIN, k] * air[KELVIN, k])
    speed = air[SPEED, k] * np.exp(-warmth * colder)
    out[LOSS, k] = area * flux
    out[LOSS_A, k] = area * by_a
    out[LOSS_V, k] = area * (by_f * film_v + flux * 0.5 * (1.0 + p[LENGTH, k]) / volume)
    out[WARM, k] = speed
    out[WARM_A, k] = -speed * warmth * cooling * by_a
    out[WARM_V, k] = -speed * warmth * colder_f * film_v
    out[BY_X, k] = by_x
    out[BY_S, k] = by_s
    out[FACTOR, k] = 4.0 * np.pi * length / p[SOLIDS, k]


@njit(cache=True, error_model="numpy")
def lookup(k, n, x, value, slope, width, w):
    """`laws.Potential.at` for lane k, into w[U], w[G], w[B]."""
    last = value.shape[1] - 1
    for i in range(n):
        place = x[i, k] / width
        cell = min(max(int(place), 0), last - 1)
        t = min(place - cell, 1.0)
        beyond = place - cell - t
        left = value[k, cell]
        m0, m1 = slope[k, cell] * width, slope[k, cell + 1] * width
        rise = value[k, cell + 1] - left
        curve, twist = 3.0 * rise - 2.0 * m0 - m1, m0 + m1 - 2.0 * rise
        gradient = m0 + t * (2.0 * curve + t * 3.0 * twist)
        w[U, i, k] = left + t * (m0 + t * (curve + t * twist)) + beyond * gradient
        w[G, i, k] = gradient / width
        w[B, i, k] = 0.0 if beyond > 0.0 else (2.0 * curve + t * 6.0 * twist) / (width * width)


@njit(cache=True, error_model="numpy")
def apply(matrix, right, out):
    """out (n, lanes) = matrix (n, n) @ right (n, lanes)."""
    n = matrix.shape[0]
    for i in range(n):
        for k in range(LANES):
            out[i, k] = 0.0
        for j in range(n):
            c = matrix[i, j]
            for k in range(LANES):
                out[i, k] += c * right[j, k]


@njit(cache=True, error_model="numpy")
def rates(x, s, p, air, brine, value, slope, nodes, scalars, w, at, dx, ds):
    """`rates.rates` for all lanes, into dx and ds; w and at keep the terms for the Jacobian."""
    derivative, integral, divergence = nodes[0], nodes[1], nodes[2]
    n = derivative.shape[0]
    saturated = brine[6] * brine[7]
    for i in range(n):
        for k in range(LANES):
            wet = max(x[i, k], 1e-4)
            c = s[i, k] / wet
            w[FREE, i, k] = 1.0 if c < saturated else 0.0
            w[C, i, k] = min(c, saturated)
            w[WF, i, k] = p[FIXED, k] + x[i, k] * scalars[0]
    for k in range(LANES):
        lookup(k, n, x, value, slope, scalars[1], w)
    apply(integral, w[WF], w[V])
    for k in range(LANES):
        surface(k, x[n - 1, k], s[n - 1, k], w[V, n - 1, k], p, air, brine, at)
    apply(derivative, w[U], w[DU])
    apply(derivative, w[C], w[DC])
    for i in range(n):
        for k in range(LANES):
            push = at[FACTOR, k] * at[WARM, k] * w[V, i, k]
            w[PUSH, i, k] = push
            w[WF, i, k] = push * w[DU, i, k]
            w[SF, i, k] = push * (
                p[RATIO, k] * w[G, i, k] * x[i, k] * w[DC, i, k] + p[DRAG, k] * w[C, i, k] * w[DU, i, k]
            )
    apply(divergence, w[WF], dx)
    apply(divergence, w[SF], ds)
    for i in range(n):
        for k in range(LANES):
            dx[i, k] = -dx[i, k]
            ds[i, k] = -ds[i, k]
    for k in range(LANES):
        dx[n - 1, k] -= at[LOSS, k] / scalars[2]


@njit(cache=True, error_model="numpy")
def jacobian(x, p, nodes, scalars, w, at, qx, px, ps, xx, sx, ss, column):
    """Minus `rates.jacobian` from the terms of the last `rates`; qx, px, ps are scratch."""
    derivative, integral, divergence = nodes[0], nodes[1], nodes[2]
    n = derivative.shape[0]
    for i in range(n):
        for k in range(LANES):
            wet = max(x[i, k], 1e-4)
            rim = integral[n - 1, i] * scalars[0]
            w[COMMON, i, k] = p[LENGTH, k] * rim / w[V, n - 1, k] + at[WARM_V, k] * rim / at[WARM, k]
            w[C_X, i, k] = -w[FREE, i, k] * w[C, i, k] / wet
            w[C_S, i, k] = w[FREE, i, k] / wet
            w[CARRY, i, k] = w[PUSH, i, k] * p[RATIO, k] * w[G, i, k] * x[i, k]
            w[DRAGS, i, k] = w[PUSH, i, k] * p[DRAG, k] * w[C, i, k]
            w[SWELL, i, k] = scalars[0] / w[V, i, k]
    for k in range(LANES):
        w[COMMON, n - 1, k] += at[WARM_A, k] * at[BY_X, k] / at[WARM, k]
    for i in range(n):
        for j in range(n):
            d, inside = derivative[i, j], integral[i, j]
            for k in range(LANES):
                relative = inside * w[SWELL, i, k] + w[COMMON, j, k]
                g = d * w[G, j, k]
                qx[i, j, k] = w[WF, i, k] * relative + w[PUSH, i, k] * g
                px[i, j, k] = w[SF, i, k] * relative + w[CARRY, i, k] * d * w[C_X, j, k] + w[DRAGS, i, k] * g
                ps[i, j, k] = w[CARRY, i, k] * d * w[C_S, j, k]
        for k in range(LANES):
            bent = p[RATIO, k] * (w[B, i, k] * x[i, k] + w[G, i, k]) * w[DC, i, k]
            drag = p[DRAG, k] * w[DU, i, k]
            px[i, i, k] += w[PUSH, i, k] * (bent + drag * w[C_X, i, k])
            ps[i, i, k] += w[PUSH, i, k] * drag * w[C_S, i, k]
            ps[i, n - 1, k] += w[SF, i, k] * at[WARM_A, k] * at[BY_S, k] / at[WARM, k]
    for i in range(n):
        for k in range(LANES):
            column[i, k] = 0.0
        for j in range(n):
            for k in range(LANES):
                xx[i, j, k] = sx[i, j, k] = ss[i, j, k] = 0.0
        for m in range(n):
            d = divergence[i, m]
            for j in range(n):
                for k in range(LANES):
                    xx[i, j, k] += d * qx[m, j, k]
                    sx[i, j, k] += d * px[m, j, k]
                    ss[i, j, k] += d * ps[m, j, k]
            for k in range(LANES):
                column[i, k] -= d * w[WF, m, k] * at[WARM_A, k] * at[BY_S, k] / at[WARM, k]
    for k in range(LANES):
        for j in range(n):
            xx[n - 1, j, k] += at[LOSS_V, k] * integral[n - 1, j] * scalars[0] / scalars[2]
        xx[n - 1, n - 1, k] += at[LOSS_A, k] * at[BY_X, k] / scalars[2]
        column[n - 1, k] -= at[LOSS_A, k] * at[BY_S, k] / scalars[2]


@njit(cache=True, error_model="numpy")
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


@njit(cache=True, error_model="numpy")
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


@njit(cache=True, error_model="numpy")
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


@njit(cache=True, error_model="numpy")
def step(x, s, h, p, air, brine, value, slope, nodes, scalars, w, at, f, cube, kx, ks, tx, ts):
    """`step.step`: the new profile into tx, ts; stages in kx, ks (4, n, lanes); the last is the error.

    f (6, n, lanes) holds the rates of the start in f[0], f[1]; cube (6, n, n, lanes) is scratch.
    """
    n = x.shape[0]
    qx, px, ps, xx, sx, ss = cube[0], cube[1], cube[2], cube[3], cube[4], cube[5]
    rank_x, rank_s = f[2], f[3]
    rates(x, s, p, air, brine, value, slope, nodes, scalars, w, at, f[0], f[1])
    jacobian(x, p, nodes, scalars, w, at, qx, px, ps, xx, sx, ss, rank_x)
    for i in range(n):
        for k in range(LANES):
            xx[i, i, k] += 2.0 / h[k]
            ss[i, i, k] += 2.0 / h[k]
            rank_s[i, k] = 0.0
    factorise(xx)
    factorise(ss)
    solve(xx, rank_x)
    for i in range(n):
        for j in range(n):
            for k in range(LANES):
                rank_s[i, k] -= sx[i, j, k] * rank_x[j, k]
    solve(ss, rank_s)
    for stage in range(4):
        if stage == 2:
            for i in range(n):
                for k in range(LANES):
                    tx[i, k] = x[i, k] + 2.0 * kx[0, i, k]
                    ts[i, k] = s[i, k] + 2.0 * ks[0, i, k]
            rates(tx, ts, p, air, brine, value, slope, nodes, scalars, w, at, f[4], f[5])
        elif stage == 3:
            for i in range(n):
                for k in range(LANES):
                    tx[i, k] = x[i, k] + 2.0 * kx[0, i, k] + kx[2, i, k]
                    ts[i, k] = s[i, k] + 2.0 * ks[0, i, k] + ks[2, i, k]
            rates(tx, ts, p, air, brine, value, slope, nodes, scalars, w, at, f[4], f[5])
        for i in range(n):
            for k in range(LANES):
                o = 1.0 / h[k]
                if stage == 0:
                    kx[0, i, k], ks[0, i, k] = f[0, i, k], f[1, i, k]
                elif stage == 1:
                    kx[1, i, k] = f[0, i, k] + 4.0 * o * kx[0, i, k]
                    ks[1, i, k] = f[1, i, k] + 4.0 * o * ks[0, i, k]
                elif stage == 2:
                    kx[2, i, k] = f[4, i, k] + o * (kx[0, i, k] - kx[1, i, k])
                    ks[2, i, k] = f[5, i, k] + o * (ks[0, i, k] - ks[1, i, k])
                else:
                    kx[3, i, k] = f[4, i, k] + o * (kx[0, i, k] - kx[1, i, k] - (8.0 / 3.0) * kx[2, i, k])
                    ks[3, i, k] = f[5, i, k] + o * (ks[0, i, k] - ks[1, i, k] - (8.0 / 3.0) * ks[2, i, k])
        solve_both(xx, sx, ss, rank_x, rank_s, kx[stage], ks[stage])
    for i in range(n):
        for k in range(LANES):
            tx[i, k] = x[i, k] + 2.0 * kx[0, i, k] + kx[2, i, k] + kx[3, i, k]
            ts[i, k] = s[i, k] + 2.0 * ks[0, i, k] + ks[2, i, k] + ks[3, i, k]


@njit(cache=True, error_model="numpy")
def judge(k, weight, x, s, tx, ts, ex, es, rules):
    """Whether lane k may take its step, and the factor on the next one."""
    wrong_x, wrong_s, change, fine, kept = 0.0, 0.0, 0.0, True, True
    for i in range(x.shape[0]):
        by_x, by_s = abs(x[i, k]) + 0.05, abs(s[i, k]) + 0.02
        wrong_x += weight[i] * (ex[i, k] / by_x) ** 2
        wrong_s += weight[i] * (es[i, k] / by_s) ** 2
        change = max(change, abs(tx[i, k] - x[i, k]) / by_x, abs(ts[i, k] - s[i, k]) / by_s)
        fine = fine and np.isfinite(tx[i, k]) and np.isfinite(ts[i, k])
        kept = kept and tx[i, k] >= rules[LEFT] * x[i, k] and ts[i, k] >= rules[LEFT] * s[i, k]
    if not fine:
        return False, 0.2
    ratio = max(np.sqrt(max(wrong_x, wrong_s)) / rules[TOLERANCE], 1e-12)
    grown = min(max(0.9 * ratio ** (-1.0 / 3.0), 0.2), 2.5)
    if change > rules[CHANGE] or not kept:
        grown = min(grown, 0.5)
    return ratio <= 1.0 and change <= rules[CHANGE] and kept, grown


@njit(cache=True, error_model="numpy")
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


@njit(cache=True, error_model="numpy")
def between(k, t, old, new, rise0, rise1, fresh, out):
    """`integrate._between` for lane k, into out (n,); False when it turned below nothing."""
    fine = True
    for i in range(old.shape[0]):
        left, rise, m1 = old[i, k], new[i, k] - old[i, k], rise1[i, k]
        m0 = 2.0 * rise - m1 if fresh else rise0[i, k]
        out[i] = left + t * (m0 + t * (3.0 * rise - 2.0 * m0 - m1 + t * (m0 + m1 - 2.0 * rise)))
        fine = fine and out[i] >= 0.5 * min(left, new[i, k])
    if not fine:
        for i in range(old.shape[0]):
            out[i] = old[i, k] + t * (new[i, k] - old[i, k])


@njit(cache=True, nogil=True, error_model="numpy")
def carry(
    first, start, p_all, air_all, ends, brine, tables, nodes, weight, scalars, outputs, rules, out, counts
):
    """Carry LANES members from `first` on through their blocks; 1 when all got there, else 0.

    start (2, members): X0, S0; p_all (13, members), air_all (10, blocks, members), ends (blocks, members),
    tables: U, dU/dX (2, members, cells + 1); out (2, times, n, members) and counts (2, members) are filled.
    """
    out_x, out_s, value_all, slope_all = out[0], out[1], tables[0], tables[1]
    n, members, times, blocks = nodes.shape[1], ends.shape[1], len(outputs), ends.shape[0]
    x, s, tx, ts = np.empty((4, n, LANES))
    w, at, f = np.zeros((17, n, LANES)), np.zeros((9, LANES)), np.zeros((8, n, LANES))
    kx, ks, cube = np.zeros((4, n, LANES)), np.zeros((4, n, LANES)), np.zeros((6, n, n, LANES))
    p, air = np.empty((p_all.shape[0], LANES)), np.empty((10, LANES))
    value, slope = np.empty((LANES, value_all.shape[1])), np.empty((LANES, value_all.shape[1]))
    now, length, h = np.zeros(LANES), np.full(LANES, rules[FIRST]), np.ones(LANES)
    block, wanted = np.zeros(LANES, np.int64), np.zeros(LANES, np.int64)
    cut = np.zeros(LANES, np.bool_)
    fresh, opening = np.ones(LANES, np.bool_), np.full(LANES, rules[FIRST])
    for k in range(LANES):
        m = min(first + k, members - 1)
        p[:, k] = p_all[:, m]
        value[k], slope[k] = value_all[m], slope_all[m]
        x[:, k], s[:, k] = start[0, m], start[1, m]
        if first + k >= members:  # a lane without a member of its own idles
            wanted[k] = times
        while wanted[k] < times and outputs[wanted[k]] <= 0.0:
            out_x[wanted[k], :, m], out_s[wanted[k], :, m] = start[0, m], start[1, m]
            wanted[k] += 1
    for _ in range(int(rules[MOST])):
        busy, due = False, False
        for k in range(LANES):
            m = min(first + k, members - 1)
            busy = busy or wanted[k] < times
            air[:, k] = air_all[:, block[k], m]
            left = ends[block[k], m] - now[k]
            cut[k] = left <= 1.000001 * length[k]
            h[k] = left if cut[k] else length[k]
            if h[k] <= 0.0:  # a finished lane past its last block idles
                h[k] = rules[FIRST]
            due = due or (wanted[k] < times and outputs[wanted[k]] < (now[k] + h[k]) * (1.0 - 1e-12))
        if not busy:
            return 1.0
        step(x, s, h, p, air, brine, value, slope, nodes, scalars, w, at, f, cube, kx, ks, tx, ts)
        if due:
            rates(tx, ts, p, air, brine, value, slope, nodes, scalars, w, at, f[6], f[7])
            rises(h, cube, f[2], f[3], f[0], f[1], kx, ks)
            rises(h, cube, f[2], f[3], f[6], f[7], kx, ks)
        shortest = 1.0
        for k in range(LANES):
            if wanted[k] >= times:
                continue
            m = min(first + k, members - 1)
            good, grown = judge(k, weight, x, s, tx, ts, kx[3], ks[3], rules)
            if not good:
                counts[1, m] += 1
                length[k] = h[k] * grown
                shortest = min(shortest, length[k] / rules[SHORTEST])
                continue
            counts[0, m] += 1
            reached = ends[block[k], m] if cut[k] else now[k] + h[k]
            while wanted[k] < times and outputs[wanted[k]] <= reached * (1.0 + 1e-12):
                if outputs[wanted[k]] >= reached * (1.0 - 1e-12):  # the end itself: no slopes needed
                    out_x[wanted[k], :, m], out_s[wanted[k], :, m] = tx[:, k], ts[:, k]
                else:
                    t = (outputs[wanted[k]] - now[k]) / h[k]
                    between(k, t, x, tx, f[0], f[6], fresh[k], out_x[wanted[k], :, m])
                    between(k, t, s, ts, f[1], f[7], fresh[k], out_s[wanted[k], :, m])
                wanted[k] += 1
            x[:, k], s[:, k] = tx[:, k], ts[:, k]
            now[k] = reached
            opening[k] = h[k] if fresh[k] else opening[k]
            length[k] = min(max(length[k], h[k] * grown), 2.0 * opening[k]) if cut[k] else h[k] * grown
            fresh[k] = cut[k]
            block[k] = min(block[k] + cut[k], blocks - 1)
        if shortest < 1.0:
            return 0.0
    return 0.0
