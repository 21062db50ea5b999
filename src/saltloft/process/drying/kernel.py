"""The compiled twin of `integrate.py`, on the compiled equations of `kernel_equations.py`.

Members stand innermost in lanes of LANES, so the processor works on several at once; every
lane has its own time, step and block. Equal to the NumPy form within 1e-9 (a test).
"""

# ruff: noqa: PLR0917, PLR0912, PLR0915 - compiled loops take plain arrays and do one thing at length
from __future__ import annotations

import numpy as np
from numba import njit

from saltloft.foundation.errors import NumericsError
from saltloft.process.drying.integrate import (
    FIRST_STEP_S,
    MOST_STEPS,
    SHORTEST_STEP_S,
    Array,
    Control,
    Profiles,
)
from saltloft.process.drying.kernel_equations import LANES, between, judge, rates, step
from saltloft.process.drying.members import Blocks, Members
from saltloft.process.drying.nodes import Nodes


@njit(cache=True, nogil=True, error_model="numpy")
def carry(first, start, p_all, air_all, ends, brine, value_all, slope_all, nodes, weight, scalars, outputs,  # type: ignore[no-untyped-def]
          tolerance, out_x, out_s, counts):  # fmt: skip
    """Carry LANES members from `first` on through their blocks; returns the shortest step left.

    p_all (13, members), air_all (10, blocks, members), ends (blocks, members), outputs (times,);
    out_x, out_s (times, n, members) and counts (2, members) are filled. start holds X0, S0.
    """
    n, members, times, blocks = nodes.shape[1], ends.shape[1], len(outputs), ends.shape[0]
    x, s, tx, ts = np.empty((4, n, LANES))
    w, at, f = np.zeros((17, n, LANES)), np.zeros((9, LANES)), np.zeros((8, n, LANES))
    kx, ks, cube = np.zeros((4, n, LANES)), np.zeros((4, n, LANES)), np.zeros((6, n, n, LANES))
    p, air = np.empty((p_all.shape[0], LANES)), np.empty((10, LANES))
    value, slope = np.empty((LANES, value_all.shape[1])), np.empty((LANES, value_all.shape[1]))
    now, length, h = np.zeros(LANES), np.full(LANES, FIRST_STEP_S), np.ones(LANES)
    block, wanted = np.zeros(LANES, np.int64), np.zeros(LANES, np.int64)
    cut, rates0 = np.zeros(LANES, np.bool_), np.empty((2, n, LANES))
    fresh, opening = np.ones(LANES, np.bool_), np.full(LANES, FIRST_STEP_S)
    for k in range(LANES):
        m = min(first + k, members - 1)
        p[:, k] = p_all[:, m]
        value[k], slope[k] = value_all[m], slope_all[m]
        x[:, k], s[:, k] = start[0, m], start[1, m]
        while wanted[k] < times and outputs[wanted[k]] <= 0.0:
            out_x[wanted[k], :, m], out_s[wanted[k], :, m] = start[0, m], start[1, m]
            wanted[k] += 1
    for _ in range(MOST_STEPS):
        busy, due = False, False
        for k in range(LANES):
            m = min(first + k, members - 1)
            busy = busy or wanted[k] < times
            air[:, k] = air_all[:, block[k], m]
            left = ends[block[k], m] - now[k]
            cut[k] = left <= 1.000001 * length[k]
            h[k] = left if cut[k] else length[k]
            if h[k] <= 0.0:  # a finished lane past its last block idles
                h[k] = FIRST_STEP_S
            due = due or (wanted[k] < times and outputs[wanted[k]] <= (now[k] + h[k]) * (1.0 + 1e-9))
        if not busy:
            return 1.0
        step(x, s, h, p, air, brine, value, slope, nodes, scalars, w, at, f, cube, kx, ks, tx, ts)
        rates0[0], rates0[1] = f[0], f[1]
        if due:
            rates(tx, ts, p, air, brine, value, slope, nodes, scalars, w, at, f[6], f[7])
        shortest = 1.0
        for k in range(LANES):
            if wanted[k] >= times:
                continue
            m = min(first + k, members - 1)
            good, grown = judge(k, weight, x, s, tx, ts, kx[3], ks[3], tolerance)
            if not good:
                counts[1, m] += 1
                length[k] = h[k] * grown
                shortest = min(shortest, length[k] / SHORTEST_STEP_S)
                continue
            counts[0, m] += 1
            reached = ends[block[k], m] if cut[k] else now[k] + h[k]
            while wanted[k] < times and outputs[wanted[k]] <= reached * (1.0 + 1e-12):
                t = (outputs[wanted[k]] - now[k]) / h[k]
                for i in range(n):
                    out_x[wanted[k], i, m] = between(
                        t, h[k], x[i, k], tx[i, k], rates0[0, i, k], f[6, i, k], fresh[k]
                    )
                    out_s[wanted[k], i, m] = between(
                        t, h[k], s[i, k], ts[i, k], rates0[1, i, k], f[7, i, k], fresh[k]
                    )
                wanted[k] += 1
            for i in range(n):
                x[i, k], s[i, k] = tx[i, k], ts[i, k]
            now[k] = reached
            if fresh[k]:
                opening[k] = h[k]
            length[k] = min(max(length[k], h[k] * grown), 2.0 * opening[k]) if cut[k] else h[k] * grown
            fresh[k] = cut[k]
            if cut[k]:
                block[k] = min(block[k] + 1, blocks - 1)
        if shortest < 1.0:
            return 0.0
    return 0.0


def brine_table(members: Members) -> Array:
    """The brine's constants as one row for the compiled code, array (10,)."""
    b = members.brine
    constants = (b.beta0, b.beta1, b.c_phi, b.debye_slope, b.b, b.alpha, b.saturation_molality)
    return np.array([*constants, b.molar_mass, b.water_molar_mass, members.linear_sorption])


def member_table(members: Members) -> Array:
    """What a lane needs to know of its member, array (13, members), rows as named above."""
    m = members
    halsey = (np.broadcast_to(m.halsey.scale, m.count), np.broadcast_to(m.halsey.power, m.count))
    rows = (m.volume, m.solids_per_m, m.law.fixed_volume, m.length_share, m.salt_ratio, m.salt_drag, *halsey)
    rest = (m.solutes, m.resistance_s_m, m.other_heat, m.activation, m.end_factor)
    return np.ascontiguousarray(np.array([*rows, *rest]))


def air_table(blocks: Blocks) -> Array:
    """The air, array (10, blocks, members), rows as named above."""
    b = blocks
    is_open = np.repeat(b.open[:, None].astype(np.float64), b.end_s.shape[1], axis=1)
    films = (b.film_heat, b.film_power, b.film_ratio, is_open)
    return np.array([b.speed_up, b.kelvin, b.saturated, b.vapour, b.log_slope, b.latent, *films])


def integrate_compiled(
    members: Members, nodes: Nodes, blocks: Blocks, output_s: Array, control: Control
) -> Profiles:
    """As `integrate.integrate`, compiled; `control.fixed_step_s` is not known here.

    Args:
        members: Members.
        nodes: Nodes (n).
        blocks: Blocks.
        output_s: array (times,). Wanted moments, rising, from 0. [s]
        control: Control.

    Raises:
        NumericsError: when a member would need steps shorter than a millisecond.
    """
    shape = (len(output_s), nodes.count, members.count)
    out_x, out_s = np.empty(shape), np.empty(shape)
    counts = np.zeros((2, members.count), dtype=np.int64)
    table = np.array([nodes.derivative, nodes.integral, nodes.divergence])
    scalars = np.array([members.law.water_volume, members.potential.step, nodes.weight[-1]])
    start = np.array([members.water, members.salt])
    p, air, brine = member_table(members), air_table(blocks), brine_table(members)
    value, slope = members.potential.value, members.potential.slope
    for first in range(0, members.count, LANES):
        done = carry(
            first, start, p, air, blocks.end_s, brine, value, slope, table, nodes.weight, scalars,
            output_s, control.tolerance, out_x, out_s, counts,
        )  # fmt: skip
        if done < 1.0:
            raise NumericsError(
                "the drying of a member cannot be followed",
                got=f"one of the members {first} to {min(first + LANES, members.count) - 1}",
                do="look at the piece and the air: something is far outside what a piece can be",
            )
    return Profiles(out_x, out_s, counts[0], counts[1])
