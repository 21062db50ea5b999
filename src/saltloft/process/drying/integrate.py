"""Carries an ensemble through its air: every member with its own steps and error control."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from saltloft.foundation.errors import NumericsError
from saltloft.process.drying.members import Blocks, Members
from saltloft.process.drying.nodes import Nodes
from saltloft.process.drying.rates import Air, rates
from saltloft.process.drying.step import step

Array = NDArray[np.float64]

FIRST_STEP_S = 300.0
SHORTEST_STEP_S = 1e-3
LARGEST_CHANGE = 0.35  # of X + 0.05 or S + 0.02 in one step
MOST_STEPS = 20_000


@dataclass(frozen=True)
class Control:
    """How steps are judged.

    Args:
        tolerance: float. Embedded error per step, relative to X + 0.05 and S + 0.02. [1]
        fixed_step_s: float. Above 0: steps of this length, nothing judged (order tests). [s]
    """

    tolerance: float = 1e-3
    fixed_step_s: float = 0.0


@dataclass(frozen=True)
class Profiles:
    """The profiles at the wanted times.

    Args:
        water, salt: arrays (times, n, members). [kg/kg]
        steps, rejected: arrays (members,). Steps taken and thrown away.
    """

    water: Array
    salt: Array
    steps: NDArray[np.int64]
    rejected: NDArray[np.int64]


def air_in_block(blocks: Blocks, block: NDArray[np.int64]) -> Air:
    """The air of each member in its own block."""
    member = np.arange(len(block))
    values = {entry.name: getattr(blocks, entry.name) for entry in fields(Air) if entry.name != "open"}
    return Air(
        **{name: value[block, member] for name, value in values.items()},
        open=blocks.open[block].astype(np.float64),
    )


def _judge(
    weight: Array, water: Array, salt: Array, new: tuple[Array, Array], error: tuple[Array, Array]
) -> tuple[Array, Array]:
    """Relative error in the mean square and largest relative change, arrays (members,).

    The mean square by solids lets the thin rim's passing answer to a jump of the air be
    coarse; what counts is the water of the whole piece and where the rim comes to rest.
    """
    scales = (np.abs(water) + 0.05, np.abs(salt) + 0.02)
    wrong = np.sqrt(np.maximum(*(weight @ np.square(e / s) for e, s in zip(error, scales, strict=True))))
    pairs = zip(new, (water, salt), scales, strict=True)
    change = np.maximum(*(np.max(np.abs(a - b) / s, axis=0) for a, b, s in pairs))
    return wrong, change


def _between(
    t: Array, h: Array, left: Array, right: Array, rate0: Array, rate1: Array, fresh: Array
) -> Array:
    """Cubic through both ends with both slopes; t 0..1 within the step, (members,).

    In the first step of a block (`fresh`) the rim answers to a jump faster than the step
    can see, so its first slope says nothing: there a parabola with the slope at the end.
    """
    rise, m1 = right - left, h * rate1
    m0 = np.where(fresh, 2.0 * rise - m1, h * rate0)
    cubic: Array = left + t * (m0 + t * (3.0 * rise - 2.0 * m0 - m1 + t * (m0 + m1 - 2.0 * rise)))
    return cubic


def integrate(
    members: Members,
    nodes: Nodes,
    blocks: Blocks,
    output_s: Array,
    control: Control | None = None,
) -> Profiles:
    """Dry every member from stuffing through all blocks (the readable definition).

    Args:
        members: Members.
        nodes: Nodes (n).
        blocks: Blocks. Long enough for the last output.
        output_s: array (times,). Wanted moments, rising, from 0. [s]
        control: Control. The defaults keep the weight loss within 2e-4 of its own.

    Returns:
        Profiles at the wanted moments, by cubic interpolation within a step.

    Raises:
        NumericsError: when a member would need steps shorter than a millisecond.
    """
    how = control or Control()
    count, times = members.count, len(output_s)
    water = np.repeat(members.water[None, :], nodes.count, axis=0)
    salt = np.repeat(members.salt[None, :], nodes.count, axis=0)
    out_x = np.empty((times, nodes.count, count))
    out_s = np.empty_like(out_x)
    out_x[:], out_s[:] = water, salt
    now, length = np.zeros(count), np.full(count, how.fixed_step_s or FIRST_STEP_S)
    fresh, first = np.ones(count, dtype=np.bool_), length.copy()  # first step of a block, its length
    block = np.zeros(count, dtype=np.int64)
    wanted = np.full(count, int(np.searchsorted(output_s, 0.0, side="right")))
    steps, rejected = np.zeros(count, dtype=np.int64), np.zeros(count, dtype=np.int64)
    last_block, member = len(blocks.end_s) - 1, np.arange(count)
    for _ in range(MOST_STEPS):
        busy = wanted < times
        if not busy.any():
            return Profiles(out_x, out_s, steps, rejected)
        air = air_in_block(blocks, block)
        left_in_block = blocks.end_s[block, member] - now
        cut = left_in_block <= 1.000001 * length
        h = np.where(cut, left_in_block, length)
        rate = rates(members, nodes, air, water, salt)
        with np.errstate(all="ignore"):  # a step that is thrown away may overflow
            trial = step(members, nodes, air, water, salt, rate, h)
            wrong, change = _judge(
                nodes.weight, water, salt, (trial.water, trial.salt), (trial.water_error, trial.salt_error)
            )
            ratio = np.maximum(wrong / how.tolerance, 1e-12)
            good = (ratio <= 1.0) & (change <= LARGEST_CHANGE)
            grown = np.clip(0.9 * ratio ** (-1.0 / 3.0), 0.2, 2.5)
            grown = np.where(change > LARGEST_CHANGE, np.minimum(grown, 0.5), grown)
        grown = np.where(np.isfinite(grown), grown, 0.2)
        if how.fixed_step_s:
            good, grown = np.ones(count, dtype=np.bool_), np.ones(count)
        taken = good & busy
        new_x, new_s = np.where(taken, trial.water, water), np.where(taken, trial.salt, salt)
        end = rates(members, nodes, air, new_x, new_s)
        reached = np.where(cut, blocks.end_s[block, member], now + h)
        while True:
            due = taken & (wanted < times)
            due[due] = output_s[wanted[due]] <= reached[due] * (1.0 + 1e-12)
            if not due.any():
                break
            at = np.flatnonzero(due)
            t = (output_s[wanted[at]] - now[at]) / h[at]
            out_x[wanted[at], :, at] = _between(
                t, h[at], water[:, at], new_x[:, at], rate[0][:, at], end[0][:, at], fresh[at]
            ).T
            out_s[wanted[at], :, at] = _between(
                t, h[at], salt[:, at], new_s[:, at], rate[1][:, at], end[1][:, at], fresh[at]
            ).T
            wanted[at] += 1
        water, salt = new_x, new_s
        now = np.where(taken, reached, now)
        block = np.minimum(block + (taken & cut), last_block)
        first = np.where(taken & fresh, h, first)
        follow = np.where(taken & cut, np.minimum(np.maximum(length, h * grown), 2.0 * first), h * grown)
        fresh = np.where(taken, cut, fresh)
        length = np.full(count, how.fixed_step_s) if how.fixed_step_s else np.where(busy, follow, length)
        steps += taken
        rejected += busy & ~good
        if np.any(length < SHORTEST_STEP_S):
            break
    raise NumericsError(
        "the drying of a member cannot be followed",
        got=f"a step of {float(np.min(length)):.2g} s",
        do="look at the piece and the air: something is far outside what a piece can be",
    )
