"""Compiled twin of `rates.py`: activity, surface, flux and Jacobian, members innermost in LANES."""

# ruff: noqa: PLR0917, PLR0912 - compiled loops take plain arrays and do one thing at length
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
# Surface values (lanes,).
LOSS, LOSS_A, LOSS_V, WARM, WARM_A, WARM_V, BY_X, BY_S, FACTOR = range(9)


@njit(error_model="numpy")
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


@njit(error_model="numpy")
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


@njit(error_model="numpy")
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


@njit(error_model="numpy")
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


@njit(error_model="numpy")
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


@njit(error_model="numpy")
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
