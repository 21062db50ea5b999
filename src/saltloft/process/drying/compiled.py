"""Hands the drying of an ensemble to the compiled kernel, and takes the profiles back."""

from __future__ import annotations

import os
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import lru_cache
from threading import local

import numpy as np
from numpy.typing import NDArray

from saltloft.foundation.errors import NumericsError
from saltloft.process.drying import integrate
from saltloft.process.drying.integrate import Control, Profiles, Start, first_block, stuffed
from saltloft.process.drying.kernel import carry, work_rows
from saltloft.process.drying.kernel_lanes import LANES
from saltloft.process.drying.members import Blocks, Members
from saltloft.process.drying.nodes import Nodes
from saltloft.process.drying.rim import RimMemory

Array = NDArray[np.float64]

TURNS, LEAST_SHARE = 3, 4 * LANES  # of a lot on several threads: an even load, and full lanes


def brine_table(members: Members) -> Array:
    """The brine's constants as one row for the compiled code, array (10,)."""
    b = members.brine
    constants = (b.beta0, b.beta1, b.c_phi, b.debye_slope, b.b, b.alpha, b.saturation_molality)
    return np.array([*constants, b.molar_mass, b.water_molar_mass, members.linear_sorption])


def member_table(members: Members) -> Array:
    """What a lane needs to know of its member, array (20, members), rows as in `kernel_rates.py`."""
    m = members
    halsey = (np.broadcast_to(m.halsey.scale, m.count), np.broadcast_to(m.halsey.power, m.count))
    rows = (m.volume, m.solids_per_m, m.law.fixed_volume, m.length_share, m.salt_ratio, m.salt_drag, *halsey)
    rest = (m.solutes, m.resistance_s_m, m.other_heat, m.activation, m.end_factor)
    path = (m.path.constant, m.path.linear, m.path.square, m.sorption_heat_k, m.green_mass)
    rim = (0.0, 0.0) if m.rim is None else (m.rim.reversible, m.rim.lasting)
    return np.ascontiguousarray([*rows, *rest, *(np.broadcast_to(part, m.count) for part in (*path, *rim))])


def air_table(blocks: Blocks) -> Array:
    """The air, array (11, blocks, members), rows as in `kernel_rates.py`."""
    b = blocks
    drift = 0.0 if b.drift is None else b.drift
    parts = (b.speed_up, b.kelvin, b.saturated, b.vapour, b.log_slope, b.latent)
    table = np.empty((11, *b.end_s.shape))
    for row, part in enumerate((*parts, b.film_heat, b.film_power, b.film_ratio, b.open[:, None], drift)):
        table[row] = part
    return table


def rule_table(control: Control, members: Members) -> Array:
    """How steps are judged, where the sorption holds as it is, how the rim remembers, array (14,)."""
    bounds = (integrate.LARGEST_CHANGE, integrate.LEAST_LEFT, integrate.FIRST_STEP_S)
    rules = (
        control.tolerance,
        control.loss_tolerance,
        *bounds,
        integrate.SHORTEST_STEP_S,
        integrate.LONGEST_STEP_S,
        integrate.MOST_STEPS,
    )
    rim = members.rim
    remembers = (0.0,) * 5 if rim is None else (1.0, rim.wet, rim.dry, rim.harden_s, rim.soften_s)
    return np.array([*rules, members.sorption_kelvin, *remembers])


def aligned(rows: int) -> Array:
    """Zeros (rows, LANES) whose rows begin where a vector register likes them to."""
    flat = np.zeros((rows + 1) * LANES)
    skip = -(flat.ctypes.data // 8) % LANES
    return flat[skip : skip + rows * LANES].reshape(rows, LANES)


@dataclass(frozen=True)
class Lot:
    """What the run of one lot is given; the fields are those of `integrate`."""

    members: Members
    nodes: Nodes
    blocks: Blocks
    output_s: Array
    control: Control
    start: Start | None = None


class _Run:
    """A lot laid out for the kernel; its groups may be carried in any order, by any thread."""

    def __init__(self, lot: Lot) -> None:
        members, nodes, times = lot.members, lot.nodes, len(lot.output_s)
        self.lot, self.begin = lot, lot.start or stuffed(members, nodes)
        self.out = np.empty((2, times, nodes.count, members.count))
        self.length = np.empty((times, members.count))
        self.counts = np.zeros((2, members.count), dtype=np.int64)
        self.error = np.zeros(members.count)
        self.matrices = np.array([nodes.derivative, nodes.integral, nodes.divergence])
        cells = float(members.potential.value.shape[1] - 1)
        self.scalars = np.array([members.law.water_volume, members.potential.step, nodes.weight[-1], cells])
        self.member_rows, self.air_rows = member_table(members), air_table(lot.blocks)
        self.brine, self.rules = brine_table(members), rule_table(lot.control, members)
        self.tables = np.stack([members.potential.value, members.potential.slope], axis=-1)
        begin = self.begin
        self.memory = RimMemory.fresh(members.count) if begin.memory is None else begin.memory.copy()
        self.out_memory = np.zeros((times if members.rim else 0, 2, members.count))
        self.profile = np.array([begin.water, begin.salt])
        self.block = first_block(lot.blocks, begin.time_s)

    def carry(self, first: int, end: int) -> None:
        """The members from `first` to before `end`."""
        lot, begin = self.lot, self.begin
        done = carry(
            (0,) * lot.nodes.count, first, end - 1, self.profile, begin.time_s, begin.length_s, self.block,
            self.member_rows, self.air_rows, lot.blocks.end_s, self.brine, self.tables, self.matrices,
            lot.nodes.weight, self.scalars, lot.output_s, self.rules, workspace(lot.nodes.count),
            self.memory, self.out, self.length, self.out_memory, self.counts, self.error,
        )  # fmt: skip
        if done < 1.0:
            raise NumericsError(
                "the drying of a member cannot be followed",
                got=f"one of the members {first} to {end - 1}",
                do="look at the piece and the air: something is far outside what a piece can be",
            )

    def profiles(self) -> Profiles:
        memory = self.out_memory if self.lot.members.rim else None
        return Profiles(
            self.out[0], self.out[1], self.counts[0], self.counts[1], memory, self.error, self.length
        )


_OF_THREAD = local()


def workspace(nodes: int) -> Array:
    """The scratch of this thread for so many nodes."""
    kept: dict[int, Array] = _OF_THREAD.__dict__.setdefault("kept", {})
    if nodes not in kept:
        kept[nodes] = aligned(work_rows(nodes))
    return kept[nodes]


def integrate_lots(lots: Sequence[Lot], threads: int = 1) -> list[Profiles]:
    """Many lots at once, their groups handed out to a pool of threads.

    Args:
        lots: sequence of Lot.
        threads: int. From 1 on; the bytes do not hang on it.

    Returns:
        List of Profiles, one for each lot.

    Raises:
        NumericsError: when a member would need steps shorter than a millisecond.
    """
    runs = [_Run(lot) for lot in lots]
    shares = [(run, *share) for run in runs for share in _shares(run.lot.members.count, threads)]
    if threads <= 1 or len(shares) < 2:
        for run, first, end in shares:
            run.carry(first, end)
    else:
        list(_pool(threads, os.getpid()).map(lambda share: share[0].carry(*share[1:]), shares))
    return [run.profiles() for run in runs]


@lru_cache(maxsize=2)
def _pool(threads: int, process: int) -> ThreadPoolExecutor:
    """The threads of this process: shared, so that many lots at once never ask for more of them."""
    return ThreadPoolExecutor(threads, thread_name_prefix="drying")


def _shares(members: int, threads: int) -> list[tuple[int, int]]:
    """First and end of what one call carries: all on one thread; shares for a few turns of each on more."""
    size = members if threads <= 1 else max(-(-members // (TURNS * threads)), LEAST_SHARE)
    return [(first, min(first + size, members)) for first in range(0, members, size)]


def integrate_compiled(  # noqa: PLR0917 - as `integrate`
    members: Members,
    nodes: Nodes,
    blocks: Blocks,
    output_s: Array,
    control: Control,
    start: Start | None = None,
    *,
    threads: int = 1,
) -> Profiles:
    """As `integrate.integrate`, compiled; `control.fixed_step_s` is not known here.

    Args:
        members: Members.
        nodes: Nodes (n).
        blocks: Blocks.
        output_s: array (times,). Wanted moments, rising, none before the start. [s]
        control: Control.
        start: Start or None. Where to go on from; None for stuffing.
        threads: int. From 1 on; the bytes do not hang on it.

    Raises:
        NumericsError: when a member would need steps shorter than a millisecond.
    """
    return integrate_lots([Lot(members, nodes, blocks, output_s, control, start)], threads)[0]
