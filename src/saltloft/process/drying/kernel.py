"""The compiled twin of `rates.py`, `step.py` and `integrate.py`; those are the definition.

LANES members go together; every one has its own time, step and block. Equal to the NumPy form
within 1e-9 (a test). `kernel_rates` holds the equations, `kernel_algebra` the factorisation.
"""

# ruff: noqa: PLR0917, PLR0912, PLR0915 - compiled loops take plain arrays and do one thing at length
# mypy: allow-untyped-defs, allow-untyped-calls, allow-untyped-decorators
from __future__ import annotations

import hashlib
from pathlib import Path

import numpy as np
from numba import njit

from saltloft.process.drying import kernel_algebra, kernel_lanes, kernel_rates
from saltloft.process.drying.kernel_algebra import factorise, rises, solve, solve_both, subtract_product
from saltloft.process.drying.kernel_lanes import (
    LANES,
    count_of,
    exponential,
    fused,
    get,
    largest,
    logarithm,
    number,
    put,
    root,
    row,
    rows_of,
    size_of,
    smallest,
    where,
)
from saltloft.process.drying.kernel_rates import jacobian, rates

# Rules of a step.
TOLERANCE, CHANGE, LEFT, FIRST, SHORTEST, MOST = range(6)
# Rows of what a group knows of its steps.
NOW, LENGTH, TAKE, GOOD, GROWN, OPENING, FRESH = range(7)
TIME_ROWS = 7


@njit(error_model="numpy")
def step(size, x, s, h, p, air, brine, tables, nodes, scalars, w, at, f, rank, xx, sx, ss, kx, ks, tx, ts):
    """`step.step`: the new profile into tx, ts; stages in the rows of kx, ks; the last is the error.

    f: rows 0..n-1 and n..2n-1 keep the rates of the start, the next 2 n are scratch.
    """
    n = len(size)
    f_x, f_s, g_x, g_s = f, row(f, n), row(f, 2 * n), row(f, 3 * n)
    rates(size, x, s, p, air, brine, tables, nodes, scalars, w, at, f_x, f_s)
    jacobian(size, x, p, nodes, scalars, w, at, xx, sx, ss, rank)
    o = 1.0 / get(h, TAKE)
    for i in range(n):
        put(xx, i * n + i, fused(2.0, o, get(xx, i * n + i)))
        put(ss, i * n + i, fused(2.0, o, get(ss, i * n + i)))
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
                third = 0.0 if stage == 2 else 1.0
                put(tx, i, fused(2.0, get(kx, i), get(x, i)) + third * get(kx, 2 * n + i))
                put(ts, i, fused(2.0, get(ks, i), get(s, i)) + third * get(ks, 2 * n + i))
            rates(size, tx, ts, p, air, brine, tables, nodes, scalars, w, at, g_x, g_s)
        for i in range(n):
            if stage == 0:
                put(kx, i, get(f_x, i))
                put(ks, i, get(f_s, i))
            elif stage == 1:
                put(kx, n + i, fused(4.0 * o, get(kx, i), get(f_x, i)))
                put(ks, n + i, fused(4.0 * o, get(ks, i), get(f_s, i)))
            elif stage == 2:
                put(kx, 2 * n + i, fused(o, get(kx, i) - get(kx, n + i), get(g_x, i)))
                put(ks, 2 * n + i, fused(o, get(ks, i) - get(ks, n + i), get(g_s, i)))
            else:
                third_x, third_s = (8.0 / 3.0) * get(kx, 2 * n + i), (8.0 / 3.0) * get(ks, 2 * n + i)
                put(kx, 3 * n + i, fused(o, get(kx, i) - get(kx, n + i) - third_x, get(g_x, i)))
                put(ks, 3 * n + i, fused(o, get(ks, i) - get(ks, n + i) - third_s, get(g_s, i)))
        solve_both(size, xx, sx, ss, rank, kx, ks, stage * n)
    for i in range(n):
        put(tx, i, fused(2.0, get(kx, i), get(x, i)) + get(kx, 2 * n + i) + get(kx, 3 * n + i))
        put(ts, i, fused(2.0, get(ks, i), get(s, i)) + get(ks, 2 * n + i) + get(ks, 3 * n + i))


@njit(error_model="numpy")
def judge(size, weight, x, s, tx, ts, kx, ks, rules, h):
    """Which lanes may take their step (1 or 0) into GOOD, the factor on the next one into GROWN."""
    n = len(size)
    wrong_x, wrong_s = 0.0 * get(x, 0), 0.0 * get(x, 0)
    change, good = wrong_x, wrong_x + 1.0
    for i in range(n):
        here, salt, there, salt_there = get(x, i), get(s, i), get(tx, i), get(ts, i)
        per_x, per_s = 1.0 / (size_of(here) + 0.05), 1.0 / (size_of(salt) + 0.02)
        by_x, by_s = get(kx, 3 * n + i) * per_x, get(ks, 3 * n + i) * per_s
        wrong_x = fused(number(weight, i) * by_x, by_x, wrong_x)
        wrong_s = fused(number(weight, i) * by_s, by_s, wrong_s)
        change = largest(size_of(there - here) * per_x, change)
        change = largest(size_of(salt_there - salt) * per_s, change)
        good = where(there >= number(rules, LEFT) * here, good, 0.0)  # no number is never at least anything
        good = where(salt_there >= number(rules, LEFT) * salt, good, 0.0)
        finite = (size_of(there) < 1e300) & (size_of(salt_there) < 1e300)
        good = where(finite, good, 0.0)
    ratio = largest(root(largest(wrong_x, wrong_s)) * (1.0 / number(rules, TOLERANCE)), 1e-12)
    grown = smallest(largest(0.9 * exponential((-1.0 / 3.0) * logarithm(ratio)), 0.2), 2.5)
    good = where(change <= number(rules, CHANGE), good, 0.0)
    grown = where(good > 0.5, grown, smallest(grown, 0.5))
    put(h, GOOD, where(ratio <= 1.0, good, 0.0))
    put(h, GROWN, grown)


@njit(error_model="numpy")
def between(k, t, old, new, rise0, rise1, fresh, out):
    """`integrate._between` for lane k, into out (n,); straight when it turned below nothing."""
    fine = True
    for i in range(out.shape[0]):
        left, rise, m1 = old[i, k], new[i, k] - old[i, k], rise1[i, k]
        m0 = 2.0 * rise - m1 if fresh else rise0[i, k]
        out[i] = left + t * (m0 + t * (3.0 * rise - 2.0 * m0 - m1 + t * (m0 + m1 - 2.0 * rise)))
        fine = fine and out[i] >= 0.5 * min(left, new[i, k])
    if not fine:
        for i in range(out.shape[0]):
            out[i] = old[i, k] + t * (new[i, k] - old[i, k])


def digest_of_sources() -> str:
    """Digest of all files whose code is compiled into `carry`."""
    files = (__file__, kernel_algebra.__file__, kernel_rates.__file__, kernel_lanes.__file__)
    return hashlib.sha256(b"".join(Path(name).read_bytes() for name in files)).hexdigest()


def work_rows(n: int) -> int:
    """Rows of the work array of a group with n nodes."""
    fixed = kernel_rates.RIM_ROWS + kernel_rates.MEMBER_ROWS + kernel_rates.AIR_ROWS + TIME_ROWS + 1
    return 3 * n * n + (20 + kernel_rates.NODE_ROWS) * n + fixed


def _compiled(digest):
    """`carry`, kept on disk under the digest: numba itself looks only at the file of a function."""

    @njit(cache=True, nogil=True, error_model="numpy")
    def carry(
        entries, first, start, p_all, air_all, ends, brine, tables, nodes, weight, scalars, outputs, rules,
        work, out, counts,
    ):  # fmt: skip
        """Carry LANES members from `first` on through their blocks; 1 when all got there, else 0.

        start (2, members): X0, S0; p_all (13, members); air_all (10, blocks, members);
        ends (blocks, members); tables: U, dU/dX (members, cells + 1, 2); work (rows, LANES);
        out (2, times, n, members) and counts (2, members) are filled.
        """
        if len(digest) == 0:  # never: names the digest, so that it enters the cache key
            return 0.0
        size = count_of(entries)
        n = len(size)
        out_x, out_s = out[0], out[1]
        members, times, blocks, cells = ends.shape[1], len(outputs), ends.shape[0], tables.shape[1] - 1
        r = 0
        x, r = work[r : r + n], r + n
        s, r = work[r : r + n], r + n
        tx, r = work[r : r + n], r + n
        ts, r = work[r : r + n], r + n
        kx, r = work[r : r + 4 * n], r + 4 * n
        ks, r = work[r : r + 4 * n], r + 4 * n
        f, r = work[r : r + 6 * n], r + 6 * n
        xx, r = work[r : r + n * n], r + n * n
        sx, r = work[r : r + n * n], r + n * n
        ss, r = work[r : r + n * n], r + n * n
        rank, r = work[r : r + 2 * n + 1], r + 2 * n + 1
        w, r = work[r : r + kernel_rates.NODE_ROWS * n], r + kernel_rates.NODE_ROWS * n
        at, r = work[r : r + kernel_rates.RIM_ROWS], r + kernel_rates.RIM_ROWS
        p, r = work[r : r + kernel_rates.MEMBER_ROWS], r + kernel_rates.MEMBER_ROWS
        air, r = work[r : r + kernel_rates.AIR_ROWS], r + kernel_rates.AIR_ROWS
        h, r = work[r : r + TIME_ROWS], r + TIME_ROWS
        own = np.empty((LANES, cells + 1, 2))
        block, wanted = np.zeros(LANES, np.int64), np.zeros(LANES, np.int64)
        to_x, to_s, to_tx, to_ts = rows_of(x), rows_of(s), rows_of(tx), rows_of(ts)
        to_kx, to_ks, to_f, to_rank, to_w = rows_of(kx), rows_of(ks), rows_of(f), rows_of(rank), rows_of(w)
        to_xx, to_sx, to_ss, to_at, to_p = rows_of(xx), rows_of(sx), rows_of(ss), rows_of(at), rows_of(p)
        to_air, to_h, to_own, to_nodes = rows_of(air), rows_of(h), rows_of(own), rows_of(nodes)
        to_brine, to_scalars, to_weight, to_rules = (
            rows_of(brine), rows_of(scalars), rows_of(weight), rows_of(rules),
        )  # fmt: skip
        loaded = np.full(LANES, -1, np.int64)
        cut = np.zeros(LANES, np.bool_)
        h[NOW], h[LENGTH], h[OPENING], h[FRESH] = 0.0, rules[FIRST], rules[FIRST], 1.0
        for k in range(LANES):
            m = min(first + k, members - 1)
            p[:, k] = p_all[:, m]
            own[k] = tables[m]
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
                if loaded[k] != block[k]:
                    loaded[k] = block[k]
                    air[:, k] = air_all[:, block[k], m]
                left = ends[block[k], m] - h[NOW, k]
                cut[k] = left <= 1.000001 * h[LENGTH, k]
                h[TAKE, k] = left if cut[k] else h[LENGTH, k]
                if h[TAKE, k] <= 0.0:  # a finished lane past its last block idles
                    h[TAKE, k] = rules[FIRST]
                next_end = (h[NOW, k] + h[TAKE, k]) * (1.0 - 1e-12)
                due = due or (wanted[k] < times and outputs[wanted[k]] < next_end)
            if not busy:
                return 1.0
            step(
                size, to_x, to_s, to_h, to_p, to_air, to_brine, to_own, to_nodes, to_scalars, to_w, to_at,
                to_f, to_rank, to_xx, to_sx, to_ss, to_kx, to_ks, to_tx, to_ts,
            )  # fmt: skip
            judge(size, to_weight, to_x, to_s, to_tx, to_ts, to_kx, to_ks, to_rules, to_h)
            if due:
                g_x, g_s = row(to_f, 4 * n), row(to_f, 5 * n)
                rates(
                    size, to_tx, to_ts, to_p, to_air, to_brine, to_own, to_nodes, to_scalars, to_w, to_at,
                    g_x, g_s,
                )  # fmt: skip
                last = row(to_h, TAKE)
                rises(size, last, to_xx, to_sx, to_ss, to_rank, to_f, row(to_f, n), to_kx, to_ks)
                rises(size, last, to_xx, to_sx, to_ss, to_rank, g_x, g_s, to_kx, to_ks)
            shortest = 1.0
            for k in range(LANES):
                if wanted[k] >= times:
                    continue
                m = min(first + k, members - 1)
                take, grown = h[TAKE, k], h[GROWN, k]
                if h[GOOD, k] < 0.5:
                    counts[1, m] += 1
                    h[LENGTH, k] = take * grown
                    shortest = min(shortest, h[LENGTH, k] / rules[SHORTEST])
                    for i in range(n):  # stays where it was
                        tx[i, k], ts[i, k] = x[i, k], s[i, k]
                    continue
                counts[0, m] += 1
                reached = ends[block[k], m] if cut[k] else h[NOW, k] + take
                while wanted[k] < times and outputs[wanted[k]] <= reached * (1.0 + 1e-12):
                    if outputs[wanted[k]] >= reached * (1.0 - 1e-12):  # the end itself: no slopes needed
                        out_x[wanted[k], :, m], out_s[wanted[k], :, m] = tx[:, k], ts[:, k]
                    else:
                        t = (outputs[wanted[k]] - h[NOW, k]) / take
                        fresh = h[FRESH, k] > 0.5
                        between(k, t, x, tx, f[:n], f[4 * n : 5 * n], fresh, out_x[wanted[k], :, m])
                        between(k, t, s, ts, f[n : 2 * n], f[5 * n : 6 * n], fresh, out_s[wanted[k], :, m])
                    wanted[k] += 1
                h[NOW, k] = reached
                if h[FRESH, k] > 0.5:
                    h[OPENING, k] = take
                across = min(max(h[LENGTH, k], take * grown), 2.0 * h[OPENING, k])
                h[LENGTH, k] = across if cut[k] else take * grown
                h[FRESH, k] = 1.0 if cut[k] else 0.0
                block[k] = min(block[k] + cut[k], blocks - 1)
            for i in range(n):
                put(to_x, i, get(to_tx, i))
                put(to_s, i, get(to_ts, i))
            if shortest < 1.0:
                return 0.0
        return 0.0

    return carry


carry = _compiled(digest_of_sources())
