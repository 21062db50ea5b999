"""One run of an ensemble: draws in, members over time out."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from saltloft.process.build import batter_of, members_of
from saltloft.process.draws import Draws, air_size, air_steps, error_size, slow_error
from saltloft.process.drying.integrate import Control, Profiles, Start, integrate
from saltloft.process.drying.members import Blocks, Members
from saltloft.process.drying.nodes import Nodes, radau_nodes
from saltloft.process.drying.outputs import States, air_at, diameter_of, mean_water, seen_of
from saltloft.process.kept_states import KeptStates, digest_of, single
from saltloft.process.parameters import DryingParameters
from saltloft.process.piece import Piece
from saltloft.process.programme import DAY_S, Programme
from saltloft.process.room_air import blocks_of, stage_ends_d
from saltloft.science.composition import Composition
from saltloft.science.water_activity import of_mixture

Array = NDArray[np.float64]

NODES = 8
# From this calibre on eight nodes make a dry rim's forecast up to a fifth of a day early.
MORE_NODES, THICK_M = 12, 0.060
CONTROL = Control()
PROGRAMME_BLOCKS = 12  # air of more blocks than this is a log
THREADS, WORTH_THREADS = 2, 128  # fewer members are carried before a second thread has begun


class OtherLoss(Protocol):
    """Another model's weight loss for some of the members (process/mixture.py)."""

    def members(self, draws: Draws) -> NDArray[np.bool_]:
        """Which members follow it, array (members,)."""
        ...

    def loss(self, draws: Draws, time_d: Array) -> Array:
        """Its weight loss, array (times, members), 0..1."""
        ...


@dataclass(frozen=True)
class Run:
    """An ensemble carried through its air; what is read off the profiles is worked out when asked for.

    Args:
        time_d: array (times,). [d]
        draws: Draws.
        batter: Composition of arrays (members,).
        members: Members.
        blocks: Blocks.
        ends_d: array (stages, lots). End of each stage. [d]
        profiles: Profiles. At the times; with a past, at those after it.
        parameters: DryingParameters. For the doubt of the model itself.
        past: KeptStates or None. The first of the times, as an earlier run left them.
        by_line: OtherLoss or None. Members whose weight loss is another model's.
        put_right: function of loss (times, lots) and days giving what is added to it, or None.
    """

    time_d: Array
    draws: Draws
    batter: Composition
    members: Members
    blocks: Blocks
    ends_d: Array
    profiles: Profiles
    parameters: DryingParameters
    past: KeptStates | None = None
    by_line: OtherLoss | None = None
    put_right: Callable[[Array, Array], Array] | None = None

    @property
    def nodes(self) -> Nodes:
        """The nodes of the profiles."""
        return radau_nodes(self.profiles.water.shape[1])

    @property
    def _behind(self) -> int:
        """How many of the times lie in the past."""
        return 0 if self.past is None else len(self.past.time_d)

    def _whole(self, name: str, ahead: Array) -> Array:
        """Past and the times after it together, in the precision in which a past is kept."""
        if self.past is None:
            return single(ahead)
        return np.concatenate([self.past.values[name].astype(np.float64), single(ahead)])

    @cached_property
    def _water(self) -> Array:
        """Mean water as the profiles say, array (times, members). [kg/kg]"""
        times_s = DAY_S * self.time_d[self._behind :]
        water = self._whole("water", mean_water(self.members, self.nodes, times_s, self.profiles.water))
        water[self.time_d <= 0.0] = self.members.water  # exactly nothing is lost at stuffing
        return water

    @cached_property
    def _dried(self) -> tuple[Array, Array]:
        """Weight loss and mean water with the slow model error in, arrays (times, members)."""
        loss = (self.members.water - self._water) / self.members.green_mass
        path = slow_error(self.draws, self.parameters.discrepancy_log_time, self.time_d)
        error = self.draws.per_member(path.T).T * error_size(loss, self.time_d, self.parameters)
        if self.draws.air.shape[1]:
            walk = self.draws.per_member(self.draws.air @ air_steps(self.time_d).T).T
            error = error + walk * air_size(loss, self.time_d, self.parameters)
        error = self.held(error)
        water = np.maximum(self._water - error * self.members.green_mass, 0.02)
        if self.put_right is not None:
            mean = lot_mean((self.members.water - water) / self.members.green_mass, self.draws.lots)
            added = self.held(self.draws.per_member(self.put_right(mean, self.time_d).T).T)
            water = np.maximum(water - added * self.members.green_mass, 0.02)
        if self.by_line is not None:
            line = self.held(self.by_line.loss(self.draws, self.time_d)) * self.members.green_mass
            along = np.maximum(self.members.water - line, 0.02)
            water = np.where(self.by_line.members(self.draws), along, water)
        return (self.members.water - water) / self.members.green_mass, water

    def held(self, error: Array) -> Array:
        """An error or a loss as it was at the sealing while a piece is packed: its weight cannot move."""
        if self.blocks.open.all():
            return error
        packed = air_at(self.blocks, DAY_S * self.time_d).open < 0.5
        last_open = np.maximum.accumulate(np.where(packed, 0, np.arange(len(error))[:, None]), axis=0)
        return np.take_along_axis(error, last_open, axis=0)

    @property
    def weight_loss(self) -> Array:
        """Fraction of the green weight, array (times, members), 0..1."""
        return self._dried[0]

    @property
    def water(self) -> Array:
        """Mean water per kg of solids, array (times, members). [kg/kg]"""
        return self._dried[1]

    @cached_property
    def _seen(self) -> dict[str, Array]:
        """What is read off the profiles, without any doubt of the model."""
        times_s = DAY_S * self.time_d[self._behind :]
        ahead = seen_of(self.members, self.nodes, self.blocks, times_s, self.profiles)
        return {name: self._whole(name, values) for name, values in ahead.items()}

    @cached_property
    def states(self) -> States:
        """All that is read off the profiles, with the model's own errors in."""
        members, parameters, seen = self.members, self.parameters, self._seen
        salt = np.broadcast_to(members.salt, self.water.shape)
        mean = of_mixture(self.water, salt, members.solutes, members.brine, members.halsey)
        z = self.draws.of_lot("activity_error")
        dry = np.clip((0.84 - mean) / 0.04, 0.0, 1.0)
        doubt = z * (parameters.activity_error.sd * (1.0 - dry) + parameters.activity_error_dry.sd * dry)
        # The rim stands in the room's air whatever its composition says; only places whose
        # activity is told from composition carry the error of that relation.
        ceiling = 0.999
        return States(
            **seen
            | {
                "water": self.water,
                "weight_loss": self.weight_loss,
                "water_activity_mean": np.minimum(mean + doubt, ceiling),
                "water_activity_core": np.minimum(seen["water_activity_core"] + doubt, ceiling),
                "diameter_m": diameter_of(members, self._water),
            }
        )

    @property
    def moisture_protein(self) -> Array:
        """Moisture:protein ratio, array (times, members). [kg/kg]"""
        ratio: Array = self.water * self.batter.solids / self.batter.protein
        return ratio

    @property
    def moisture(self) -> Array:
        """Water per weight, array (times, members), 0..1."""
        part: Array = self.water * self.batter.solids / (1.0 - self.weight_loss)
        return part

    def until(self, horizon_d: float) -> Run:
        """The run up to a day, that day included.

        Args:
            horizon_d: float. After the past. [d]
        """
        count = int(np.searchsorted(self.time_d, horizon_d + 1e-9, side="right"))
        ahead = slice(count - self._behind)
        profiles = replace(self.profiles, water=self.profiles.water[ahead], salt=self.profiles.salt[ahead])
        return replace(self, time_d=self.time_d[:count], profiles=profiles)

    def kept(self, until_d: float) -> KeptStates | None:
        """What another run may go on from, up to the last whole block that ends by a day.

        Args:
            until_d: float. [d]

        Returns:
            KeptStates; the past itself, or None, where no block of all members ends at a later time.
        """
        ends_d = self.blocks.end_s / DAY_S
        common = ends_d[(ends_d == ends_d[:, :1]).all(axis=1), 0]
        ahead = self.time_d[self._behind :]
        fit = np.flatnonzero(
            (ahead <= until_d) & (ahead > 0.0) & np.isin(np.round(ahead, 9), np.round(common, 9))
        )
        if not fit.size:
            return self.past
        last = self._behind + int(fit[-1]) + 1
        return KeptStates(
            rests_on=digest_of(self.draws, self.members, self.blocks, DAY_S * self.time_d[last - 1]),
            time_d=self.time_d[:last],
            values={name: values[:last].astype(np.float32) for name, values in self._seen.items()},
            start=self.profiles.start(DAY_S * ahead, int(fit[-1])),
        )


def lot_mean(values: Array, lots: int) -> Array:
    """Mean over the pieces of each lot draw.

    Args:
        values: array (..., members). [any unit]
        lots: int. Number of lot draws.

    Returns:
        Array (..., lots), in the unit of values.
    """
    if values.shape[-1] == lots:
        return values
    if values.shape[-1] == 2 * lots:
        pairs: Array = 0.5 * (values[..., 0::2] + values[..., 1::2])
        return pairs
    whole = lot_mean(values[..., :-1], lots - 1)
    return np.concatenate([whole, values[..., -1:]], axis=-1)


def first_day(time_d: Array, values: Array, level: float, *, falling: bool) -> Array:
    """First day on which each column is at its level; infinity when never.

    Args:
        time_d: array (times,). [d]
        values: array (times, columns). [any unit]
        level: float. [unit of values]
        falling: bool. True: the value comes down to the level.

    Returns:
        Array (columns,), straight between times. [d]
    """
    gap = level - values if falling else values - level
    there = gap >= 0.0
    first = np.argmax(there, axis=0)
    column = np.arange(values.shape[1])
    before = np.maximum(first - 1, 0)
    g0, g1 = gap[before, column], gap[first, column]
    part = np.where(first > 0, np.clip(-g0 / np.where(g1 != g0, g1 - g0, 1.0), 0.0, 1.0), 0.0)
    day = time_d[before] + part * (time_d[first] - time_d[before])
    return np.where(there.any(axis=0), day, np.inf)


def nodes_of(piece: Piece) -> Nodes:
    """The nodes of a lot: one number for its learning, its run, its slice and its kept states.

    Args:
        piece: Piece. Its mean calibre decides.
    """
    return radau_nodes(MORE_NODES if piece.diameter_m.mean >= THICK_M else NODES)


def _profiles(
    members: Members, nodes: Nodes, blocks: Blocks, times_s: Array, start: Start | None
) -> Profiles:
    """By the readable form for a programme; by its compiled twin for a log.

    The choice hangs on the case alone, so a case gives the same bytes everywhere. A
    programme is quick either way, and then nothing has to be compiled or loaded.
    """
    if len(blocks.end_s) <= PROGRAMME_BLOCKS:
        return integrate(members, nodes, blocks, times_s, CONTROL, start)
    from saltloft.process.drying.compiled import integrate_compiled  # noqa: PLC0415 - loads numba, 1 s

    threads = THREADS if members.count >= WORTH_THREADS else 1
    return integrate_compiled(members, nodes, blocks, times_s, CONTROL, start, threads=threads)


def _run_once(
    piece: Piece,
    programme: Programme,
    parameters: DryingParameters,
    draws: Draws,
    *,
    time_d: Array,
    ends_d: Array,
    kept: KeptStates | None = None,
) -> Run:
    batter = batter_of(piece, parameters, draws)
    members = members_of(piece, parameters, draws, batter)
    blocks = blocks_of(programme, parameters, members, draws, ends_d=ends_d, horizon_d=float(time_d[-1]))
    past = None
    if kept is not None and kept.fits(time_d, digest_of(draws, members, blocks, DAY_S * kept.until_d)):
        past = kept
    ahead_s = DAY_S * (time_d if past is None else time_d[len(past.time_d) :])
    start = None if past is None else past.start
    profiles = _profiles(members, nodes_of(piece), blocks, ahead_s, start)
    return Run(time_d, draws, batter, members, blocks, ends_d, profiles, parameters, past)


def simulate(
    piece: Piece,
    programme: Programme,
    parameters: DryingParameters,
    draws: Draws,
    time_d: Array,
    *,
    kept: KeptStates | None = None,
) -> Run:
    """Carry an ensemble through its programme; a stage with an `until` ends when the lot is there.

    Args:
        piece: Piece.
        programme: Programme.
        parameters: DryingParameters.
        draws: Draws.
        time_d: array (times,). Wanted days, rising from 0. [d]
        kept: KeptStates or None. Gone on from where it rests on the very same.

    Returns:
        Run.

    Notes:
        A lot moves as a whole: an `until` looks at the lot's mean, lot draw by lot draw.
        `until_ph` needs a pH course and is left to its latest end here.
    """
    ends = stage_ends_d(programme, draws)
    for i, stage in enumerate(programme.stages):
        if stage.until_weight_loss is None and stage.until_moisture_protein is None:
            continue
        start = np.full(draws.lots, programme.start_d) if i == 0 else ends[i - 1]
        run = _run_once(piece, programme, parameters, draws, time_d=time_d, ends_d=ends)
        reached = np.full(draws.lots, np.inf)
        if stage.until_weight_loss is not None:
            loss = lot_mean(run.weight_loss, draws.lots)
            reached = first_day(time_d, loss, stage.until_weight_loss, falling=False)
        if stage.until_moisture_protein is not None:
            ratio = lot_mean(run.moisture_protein, draws.lots)
            there = first_day(time_d, ratio, stage.until_moisture_protein, falling=True)
            reached = np.minimum(reached, there)
        earlier = ends[i] - np.clip(reached, start + 1e-3, ends[i])
        ends = np.concatenate([ends[:i], ends[i:] - earlier])
    return _run_once(piece, programme, parameters, draws, time_d=time_d, ends_d=ends, kept=kept)
