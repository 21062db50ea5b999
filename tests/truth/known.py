"""What the house knows of a lot, and what really happened to it."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Stage:
    """One stretch of the programme as set on the panel.

    Args:
        name: str.
        duration_d: float. [d]
        temperature_c: float. Set-point. [degC]
        relative_humidity: float. Set-point, 0..1.
        air_m_s: float. What the house believes hangs in the air between the racks. [m/s]
    """

    name: str
    duration_d: float
    temperature_c: float
    relative_humidity: float
    air_m_s: float


@dataclass(frozen=True)
class RoomLog:
    """The room's probe as logged, with its bias, noise, steps and holes.

    Args:
        time_d: array (readings,). From stuffing, rising, the first at 0. [d]
        temperature_c: array (readings,). [degC]
        relative_humidity: array (readings,). 0..1.
    """

    time_d: Array
    temperature_c: Array
    relative_humidity: Array

    def until(self, day: float) -> RoomLog:
        """The readings up to and at `day`."""
        kept = self.time_d <= day
        return RoomLog(self.time_d[kept], self.temperature_c[kept], self.relative_humidity[kept])


@dataclass(frozen=True)
class Weighings:
    """The tagged pieces on the scale, in time order, the green weight not among them.

    Args:
        time_d: array (times,). From stuffing. [d]
        weight_kg: array (times, tags). As read, in steps of the scale; nan where one was missed. [kg]
    """

    time_d: Array
    weight_kg: Array

    def until(self, day: float) -> Weighings:
        """The weighings up to and at `day`."""
        kept = self.time_d <= day
        return Weighings(self.time_d[kept], self.weight_kg[kept])


@dataclass(frozen=True)
class Move:
    """A tagged piece's rack was put somewhere else, and somebody wrote it down.

    Args:
        time_d: float. From stuffing; 0 for the place it was first hung. [d]
        tag: str.
        place: str. Such as 'top near'.
    """

    time_d: float
    tag: str
    place: str


@dataclass(frozen=True)
class KnownLot:
    """A lot as its house knows it. No truth and no name of the family is in here.

    Args:
        lot, house, product: str. Names; lots of one house and product share what does not change.
        start_day: float. Day of stuffing in the house's own calendar. [d]
        calibre_m: float. Nominal stuffed diameter. [m]
        length_m: float. Nominal length. [m]
        fat, salt, water, protein: float. By the recipe, fractions of the batter.
        casing: str.
        stages: tuple of Stage. The plan from stuffing on, longer than any lot hangs.
        log: RoomLog.
        tags: tuple of str. The tagged pieces, in the order of every weight array.
        green_kg: array (tags,). As read on the scale. [kg]
        weighings: Weighings.
        scale_division_kg: float. [kg]
        moves: tuple of Move.
        target_loss: float. Weight loss of the lot's mean at which it is ready, 0..1.
    """

    lot: str
    house: str
    product: str
    start_day: float
    calibre_m: float
    length_m: float
    fat: float
    salt: float
    water: float
    protein: float
    casing: str
    stages: tuple[Stage, ...]
    log: RoomLog
    tags: tuple[str, ...]
    green_kg: Array
    weighings: Weighings
    scale_division_kg: float
    moves: tuple[Move, ...]
    target_loss: float

    def as_of(self, day: float) -> KnownLot:
        """The same lot with nothing in it from after `day` but the plan."""
        return replace(
            self,
            log=self.log.until(day),
            weighings=self.weighings.until(day),
            moves=tuple(move for move in self.moves if move.time_d <= day),
        )

    def mean_loss(self) -> tuple[Array, Array]:
        """Times [d] and mean weight loss 0..1 of the tagged pieces as weighed, each against its own green."""
        loss = 1.0 - self.weighings.weight_kg / self.green_kg
        return self.weighings.time_d, np.asarray(np.nanmean(loss, axis=1), dtype=np.float64)


@dataclass(frozen=True)
class TrueLot:
    """What nature did: every piece, day by day.

    Args:
        day: array (days,). 0, 1, 2 ... to the lot's horizon. [d]
        weight_kg: array (days, pieces). [kg]
        evaporated_kg: array (days, pieces). Water that crossed the surface, summed step by step. [kg]
        water_kg: array (days, pieces). Water still inside. [kg]
        salt_kg: array (days, pieces). Salt inside; it never leaves. [kg]
        tagged: array of int (tags,). Which pieces bear the tags.
        target_day: float. When the lot's summed weight is down by the target; inf if not by the horizon. [d]
        asked_day: array (asked,). Days on which `asked_loss` was read. [d]
        asked_loss: array (asked, tags). Loss of each tagged piece as the house's scale would show it, 0..1.
    """

    day: Array
    weight_kg: Array
    evaporated_kg: Array
    water_kg: Array
    salt_kg: Array
    tagged: NDArray[np.int64]
    target_day: float
    asked_day: Array
    asked_loss: Array

    @property
    def horizon_d(self) -> float:
        """Last day of the truth. [d]"""
        return float(self.day[-1])

    @property
    def followed_d(self) -> float:
        """Until when the lot can be on the scale: a quarter of its time beyond ready, then it is sold. [d]"""
        return min(self.horizon_d, 1.25 * self.target_day)

    def lot_loss(self) -> Array:
        """Weight loss of all pieces together on each day, 0..1."""
        total = self.weight_kg.sum(axis=1)
        return 1.0 - total / total[0]


@dataclass(frozen=True)
class Lot:
    """One lot: what is known and what is true."""

    known: KnownLot
    truth: TrueLot
