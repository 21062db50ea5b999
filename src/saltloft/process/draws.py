"""The random numbers of an ensemble: one row a lot draw, one pair of pieces in each.

Two pieces share a lot draw; their piece draws are mirror images (z and -z), so the mean
of a pair is the lot's mean to second order, and the difference shows the pieces' spread.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from saltloft.process.parameters import DryingParameters, Prior
from saltloft.science import statistics

Array = NDArray[np.float64]

LOT_SLOTS = (
    "water_diffusivity",
    "obstruction_exponent",
    "fat_exponent",
    "activation_energy",
    "salt_ratio",
    "salt_drag",
    "halsey_scale",
    "halsey_power",
    "other_solutes",
    "casing",
    "mould",
    "length_share",
    "crust_water",
    "fat_error",
    "water_error",
    "salt_error",
    "film",
    "local_air",
    "other_heat",
    "humidity_offset",
    "temperature_offset",
    "activity_error",
    "fat",
    "salt",
    "water",
    "protein",
    "sugar",
    "other_solutes_stated",
    "start_water_activity",
    "length",
    "rim_reversible",
    "rim_lasting",
)
PIECE_SLOTS = (
    "water_diffusivity",
    "diameter",
    "diameter_range",
    "fat_error",
    "film",
    "local_air",
    "other_heat",
    "humidity_offset",
    "temperature_offset",
)
STAGE_SLOTS = ("duration", "temperature", "humidity", "air")

# The slow model error is kept at these days, evenly spaced in ln time, and is straight between them. [d]
KNOTS_D = np.geomspace(0.4, 400.0, 20)

# Drying time gained or lost goes as a random walk with one step in each of these stretches. [d]
AIR_D = np.concatenate([np.arange(22.0), np.geomspace(22.0, 400.0, 25)])
_PIECE_SLOT0 = 1000
_AIR_SLOT0 = 700
_STAGE_SLOT0 = 100
_KNOT_SLOT0 = 80


@dataclass(frozen=True)
class Draws:
    """Standard normal draws; moving the columns of `lot` is what learning does.

    Args:
        lot: array (lots, columns). LOT_SLOTS, then the knots, four a stage, and the steps of AIR_D
            (without those no day's air errs).
        piece: array (members, PIECE_SLOTS). Members 2i and 2i+1 belong to lot draw i.
        stages: int. Number of stages drawn for.
        pieces_each: int. Members of one lot draw: 2, or 1 where a lane is one lot and piece.
    """

    lot: Array
    piece: Array
    stages: int
    pieces_each: int = 2

    @property
    def lots(self) -> int:
        """Number of lot draws."""
        return len(self.lot)

    @property
    def members(self) -> int:
        """Number of members."""
        return len(self.piece)

    def per_member(self, of_lot: Array) -> Array:
        """A lot-level array (lots, ...) handed to its members, (members, ...)."""
        return np.repeat(of_lot, self.pieces_each, axis=0)[: self.members]

    def of_lot(self, name: str) -> Array:
        """One lot-level draw per member, array (members,)."""
        return self.per_member(self.lot[:, LOT_SLOTS.index(name)])

    def of_piece(self, name: str) -> Array:
        """One piece-level draw per member, array (members,)."""
        return self.piece[:, PIECE_SLOTS.index(name)]

    def at_place(self, name: str, piece_share: float) -> Array:
        """A room-position draw per member: part of it shared by the lot, part by the piece."""
        shared = np.sqrt(1.0 - piece_share) * self.of_lot(name)
        place: Array = shared + np.sqrt(piece_share) * self.of_piece(name)
        return place

    def of_stage(self, stage: int, name: str) -> Array:
        """Where in its range each lot draw lies, array (lots,), 0..1."""
        column = len(LOT_SLOTS) + len(KNOTS_D) + 4 * stage + STAGE_SLOTS.index(name)
        share: Array = ndtr(self.lot[:, column])
        return share

    @property
    def knots(self) -> Array:
        """Independent normals behind the slow model error, array (lots, knots)."""
        return self.lot[:, len(LOT_SLOTS) : len(LOT_SLOTS) + len(KNOTS_D)]

    @property
    def air(self) -> Array:
        """Steps of the drying time gained or lost by the air of a day, array (lots, steps or none)."""
        return self.lot[:, len(LOT_SLOTS) + len(KNOTS_D) + len(STAGE_SLOTS) * self.stages :]


def draw(seed: int, lot: str, members: int, stages: int) -> Draws:
    """The prior draws of one lot: the same alone, among others, on one thread or two.

    Args:
        seed: int, 0 or more.
        lot: str. Name of the lot or case.
        members: int, 2 or more.
        stages: int. Stages whose ranges are drawn.

    Returns:
        Draws.
    """
    lots = (members + 1) // 2
    row = np.arange(lots)[:, None]
    slots = np.concatenate(
        [
            np.arange(len(LOT_SLOTS)),
            _KNOT_SLOT0 + np.arange(len(KNOTS_D)),
            _STAGE_SLOT0 + np.arange(4 * stages),
            _AIR_SLOT0 + np.arange(len(AIR_D) - 1),
        ]
    )
    piece_slots = _PIECE_SLOT0 + np.arange(len(PIECE_SLOTS))
    own = statistics.normal(seed, lot, row, piece_slots[None, :])
    pairs = np.stack([own, -own], axis=1).reshape(2 * lots, -1)[:members]
    return Draws(statistics.normal(seed, lot, row, slots[None, :]), pairs, stages)


def value_of(prior: Prior, z: Array) -> Array:
    """The value of a prior at standard normal draws.

    Args:
        prior: Prior.
        z: array. Standard normal draws. [1]

    Returns:
        Array like z, in the prior's unit.
    """
    value = prior.median * np.exp(prior.log_sd * z) if prior.log_sd else prior.median + prior.sd * z
    bounded: Array = np.clip(value, prior.low, prior.high)
    return bounded


def slow_error(draws: Draws, log_time: float, time_d: Array) -> Array:
    """A slowly varying error of unit size, autocorrelated over a stretch of ln time.

    Args:
        draws: Draws.
        log_time: float. Correlation length in ln time, above 0. [1]
        time_d: array (times,). [d]

    Returns:
        Array (times, lots), standard deviation about 1.

    Notes:
        A model that errs on day 2 may err otherwise on day 5; one that errs on day 40 will err
        alike on day 43: diffusion forgets in proportion to the time it has had.
    """
    knots = np.log(KNOTS_D)
    root = np.linalg.cholesky(np.exp(-np.abs(knots[:, None] - knots[None, :]) / log_time))
    at_knots = root @ draws.knots.T
    when = np.log(np.maximum(time_d, KNOTS_D[0]))
    spread = np.array([np.interp(when, knots, unit) for unit in np.eye(len(knots))]).T
    path: Array = spread @ at_knots
    return path


def error_size(loss: Array, time_d: Array, parameters: DryingParameters) -> Array:
    """Standard deviation of the slow error, array (times, members). [fraction of green weight]

    Args:
        loss: array (times, members). Weight loss by the model, fraction.
        time_d: array (times,). [d]
        parameters: DryingParameters.

    Notes:
        Two parts: one of its own size, which the air at the surface causes from the first day on
        (also where hardly anything is lost), and a share of the loss, which the law causes.
    """
    grown = time_d / (time_d + parameters.discrepancy_days)
    size: Array = parameters.discrepancy.sd * grown[:, None] + parameters.discrepancy_share * np.maximum(
        loss, 0.0
    )
    return size


def air_steps(time_d: Array) -> Array:
    """How much of each step of AIR_D has come by each day, in units of its size, (times, steps). [d^0.5]

    Args:
        time_d: array (times,). [d]
    """
    width = np.diff(AIR_D)
    share = np.clip((time_d[:, None] - AIR_D[:-1]) / width, 0.0, 1.0)
    steps: Array = share * np.sqrt(width)
    return steps


def air_size(loss: Array, time_d: Array, parameters: DryingParameters) -> Array:
    """What one day of drying gained or lost in every root of a day is worth, (times, members).

    Args:
        loss: array (times, members). Weight loss by the model, fraction.
        time_d: array (times,). [d]
        parameters: DryingParameters.

    Returns:
        Array. [fraction of green weight, per d^0.5]

    Notes:
        Half the loss over the age is the pace of a loss that goes with the square root of time. Fans
        that stop, doors, a load of fresh pieces beside it: what they cost is not logged, is common to
        all pieces of a day, and a wet core makes part of it good later, as the pace falls.
    """
    pace = 0.5 * np.maximum(loss, 0.0) / (time_d[:, None] + 1.0)
    size: Array = parameters.air_walk * pace
    return size
