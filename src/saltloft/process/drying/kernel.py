"""The compiled twin of `rates.py`, `step.py` and `integrate.py`; those are the definition.

LANES members go together; every one has its own time, step and block, and makes room for the next.
Equal to the NumPy form within 1e-9 (a test). `kernel_rates` holds the equations, `kernel_algebra` the
factorisation, `scheme` its coefficients, `kernel_step` one step; here is the way from block to block.
"""

# ruff: noqa: PLR0917, PLR0915 - compiled loops take plain arrays and do one thing at length
# mypy: allow-untyped-defs, allow-untyped-calls, allow-untyped-decorators
from __future__ import annotations

import hashlib
from pathlib import Path

import numpy as np
from numba import njit

from saltloft.process.drying import kernel_algebra, kernel_lanes, kernel_rates, kernel_step, scheme
from saltloft.process.drying.kernel_algebra import rises
from saltloft.process.drying.kernel_lanes import LANES, count_of, get, put, row, rows_of
from saltloft.process.drying.kernel_rates import (
    DRIFT,
    END_VAPOUR,
    KELVIN,
    LASTING,
    NET_HEAT,
    POWER,
    RESIST,
    REVERSIBLE,
    SCALE,
    VAPOUR,
    rates,
)
from saltloft.process.drying.kernel_step import (
    FIRST,
    FRESH,
    GOOD,
    GROWN,
    LENGTH,
    LONGEST,
    LOST,
    MOST,
    NOW,
    REACHED,
    REMEMBERS,
    RIM,
    SHARE,
    SHORTEST,
    SORPTION_KELVIN,
    TAKE,
    TIME_ROWS,
    between,
    judge,
    remember,
    rim_activity,
    step,
)

# A lane's place, whole numbers (5, LANES): its member; its block; the next output
# it owes; the block whose air is there, plus one; 1 where its step ends with the block.
MEMBER, BLOCK, WANTED, LOADED, CUT = range(5)


@njit(error_model="numpy")
def enter(
    k, m, n, start, start_s, start_length, start_block, p_all, tables, outputs, memory, out, out_length,
    out_memory, x, s, p, own, h, at,
):  # fmt: skip
    """Put member m into lane k, where it starts."""
    times = len(outputs)
    at[MEMBER, k], at[BLOCK, k], at[WANTED, k], at[LOADED, k] = m, start_block[m], 0, 0
    h[NOW, k], h[LENGTH, k], h[FRESH, k] = start_s, start_length[m], 1.0
    for i in range(kernel_rates.MEMBER_ROWS):
        p[i, k] = p_all[i, m]
    for i in range(tables.shape[1]):
        own[k, i, 0], own[k, i, 1] = tables[m, i, 0], tables[m, i, 1]
    for i in range(n):
        x[i, k], s[i, k] = start[0, i, m], start[1, i, m]
    while at[WANTED, k] < times and outputs[at[WANTED, k]] <= start_s:
        for i in range(n):
            out[0, at[WANTED, k], i, m], out[1, at[WANTED, k], i, m] = start[0, i, m], start[1, i, m]
        out_length[at[WANTED, k], m] = start_length[m]
        if len(out_memory) > 0:
            out_memory[at[WANTED, k], 0, m] = memory[0, m]
            out_memory[at[WANTED, k], 1, m] = memory[1, m]
        at[WANTED, k] += 1


@njit(error_model="numpy")
def fill(
    following, last, n, start, start_s, start_length, start_block, p_all, tables, outputs, memory, out,
    out_length, out_memory, x, s, p, own, h, at,
):  # fmt: skip
    """Put members from `following` to `last` into lanes that owe nothing more; the first left waiting."""
    for k in range(LANES):
        while at[WANTED, k] >= len(outputs) and following <= last:
            enter(
                k, following, n, start, start_s, start_length, start_block, p_all, tables, outputs, memory,
                out, out_length, out_memory, x, s, p, own, h, at,
            )  # fmt: skip
            following += 1
    return following


@njit(error_model="numpy")
def set_out(p_all, air_all, ends, outputs, rules, p, air, middle, vapour, h, at):
    """Length of the next step and the air at its ends; 0 when no lane has further to go, 2 with an output."""
    times, busy, due = len(outputs), False, False
    for k in range(LANES):
        m, b = at[MEMBER, k], at[BLOCK, k]
        if at[LOADED, k] != b + 1:
            at[LOADED, k] = b + 1
            for i in range(DRIFT + 1):
                air[i, k] = air_all[i, b, m]
            vapour[k] = air[VAPOUR, k]
            middle[k] = 0.5 * ((ends[b - 1, m] if b > 0 else 0.0) + ends[b, m])
            cold = 1.0 / air[KELVIN, k] - 1.0 / rules[SORPTION_KELVIN]
            warmth = max(1.0 + p[NET_HEAT, k] * cold, 0.1) ** (1.0 / p[POWER, k])
            p[SCALE, k] = p_all[SCALE, m] * warmth
        left = ends[b, m] - h[NOW, k]
        at[CUT, k] = left <= 1.000001 * h[LENGTH, k]
        take = left if at[CUT, k] else h[LENGTH, k]
        if take <= 0.0:  # a finished lane past its last block idles
            take = rules[FIRST]
        h[TAKE, k] = take
        air[VAPOUR, k] = vapour[k] + air[DRIFT, k] * (h[NOW, k] - middle[k])
        air[END_VAPOUR, k] = air[VAPOUR, k] + air[DRIFT, k] * take
        if at[WANTED, k] < times:
            busy = True
            due = due or outputs[at[WANTED, k]] < (h[NOW, k] + take) * (1.0 - 1e-12)
    return busy + due


@njit(error_model="numpy")
def harden(p_all, memory, half, p, rules, h, at):
    """The rim's memory in the middle of the step, and what it adds to the resistance of the casing."""
    for k in range(LANES):
        m = at[MEMBER, k]
        half[0, k], half[1, k] = remember(memory[0, m], memory[1, m], h[RIM, k], 0.5 * h[TAKE, k], rules)
        p[RESIST, k] = p_all[RESIST, m] + (p[REVERSIBLE, k] * half[0, k] + p[LASTING, k] * half[1, k])


@njit(error_model="numpy")
def settle(n, times, ends, rules, x, s, tx, ts, counts, error, h, at):
    """Take or refuse the step of every lane; whether all can go on, steps neither too short nor too many."""
    fine = True
    for k in range(LANES):
        m, finished = at[MEMBER, k], at[WANTED, k] >= times
        if finished or h[GOOD, k] < 0.5:
            for i in range(n):  # stays where it was
                tx[i, k], ts[i, k] = x[i, k], s[i, k]
            if not finished:
                counts[1, m] += 1
                h[LENGTH, k] = h[TAKE, k] * h[GROWN, k]
                fine = fine and h[LENGTH, k] >= rules[SHORTEST] and counts[0, m] + counts[1, m] < rules[MOST]
            h[GOOD, k] = 0.0
            continue
        take, grown = h[TAKE, k], h[GROWN, k]
        counts[0, m] += 1
        error[m] += h[LOST, k]
        h[REACHED, k] = ends[at[BLOCK, k], m] if at[CUT, k] else h[NOW, k] + take
        follow = max(h[LENGTH, k], take * grown) if at[CUT, k] else take * grown
        h[LENGTH, k] = min(follow, rules[LONGEST])
        fine = fine and counts[0, m] + counts[1, m] < rules[MOST]
    return fine


@njit(error_model="numpy")
def next_outputs(outputs, h, at):
    """The share of the step at which each lane owes an output, above 1 where none; whether one does."""
    times, more = len(outputs), False
    for k in range(LANES):
        h[SHARE, k] = 2.0
        if at[WANTED, k] < times and h[GOOD, k] > 0.5:
            moment = outputs[at[WANTED, k]]
            if moment <= h[REACHED, k] * (1.0 + 1e-12):
                more = True
                ended = moment >= h[REACHED, k] * (1.0 - 1e-12)
                h[SHARE, k] = 1.0 if ended else (moment - h[NOW, k]) / h[TAKE, k]
    return more


@njit(error_model="numpy")
def hand_out(n, memory, after, kx, ks, out, out_length, out_memory, h, at):
    """Write down what `between` left in kx and ks, lane by lane."""
    for k in range(LANES):
        if h[SHARE, k] <= 1.0:
            m, wanted = at[MEMBER, k], at[WANTED, k]
            for i in range(n):
                out[0, wanted, i, m], out[1, wanted, i, m] = kx[i, k], ks[i, k]
            out_length[wanted, m] = h[LENGTH, k]
            if len(out_memory) > 0:
                for i in range(2):
                    out_memory[wanted, i, m] = memory[i, m] + h[SHARE, k] * (after[i, k] - memory[i, m])
            at[WANTED, k] += 1


@njit(error_model="numpy")
def go_on(blocks, remembers, memory, after, h, at):
    """Every lane that took its step stands at its end."""
    for k in range(LANES):
        if h[GOOD, k] > 0.5:
            if remembers:
                memory[0, at[MEMBER, k]], memory[1, at[MEMBER, k]] = after[0, k], after[1, k]
            h[NOW, k] = h[REACHED, k]
            h[FRESH, k] = at[CUT, k]
            at[BLOCK, k] = min(at[BLOCK, k] + at[CUT, k], blocks - 1)


def digest_of_sources() -> str:
    """Digest of all files whose code is compiled into `carry`."""
    parts = (kernel_algebra, kernel_rates, kernel_lanes, kernel_step, scheme)
    files = (__file__, *(str(part.__file__) for part in parts))
    return hashlib.sha256(b"".join(Path(name).read_bytes() for name in files)).hexdigest()


def work_rows(n: int) -> int:
    """Rows of the work array of a group with n nodes."""
    fixed = kernel_rates.RIM_ROWS + kernel_rates.MEMBER_ROWS + kernel_rates.AIR_ROWS + TIME_ROWS + 1
    return 3 * n * n + (20 + kernel_rates.NODE_ROWS) * n + fixed


def _compiled(digest):
    """`carry`, kept on disk under the digest: numba itself looks only at the file of a function."""

    @njit(cache=True, nogil=True, error_model="numpy")
    def carry(
        entries, following, last, start, start_s, start_length, start_block, p_all, air_all, ends, brine,
        tables, nodes, weight, scalars, outputs, rules, work, memory, out, out_length, out_memory, counts,
        error,
    ):  # fmt: skip
        """Carry the members from `following` to `last` through their blocks; 1 when all got there, else 0.

        A lane whose member has arrived takes the next one, so no lane waits for the slowest.

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
        times = len(outputs)
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
        rim, r = work[r : r + kernel_rates.RIM_ROWS], r + kernel_rates.RIM_ROWS
        p, r = work[r : r + kernel_rates.MEMBER_ROWS], r + kernel_rates.MEMBER_ROWS
        air, r = work[r : r + kernel_rates.AIR_ROWS], r + kernel_rates.AIR_ROWS
        h, r = work[r : r + TIME_ROWS], r + TIME_ROWS
        own = np.empty((LANES, tables.shape[1], 2))
        at = np.zeros((5, LANES), np.int64)
        to_x, to_s, to_tx, to_ts = rows_of(x), rows_of(s), rows_of(tx), rows_of(ts)
        to_kx, to_ks, to_f, to_rank, to_w = rows_of(kx), rows_of(ks), rows_of(f), rows_of(rank), rows_of(w)
        to_xx, to_sx, to_ss, to_rim, to_p = rows_of(xx), rows_of(sx), rows_of(ss), rows_of(rim), rows_of(p)
        to_air, to_h, to_own, to_nodes = rows_of(air), rows_of(h), rows_of(own), rows_of(nodes)
        to_brine, to_scalars, to_weight, to_rules = (
            rows_of(brine), rows_of(scalars), rows_of(weight), rows_of(rules),
        )  # fmt: skip
        g_x, g_s = row(to_f, 4 * n), row(to_f, 5 * n)
        remembers = rules[REMEMBERS] > 0.5
        middle, vapour = np.zeros(LANES), np.zeros(LANES)
        half, after = np.zeros((2, LANES)), np.zeros((2, LANES))
        for k in range(LANES):  # a lane too many goes along with the last member and owes nothing
            enter(
                k, last, n, start, start_s, start_length, start_block, p_all, tables, outputs, memory, out,
                out_length, out_memory, x, s, p, own, h, at,
            )  # fmt: skip
            at[WANTED, k] = times
        while True:
            following = fill(
                following, last, n, start, start_s, start_length, start_block, p_all, tables, outputs,
                memory, out, out_length, out_memory, x, s, p, own, h, at,
            )  # fmt: skip
            ahead = set_out(p_all, air_all, ends, outputs, rules, p, air, middle, vapour, h, at)
            if ahead == 0:
                return 1.0
            if remembers:
                rim_activity(size, to_x, to_s, to_p, to_brine, to_h)
                harden(p_all, memory, half, p, rules, h, at)
            step(
                size, to_x, to_s, to_h, to_p, to_air, to_brine, to_own, to_nodes, to_scalars, to_w, to_rim,
                to_f, to_rank, to_xx, to_sx, to_ss, to_kx, to_ks, to_tx, to_ts,
            )  # fmt: skip
            judge(size, to_weight, to_x, to_s, to_p, to_tx, to_ts, to_kx, to_ks, to_rules, to_h)
            if ahead == 2:
                rates(
                    size, to_tx, to_ts, to_p, to_air, END_VAPOUR, to_brine, to_own, to_nodes, to_scalars,
                    to_w, to_rim, g_x, g_s,
                )  # fmt: skip
                take, fresh = get(to_h, TAKE), get(to_h, FRESH)
                rises(size, take, fresh, to_xx, to_sx, to_ss, to_rank, to_f, row(to_f, n), to_kx, to_ks)
                rises(size, take, fresh, to_xx, to_sx, to_ss, to_rank, g_x, g_s, to_kx, to_ks)
            if remembers:
                rim_activity(size, to_tx, to_ts, to_p, to_brine, to_h)
                for k in range(LANES):
                    after[0, k], after[1, k] = remember(
                        half[0, k], half[1, k], h[RIM, k], 0.5 * h[TAKE, k], rules
                    )
            fine = settle(n, times, ends, rules, x, s, tx, ts, counts, error, h, at)
            while next_outputs(outputs, h, at):  # every output within the step, one of each lane at a time
                share, fresh = get(to_h, SHARE), get(to_h, FRESH)
                between(size, share, to_x, to_tx, to_f, g_x, fresh, to_kx)
                between(size, share, to_s, to_ts, row(to_f, n), g_s, fresh, to_ks)
                hand_out(n, memory, after, kx, ks, out, out_length, out_memory, h, at)
            go_on(len(ends), remembers, memory, after, h, at)
            for i in range(n):
                put(to_x, i, get(to_tx, i))
                put(to_s, i, get(to_ts, i))
            if not fine:
                return 0.0

    return carry


carry = _compiled(digest_of_sources())
