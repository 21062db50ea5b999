"""The benchmark's case: a 50 mm piece with salt, ninety days of an hourly log that jumps daily."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, fields, is_dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from saltloft.cases.drying_parameters import drying_parameters
from saltloft.facts.loader import load_facts
from saltloft.process.build import batter_of, members_of
from saltloft.process.draws import draw
from saltloft.process.drying.integrate import Profiles
from saltloft.process.drying.laws import Potential
from saltloft.process.drying.members import Blocks, Members
from saltloft.process.drying.nodes import radau_nodes
from saltloft.process.piece import Piece
from saltloft.process.programme import DAY_S, AirTrace, Programme, Span, Stage
from saltloft.process.room_air import blocks_of, stage_ends_d

Array = NDArray[np.float64]

SEED, DAYS = 1, 90
PIECE = Piece(Span.of(0.05), fat=Span.of(0.28), salt=Span.of(0.027))
# Daily from the first day on: what a forecast is read at.
OUTPUT_S = DAY_S * np.arange(0.0, DAYS + 1.0)


@dataclass(frozen=True)
class Ensemble:
    """Pieces and their air, as the engine takes them.

    Args:
        members: Members.
        blocks: Blocks.
    """

    members: Members
    blocks: Blocks

    def part(self, own: slice) -> Ensemble:
        """Some of the members with their air; members come last, but first in the potential's tables."""
        count = self.members.count
        return Ensemble(_picked(self.members, own, count), _picked(self.blocks, own, count))


def _picked(value: Any, own: slice, count: int) -> Any:
    """A dataclass of arrays (..., members) with only some of them."""
    if isinstance(value, Potential):
        return replace(value, value=value.value[own], slope=value.slope[own])
    if is_dataclass(value) and not isinstance(value, type):
        parts = {entry.name: _picked(getattr(value, entry.name), own, count) for entry in fields(value)}
        return replace(value, **parts)
    by_member = isinstance(value, np.ndarray) and value.ndim > 0 and value.shape[-1] == count
    return np.ascontiguousarray(value[..., own]) if by_member else value


def jumping_log(days: int = DAYS, seed: int = SEED, first_d: float = 2.5) -> AirTrace:
    """Hourly readings: a new level every midnight, a daily swing, an opened door and noise.

    Args:
        days: int. [d]
        seed: int.
        first_d: float. Warm and moist up to here. [d]
    """
    random = np.random.Generator(np.random.Philox(seed))
    time_d = np.arange(0.0, 24.0 * days + 1.0) / 24.0
    day = np.minimum(time_d.astype(np.int64), days - 1)
    early, swing = time_d < first_d, np.sin(2.0 * np.pi * time_d)
    celsius = np.where(early, 22.0, 14.0) + (0.5 * random.standard_normal(days))[day] + 0.5 * swing
    rh = np.where(early, 0.92, 0.78) + (0.02 * random.standard_normal(days))[day] + 0.025 * swing
    rh += np.where(time_d % 1.0 < 0.04, 0.06, 0.0) + 0.005 * random.standard_normal(len(time_d))
    return AirTrace(time_d, celsius, np.clip(rh, 0.0, 0.99), 0.15)


def last_stage(days: float = 60.0) -> Stage:
    """What follows the log where a forecast looks further."""
    return Stage("", Span.of(days), Span.of(14.0), Span.of(0.78), Span.of(0.15), measured=True)


def ensemble(programme: Programme, count: int, *, resolve: bool = False) -> Ensemble:
    """The members of the case in a programme's air.

    Args:
        programme: Programme.
        count: int. Members.
        resolve: bool. True: every hour of the log a block of its own, not as the engine cuts it.
    """
    parameters = drying_parameters(load_facts())
    draws = draw(SEED, "benchmark", count, len(programme.stages))
    members = members_of(PIECE, parameters, draws, batter_of(PIECE, parameters, draws))
    blocks = blocks_of(
        programme,
        parameters,
        members,
        draws,
        ends_d=stage_ends_d(programme, draws),
        horizon_d=float(DAYS),
        resolve=resolve,
    )
    return Ensemble(members, blocks)


def loss_of(members: Members, profiles: Profiles) -> Array:
    """Weight loss, array (times, members), 0..1."""
    return loss_from(members, profiles.water)


def loss_from(members: Members, water: Array) -> Array:
    """Weight loss of profiles (times, n, members), array (times, members), 0..1."""
    mean = radau_nodes(water.shape[1]).weight @ water
    loss: Array = (members.water - mean) / members.green_mass
    return loss


def best_s(what: Callable[[], object], runs: int = 5) -> float:
    """Best wall time of a few runs: other work on the machine only adds. [s]"""
    best = float("inf")
    for _ in range(runs):
        start = time.perf_counter()
        what()
        best = min(best, time.perf_counter() - start)
    return best
