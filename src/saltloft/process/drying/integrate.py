"""Carries an ensemble through its air: every member with its own steps and error control."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from saltloft.foundation.errors import NumericsError
from saltloft.process.drying.members import Blocks, Members
from saltloft.process.drying.nodes import Nodes
from saltloft.process.drying.rates import AIR_NAMES, Air, rates, rim_activity
from saltloft.process.drying.rim import RimMemory
from saltloft.process.drying.step import Step, step

Array = NDArray[np.float64]
Marks = NDArray[np.bool_]

FIRST_STEP_S = 300.0
SHORTEST_STEP_S = 1e-3
LONGEST_STEP_S = 16.0 * 86400.0  # what a piece at rest may take; outputs within it keep their error
LARGEST_CHANGE = 0.35  # of X + 0.05 or S + 0.02 in one step
LEAST_LEFT = 0.3  # of the water or salt of any place after one step: nothing turns negative
MOST_STEPS = 20_000


@dataclass(frozen=True)
class Control:
    """How steps are judged, by the embedded error of each.

    Args:
        tolerance: float. At the nodes, mean square by solids, relative to X + 0.05 and S + 0.02. [1]
        loss_tolerance: float. Of the weight loss of the whole piece. [1]
        fixed_step_s: float. Above 0: steps of this length, nothing judged (order tests). [s]
    """

    tolerance: float = 0.015
    loss_tolerance: float = 1.8e-4
    fixed_step_s: float = 0.0


@dataclass(frozen=True)
class Start:
    """A state from which members go on, as a run left it at the end of a step.

    Args:
        time_s: float. From stuffing. [s]
        water, salt: arrays (n, members). [kg/kg]
        length_s: array (members,). The step to try next. [s]
        memory: array (2, members) or None. What the rim remembers, when it does. [1]
    """

    time_s: float
    water: Array
    salt: Array
    length_s: Array
    memory: Array | None = None


@dataclass(frozen=True)
class Profiles:
    """The profiles at the wanted times.

    Args:
        water, salt: arrays (times, n, members). [kg/kg]
        steps, rejected: arrays (members,). Steps taken and thrown away.
        memory: array (times, 2, members) or None. What the rim remembers, when it does. [1]
        error: array (members,). Sum over the steps of the embedded error of the weight loss, a
            cautious bound on what the steps in time cost (nodes and air come on top). [1]
        length_s: array (times, members). The step to go on with from each moment. [s]
    """

    water: Array
    salt: Array
    steps: NDArray[np.int64]
    rejected: NDArray[np.int64]
    memory: Array | None
    error: Array
    length_s: Array

    def start(self, output_s: Array, which: int) -> Start:
        """The state at one of the wanted moments, to go on from.

        Args:
            output_s: array (times,). The moments of these profiles. [s]
            which: int. Number of the moment. It goes on exactly where a block ended there. [1]
        """
        memory = None if self.memory is None else self.memory[which]
        now = float(output_s[which])
        return Start(now, self.water[which], self.salt[which], self.length_s[which], memory)


def air_in_block(blocks: Blocks, block: NDArray[np.int64], now_s: Array | None = None) -> Air:
    """The air of each member in its own block.

    Args:
        blocks: Blocks.
        block: array of int (members,). Number of the block, from 0. [1]
        now_s: array (members,) or None. Moment within the block; None for its mean. [s]
    """
    member = np.arange(len(block))
    values = {name: getattr(blocks, name)[block, member] for name in AIR_NAMES}
    is_open = blocks.open[block].astype(np.float64)
    if now_s is None or blocks.drift is None:
        return Air(**values, open=is_open)
    values["vapour"] = blocks.vapour_at(block, member, now_s)
    return Air(**values, open=is_open, drift=blocks.drift[block, member])


def _judge(
    weight: Array, profile: tuple[Array, Array], new: tuple[Array, Array], error: tuple[Array, Array]
) -> tuple[Array, Array]:
    """Relative error in the mean square and largest relative change, arrays (members,).

    The mean square by solids lets the thin rim's passing answer to a jump of the air be
    coarse; what counts most, the water of the whole piece, is judged beside it.
    """
    scales = (np.abs(profile[0]) + 0.05, np.abs(profile[1]) + 0.02)
    wrong = np.sqrt(np.maximum(*(weight @ np.square(e / s) for e, s in zip(error, scales, strict=True))))
    pairs = zip(new, profile, scales, strict=True)
    change = np.maximum(*(np.max(np.abs(a - b) / s, axis=0) for a, b, s in pairs))
    return wrong, change


def _between(t: Array, ends: tuple[Array, Array], rises: tuple[Array, Array], fresh: Array) -> Array:
    """Cubic through both ends with both slopes; t 0..1 within the step, (members,).

    In the first step of a block (`fresh`) the rim answers to a jump faster than the step
    can see, so its first slope says nothing: there what the slope at the end does not
    explain fades with the third power of the time left.
    Where a value would dip far below both its ends, the whole piece is taken straight:
    one rule for all nodes keeps the totals.
    """
    left, rise, m0, m1 = ends[0], ends[1] - ends[0], rises[0], rises[1]
    cubic: Array = left + t * (m0 + t * (3.0 * rise - 2.0 * m0 - m1 + t * (m0 + m1 - 2.0 * rise)))
    answer = ends[1] - (1.0 - t) * m1 - (rise - m1) * (1.0 - t) ** 3
    cubic = np.where(fresh > 0.0, answer, cubic)
    fine = np.all(cubic >= 0.5 * np.minimum(left, ends[1]), axis=0)
    return np.where(t < 1.0, np.where(fine, cubic, left + t * rise), ends[1])


def first_block(blocks: Blocks, time_s: float) -> NDArray[np.int64]:
    """The block of each member just after a moment, array of int (members,).

    Args:
        blocks: Blocks.
        time_s: float. From stuffing. [s]
    """
    begun = np.sum(blocks.end_s <= time_s * (1.0 + 1e-12), axis=0)
    return np.minimum(begun, len(blocks.end_s) - 1) if time_s > 0.0 else np.zeros_like(begun)


def stuffed(members: Members, nodes: Nodes) -> Start:
    """The members as they are when stuffed, Start at 0."""
    water, salt = (np.repeat(part[None, :], nodes.count, axis=0) for part in (members.water, members.salt))
    return Start(0.0, water, salt, np.full(members.count, FIRST_STEP_S))


class _March:
    """All members on their way; every member has its own time, step and block."""

    def __init__(  # noqa: PLR0917 - as `integrate`
        self, members: Members, nodes: Nodes, blocks: Blocks, output_s: Array, control: Control, start: Start
    ) -> None:
        count = members.count
        self.members, self.nodes, self.blocks = members, nodes, blocks
        self.output_s, self.control = output_s, control
        self.water, self.salt = start.water, start.salt
        self.out_x = np.empty((len(output_s), nodes.count, count))
        self.out_s = np.empty_like(self.out_x)
        self.out_x[:], self.out_s[:] = self.water, self.salt
        self.memory = RimMemory.fresh(count) if start.memory is None else start.memory
        self.out_memory = np.zeros((len(output_s), 2, count))
        self.out_memory[:] = self.memory
        self.now = np.full(count, start.time_s)
        self.length = np.full(count, control.fixed_step_s) if control.fixed_step_s else start.length_s
        self.out_length = np.repeat(self.length[None, :], len(output_s), axis=0)
        self.fresh = np.ones(count)  # 1 in the first step of a block
        self.block = first_block(blocks, start.time_s)
        self.wanted = np.full(count, int(np.searchsorted(output_s, start.time_s, side="right")))
        self.error = np.zeros(count)
        self.steps, self.rejected = np.zeros(count, dtype=np.int64), np.zeros(count, dtype=np.int64)

    @property
    def busy(self) -> Marks:
        """Members that still owe an output, array (members,)."""
        return self.wanted < len(self.output_s)

    def advance(self) -> None:
        """Try one step of every member; keep the good ones."""
        air = air_in_block(self.blocks, self.block, self.now)
        border = self.blocks.end_s[self.block, np.arange(len(self.now))]
        cut = border - self.now <= 1.000001 * self.length
        h = np.where(cut, border - self.now, self.length)
        busy = self.busy
        halfway = self._remembered(air, self.memory, (self.water, self.salt), 0.5 * h)
        if self.members.rim is not None:
            air = replace(air, rim_s_m=self.members.rim.resistance(halfway))
        rate = rates(self.members, self.nodes, air, self.water, self.salt)
        with np.errstate(all="ignore"):  # a step that is thrown away may overflow
            trial = step(self.members, self.nodes, air, (self.water, self.salt), rate, h)
            lost = np.abs(self.nodes.weight @ trial.water_error) / self.members.green_mass
            good, grown = self._judged(trial, lost)
        taken = good & busy
        new = (np.where(taken, trial.water, self.water), np.where(taken, trial.salt, self.salt))
        reached = np.where(cut, border, self.now + h)
        memory = np.where(taken, self._remembered(air, halfway, new, 0.5 * h), self.memory)
        length = np.where(busy, self._next_length(taken, cut, h, grown), self.length)
        if self._due(taken, reached).any():
            end = rates(self.members, self.nodes, air.after(h), *new)
            with np.errstate(all="ignore"):  # as above
                rises = (trial.rise(rate, h, self.fresh), trial.rise(end, h, self.fresh))
            self._write(taken, reached, h, (new, memory, length), rises)
        self.water, self.salt = new
        self.memory, self.length = memory, length
        self.now = np.where(taken, reached, self.now)
        self.fresh = np.where(taken, cut, self.fresh)
        self.block = np.minimum(self.block + (taken & cut), len(self.blocks.end_s) - 1)
        self.error += np.where(taken, lost, 0.0)
        self.steps += taken
        self.rejected += busy & ~good

    def _remembered(self, air: Air, memory: Array, profile: tuple[Array, Array], time_s: Array) -> Array:
        """What the rim remembers after a time in which its water activity stands still.

        Half a step before the profile moves and half a step after it: second order, exact
        for a rim at rest.
        """
        if self.members.rim is None:
            return memory
        activity, _, _ = rim_activity(self.members, profile[0][-1], profile[1][-1], air.kelvin)
        return self.members.rim.after(memory, activity, time_s)

    def _judged(self, trial: Step, lost: Array) -> tuple[Marks, Array]:
        """Which steps are good, and the factor on the next step of each member."""
        if self.control.fixed_step_s:
            return np.ones(len(self.now), dtype=np.bool_), np.ones(len(self.now))
        errors = (trial.water_error, trial.salt_error)
        profile, new = (self.water, self.salt), (trial.water, trial.salt)
        wrong, change = _judge(self.nodes.weight, profile, new, errors)
        ratio = np.maximum(wrong / self.control.tolerance, lost / self.control.loss_tolerance)
        ratio = np.maximum(ratio, 1e-12)
        grown = np.clip(0.9 * ratio ** (-1.0 / 3.0), 0.2, 2.5)
        pairs = list(zip(new, profile, strict=True))
        kept = np.all([np.min(a - LEAST_LEFT * b, axis=0) >= 0.0 for a, b in pairs], axis=0)
        tame = kept & (change <= LARGEST_CHANGE)
        grown = np.where(tame, grown, np.minimum(grown, 0.5))
        finite = np.all([np.all(np.abs(a) < 1e300, axis=0) for a in new], axis=0)
        return tame & (ratio <= 1.0) & finite, np.where(finite, grown, 0.2)

    def _next_length(self, taken: Marks, cut: Marks, h: Array, grown: Array) -> Array:
        """The next step by the error; a step that a border cut short leaves it as it was."""
        if self.control.fixed_step_s:
            return self.length
        follow = np.where(taken & cut, np.maximum(self.length, h * grown), h * grown)
        return np.minimum(follow, LONGEST_STEP_S)

    def _due(self, taken: Marks, reached: Array) -> Marks:
        """Members with an output within the step just taken."""
        due = taken & self.busy
        due[due] = self.output_s[self.wanted[due]] <= reached[due] * (1.0 + 1e-12)
        return due

    def _write(
        self,
        taken: Marks,
        reached: Array,
        h: Array,
        reached_state: tuple[tuple[Array, Array], Array, Array],
        rises: tuple[tuple[Array, Array], tuple[Array, Array]],
    ) -> None:
        """Fill every output that lies within the steps just taken."""
        new, memory, length = reached_state
        while (at := np.flatnonzero(self._due(taken, reached))).size:
            moment = self.output_s[self.wanted[at]]
            ended = moment >= reached[at] * (1.0 - 1e-12)
            t = np.where(ended, 1.0, (moment - self.now[at]) / h[at])
            for out, which, old in ((self.out_x, 0, self.water), (self.out_s, 1, self.salt)):
                ends = (old[:, at], new[which][:, at])
                rise = (rises[0][which][:, at], rises[1][which][:, at])
                out[self.wanted[at], :, at] = _between(t, ends, rise, self.fresh[at]).T
            straight = (1.0 - t) * self.memory[:, at] + t * memory[:, at]
            self.out_memory[self.wanted[at], :, at] = straight.T
            self.out_length[self.wanted[at], at] = length[at]
            self.wanted[at] += 1


def integrate(  # noqa: PLR0917 - what is dried, how, and from where
    members: Members,
    nodes: Nodes,
    blocks: Blocks,
    output_s: Array,
    control: Control | None = None,
    start: Start | None = None,
) -> Profiles:
    """Dry every member through all blocks (the readable definition).

    Args:
        members: Members.
        nodes: Nodes (n).
        blocks: Blocks. Long enough for the last output.
        output_s: array (times,). Wanted moments, rising, none before the start. [s]
        control: Control.
        start: Start or None. Where to go on from; None for stuffing.

    Returns:
        Profiles at the wanted moments, by cubic interpolation within a step.

    Raises:
        NumericsError: when a member would need steps shorter than a millisecond.
    """
    march = _March(members, nodes, blocks, output_s, control or Control(), start or stuffed(members, nodes))
    for _ in range(MOST_STEPS):
        if not march.busy.any():
            memory = None if members.rim is None else march.out_memory
            out = (march.out_x, march.out_s, march.steps, march.rejected, memory)
            return Profiles(*out, march.error, march.out_length)
        if np.any(march.length < SHORTEST_STEP_S):
            break
        march.advance()
    raise NumericsError(
        "the drying of a member cannot be followed",
        got=f"a step of {float(np.min(march.length)):.2g} s",
        do="look at the piece and the air: something is far outside what a piece can be",
    )
