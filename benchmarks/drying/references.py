"""The same members by other ways: LSODA with compiled and Python slopes, and one lane at a time."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numba import njit
from scipy.integrate import odeint

from benchmarks.drying.case import DAYS, OUTPUT_S, Array, Ensemble, best_s, loss_from
from benchmarks.drying.one_lane import one_lane
from saltloft.process.drying.integrate import air_in_block
from saltloft.process.drying.nodes import Nodes, radau_nodes
from saltloft.process.drying.rates import rates
from saltloft.process.programme import DAY_S
from saltloft.process.simulate import CONTROL, NODES

Slope = Callable[..., Array]

# From loose to tight; the first whose achieved error is no larger than the engine's is taken.
TOLERANCES = (1e-2, 3e-3, 1e-3, 3e-4, 1e-4, 3e-5, 1e-5)
SALT_SCALE = 0.02


@dataclass(frozen=True)
class Reference:
    """How another way did.

    Args:
        us_per_member: float. Best of the runs. [us]
        error: float. Worst weight loss error over its members and the output days, 0..1.
        rtol: float. The tolerance that gave it; 0 where there is none.
    """

    us_per_member: float
    error: float
    rtol: float = 0.0


def compiled_slope(piece: Ensemble, nodes: Nodes) -> tuple[Slope, Callable[[int], None], Array]:
    """The kernel's own rates for one member as a compiled right-hand side.

    Returns:
        The right-hand side (y, t, store), a function that puts the air of a block into the
        store, and the store.
    """
    compiled, kernel = one_lane("compiled"), one_lane("kernel_rates")
    lanes = one_lane("kernel_lanes")
    row, rows_of, count_of, row_of_vapour = lanes.row, lanes.rows_of, lanes.count_of, kernel.VAPOUR
    its_rates = kernel.rates
    members, n = piece.members, nodes.count
    cells = members.potential.value.shape[1] - 1
    scalars = np.array([members.law.water_volume, members.potential.step, nodes.weight[-1], float(cells)])
    tables = np.stack([members.potential.value, members.potential.slope], axis=-1)
    air = compiled.air_table(piece.blocks)
    parts = [np.zeros(size) for size in (n, n, kernel.NODE_ROWS * n, kernel.RIM_ROWS, n, n)]
    parts += [compiled.member_table(members).ravel(), air[:, 0, 0].copy(), compiled.brine_table(members)]
    parts += [tables.ravel(), np.array([nodes.derivative, nodes.integral, nodes.divergence]).ravel(), scalars]
    parts.append(np.zeros(3))  # vapour at mid-block, its drift, mid-block
    begins = np.concatenate([[0.0], piece.blocks.end_s[:-1, 0]])
    middles = 0.5 * (begins + piece.blocks.end_s[:, 0])
    drifts = np.zeros_like(middles) if piece.blocks.drift is None else piece.blocks.drift[:, 0]
    starts = tuple(int(at) for at in np.cumsum([0, *(len(part) for part in parts)])[:-1])
    store, entries = np.concatenate(parts), (0,) * n
    vapour = starts[7] + row_of_vapour

    @njit(error_model="numpy")
    def slope(y, t, store):  # type: ignore[no-untyped-def]
        for i in range(2 * n):
            store[i] = y[i]
        store[vapour] = store[starts[12]] + store[starts[12] + 1] * (t - store[starts[12] + 2])
        base = rows_of(store)
        x, s, w, at, dx, ds = (
            row(base, starts[0]), row(base, starts[1]), row(base, starts[2]),
            row(base, starts[3]), row(base, starts[4]), row(base, starts[5]),
        )  # fmt: skip
        p, air_now, brine = row(base, starts[6]), row(base, starts[7]), row(base, starts[8])
        its_rates(
            count_of(entries), x, s, p, air_now, row_of_vapour, brine, row(base, starts[9]),
            row(base, starts[10]), row(base, starts[11]), w, at, dx, ds,
        )  # fmt: skip
        return store[starts[4] : starts[4] + 2 * n].copy()

    def set_air(block: int) -> None:
        store[starts[7] : starts[8]] = air[:, block, 0]
        store[starts[12] :] = store[vapour], drifts[block], middles[block]

    return slope, set_air, store


def python_slope(piece: Ensemble, nodes: Nodes) -> tuple[Slope, Callable[[int], None], Array]:
    """The readable rates for one member; as `compiled_slope`."""
    n, block = nodes.count, np.array([0])

    def slope(y: Array, t: float, _store: Array) -> Array:
        air = air_in_block(piece.blocks, block, np.array([t]))
        dx, ds = rates(piece.members, nodes, air, y[:n, None], y[n:, None])
        return np.concatenate([dx[:, 0], ds[:, 0]])

    def set_air(number: int) -> None:
        block[0] = number

    return slope, set_air, np.zeros(1)


def by_lsoda(
    piece: Ensemble,
    slope: Slope,
    set_air: Callable[[int], None],
    store: Array,
    rtol: float,
    *,
    until_s: float = DAYS * DAY_S,
) -> Array:
    """Water at the output times, array (times, n, 1), restarted wherever the air changes."""
    members, ends = piece.members, piece.blocks.end_s[:, 0]
    atol = rtol * np.repeat([0.05, SALT_SCALE], NODES)
    y = np.repeat([members.water[0], members.salt[0]], NODES)
    out, start, begin = [y[:NODES].copy()], 0.0, 1
    for block, border in enumerate(ends):
        end = min(float(border), until_s)
        until = int(np.searchsorted(OUTPUT_S, end * (1.0 + 1e-12), side="right"))
        wanted = OUTPUT_S[begin:until]
        times = np.unique(np.concatenate([[start], np.minimum(wanted, end), [end]]))
        set_air(block)
        path = odeint(slope, y, times, args=(store,), rtol=rtol, atol=atol, mxstep=10_000)  # type: ignore[call-overload]
        out += [path[np.searchsorted(times, min(moment, end)), :NODES] for moment in wanted]
        y, start, begin = path[-1], end, until
        if start >= until_s:
            break
    return np.array(out)[:, :, None]


def lsoda(
    pieces: Ensemble,
    truth: Array,
    error: float,
    *,
    members: int,
    compiled: bool,
    tolerances: tuple[float, ...] = TOLERANCES,
) -> Reference:
    """LSODA at the loosest tolerance that is no worse than the engine.

    Args:
        pieces: Ensemble. With its air cut as the engine's.
        truth: array (times, all members). Weight loss to hold it against.
        error: float. The engine's worst error over the same members.
        members: int. How many are carried, the first ones.
        compiled: bool. Right-hand side compiled, or Python.
        tolerances: tuple of float. From loose to tight.
    """
    alone = [pieces.part(slice(place, place + 1)) for place in range(members)]
    make = compiled_slope if compiled else python_slope
    ways = [make(piece, radau_nodes(NODES)) for piece in alone]

    def losses(rtol: float) -> Array:
        pairs = zip(alone, ways, strict=True)
        found = [loss_from(piece.members, by_lsoda(piece, *way, rtol)) for piece, way in pairs]
        return np.concatenate(found, axis=1)

    for rtol in tolerances:
        achieved = float(np.max(np.abs(losses(rtol) - truth[:, :members])))
        if achieved <= error:
            break
    taken = best_s(lambda: losses(rtol), 3 if compiled else 1)
    return Reference(1e6 * taken / members, achieved, rtol)


def same_scheme(pieces: Ensemble, truth: Array) -> Reference:
    """The engine's scheme and steps, one member at a time."""
    integrate = one_lane("compiled").integrate_compiled
    nodes = radau_nodes(NODES)
    water = integrate(pieces.members, nodes, pieces.blocks, OUTPUT_S, CONTROL).water
    taken = best_s(lambda: integrate(pieces.members, nodes, pieces.blocks, OUTPUT_S, CONTROL), 3)
    error = float(np.max(np.abs(loss_from(pieces.members, water) - truth[:, : pieces.members.count])))
    return Reference(1e6 * taken / pieces.members.count, error)
