"""Hands the drying of an ensemble to the compiled kernel, and takes the profiles back."""

from __future__ import annotations

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
    is_open = np.repeat(b.open[:, None].astype(np.float64), b.end_s.shape[1], axis=1)
    films = (b.film_heat, b.film_power, b.film_ratio, is_open)
    drift = np.zeros_like(b.vapour) if b.drift is None else b.drift
    return np.array([b.speed_up, b.kelvin, b.saturated, b.vapour, b.log_slope, b.latent, *films, drift])


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


def integrate_compiled(  # noqa: PLR0917 - as `integrate`
    members: Members,
    nodes: Nodes,
    blocks: Blocks,
    output_s: Array,
    control: Control,
    start: Start | None = None,
) -> Profiles:
    """As `integrate.integrate`, compiled; `control.fixed_step_s` is not known here.

    Args:
        members: Members.
        nodes: Nodes (n).
        blocks: Blocks.
        output_s: array (times,). Wanted moments, rising, none before the start. [s]
        control: Control.
        start: Start or None. Where to go on from; None for stuffing.

    Raises:
        NumericsError: when a member would need steps shorter than a millisecond.
    """
    begin = start or stuffed(members, nodes)
    out = np.empty((2, len(output_s), nodes.count, members.count))
    out_length = np.empty((len(output_s), members.count))
    counts, error = np.zeros((2, members.count), dtype=np.int64), np.zeros(members.count)
    matrices = np.array([nodes.derivative, nodes.integral, nodes.divergence])
    cells = members.potential.value.shape[1] - 1
    scalars = np.array([members.law.water_volume, members.potential.step, nodes.weight[-1], float(cells)])
    p, air, brine = member_table(members), air_table(blocks), brine_table(members)
    tables = np.stack([members.potential.value, members.potential.slope], axis=-1)
    size, work = (0,) * nodes.count, aligned(work_rows(nodes.count))
    rules = rule_table(control, members)
    memory = RimMemory.fresh(members.count) if begin.memory is None else begin.memory.copy()
    out_memory = np.zeros((len(output_s) if members.rim else 0, 2, members.count))
    profile, block = np.array([begin.water, begin.salt]), first_block(blocks, begin.time_s)
    for first in range(0, members.count, LANES):
        done = carry(
            size, first, profile, begin.time_s, begin.length_s, block, p, air, blocks.end_s, brine, tables,
            matrices, nodes.weight, scalars, output_s, rules, work, memory, out, out_length, out_memory,
            counts, error,
        )  # fmt: skip
        if done < 1.0:
            raise NumericsError(
                "the drying of a member cannot be followed",
                got=f"one of the members {first} to {min(first + LANES, members.count) - 1}",
                do="look at the piece and the air: something is far outside what a piece can be",
            )
    return Profiles(
        out[0], out[1], counts[0], counts[1], out_memory if members.rim else None, error, out_length
    )
