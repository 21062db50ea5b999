"""The curer's hand as data: press score and cut rim learned against loss and water activity.

A linear law with Gaussian error and a proper prior is learned cut by cut in time
order, so what a cut is held against never saw it. Too few cuts: nothing is said.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri, stdtr, stdtrit

Array = NDArray[np.float64]

# Chosen, no source: as many cuts before anything is said, and from how many lots.
LEAST_CUTS, LEAST_LOTS = 15, 4
# Hand and number disagree when a cut lies this many standard deviations of its doubt away.
BOUND = 2.0
# Where the features are counted from, and one step of each: loss, water activity, core less rim.
CENTRES, STEPS = np.array([0.30, 0.92, 0.06]), np.array([0.10, -0.03, 0.05])
# One standard deviation of what products differ by at the same loss and water activity.
PRODUCT_SD = 0.6


@dataclass(frozen=True)
class Cut:
    """One look at a lot by hand and knife, beside its numbers on that day.

    Args:
        lot: str.
        product: str.
        at_s: float. When, seconds since 1970. [s]
        press: float or None. Mean of the pressed places, 1 soft to 5 hard. [1]
        rim_mm: float or None. Dry rim in the cut. [mm]
        loss: float. Of the lot's mean, measured or computed, 0..1.
        water_activity: float. Of the ground piece, measured or computed, 0..1.
        measured: bool. Both numbers were measured, not computed.
        gap: float or None. Computed water activity of the core less that of the rim.
        index: float or None. Computed case-hardening index, 0..1.
        entry: str. Id of the entry.
        rim_activity: float or None. Computed water activity of the rim, 0..1.
        early_rate: float or None. Computed loss from day 3 to 7. [% of green weight a day]
        hollow_share: float or None. Computed cases with a hollow centre by that day, 0..1.
        hollow, ring, smear: int. 0 none to 2; -1 not looked.
        colour: str. Empty when not said.
    """

    lot: str
    product: str
    at_s: float
    press: float | None
    rim_mm: float | None
    loss: float
    water_activity: float
    measured: bool = True
    gap: float | None = None
    index: float | None = None
    entry: str = ""
    rim_activity: float | None = None
    early_rate: float | None = None
    hollow_share: float | None = None
    hollow: int = -1
    ring: int = -1
    smear: int = -1
    colour: str = ""


@dataclass(frozen=True)
class Prior:
    """What is held before the first cut: coefficients, their doubt, and the scatter of a hand.

    Args:
        mean: array (4,). Constant, and change a step of loss, of dryness, of core less rim.
        sd: array (4,). One standard deviation of each, in units of the scatter.
        scatter: float. Typical scatter of one cut about the law. [unit of the score]
        cuts: float. How many cuts that scatter is worth.
        low, high: float. Ends of the score. [unit of the score]
    """

    mean: Array
    sd: Array
    scatter: float
    cuts: float
    low: float
    high: float


# Chosen, no source: 3 at 30 % and 0.92, a point harder for a step of loss or half for one of dryness.
PRESS = Prior(np.array([3.0, 0.6, 0.4, 0.0]), np.array([2.0, 1.5, 1.5, 0.5]), 0.45, 4.0, 1.0, 5.0)
# Chosen, no source: a millimetre of rim, more the more the rim is drier than the core.
RIM = Prior(np.array([1.0, 0.2, 0.2, 0.3]), np.array([2.0, 1.5, 1.5, 1.5]), 0.6, 4.0, 0.0, 30.0)


@dataclass(frozen=True)
class Held:
    """One cut held against what the cuts before it had taught.

    Args:
        lot, entry: str.
        said: float. What the hand or knife found. [unit of the score]
        expected, low, high: float. Median and 90 % range expected from the numbers. [unit of the score]
        z: float. Distance in standard deviations of the doubt; above 0 harder or thicker than expected.
        cuts, lots: int. What the expectation rests on.
        learned: bool. Enough cuts of enough lots came before.
    """

    lot: str
    entry: str
    said: float
    expected: float
    low: float
    high: float
    z: float
    cuts: int
    lots: int
    learned: bool

    @property
    def disagrees(self) -> bool:
        """Hand and number lie further apart than the doubt allows."""
        return self.learned and abs(self.z) > BOUND


@dataclass(frozen=True)
class HandLaw:
    """What a house's cuts taught about one score.

    Args:
        cuts, lots: int. It rests on.
        coefficients: tuple of float. Constant, and change a step of loss, of dryness, of core less rim.
        scatter: float. Of one cut about the law. [unit of the score]
        held: tuple of Held. Every cut against those before it, by time.
        inside: float or None. Share of the learned ones inside their 90 % range; None before any.
    """

    cuts: int
    lots: int
    coefficients: tuple[float, ...]
    scatter: float
    held: tuple[Held, ...]
    inside: float | None

    @property
    def learned(self) -> bool:
        """Enough cuts of enough lots to say anything."""
        return self.cuts >= LEAST_CUTS and self.lots >= LEAST_LOTS

    def last_of(self, lot: str) -> Held | None:
        """The lot's last cut; None when it has none."""
        own = [held for held in self.held if held.lot == lot]
        return own[-1] if own else None


def press_law(cuts: Sequence[Cut]) -> HandLaw:
    """The press score against loss and water activity.

    Args:
        cuts: sequence of Cut. Any order.
    """
    return _law([(cut, cut.press) for cut in cuts if cut.press is not None], PRESS)


def rim_law(cuts: Sequence[Cut]) -> HandLaw:
    """The cut rim against loss, water activity and how much drier the rim is than the core.

    Args:
        cuts: sequence of Cut. Any order.
    """
    return _law([(cut, cut.rim_mm) for cut in cuts if cut.rim_mm is not None], RIM)


def _law(pairs: Sequence[tuple[Cut, float]], prior: Prior) -> HandLaw:
    ordered = sorted(pairs, key=lambda pair: (pair[0].at_s, pair[0].lot, pair[0].entry))
    products = {name: place for place, name in enumerate(sorted({cut.product for cut, _ in ordered}))}
    state = _State(prior, len(products))
    lots: set[str] = set()
    held: list[Held] = []
    for cut, said in ordered:
        row = _row(cut, products)
        held.append(_held(cut, said, state, row, len(lots)))
        state.take(row, said)
        lots.add(cut.lot)
    learned = [one for one in held if one.learned]
    inside = [one.low <= one.said <= one.high for one in learned]
    return HandLaw(
        cuts=len(held),
        lots=len(lots),
        coefficients=tuple(float(value) for value in state.mean[:4]),
        scatter=state.scatter,
        held=tuple(held),
        inside=sum(inside) / len(inside) if inside else None,
    )


def _row(cut: Cut, products: dict[str, int]) -> Array:
    """Features of one cut; an unknown gap counts as the usual one."""
    gap = CENTRES[2] if cut.gap is None else cut.gap
    steps = (np.array([cut.loss, cut.water_activity, gap]) - CENTRES) / STEPS
    own = np.zeros(len(products))
    own[products[cut.product]] = 1.0
    return np.concatenate(([1.0], steps, own))


class _State:
    """Normal-inverse-gamma posterior of a linear law, updated one cut at a time.

    Args:
        prior: Prior.
        products: int. How many products have an offset of their own.
    """

    def __init__(self, prior: Prior, products: int) -> None:
        self.prior = prior
        self.mean = np.concatenate((prior.mean, np.zeros(products)))
        self.covariance = np.diag(np.concatenate((prior.sd, np.full(products, PRODUCT_SD))) ** 2)
        self.shape = prior.cuts / 2.0
        self.rate = self.shape * prior.scatter**2
        self.cuts = 0

    @property
    def scatter(self) -> float:
        """Typical scatter of one cut. [unit of the score]"""
        return float(np.sqrt(self.rate / self.shape))

    def expect(self, row: Array) -> tuple[float, float, float]:
        """Location, scale and degrees of freedom of the Student distribution of the next cut."""
        spread = 1.0 + float(row @ self.covariance @ row)
        return float(row @ self.mean), self.scatter * float(np.sqrt(spread)), 2.0 * self.shape

    def take(self, row: Array, said: float) -> None:
        """Learn from one cut."""
        along = self.covariance @ row
        spread = 1.0 + float(row @ along)
        off = said - float(row @ self.mean)
        self.mean = self.mean + along * (off / spread)
        self.covariance = self.covariance - np.outer(along, along) / spread
        self.shape += 0.5
        self.rate += 0.5 * off**2 / spread
        self.cuts += 1


def _held(cut: Cut, said: float, state: _State, row: Array, lots: int) -> Held:
    middle, scale, freedom = state.expect(row)
    low, high = (middle + scale * float(stdtrit(freedom, chance)) for chance in (0.05, 0.95))
    # The Student distance as one of the normal distribution, so that one bound serves few cuts and many.
    z = float(ndtri(np.clip(stdtr(freedom, (said - middle) / scale), 1e-9, 1.0 - 1e-9)))
    prior = state.prior
    expected, low, high = (float(np.clip(end, prior.low, prior.high)) for end in (middle, low, high))
    learned = state.cuts >= LEAST_CUTS and lots >= LEAST_LOTS
    return Held(cut.lot, cut.entry, said, expected, low, high, z, state.cuts, lots, learned)
