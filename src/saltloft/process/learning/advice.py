"""Which reading taught what about the ready day, and what the next one would teach.

All is straight-line algebra about the best point: the ready day is a straight function of the
lot's draws, and so is every reading. Narrowing does not depend on what a reading will say, so it
can be told beforehand. The slopes come from `teaching.py`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from saltloft.process.learning.columns import LinearModel
from saltloft.process.learning.errors import ErrorBlocks
from saltloft.process.learning.places import PLACE

Array = NDArray[np.float64]
Whole = NDArray[np.int64]

WEIGHED, SAMPLED, FAT = "weight_loss", "water_activity_mean", "fat"
# What the columns are about, in the words of the trade; anything else is the model's own error.
ABOUT: dict[str, frozenset[str]] = {
    "inside": frozenset(
        ("water_diffusivity", "obstruction_exponent", "fat_exponent", "crust_water", "length_share")
    ),
    "room": frozenset((*PLACE, "casing", "mould", "duration", "temperature", "humidity", "air")),
    "end": frozenset(
        ("halsey_scale", "halsey_power", "other_solutes", "other_solutes_stated", "activity_error")
    ),
    "batter": frozenset(("fat", "fat_error", "salt", "salt_error", "water", "water_error", "protein")),
}
MODEL = "model"


@dataclass(frozen=True)
class Taught:
    """What one visit taught, readings taken in time order.

    Args:
        day: float. From stuffing. [d]
        quantity: str. As of Measured, or 'weight_loss'.
        pieces: int.
        before_d, after_d: float. Standard deviation of the ready day without and with it, later
            readings unknown. [d]
        without_d: float. The same with all readings but this visit's. [d]
        about: str. A key of ABOUT, or 'model': where most of the doubt it took away lay; empty for none.
    """

    day: float
    quantity: str
    pieces: int
    before_d: float
    after_d: float
    without_d: float
    about: str


@dataclass(frozen=True)
class Option:
    """One reading that could be taken.

    Args:
        day: float. From stuffing. [d]
        quantity: str. 'weight_loss', 'water_activity_mean' or 'fat' (of the batter).
        pieces: int.
        after_d: float. Expected standard deviation of the ready day after it. [d]
    """

    day: float
    quantity: str
    pieces: int
    after_d: float


@dataclass(frozen=True)
class Teaching:
    """What was learned of the ready day, and what could be.

    Args:
        ready_d: float. The ready day asked about, from stuffing. [d]
        alone_d: float. Standard deviation before any reading, from the literature alone. [d]
        prior_d: float. Before any reading of this lot, other lots of the house known. [d]
        now_d: float. With all readings. [d]
        taught: tuple of Taught, in time order.
        options: tuple of Option.
        of_loss: bool. True where the loss creeps towards its target and a day says little: then
            every doubt in here is of the weight loss on the ready day instead. [% for d]
    """

    ready_d: float
    alone_d: float
    prior_d: float
    now_d: float
    taught: tuple[Taught, ...]
    options: tuple[Option, ...]
    of_loss: bool = False


@dataclass(frozen=True)
class Rows:
    """Readings as rows of a straight model.

    Args:
        slopes: array (obs, columns).
        weight: array (obs,). One over the variance of the fresh error.
        offset: array (obs, slots). What one standard piece draw adds.
        group: array of int (obs,). Same pieces, same number; in any order.
    """

    slopes: Array
    weight: Array
    offset: Array
    group: Whole

    def take(self, which: NDArray[np.bool_]) -> Rows:
        """Some of the rows.

        Args:
            which: array of bool (obs,).
        """
        return Rows(self.slopes[which], self.weight[which], self.offset[which], self.group[which])

    def joined(self, more: Rows) -> Rows:
        """These rows and others; equal group numbers are the same pieces. Slots only one has are 0."""
        width = max(self.offset.shape[1], more.offset.shape[1])
        offsets = [np.pad(one.offset, ((0, 0), (0, width - one.offset.shape[1]))) for one in (self, more)]
        return Rows(
            np.concatenate([self.slopes, more.slopes]),
            np.concatenate([self.weight, more.weight]),
            np.concatenate(offsets),
            np.concatenate([self.group, more.group]),
        )

    @property
    def information(self) -> Array:
        """What the rows say of the columns, as a precision, array (columns, columns)."""
        if not len(self.weight):
            return np.zeros((self.slopes.shape[1], self.slopes.shape[1]))
        order = np.argsort(self.group, kind="stable")
        _, group = np.unique(self.group[order], return_inverse=True)
        blocks = ErrorBlocks(self.weight[order], self.offset[order], group.astype(np.int64))
        raw = self.slopes[order].T @ blocks.solve(self.slopes[order])
        return np.asarray(0.5 * (raw + raw.T))


def rows_of(linear: LinearModel) -> Rows:
    """The readings a lot was learned from, in the order they were given.

    Args:
        linear: LinearModel.
    """
    blocks, place = linear.blocks, linear.place
    return Rows(linear.jacobian, blocks.weight[place], blocks.offset[place], blocks.group[place])


def spread(gradient: Array, information: Array, prior_precision: Array) -> float:
    """Standard deviation of the ready day, given what is known of the columns. [d]

    Args:
        gradient: array (columns,). [d]
        information: array (columns, columns). From readings. [1]
        prior_precision: array (columns, columns). [1]
    """
    return float(np.sqrt(gradient @ np.linalg.solve(information + prior_precision, gradient)))


def taught_by(
    rows: Rows, visits: Sequence[Whole], gradient: Array, prior: Array
) -> list[tuple[float, float, float]]:
    """Doubt before, after and without each visit. [d]

    Args:
        rows: Rows.
        visits: sequence of arrays of int. Rows of each visit, in time order.
        gradient: array (columns,). [d]
        prior: array (columns, columns). Prior precision. [1]

    Returns:
        list of tuples (before, after, without).
    """
    count = len(rows.weight)
    known = np.zeros(count, dtype=np.bool_)
    before = spread(gradient, np.zeros_like(prior), prior)
    found: list[tuple[float, float, float]] = []
    for visit in visits:
        known[visit] = True
        after = spread(gradient, rows.take(known).information, prior)
        others = np.ones(count, dtype=np.bool_)
        others[visit] = False
        without = spread(gradient, rows.take(others).information, prior)
        found.append((before, after, without))
        before = after
    return found


def about_of(columns: Sequence[str], gradient: Array, before: Array, after: Array) -> str:
    """Which group of columns lost most of its share in the doubt.

    Args:
        columns: sequence of str. Names.
        gradient: array (columns,). [d]
        before, after: arrays (columns, columns). Covariances. [1]

    Returns:
        str. A key of ABOUT, or 'model'; empty where nothing was lost.
    """
    fall: dict[str, float] = {}
    # g_i (C g)_i adds up to the variance, and is that column's share in it.
    shares = gradient * ((before - after) @ gradient)
    for name, share in zip(columns, shares.tolist(), strict=True):
        bare = name.rsplit(".", 1)[-1]
        group = next((key for key, names in ABOUT.items() if bare in names), MODEL)
        fall[group] = fall.get(group, 0.0) + share
    best = max(fall, key=lambda group: fall[group])
    return best if fall[best] > 0.0 else ""
