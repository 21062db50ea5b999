"""Compiled twin of `rates.py`: activity, surface, flux and Jacobian, LANES members at once.

A name holds one number of each member of the group. Rows of the tables and work arrays are
counted by the names below; a quantity of all n nodes stands in n rows from n times its name.
"""

# ruff: noqa: PLR0917 - compiled code takes plain arrays
# mypy: allow-untyped-defs, allow-untyped-calls, allow-untyped-decorators
from __future__ import annotations

import numpy as np
from numba import njit

from saltloft.process.drying.kernel_lanes import (
    below,
    cell_of,
    exponential,
    fused,
    get,
    largest,
    number,
    power,
    put,
    root,
    smallest,
    where,
)

# Rows of the member table.
VOLUME, SOLIDS, FIXED, LENGTH, RATIO, DRAG, SCALE, POWER, SOLUTES, RESIST, HEAT, ACTIVE, ENDS = range(13)
PATH_CONSTANT, PATH_LINEAR, PATH_SQUARE, NET_HEAT, GREEN, REVERSIBLE, LASTING = range(13, 20)
MEMBER_ROWS = 20
# Rows of the air table.
SPEED, KELVIN, SATURATED, VAPOUR, SLOPE, LATENT, FILM, FILM_POWER, FILM_RATIO, OPEN, DRIFT = range(11)
END_VAPOUR = 11  # of the step; VAPOUR is that of its start
AIR_ROWS = 12
# Quantities of all nodes that `rates` leaves for `jacobian`.
V, U, G, B, C, FREE, DU, DC, PUSH, WF, SF, CARRY, DRAGS, SWELL, WHOLE, Q_X, P_X, P_S = range(18)
NODE_ROWS = 18
# Quantities of the rim that `surface` leaves.
LOSS, LOSS_A, LOSS_V, LOSS_C, WARM, WARM_A, WARM_V, WARM_C, BY_X, BY_S, FACTOR = range(11)
RIM_ROWS = 11
# Matrices of the nodes.
DERIVATIVE, INTEGRAL, DIVERGENCE = range(3)


@njit(error_model="numpy")
def activity(x, s, solutes, scale, exponent, brine):
    """Water activity with its slopes by water and salt; brine as in `brine_table`."""
    if number(brine, 9) > 0.0:
        return number(brine, 9) * x, 0.0 * x + number(brine, 9), 0.0 * x
    x = largest(x, 1e-4)
    per_water = 1.0 / x
    total = largest(s, 0.0) * per_water * (1.0 / number(brine, 7))
    m = smallest(total, number(brine, 6))
    root_m = root(m)
    limit = 1.0 / (1.0 + number(brine, 4) * root_m)
    pitzer = number(brine, 1) * exponential(-number(brine, 5) * root_m)
    debye = number(brine, 3) * root_m * limit
    m_phi = m * (1.0 - debye + m * (number(brine, 0) + pitzer + number(brine, 2) * m))
    slope = (
        1.0
        - debye * limit * (1.5 + number(brine, 4) * root_m)
        + m * (2.0 * number(brine, 0) + pitzer * (2.0 - 0.5 * number(brine, 5) * root_m))
        + 3.0 * number(brine, 2) * m * m
    )
    by_m = where(total < number(brine, 6), -2.0 * number(brine, 8) * slope, 0.0)
    moles = solutes * number(brine, 8)
    share = 1.0 / (x + moles)
    swelling = power(scale * per_water, exponent)
    a = exponential(-2.0 * number(brine, 8) * m_phi - swelling) * (x * share)
    by_water = a * (exponent * swelling + moles * share - by_m * m) * per_water
    return a, by_water, a * by_m * per_water * (1.0 / number(brine, 7))


@njit(error_model="numpy")
def surface(x, s, volume, p, air, vapour, brine, at):
    """`rates.surface` of the group in air with the vapour of that row, into the rows of `at`."""
    a, by_x, by_s = activity(x, s, get(p, SOLUTES), get(p, SCALE), get(p, POWER), brine)
    stretch, saturated, log_slope = get(p, LENGTH), get(air, SATURATED), get(air, SLOPE)
    ratio, is_open = get(air, FILM_RATIO), get(air, OPEN)
    per_volume = 1.0 / volume
    swell = volume / get(p, VOLUME)
    shrunk = 0.5 * (1.0 - stretch) * get(air, FILM_POWER)
    film = get(air, FILM) * power(swell, shrunk)
    film_v = film * shrunk * per_volume
    per_exchange = 1.0 / (film + get(p, HEAT))
    conductance = film * ratio / (1.0 + film * ratio * get(p, RESIST))
    conductance_f = conductance * conductance / (ratio * film * film)
    drive = conductance * saturated
    per_saturated = 1.0 / saturated
    gap = a - get(air, vapour) * per_saturated
    cooling = get(air, LATENT) * per_exchange
    per_damping = 1.0 / (1.0 + drive * cooling * log_slope * a)
    flux = is_open * drive * gap * per_damping
    by_a = (is_open * drive - flux * drive * cooling * log_slope) * per_damping
    by_c = -is_open * drive * per_saturated * per_damping
    damping_f = saturated * cooling * log_slope * a * (conductance_f - conductance * per_exchange)
    by_f = (is_open * conductance_f * saturated * gap - flux * damping_f) * per_damping
    length = power(swell, stretch)
    area = 2.0 * root(np.pi * length * volume / get(p, SOLIDS)) * get(p, ENDS)
    colder = cooling * flux
    colder_f = cooling * by_f - colder * per_exchange
    kelvin = get(air, KELVIN)
    warmth = get(p, ACTIVE) / (kelvin * kelvin)
    speed = get(air, SPEED) * exponential(-warmth * colder)
    put(at, LOSS, area * flux)
    put(at, LOSS_A, area * by_a)
    put(at, LOSS_V, area * (by_f * film_v + flux * (0.5 * (1.0 + stretch)) * per_volume))
    put(at, LOSS_C, area * by_c)
    put(at, WARM, speed)
    put(at, WARM_A, -warmth * cooling * by_a)
    put(at, WARM_V, -warmth * colder_f * film_v)
    put(at, WARM_C, -warmth * cooling * by_c)
    put(at, BY_X, by_x)
    put(at, BY_S, by_s)
    put(at, FACTOR, 4.0 * np.pi * length / get(p, SOLIDS))


@njit(error_model="numpy")
def lookup(x, tables, width, cells):
    """`laws.Potential.at`: the potential and its first two slopes."""
    place = x * (1.0 / width)
    cell = smallest(largest(below(place), 0.0), cells - 1.0)
    t = smallest(place - cell, 1.0)
    beyond = place - cell - t
    left, slope_left, right, slope_right = cell_of(tables, cell, cells)
    m0, m1, rise = slope_left * width, slope_right * width, right - left
    curve, twist = 3.0 * rise - 2.0 * m0 - m1, m0 + m1 - 2.0 * rise
    gradient = m0 + t * (2.0 * curve + t * 3.0 * twist)
    value = left + t * (m0 + t * (curve + t * twist)) + beyond * gradient
    bend = where(beyond > 0.0, 0.0, (2.0 * curve + t * 6.0 * twist) * (1.0 / (width * width)))
    return value, gradient * (1.0 / width), bend


@njit(error_model="numpy")
def apply(size, nodes, matrix, source, first, target, into):
    """target rows = matrix (n, n) @ source rows."""
    n = len(size)
    for i in range(n):
        total = number(nodes, (matrix * n + i) * n) * get(source, first)
        for j in range(1, n):
            total = fused(number(nodes, (matrix * n + i) * n + j), get(source, first + j), total)
        put(target, into + i, total)


@njit(error_model="numpy")
def rates(size, x, s, p, air, vapour, brine, tables, nodes, scalars, w, at, dx, ds):
    """`rates.rates` of the group, into dx and ds; w and at keep the terms for the Jacobian.

    size: a tuple of n entries, so that n is known when this is compiled; scalars: volume of a kg
    of water, width of a cell of the potential, weight of the rim, cells.
    """
    n = len(size)
    saturated = number(brine, 6) * number(brine, 7)
    for i in range(n):
        water = get(x, i)
        brine_here = get(s, i) / largest(water, 1e-4)
        put(w, FREE * n + i, where(brine_here < saturated, 1.0, 0.0))
        put(w, C * n + i, smallest(brine_here, saturated))
        put(w, WF * n + i, fused(water, number(scalars, 0), get(p, FIXED)))
        value, gradient, bend = lookup(water, tables, number(scalars, 1), number(scalars, 3))
        put(w, U * n + i, value)
        put(w, G * n + i, gradient)
        put(w, B * n + i, bend)
    apply(size, nodes, INTEGRAL, w, WF * n, w, V * n)
    surface(get(x, n - 1), get(s, n - 1), get(w, V * n + n - 1), p, air, vapour, brine, at)
    apply(size, nodes, DERIVATIVE, w, U * n, w, DU * n)
    apply(size, nodes, DERIVATIVE, w, C * n, w, DC * n)
    whole = get(w, V * n + n - 1)
    constant, per_whole = get(p, PATH_CONSTANT) * whole, get(p, PATH_SQUARE) / whole
    for i in range(n):
        volume = get(w, V * n + i)
        push = (
            get(at, FACTOR)
            * get(at, WARM)
            * fused(volume, fused(per_whole, volume, get(p, PATH_LINEAR)), constant)
        )
        carry = push * get(p, RATIO) * get(w, G * n + i) * get(x, i)
        drags = push * get(p, DRAG) * get(w, C * n + i)
        put(w, PUSH * n + i, push)
        put(w, CARRY * n + i, carry)
        put(w, DRAGS * n + i, drags)
        put(w, WF * n + i, -push * get(w, DU * n + i))
        put(w, SF * n + i, -carry * get(w, DC * n + i) - drags * get(w, DU * n + i))
    apply(size, nodes, DIVERGENCE, w, WF * n, dx, 0)
    apply(size, nodes, DIVERGENCE, w, SF * n, ds, 0)
    put(dx, n - 1, get(dx, n - 1) - get(at, LOSS) * (1.0 / number(scalars, 2)))


@njit(error_model="numpy")
def rates_by_time(size, air, scalars, at, dx, ds, by_x, by_s):
    """`rates.rates_by_time` of the group over one second, from the rates dx, ds, into by_x, by_s."""
    n = len(size)
    faster = get(at, WARM_C) * get(air, DRIFT)
    per_rim = 1.0 / number(scalars, 2)
    for i in range(n):
        put(by_x, i, get(dx, i) * faster)
        put(by_s, i, get(ds, i) * faster)
    more = get(at, LOSS) * faster - get(at, LOSS_C) * get(air, DRIFT)
    put(by_x, n - 1, fused(more, per_rim, get(by_x, n - 1)))


@njit(error_model="numpy")
def jacobian(size, x, p, nodes, scalars, w, at, xx, sx, ss, column):
    """Minus `rates.jacobian` from the terms of the last `rates`, column by column."""
    n = len(size)
    warm_x = get(at, WARM_A) * get(at, BY_X)
    warm_s = get(at, WARM_A) * get(at, BY_S)
    per_whole = 1.0 / get(w, V * n + n - 1)
    rim_volume = (get(p, LENGTH) * per_whole + get(at, WARM_V)) * number(scalars, 0)
    for i in range(n):
        volume = get(w, V * n + i)
        bent = get(p, PATH_SQUARE) * volume * per_whole
        slope = get(at, FACTOR) * get(at, WARM) * number(scalars, 0) / get(w, PUSH * n + i)
        put(w, SWELL * n + i, fused(2.0, bent, get(p, PATH_LINEAR)) * slope)
        put(w, WHOLE * n + i, fused(get(p, PATH_CONSTANT) - bent * volume * per_whole, slope, rim_volume))
    for j in range(n):
        wet = 1.0 / largest(get(x, j), 1e-4)
        c_s = get(w, FREE * n + j) * wet
        c_x = -get(w, C * n + j) * c_s
        gradient = get(w, G * n + j)
        rim = number(nodes, (INTEGRAL * n + n - 1) * n + j)
        warm = warm_x * (1.0 if j == n - 1 else 0.0)
        for m in range(n):
            slope = number(nodes, (DERIVATIVE * n + m) * n + j)
            common = fused(rim, get(w, WHOLE * n + m), warm)
            swell = fused(number(nodes, (INTEGRAL * n + m) * n + j), get(w, SWELL * n + m), common)
            carried, steep = slope * get(w, CARRY * n + m), slope * gradient
            put(w, Q_X * n + m, get(w, PUSH * n + m) * steep - get(w, WF * n + m) * swell)
            salt = fused(get(w, DRAGS * n + m), steep, carried * c_x)
            put(w, P_X * n + m, salt - get(w, SF * n + m) * swell)
            put(w, P_S * n + m, carried * c_s)
        push, brine_gradient = get(w, PUSH * n + j), get(w, DC * n + j)
        bent = get(p, RATIO) * (get(w, B * n + j) * get(x, j) + gradient) * brine_gradient
        drag = get(p, DRAG) * get(w, DU * n + j)
        put(w, P_X * n + j, get(w, P_X * n + j) + push * fused(drag, c_x, bent))
        put(w, P_S * n + j, get(w, P_S * n + j) + push * drag * c_s)
        if j == n - 1:
            for m in range(n):
                put(w, P_S * n + m, get(w, P_S * n + m) - get(w, SF * n + m) * warm_s)
        for i in range(n):
            d = number(nodes, (DIVERGENCE * n + i) * n)
            by_x, by_s, by_ss = d * get(w, Q_X * n), d * get(w, P_X * n), d * get(w, P_S * n)
            for m in range(1, n):
                d = number(nodes, (DIVERGENCE * n + i) * n + m)
                by_x = fused(d, get(w, Q_X * n + m), by_x)
                by_s = fused(d, get(w, P_X * n + m), by_s)
                by_ss = fused(d, get(w, P_S * n + m), by_ss)
            put(xx, i * n + j, by_x)
            put(sx, i * n + j, by_s)
            put(ss, i * n + j, by_ss)
    apply(size, nodes, DIVERGENCE, w, WF * n, column, 0)
    per_rim = 1.0 / number(scalars, 2)
    for i in range(n):
        put(column, i, get(column, i) * warm_s)
        rim = number(nodes, (INTEGRAL * n + n - 1) * n + i)
        by_volume = get(at, LOSS_V) * rim * (number(scalars, 0) * per_rim)
        put(xx, (n - 1) * n + i, get(xx, (n - 1) * n + i) + by_volume)
    loss = get(at, LOSS_A) * per_rim
    put(xx, n * n - 1, fused(loss, get(at, BY_X), get(xx, n * n - 1)))
    put(column, n - 1, get(column, n - 1) - loss * get(at, BY_S))
