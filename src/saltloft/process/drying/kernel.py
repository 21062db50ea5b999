"""The compiled twin of `rates.py`, `step.py` and `integrate.py`; those are the definition.

Members stand innermost in LANES; every lane has its own time, step and block. Equal to the
NumPy form within 1e-9 (a test). One pass over the lanes per formula. `kernel_rates` and
`kernel_algebra` hold the equations and the factorisation.
"""

# ruff: noqa: PLR0917, PLR0912, PLR0915 - compiled loops take plain arrays and do one thing at length
# mypy: allow-untyped-defs, allow-untyped-calls, allow-untyped-decorators
from __future__ import annotations

import hashlib
from pathlib import Path

import numpy as np
from numba import njit

from saltloft.process.drying import kernel_algebra, kernel_rates
from saltloft.process.drying.kernel_algebra import factorise, rises, solve, solve_both
from saltloft.process.drying.kernel_rates import LANES, jacobian, rates

# Rules of a step.
TOLERANCE, CHANGE, LEFT, FIRST, SHORTEST, MOST = range(6)


@njit(error_model="numpy")
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


@njit(error_model="numpy")
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


@njit(error_model="numpy")
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


def digest_of_sources() -> str:
    """Digest of all files whose code is compiled into `carry`."""
    files = (__file__, kernel_algebra.__file__, kernel_rates.__file__)
    return hashlib.sha256(b"".join(Path(name).read_bytes() for name in files)).hexdigest()


def _compiled(digest):
    """`carry`, kept on disk under the digest: numba itself looks only at the file of a function."""

    @njit(cache=True, nogil=True, error_model="numpy")
    def carry(
        first, start, p_all, air_all, ends, brine, tables, nodes, weight, scalars, outputs, rules, out, counts
    ):
        """Carry LANES members from `first` on through their blocks; 1 when all got there, else 0.

        start (2, members): X0, S0; p_all (13, members); air_all (10, blocks, members);
        ends (blocks, members); tables: U, dU/dX (2, members, cells + 1);
        out (2, times, n, members) and counts (2, members) are filled.
        """
        if len(digest) == 0:  # never: names the digest, so that it enters the cache key
            return 0.0
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

    return carry


carry = _compiled(digest_of_sources())
