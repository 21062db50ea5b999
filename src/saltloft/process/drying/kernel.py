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
from saltloft.process.drying.kernel_rates import (
    DRIFT,
    END_VAPOUR,
    GREEN,
    KELVIN,
    LASTING,
    NET_HEAT,
    POWER,
    RESIST,
    REVERSIBLE,
    SCALE,
    SOLUTES,
    VAPOUR,
    activity,
    jacobian,
    rates,
    rates_by_time,
)

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
                there, salt_there = fused(2.0, get(kx, i), get(x, i)), fused(2.0, get(ks, i), get(s, i))
                if stage == 3:  # never 0 times a third stage that an earlier step left as no number
                    there, salt_there = there + get(kx, 2 * n + i), salt_there + get(ks, 2 * n + i)
                put(tx, i, there)
                put(ts, i, salt_there)
            rates(size, tx, ts, p, air, END_VAPOUR, brine, tables, nodes, scalars, w, at, g_x, g_s)
        for i in range(n):
            if stage == 0:
                put(kx, i, fused(0.5 * take, get(g_x, i), get(f_x, i)))
                put(ks, i, fused(0.5 * take, get(g_s, i), get(f_s, i)))
            elif stage == 1:
                put(kx, n + i, fused(4.0 * o, get(kx, i), fused(1.5 * take, get(g_x, i), get(f_x, i))))
                put(ks, n + i, fused(4.0 * o, get(ks, i), fused(1.5 * take, get(g_s, i), get(f_s, i))))
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
    for i in range(n):
        left, there, m1 = get(old, i), get(new, i), get(rises_new, i)
        rise = there - left
        m0 = where(fresh > 0.5, 2.0 * rise - m1, get(rises_old, i))
        value = left + at * (m0 + at * (3.0 * rise - 2.0 * m0 - m1 + at * (m0 + m1 - 2.0 * rise)))
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
        entries, first, start, start_s, start_length, start_block, p_all, air_all, ends, brine, tables, nodes,
        weight, scalars, outputs, rules, work, memory, out, out_length, out_memory, counts, error,
    ):  # fmt: skip
        """Carry LANES members from `first` on through their blocks; 1 when all got there, else 0.

        start (2, n, members): water, salt; p_all (MEMBER_ROWS, members); air_all (11, blocks, members);
        ends (blocks, members); tables: U, dU/dX (members, cells + 1, 2); work (rows, LANES);
        memory (2, members): what the rim remembers, carried on in place; out (2, times, n, members),
        out_length (times, members), out_memory (times, 2, members), counts (2, members) and error
        (members,) are filled. Without a memory out_memory is not touched.
        """
        if len(digest) == 0:  # never: names the digest, so that it enters the cache key
            return 0.0
        size = count_of(entries)
        n = len(size)
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
        middle, vapour = np.zeros(LANES), np.zeros(LANES)
        cut = np.zeros(LANES, np.bool_)
        remembers = rules[REMEMBERS] > 0.5
        half, after = np.zeros((2, LANES)), np.zeros((2, LANES))
        h[NOW], h[FRESH] = start_s, 1.0
        for k in range(LANES):
            m = min(first + k, members - 1)
            p[:, k] = p_all[:, m]
            own[k] = tables[m]
            x[:, k], s[:, k] = start[0, :, m], start[1, :, m]
            h[LENGTH, k], block[k] = start_length[m], start_block[m]
            if first + k >= members:  # a lane without a member of its own idles
                wanted[k] = times
            while wanted[k] < times and outputs[wanted[k]] <= start_s:
                out[:, wanted[k], :, m], out_length[wanted[k], m] = start[:, :, m], start_length[m]
                if remembers:
                    out_memory[wanted[k], :, m] = memory[:, m]
                wanted[k] += 1
        for _ in range(int(rules[MOST])):
            busy, due = False, False
            for k in range(LANES):
                m = min(first + k, members - 1)
                busy = busy or wanted[k] < times
                if loaded[k] != block[k]:
                    loaded[k] = block[k]
                    for i in range(DRIFT + 1):
                        air[i, k] = air_all[i, block[k], m]
                    vapour[k] = air[VAPOUR, k]
                    begin = ends[block[k] - 1, m] if block[k] > 0 else 0.0
                    middle[k] = 0.5 * (begin + ends[block[k], m])
                    cold = 1.0 / air[KELVIN, k] - 1.0 / rules[SORPTION_KELVIN]
                    warmth = max(1.0 + p[NET_HEAT, k] * cold, 0.1) ** (1.0 / p[POWER, k])
                    p[SCALE, k] = p_all[SCALE, m] * warmth
                left = ends[block[k], m] - h[NOW, k]
                cut[k] = left <= 1.000001 * h[LENGTH, k]
                take = left if cut[k] else h[LENGTH, k]
                if take <= 0.0:  # a finished lane past its last block idles
                    take = rules[FIRST]
                h[TAKE, k] = take
                air[VAPOUR, k] = vapour[k] + air[DRIFT, k] * (h[NOW, k] - middle[k])
                air[END_VAPOUR, k] = air[VAPOUR, k] + air[DRIFT, k] * take
                due = due or (wanted[k] < times and outputs[wanted[k]] < (h[NOW, k] + take) * (1.0 - 1e-12))
            if not busy:
                return 1.0
            if remembers:
                rim_activity(size, to_x, to_s, to_p, to_brine, to_h)
                for k in range(LANES):
                    m = min(first + k, members - 1)
                    half[0, k], half[1, k] = remember(
                        memory[0, m], memory[1, m], h[RIM, k], 0.5 * h[TAKE, k], rules
                    )
                    p[RESIST, k] = p_all[RESIST, m] + (
                        p[REVERSIBLE, k] * half[0, k] + p[LASTING, k] * half[1, k]
                    )
            step(
                size, to_x, to_s, to_h, to_p, to_air, to_brine, to_own, to_nodes, to_scalars, to_w, to_at,
                to_f, to_rank, to_xx, to_sx, to_ss, to_kx, to_ks, to_tx, to_ts,
            )  # fmt: skip
            judge(size, to_weight, to_x, to_s, to_p, to_tx, to_ts, to_kx, to_ks, to_rules, to_h)
            g_x, g_s = row(to_f, 4 * n), row(to_f, 5 * n)
            if due:
                rates(
                    size, to_tx, to_ts, to_p, to_air, END_VAPOUR, to_brine, to_own, to_nodes, to_scalars,
                    to_w, to_at, g_x, g_s,
                )  # fmt: skip
                last = row(to_h, TAKE)
                rises(size, last, to_xx, to_sx, to_ss, to_rank, to_f, row(to_f, n), to_kx, to_ks)
                rises(size, last, to_xx, to_sx, to_ss, to_rank, g_x, g_s, to_kx, to_ks)
            if remembers:
                rim_activity(size, to_tx, to_ts, to_p, to_brine, to_h)
                for k in range(LANES):
                    after[0, k], after[1, k] = remember(
                        half[0, k], half[1, k], h[RIM, k], 0.5 * h[TAKE, k], rules
                    )
            shortest = 1.0
            for k in range(LANES):
                if wanted[k] >= times:
                    h[GOOD, k] = 0.0
                    for i in range(n):  # a finished lane stands still
                        tx[i, k], ts[i, k] = x[i, k], s[i, k]
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
                error[m] += h[LOST, k]
                h[REACHED, k] = ends[block[k], m] if cut[k] else h[NOW, k] + take
                follow = max(h[LENGTH, k], take * grown) if cut[k] else take * grown
                h[LENGTH, k] = min(follow, rules[LONGEST])
            while True:  # every output within the step, one of each lane at a time
                more = False
                for k in range(LANES):
                    h[SHARE, k] = 2.0
                    if wanted[k] < times and h[GOOD, k] > 0.5:
                        moment = outputs[wanted[k]]
                        if moment <= h[REACHED, k] * (1.0 + 1e-12):
                            more = True
                            ended = moment >= h[REACHED, k] * (1.0 - 1e-12)
                            h[SHARE, k] = 1.0 if ended else (moment - h[NOW, k]) / h[TAKE, k]
                if not more:
                    break
                share, fresh = get(to_h, SHARE), get(to_h, FRESH)
                between(size, share, to_x, to_tx, to_f, g_x, fresh, to_kx)
                between(size, share, to_s, to_ts, row(to_f, n), g_s, fresh, to_ks)
                for k in range(LANES):
                    if h[SHARE, k] <= 1.0:
                        m = first + k
                        for i in range(n):
                            out[0, wanted[k], i, m] = kx[i, k]
                            out[1, wanted[k], i, m] = ks[i, k]
                        out_length[wanted[k], m] = h[LENGTH, k]
                        if remembers:
                            for i in range(2):
                                rise = h[SHARE, k] * (after[i, k] - memory[i, m])
                                out_memory[wanted[k], i, m] = memory[i, m] + rise
                        wanted[k] += 1
            for k in range(LANES):
                if h[GOOD, k] > 0.5:
                    if remembers and first + k < members:
                        memory[0, first + k], memory[1, first + k] = after[0, k], after[1, k]
                    h[NOW, k] = h[REACHED, k]
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
