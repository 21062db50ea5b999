"""Why a lot's ready day stands where it does: its course, what moved it, what taught what.

Jobs fill these, `insight_words.py` puts them into sentences.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from saltloft.process.learning.advice import Teaching

# In the order in which changes are taken over, one after another.
CAUSES = ("model", "house", "corrected", "piece", "air", "weighed", "sampled")


@dataclass(frozen=True)
class ForecastPoint:
    """The ready day as it was forecast at one moment.

    Args:
        at: datetime, aware. Only what was recorded before was used.
        early_d, middle_d, late_d: float or None. Quantiles 0.05, 0.5, 0.95 of the day the lot's
            mean is at its target, from stuffing; None: not reached so often. [d]
        model: str. Name and version.
        prior: str. Name and version.
        replayed: bool. Not kept at that moment but computed later, from what had happened by then.
    """

    at: datetime
    early_d: float | None
    middle_d: float | None
    late_d: float | None
    model: str
    prior: str
    replayed: bool = False


@dataclass(frozen=True)
class AirTaken:
    """A room's air between two forecasts: what was read, and what had been taken for it.

    Args:
        read_rh, taken_rh: float. Means, 0..1.
        read_c, taken_c: float. Means. [degC]
        first: bool. Before, there was no log: the room's doubt went with it.
    """

    read_rh: float
    taken_rh: float
    read_c: float
    taken_c: float
    first: bool = False


@dataclass(frozen=True)
class Move:
    """One thing that changed between two forecasts, and by how much it moved the ready day.

    Args:
        cause: str. One of CAUSES.
        days: float or None. Later is above 0; None where the target is not reached before or after. [d]
        day: float or None. Of the weighing or sample, from stuffing. [d]
        pieces: int. Weighed or sampled.
        air: AirTaken or None. For 'air'.
        what: str. The quantity of a sample, else empty.
    """

    cause: str
    days: float | None
    day: float | None = None
    pieces: int = 0
    air: AirTaken | None = None
    what: str = ""


@dataclass(frozen=True)
class Insight:
    """What is known of a forecast beyond its numbers.

    Args:
        lot: str.
        key: str. Of the outlook it belongs to.
        points: tuple of ForecastPoint, by time; one a day at most.
        moves: tuple of Move. From the last point of an earlier day to the last point.
        teaching: Teaching or None. None where the target is not reached.
        half_d: float or None. Half of the 90 % range of the ready day now. [d]
    """

    lot: str
    key: str
    points: tuple[ForecastPoint, ...]
    moves: tuple[Move, ...]
    teaching: Teaching | None
    half_d: float | None

    @property
    def before(self) -> ForecastPoint | None:
        """The forecast the moves start from; None for the first."""
        return self.points[-2] if len(self.points) > 1 else None

    @property
    def days_each(self) -> float:
        """Half a 90 % range for each day of standard deviation: the bands lie a little unevenly. [1]"""
        if (
            self.teaching is None
            or self.teaching.of_loss
            or self.half_d is None
            or self.teaching.now_d <= 0.0
        ):
            return 1.645
        return self.half_d / self.teaching.now_d
