"""What a drying computation hands on: bands over time, targets, flags, and what it rested on."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from saltloft.foundation.bands import Band

if TYPE_CHECKING:
    # Only named here: who reads a trace or a list of lots does not wait for the engine of learning.
    from saltloft.process.learning.columns import Likelihood, LinearModel
    from saltloft.process.learning.faults import Fault

QUANTITIES = (
    "weight_loss_pct",
    "moisture_pct",
    "moisture_protein",
    "water_activity_mean",
    "water_activity_core",
    "water_activity_rim",
    "diameter_mm",
    "loss_rate_pct_d",
    "case_hardening",
    "ph",
)


# The chances at which the day of a target is kept: every fortieth.
DAY_CHANCES = tuple(round(0.025 * number, 3) for number in range(1, 40))


@dataclass(frozen=True)
class SeriesBand:
    """One quantity over the output times, for a piece at random and for the lot's mean.

    Args:
        p05, p50, p95: array (times,). Quantiles over pieces, in the quantity's unit.
        mean_p05, mean_p50, mean_p95: array (times,). Quantiles of the lot's mean.
    """

    p05: NDArray[np.float64]
    p50: NDArray[np.float64]
    p95: NDArray[np.float64]
    mean_p05: NDArray[np.float64]
    mean_p50: NDArray[np.float64]
    mean_p95: NDArray[np.float64]


@dataclass(frozen=True)
class TargetDay:
    """When a target is reached, counted in days from stuffing.

    Args:
        piece: Band. A piece picked at random. [d]
        mean: Band. The mean of the lot. [d]
        share_reached: float. Weighted share of members that reach it at all.
        share_of_pieces: mapping of str to Band. Day on which that share of the lot's
            pieces is there, keys '0.5' and '0.9'. [d]
        composition: mapping of str to float. Median composition at the median day,
            per cent of weight; empty when never reached.
        kill_log10: mapping of organism to (mean, conservative) at the median day. [log10]
        chances: mapping of 'piece', 'mean' and '0.9' (nine pieces in ten) to the day by which it is
            reached with each of DAY_CHANCES; None where it is not reached so often. [d]
        level: float or None. The target itself. [unit of the target]
    """

    piece: Band
    mean: Band
    share_reached: float
    share_of_pieces: Mapping[str, Band]
    composition: Mapping[str, float]
    kill_log10: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    chances: Mapping[str, tuple[float | None, ...]] = field(default_factory=dict)
    level: float | None = None


@dataclass(frozen=True)
class Flag:
    """Something a person should know about the run.

    Args:
        code: str. Such as 'case_hardening' or 'equilibrium_short_of_target'.
        at_d: float or None. Median day of its start, from stuffing. [d]
        share: float. Share of members that show it, 0..1.
        words: str. One plain sentence.
    """

    code: str
    at_d: float | None
    share: float
    words: str


@dataclass(frozen=True)
class Window:
    """How long the rim's air lets something grow.

    Args:
        hours: Band. Up to the horizon, over the pieces. [h]
        share: float. Share of members with any such hour, 0..1.
    """

    hours: Band
    share: float


@dataclass(frozen=True)
class Outlook:
    """What the state says of the rim; none of it is calibrated.

    Args:
        time_d: array (moments,). From stuffing. [d]
        pace_pct_d: SeriesBand. Even loss that leaves the rim above a chosen a_w. [% of green weight/d]
        core_minus_rim: SeriesBand. Water activity of the core less that of the rim. [1]
        faster_than_core: array (moments,). Share of members that lose faster than that, 0..1.
        shut_days: Band. Days times the case-hardening index above a half, to the horizon. [d]
        mould_wanted: Window. For a white mould put on.
        mould_unwanted: Window. For moulds that nobody put on.
    """

    time_d: NDArray[np.float64]
    pace_pct_d: SeriesBand
    core_minus_rim: SeriesBand
    faster_than_core: NDArray[np.float64]
    shut_days: Band
    mould_wanted: Window
    mould_unwanted: Window


@dataclass(frozen=True)
class CrossSection:
    """A slice across the middle member, from the axis to the rim.

    Args:
        time_d: array (times,). Days from stuffing, rising. [d]
        radius_mm: array (times, rings). From the axis (0) to the rim, rising; of a pressed
            or oval piece, of the round one with its section. [mm]
        water_activity: array (times, rings). At those radii, 0..1.
        water: array (times, rings). Water per weight of what lies at that radius, 0..1.
    """

    time_d: NDArray[np.float64]
    radius_mm: NDArray[np.float64]
    water_activity: NDArray[np.float64]
    water: NDArray[np.float64]


@dataclass(frozen=True)
class DryingForecast:
    """The answer of the drying model for one case.

    Args:
        time_d: array (times,). Days from stuffing. [d]
        horizon_d: float. Last day computed. [d]
        bands: mapping of str to SeriesBand, by the names of QUANTITIES.
        targets: mapping of str to TargetDay, by target name.
        kill_log10: mapping of organism to (mean array, conservative array). [log10]
        flags: tuple of Flag.
        facts: tuple of str. Fact keys the result rested on.
        members: int. Number of members.
        seed: int.
        from_log_until_d: float. Up to this day the air is the room's log; 0 for a
            programme only. [d]
        fraction_effective: float. Effective share of members after learning, 0..1.
        likelihood: Likelihood or None. What the lot's own readings say; None without any.
        faults: tuple of Fault. Slips of weighing, by name.
        linear: LinearModel or None. The readings as a straight function of the lot's draws.
        outlook: Outlook or None. What the state says of the rim.
        section: CrossSection or None. A slice through the middle member over time.
        line_share: float. Share of the members whose weight loss is a straight line in the square
            root of time, 0..1; the others', and all of the inside, are the drying model's.
    """

    time_d: NDArray[np.float64]
    horizon_d: float
    bands: Mapping[str, SeriesBand]
    targets: Mapping[str, TargetDay]
    kill_log10: Mapping[str, tuple[NDArray[np.float64], NDArray[np.float64]]]
    flags: tuple[Flag, ...]
    facts: tuple[str, ...]
    members: int
    seed: int
    from_log_until_d: float = 0.0
    fraction_effective: float = 1.0
    likelihood: Likelihood | None = None
    faults: tuple[Fault, ...] = ()
    linear: LinearModel | None = None
    outlook: Outlook | None = None
    section: CrossSection | None = None
    line_share: float = 0.0
