"""Scores of probabilistic forecasts: pure functions of numbers, known answers in the unit tests.

A lot is one observation however often it was weighed: shares are means of the lots' own shares,
and intervals come from drawing whole lots again.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

BAND = (0.05, 0.95)


def samples_of_quantiles(levels: Array, values: Array, count: int = 400) -> Array:
    """Evenly spread samples of a distribution known by quantiles.

    Args:
        levels: array (levels,). Rising, between 0 and 1, at most 0.05 the first and at least 0.95 the last.
        values: array (levels,). Never falling; inf where the quantile is later than every day.
        count: int.

    Returns:
        Array (count,). Straight in normal scores between and beyond the levels, so exact for a normal.

    Raises:
        ValueError: levels that do not reach both ends of the 90 % band.
    """
    if levels[0] > BAND[0] or levels[-1] < BAND[1]:
        raise ValueError(f"quantiles must reach 0.05 and 0.95, got {levels[0]:g} to {levels[-1]:g}")
    known, wanted = ndtri(levels), ndtri((np.arange(count) + 0.5) / count)
    finite = np.isfinite(values)
    if finite.sum() < 2:
        return np.full(count, values[0] if finite[0] else np.inf)
    x, y = known[finite], values[finite]
    inner = np.interp(wanted, x, y)
    inner = np.where(wanted < x[0], y[0] + (wanted - x[0]) * (y[1] - y[0]) / (x[1] - x[0]), inner)
    top = (y[-1] - y[-2]) / (x[-1] - x[-2])
    beyond = y[-1] + (wanted - x[-1]) * top if finite.all() else np.inf
    return np.asarray(np.where(wanted > x[-1], beyond, inner))


def crps(samples: Array, observed: float) -> float:
    """Continuous ranked probability score of an ensemble, fair in its size.

    Args:
        samples: array (members,). Finite, two or more.
        observed: float. Same unit.

    Returns:
        float >= about 0 in that unit: E|X - y| - E|X - X'|/2, the second mean over different members
        (so that 100 members are not punished against 400; Ferro's fair form).
    """
    members = len(samples)
    ordered = np.sort(samples)
    weights = 2.0 * np.arange(1, members + 1) - members - 1.0
    spread = float(weights @ ordered) / (members * (members - 1.0))
    return float(np.mean(np.abs(samples - observed))) - spread


def place_in(samples: Array, observed: float, tie: float) -> float:
    """Where the observation stands among the samples, 0..1.

    Args:
        samples: array (members,).
        observed: float.
        tie: float. A uniform draw 0..1 that places it among equals and in its gap.

    Returns:
        float 0..1: uniform over many lots when the forecasts are calibrated.
    """
    below, equal = int((samples < observed).sum()), int((samples == observed).sum())
    return (below + tie * (equal + 1)) / (len(samples) + 1)


def lot_means(values: Array, lot: Ints) -> Array:
    """Mean of the values of each lot, in order of its number; lots without a value are left out."""
    numbers, where = np.unique(lot, return_inverse=True)
    return np.asarray(np.bincount(where, values, len(numbers)) / np.bincount(where, minlength=len(numbers)))


def redraw(values: Array, lot: Ints, house: Ints | None = None, *, draws: int = 2000, seed: int = 1) -> Array:
    """Mean over lots of lot means, with whole lots or whole houses drawn again.

    Args:
        values: array (scores,) or (columns, scores).
        lot: array of int (scores,).
        house: array of int (scores,) or None. Drawn again in place of lots, when given.
        draws, seed: int. The same seed draws the same lots for other values of the same scores.

    Returns:
        Array (draws,) or (columns, draws), in the unit of values.
    """
    first, where = np.unique(lot, return_index=True, return_inverse=True)[1:]
    each = np.bincount(where)
    unit = np.unique(house[first] if house is not None else lot[first], return_inverse=True)[1]
    count = np.bincount(unit)
    # Mean over lots is linear in the scores: weigh each by its lot, sum by unit, then draw units.
    total = np.stack([np.bincount(unit[where], row / each[where]) for row in np.atleast_2d(values)])
    times = _times_drawn(len(count), draws, seed)
    drawn = total @ times.T / (times @ count)
    return np.asarray(drawn.reshape(*values.shape[:-1], draws))


@lru_cache(maxsize=16)
def _times_drawn(units: int, draws: int, seed: int) -> Array:
    """How often each of so many units comes up when as many are drawn again, (draws, units)."""
    rng = np.random.Generator(np.random.Philox(seed))
    return rng.multinomial(units, np.full(units, 1.0 / units), draws).astype(float)


@dataclass(frozen=True)
class Coverage:
    """How often a 90 % band held.

    Args:
        lots, scores: int. How many lots and how many bands.
        inside: float. Mean over lots of each lot's share of bands that held, 0..1.
        low, high: float. 90 % interval of `inside`, whole lots drawn again, 0..1.
        house_low, house_high: float. The same with whole houses drawn again, 0..1.
        below, above: float. Share of observations under the band and over it, by lots, 0..1.
        width: float. Mean width of the bands, in their unit.
    """

    lots: int
    scores: int
    inside: float
    low: float
    high: float
    house_low: float
    house_high: float
    below: float
    above: float
    width: float


def coverage(bands: Array, observed: Array, lot: Ints, house: Ints | None = None) -> Coverage:
    """Coverage of bands, counted by lots and not by weighings.

    Args:
        bands: array (scores, 2). Lower and upper end, any one unit.
        observed: array (scores,). Same unit.
        lot, house: arrays of int (scores,). Whose score it is; without houses a lot is its own.

    Returns:
        Coverage. An observation on the border is inside.

    Raises:
        ValueError: no score at all.
    """
    if not len(observed):
        raise ValueError("no band to score")
    under, over = observed < bands[:, 0], observed > bands[:, 1]
    held = (~under & ~over).astype(float)
    low, high = np.quantile(redraw(held, lot), BAND)
    house_low, house_high = np.quantile(redraw(held, lot, house), BAND)
    return Coverage(
        lots=len(np.unique(lot)),
        scores=len(observed),
        inside=float(lot_means(held, lot).mean()),
        low=float(low),
        high=float(high),
        house_low=float(house_low),
        house_high=float(house_high),
        below=float(lot_means(under.astype(float), lot).mean()),
        above=float(lot_means(over.astype(float), lot).mean()),
        width=float(lot_means(bands[:, 1] - bands[:, 0], lot).mean()),
    )


@dataclass(frozen=True)
class RankHistogram:
    """Where the observations stood among their forecasts.

    Args:
        share: array (bins,). By lots; flat is 1/bins, 0..1.
        low, high: arrays (bins,). 90 % interval of each share, whole lots drawn again, 0..1.
        p_flat: float. Share of redrawn histograms (whole houses drawn again) that stray as far from
            the mean one as this one strays from flat; small when it is not flat beyond its noise, 0..1.
    """

    share: Array
    low: Array
    high: Array
    p_flat: float


def rank_histogram(place: Array, lot: Ints, house: Ints | None = None, *, bins: int = 10) -> RankHistogram:
    """Histogram of places 0..1, each lot with the same weight, and its noise.

    Args:
        place: array (scores,). From `place_in`, 0..1.
        lot, house: arrays of int (scores,). Without houses a lot is its own.
        bins: int.

    Returns:
        RankHistogram. Scores of one lot hang together and so do the lots of one house, which
        drawing whole ones respects.
    """
    binned = np.minimum((place * bins).astype(int), bins - 1)
    ones = (binned == np.arange(bins)[:, None]).astype(float)
    share = np.array([lot_means(one, lot).mean() for one in ones])
    by_lots, by_houses = redraw(ones, lot), redraw(ones, lot, house)
    noise = np.abs(by_houses - share[:, None]).max(axis=0)
    return RankHistogram(
        share=share,
        low=np.quantile(by_lots, BAND[0], axis=1),
        high=np.quantile(by_lots, BAND[1], axis=1),
        p_flat=float((noise >= np.abs(share - 1.0 / bins).max()).mean()),
    )
