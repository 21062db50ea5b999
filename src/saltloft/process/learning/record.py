"""What a house's own forecasts were worth: where the truth fell in each, and how two models scored.

A forecast of the past is held against what was weighed later. Its rank tells whether bands are
too wide, too narrow or leaning; its scores tell which of two models knew better.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

READY, LOSS = "ready", "loss"
# A density is read off so many draws at least this wide: the last figure of a scale, and an hour. [1, ln d]
LEAST_WIDTH = {LOSS: 2e-4, READY: 2e-3}
# No forecast is scored as if what happened had been impossible: so much weight lies anywhere. [1]
ANYWHERE, ANYWHERE_WIDTH = 0.01, {LOSS: 0.5, READY: 4.0}


@dataclass(frozen=True)
class PastForecast:
    """One number that was forecast of an earlier lot and came out since.

    Args:
        lot: str.
        product: str.
        calibre_mm: float. Nominal. [mm]
        asked_d: float. Day of the lot on which it was asked. [d]
        kind: str. 'loss' (mean loss as weighed) or 'ready' (day of the target loss).
        lead_d: float. From the asking to what came out, above 0. [d]
        observed: float. Loss 0..1, or day. [1 or d]
        rank: float, 0..1. Of what came out under the engine's forecast, uncorrected; ties by halves.
        rank_rival: float, 0..1. The same under the rival's.
        log_score_engine: float. Log density of what came out, of the loss or of the ln of the day.
        log_score_rival: float. The same of the rival's forecast.
    """

    lot: str
    product: str
    calibre_mm: float
    asked_d: float
    kind: str
    lead_d: float
    observed: float
    rank: float
    rank_rival: float
    log_score_engine: float
    log_score_rival: float


@dataclass(frozen=True)
class HouseRecord:
    """The forecasts of a house's earlier lots that came out, in the order in which they were known.

    Args:
        past: tuple of PastForecast, the oldest first.
        version: str. Names the record in every forecast that rests on it; empty without any.
    """

    past: tuple[PastForecast, ...] = ()
    version: str = ""

    @property
    def lots(self) -> tuple[str, ...]:
        """The lots in it, the oldest first."""
        return tuple(dict.fromkeys(one.lot for one in self.past))

    def without(self, lot: str) -> HouseRecord:
        """The record without a lot, so that no lot is its own witness."""
        return HouseRecord(tuple(one for one in self.past if one.lot != lot), self.version)

    def of(self, lots: Iterable[str]) -> HouseRecord:
        """Only some lots of it."""
        wanted = set(lots)
        return HouseRecord(tuple(one for one in self.past if one.lot in wanted), self.version)


def rank_of(samples: Array, observed: float) -> float:
    """Share of draws below what came out, half of those equal; never quite 0 or 1.

    Args:
        samples: array (draws,). Infinity for never. [any unit]
        observed: float. [unit of samples]
    """
    below = float(np.sum(samples < observed)) + 0.5 * float(np.sum(samples == observed))
    return (below + 0.5) / (len(samples) + 1.0)


def log_score(samples: Array, observed: float, kind: str) -> float:
    """Log density that a forecast's draws give to what came out.

    Args:
        samples: array (draws,). Losses 0..1, or days with infinity for never. [1 or d]
        observed: float. Loss, or day above 0. [1 or d]
        kind: str. 'loss' or 'ready'; days are compared by their ln.

    Returns:
        float. Normal kernels of the usual width (0.9 n^-1/5 of the spread) on the draws that are
        numbers; a hundredth of the weight lies anywhere.
    """
    known = samples[np.isfinite(samples)]
    seen = observed
    if kind == READY:
        known, seen = np.log(np.maximum(known, 1e-3)), float(np.log(observed))
    background = ANYWHERE / ANYWHERE_WIDTH[kind]
    if len(known) < 2:
        return float(np.log(background))
    quarter, half, three = np.quantile(known, [0.25, 0.5, 0.75])
    spread = min(float(known.std()), (three - quarter) / 1.349) or float(abs(half)) * 1e-6
    width = max(0.9 * spread * len(known) ** -0.2, LEAST_WIDTH[kind])
    kernels = np.exp(-0.5 * ((seen - known) / width) ** 2) / (width * np.sqrt(2.0 * np.pi))
    share = len(known) / len(samples)
    return float(np.log((1.0 - ANYWHERE) * share * kernels.mean() + background))


def lead_class(lead_d: float) -> int:
    """Number of a class of like leads: up to 2, 5, 10, 20, over 20 d.

    Args:
        lead_d: float. [d]
    """
    return int(np.searchsorted([2.0, 5.0, 10.0, 20.0], lead_d, side="left"))


def ranks(past: Sequence[PastForecast], kind: str) -> Array:
    """Ranks of one kind, array (forecasts,), in the order given.

    Args:
        past: sequence of PastForecast.
        kind: str. 'loss' or 'ready'.
    """
    return np.array([one.rank for one in past if one.kind == kind])
