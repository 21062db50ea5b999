"""What was measured on a lot, and the same as arrays."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from saltloft.foundation.errors import InputError
from saltloft.foundation.words import say
from saltloft.process.parameters import DryingParameters

Array = NDArray[np.float64]
Whole = NDArray[np.int64]
Truths = NDArray[np.bool_]

WEIGHT_LOSS = "weight_loss"
QUANTITIES = (
    WEIGHT_LOSS,
    "water_activity_mean",
    "water_activity_core",
    "water_activity_rim",
    "moisture",
    "diameter_m",
)
LONGEST_D = 400.0
# What a carrier weighs otherwise than when it was tared, as a share of its tare: chosen, no source.
TARE_DRIFT = 0.003
# A loss outside this is a slip of the pen or of the scale, whatever the piece did.
POSSIBLE_LOSS = (-0.10, 0.85)
# Up to this many different days the model is asked on each; above it, between days of a grid.
MOST_DAYS = 400


@dataclass(frozen=True)
class Weighing:
    """One weighing of hanging pieces, as a loss.

    Args:
        day: float. From stuffing. [d]
        weight_loss: float. Fraction of the green weight of what was weighed; a slipped decimal
            mark may put it far outside 0..1.
        pieces: int. How many were weighed together.
        tag: str. Names one piece that is weighed again and again; empty otherwise.
        spread: float or None. Standard deviation between single pieces or readings, as
            stated; None: the model's own. [fraction]
        division_kg: float. Scale division; 0 when not known. [kg]
        green_kg: float. Green weight of what was weighed; 0 when not known. [kg]
        scale: str. Which scale; empty when not known.
        green_scale: str. Which scale took the green weight; empty when not known.
        rack: str. Where it hangs; pieces of one rack share its air. Empty when not known.
        green_spread: float. Standard deviation of one piece's green weight about `green_kg` a piece,
            as a share; 0 where the green weight is these pieces' own.
        tare_kg: float. Hook, rack or trolley that was taken off the reading; 0 where none was. [kg]
    """

    day: float
    weight_loss: float
    pieces: int = 1
    tag: str = ""
    spread: float | None = None
    division_kg: float = 0.0
    green_kg: float = 0.0
    scale: str = ""
    green_scale: str = ""
    rack: str = ""
    green_spread: float = 0.0
    tare_kg: float = 0.0

    @property
    def group(self) -> str:
        """Weighings of one group are of the same pieces, whose offset stays theirs."""
        return self.tag or (f"rack {self.rack}" if self.rack else f"{self.pieces} pieces")


@dataclass(frozen=True)
class Measured:
    """One reading on a sample that is not a weight.

    Args:
        day: float. From stuffing. [d]
        quantity: str. One of QUANTITIES but weight_loss.
        value: float. Fraction 0..1; metres for diameter_m.
        sd: float. Standard deviation of the reading, instrument and sampling. [unit of value]
        pieces: int. How many pieces went into it.
        tag: str. The tagged piece it was read on; empty for a piece not seen again.
    """

    day: float
    quantity: str
    value: float
    sd: float
    pieces: int = 1
    tag: str = ""


@dataclass(frozen=True)
class Observations:
    """All readings of a lot as arrays, sorted by group of pieces; `order` leads back.

    Args:
        order: array of int (obs,). Place of each row in weighings followed by measured.
        value: array (obs,). [fraction, m for diameters]
        quantity: array of int (obs,). Place in QUANTITIES.
        day: array (obs,). [d]
        variance: array (obs,). Fresh error of each reading. [unit of value, squared]
        pieces: array (obs,). Number weighed together.
        spread: array (obs,). Stated spread between pieces; NaN: the model's own.
        group: array of int (obs,), rising. Same pieces, same number.
        groups: tuple of str. Names of the groups.
        wide: array (obs,). Spread of a wild reading. [unit of value]
        weighed: array of bool (obs,).
        green_kg: array (obs,). 0 when not known. [kg]
        green_spread: array (obs,). Of one piece's green weight; 0 where it was weighed.
        scale, green_scale, rack, tag: tuple of str, one a row.
    """

    order: Whole
    value: Array
    quantity: Whole
    day: Array
    variance: Array
    pieces: Array
    spread: Array
    group: Whole
    groups: tuple[str, ...]
    wide: Array
    weighed: Truths
    green_kg: Array
    green_spread: Array
    scale: tuple[str, ...]
    green_scale: tuple[str, ...]
    rack: tuple[str, ...]
    tag: tuple[str, ...]

    @property
    def count(self) -> int:
        """Number of readings."""
        return len(self.value)

    @cached_property
    def impossible(self) -> Truths:
        """Weighings that no piece can have, array of bool (obs,)."""
        inside = (self.value > POSSIBLE_LOSS[0]) & (self.value < POSSIBLE_LOSS[1])
        return np.asarray(self.weighed & ~inside)

    @cached_property
    def time_d(self) -> Array:
        """Days on which the model is asked, rising from 0. [d]"""
        days = np.unique(np.concatenate([[0.0], self.day]))
        if len(days) <= MOST_DAYS:
            return days
        last = float(days[-1])
        grid = [np.arange(0.0, min(last, 10.0), 0.25), np.arange(10.0, last, 0.5), [last]]
        return np.unique(np.concatenate([np.asarray(part, dtype=np.float64) for part in grid]))

    @cached_property
    def between(self) -> tuple[Whole, Array]:
        """For each reading the day before it among `time_d` and its share of the way on."""
        at = np.clip(np.searchsorted(self.time_d, self.day, side="right") - 1, 0, len(self.time_d) - 2)
        span = self.time_d[at + 1] - self.time_d[at]
        return at, (self.day - self.time_d[at]) / span

    def pick(self, series: Array) -> Array:
        """What the model says at each reading.

        Args:
            series: array (quantities, times, lanes). At `time_d`.

        Returns:
            Array (obs, lanes).
        """
        at, share = self.between
        picked: Array = (1.0 - share)[:, None] * series[self.quantity, at]
        return picked + share[:, None] * series[self.quantity, at + 1]

    def unsorted(self, values: Array) -> Array:
        """Rows in the order they were given, array like values."""
        back = np.empty_like(values)
        back[self.order] = values
        return back


def check(weighings: Sequence[Weighing], measured: Sequence[Measured]) -> None:
    """Refuse what cannot be a reading at all.

    Args:
        weighings: sequence of Weighing.
        measured: sequence of Measured.

    Raises:
        InputError: a day outside 0..400, a loss of a negative weight, an unknown quantity.
    """
    for weighing in weighings:
        if not (0.0 < weighing.day <= LONGEST_D and -1e3 < weighing.weight_loss < 1.0):
            raise InputError(
                say("a weighing that no piece can have"),
                got=f"day {weighing.day:g}, loss {100 * weighing.weight_loss:g} %",
                allowed="day above 0 to 400, loss below 100 %",
                key="weighing",
            )
    for one in measured:
        if one.quantity not in QUANTITIES[1:]:
            raise InputError(
                say("no such reading"), got=one.quantity, allowed=", ".join(QUANTITIES[1:]), key="measured"
            )
        if not (0.0 < one.day <= LONGEST_D and 0.0 < one.value <= 1.0 and one.sd > 0.0):
            raise InputError(
                say("a reading that no piece can have"),
                got=f"day {one.day:g}, {one.quantity} {one.value:g} ± {one.sd:g}",
                allowed="day above 0 to 400, a value above 0 to 1, an error above 0",
                key="measured",
            )


def fresh_variance(weighing: Weighing, parameters: DryingParameters) -> float:
    """Variance of what is new in every weighing: scale, handling, rounding, tare. [fraction2]

    Args:
        weighing: Weighing.
        parameters: DryingParameters. Scale error.
    """
    # A weighing whose own spread is stated is not worsened by our guess of a scale.
    scale = parameters.scale_error.sd
    if weighing.spread is not None:
        scale = min(scale, weighing.spread)
    # The green weight is rounded too: two errors of one division, each evenly spread.
    rounding = weighing.division_kg / 6.0**0.5 / weighing.green_kg if weighing.green_kg > 0.0 else 0.0
    # A tare is a number too: read to a division, and a trolley gathers drip and fat or is washed.
    tare = 0.0
    if weighing.tare_kg > 0.0 and weighing.green_kg > 0.0:
        tare = (TARE_DRIFT * weighing.tare_kg) ** 2 + weighing.division_kg**2 / 12.0
        tare /= weighing.green_kg**2
    return scale**2 + rounding**2 + tare


def observations_of(
    weighings: Sequence[Weighing], measured: Sequence[Measured], parameters: DryingParameters
) -> Observations:
    """Weighings and readings as arrays.

    Args:
        weighings: sequence of Weighing.
        measured: sequence of Measured.
        parameters: DryingParameters. Scale error and spread of wild readings.

    Returns:
        Observations.

    Raises:
        InputError: see `check`.
    """
    check(weighings, measured)
    names = [w.group for w in weighings]
    names += [m.tag or f"sample {i}" for i, m in enumerate(measured)]
    groups = tuple(dict.fromkeys(names))
    number = {name: i for i, name in enumerate(groups)}
    group = np.array([number[name] for name in names], dtype=np.int64)
    order = np.argsort(group, kind="stable")
    nan = float("nan")
    sds = np.array([m.sd for m in measured])
    few = [""] * len(measured)

    def rows(of_weighings: Sequence[float], of_measured: Sequence[float] | Array) -> Array:
        joined: Array = np.concatenate([np.asarray(of_weighings, float), np.asarray(of_measured, float)])
        return joined[order]

    def words(texts: list[str]) -> tuple[str, ...]:
        return tuple(texts[i] for i in order)

    kinds = [0] * len(weighings) + [QUANTITIES.index(m.quantity) for m in measured]
    return Observations(
        order=order,
        value=rows([w.weight_loss for w in weighings], [m.value for m in measured]),
        quantity=np.array(kinds, dtype=np.int64)[order],
        day=np.round(rows([w.day for w in weighings], [m.day for m in measured]), 9),
        variance=rows([fresh_variance(w, parameters) for w in weighings], sds**2),
        pieces=rows([w.pieces for w in weighings], [m.pieces for m in measured]),
        spread=rows([nan if w.spread is None else w.spread for w in weighings], [nan] * len(measured)),
        group=group[order],
        groups=groups,
        # A wild sample: ten times its error, chosen (a wrong place, a meter not calibrated).
        wide=rows([parameters.outlier_spread] * len(weighings), 10.0 * sds),
        weighed=order < len(weighings),
        green_kg=rows([w.green_kg for w in weighings], [0.0] * len(measured)),
        green_spread=rows([w.green_spread for w in weighings], [0.0] * len(measured)),
        scale=words([w.scale for w in weighings] + few),
        green_scale=words([w.green_scale for w in weighings] + few),
        rack=words([w.rack for w in weighings] + few),
        tag=words([w.tag for w in weighings] + [m.tag for m in measured]),
    )


def visits_of(observed: Observations) -> Whole:
    """Number of the visit of each reading: readings closer than a quarter day are one."""
    order = np.argsort(observed.day, kind="stable")
    new = np.diff(observed.day[order], prepend=-1.0) > 0.25
    visit = np.empty(observed.count, dtype=np.int64)
    visit[order] = np.cumsum(new) - 1
    return visit
