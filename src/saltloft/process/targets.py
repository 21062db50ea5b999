"""When a target is reached: by a piece, by the lot's mean, by a share of its pieces."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from saltloft.foundation.bands import Band
from saltloft.process.result import DAY_CHANCES, TargetDay
from saltloft.process.simulate import Run, first_day, lot_mean
from saltloft.science.statistics import weighted_quantile

Array = NDArray[np.float64]

SHARES = ("0.5", "0.9")
_NORMAL_90 = 1.2815515655446004  # 90 % quantile of the standard normal

# Target name: the quantity it is read off, and whether that comes down to the target.
TARGETS: dict[str, tuple[str, bool]] = {
    "weight_loss_pct": ("weight_loss_pct", False),
    "moisture_protein": ("moisture_protein", True),
    "water_activity": ("water_activity_mean", True),
    "water_activity_core": ("water_activity_core", True),
}


def day_band(days: Array) -> Band:
    """Quantiles of days of which some are 'never'; those quantiles are None.

    Args:
        days: array (draws,). Infinity for never. [d]
    """
    ends = [float(day) for day in weighted_quantile(days, None, [0.05, 0.5, 0.95])]
    reached = float(np.isfinite(days).mean())
    return Band(*(end if np.isfinite(end) and reached >= q else None
                  for end, q in zip(ends, (0.05, 0.5, 0.95), strict=True)))  # fmt: skip


def day_chances(days: Array) -> tuple[float | None, ...]:
    """The day by which it is reached with each of DAY_CHANCES.

    Args:
        days: array (draws,). Infinity for never. [d]

    Returns:
        tuple of float or None, rising; None where fewer draws reach it at all. [d]
    """
    found = weighted_quantile(days, None, DAY_CHANCES)
    return tuple(float(day) if np.isfinite(day) else None for day in found)


def target_day(run: Run, values: Array, level: float, *, falling: bool) -> TargetDay:
    """When a target is reached: by a piece, by the lot's mean, by a share of the pieces.

    Args:
        run: Run.
        values: array (times, members). The quantity. [unit of the target]
        level: float. The target. [unit of the target]
        falling: bool. The quantity comes down to it.

    Notes:
        Within a lot the pieces lie normally about its mean, with the spread of the mirrored
        pairs at that time; a share of the pieces is there when that quantile is.
    """
    lots = run.draws.lots
    means = lot_mean(values, lots)
    members = first_day(run.time_d, values, level, falling=falling)
    spread = piece_spread(values, lots)
    later = spread[:, None] * (_NORMAL_90 if falling else -_NORMAL_90)
    halfway = first_day(run.time_d, means, level, falling=falling)
    nearly_all = first_day(run.time_d, means + later, level, falling=falling)
    shares = {"0.5": day_band(halfway), "0.9": day_band(nearly_all)}
    piece = day_band(members)
    composition = {} if piece.p50 is None else _composition_on(run, piece.p50)
    return TargetDay(
        piece=piece,
        mean=shares["0.5"],
        share_reached=float(np.isfinite(members).mean()),
        share_of_pieces=shares,
        composition=composition,
        chances={
            "piece": day_chances(members),
            "mean": day_chances(halfway),
            "0.9": day_chances(nearly_all),
        },
        level=level,
    )


def piece_spread(values: Array, lots: int) -> Array:
    """Standard deviation between the pieces of one lot, array (times,).

    Args:
        values: array (times, members). [any unit]
        lots: int.
    """
    pairs = values[:, : 2 * (values.shape[1] // 2)]
    if pairs.shape[1] == 0:
        return np.zeros(len(values))
    half: Array = 0.5 * (pairs[:, 0::2] - pairs[:, 1::2])
    spread: Array = np.sqrt(np.mean(np.square(half), axis=1))
    return spread


def _composition_on(run: Run, day: float) -> dict[str, float]:
    """Median composition on one day, per cent of the weight; the medians are scaled to add up to 100."""

    def at(values: Array) -> Array:
        place = int(np.clip(np.searchsorted(run.time_d, day), 1, len(run.time_d) - 1))
        t0, t1 = run.time_d[place - 1], run.time_d[place]
        share = (day - t0) / (t1 - t0)
        result: Array = values[place - 1] * (1.0 - share) + values[place] * share
        return result

    left = 1.0 - at(run.weight_loss)
    batter = run.batter
    parts = {
        "water_pct": at(run.moisture),
        "protein_pct": batter.protein / left,
        "fat_pct": batter.fat / left,
        "salt_pct": batter.salt / left,
        "other_pct": (batter.sugar + batter.other) / left,
    }
    medians = {name: float(np.median(np.asarray(part))) for name, part in parts.items()}
    whole = sum(medians.values())
    return {name: 100.0 * part / whole for name, part in medians.items()}


def with_kill(day: TargetDay, run: Run, kills: Mapping[str, tuple[Array, Array]]) -> TargetDay:
    """The target with the credited kill on its median day.

    Args:
        day: TargetDay.
        run: Run.
        kills: mapping of organism to two arrays (times,), from `kill.kill_of`. [log10]
    """
    if day.piece.p50 is None:
        return day
    at = {}
    for name, (mean, low) in kills.items():
        mean_then, low_then = (float(np.interp(day.piece.p50, run.time_d, part)) for part in (mean, low))
        at[name] = (mean_then, low_then)
    return replace(day, kill_log10=at)
