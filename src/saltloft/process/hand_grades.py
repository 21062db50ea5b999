"""What is seen in a cut, learned against what was computed of the piece: hollow, ring, smear, colour.

A proportional-odds law with Gaussian priors, learned in time order beside the
same law without the numbers: its base rate, which knows the product only. What
the numbers are worth is how much better they foretold cuts they never saw.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from saltloft.process.hand import LEAST_CUTS, LEAST_LOTS, Cut
from saltloft.process.ordinal import OrdinalPrior, chances, fitted
from saltloft.science.statistics import uniform

Array = NDArray[np.float64]
Whole = NDArray[np.int64]

# What is graded and into how many grades; colour is even or anything else.
GRADES = {"hollow": 3, "ring": 3, "smear": 3, "colour": 2}
EVEN = "even"
# Where the numbers are counted from, and one step of each: case-hardening index, rim water activity,
# loss from day 3 to 7 in per cent a day, share of computed cases with a hollow centre by then.
CENTRES, STEPS = np.array([0.5, 0.85, 1.5, 0.3]), np.array([0.2, -0.04, 0.7, 0.3])
# Chosen, no source: one find in six, within a factor of four or so either way; the next grade rarer;
# a step of a number or another product changes the odds by a factor of two or less.
FIRST, FIRST_SD, APART, APART_SD, SLOPE_SD, PRODUCT_SD = -1.6, 1.4, 1.5, 0.5, 0.6, 0.7
# Before any skill is claimed: so many cuts held against earlier ones, of so many lots, with so many finds.
SKILL_CUTS, SKILL_LOTS, SKILL_FINDS = 20, 6, 5
# Knife and number disagree where the numbers gave what was found, or more of it, less than this.
SELDOM = 0.025
# Above so many cuts the law is fitted anew only when they have grown by a twenty-fifth.
FIT_EACH, FIT_SHARE = 50, 25
DRAWS, SEED = 400, 1


@dataclass(frozen=True)
class GradeHeld:
    """One look held against what the looks before it had taught.

    Args:
        lot, entry: str.
        grade: int. What was seen, 0 none.
        given: tuple of float. What the numbers gave each grade. [0..1]
        base: tuple of float. What the house's own share of the product gave it. [0..1]
        cuts, lots: int. What both rest on.
        learned: bool. Enough cuts of enough lots came before.
    """

    lot: str
    entry: str
    grade: int
    given: tuple[float, ...]
    base: tuple[float, ...]
    cuts: int
    lots: int
    learned: bool

    @property
    def find(self) -> float:
        """What the numbers gave a find of any grade. [0..1]"""
        return sum(self.given[1:])

    @property
    def usual(self) -> float:
        """What the house's own share gave a find of any grade. [0..1]"""
        return sum(self.base[1:])

    @property
    def too_much(self) -> bool:
        """As much as was seen, or more, was hardly to be expected."""
        return self.learned and sum(self.given[self.grade :]) < SELDOM

    @property
    def too_little(self) -> bool:
        """As little as was seen, or less, was hardly to be expected."""
        return self.learned and sum(self.given[: self.grade + 1]) < SELDOM


@dataclass(frozen=True)
class GradeSkill:
    """How much better the numbers foretold later cuts than the house's own share did.

    Args:
        cuts, lots, finds: int. Looks held against earlier ones, their lots, and finds among them.
        score, base: float or None. Mean log score of the numbers and of the share, below 0. [nat]
        gain, gain_low, gain_high: float or None. The first less the second, and its 90 % interval
            by drawing whole lots. [nat]
    """

    cuts: int
    lots: int
    finds: int
    score: float | None
    base: float | None
    gain: float | None
    gain_low: float | None
    gain_high: float | None

    @property
    def enough(self) -> bool:
        """Enough looks of both sorts to ask."""
        rare = min(self.finds, self.cuts - self.finds)
        return self.cuts >= SKILL_CUTS and self.lots >= SKILL_LOTS and rare >= SKILL_FINDS

    @property
    def shown(self) -> bool:
        """The whole interval of the gain lies above nought."""
        return self.enough and self.gain_low is not None and self.gain_low > 0.0


@dataclass(frozen=True)
class GradeLaw:
    """What a house's cuts taught about one thing that is seen in them.

    Args:
        name: str. One of GRADES.
        cuts, lots: int. Looks with numbers beside them.
        shares: tuple of float. Share of each grade. [0..1]
        slopes: tuple of float. Change of the log odds a step of each number.
        held: tuple of GradeHeld. By time.
        skill: GradeSkill.
    """

    name: str
    cuts: int
    lots: int
    shares: tuple[float, ...]
    slopes: tuple[float, ...]
    held: tuple[GradeHeld, ...]
    skill: GradeSkill

    def last_of(self, lot: str) -> GradeHeld | None:
        """The lot's last look; None when it has none."""
        own = [held for held in self.held if held.lot == lot]
        return own[-1] if own else None


def grade_of(cut: Cut, name: str) -> int | None:
    """What a cut says of one thing; None when nobody looked.

    Args:
        cut: Cut.
        name: str. One of GRADES.
    """
    if name == "colour":
        return None if not cut.colour else int(cut.colour != EVEN)
    said = {"hollow": cut.hollow, "ring": cut.ring, "smear": cut.smear}[name]
    return None if said < 0 else said


def grade_laws(cuts: Sequence[Cut]) -> tuple[GradeLaw, ...]:
    """Every graded thing learned from a house's cuts.

    Args:
        cuts: sequence of Cut. Any order; those without computed numbers are left out.
    """
    return tuple(_law(cuts, name) for name in GRADES)


def _law(cuts: Sequence[Cut], name: str) -> GradeLaw:
    known = [
        (cut, row, grade)
        for cut in sorted(cuts, key=lambda cut: (cut.at_s, cut.lot, cut.entry))
        if (row := _numbers(cut)) is not None and (grade := grade_of(cut, name)) is not None
    ]
    products = sorted({cut.product for cut, _, _ in known})
    own = np.array([[float(cut.product == one) for one in products] for cut, _, _ in known])
    own = own.reshape(len(known), len(products))
    numbers = np.array([row for _, row, _ in known]).reshape(len(known), CENTRES.size)
    grades = np.array([grade for _, _, grade in known], dtype=np.int64)
    lots = [cut.lot for cut, _, _ in known]
    given, slopes = _foretold(np.column_stack([numbers, own]), grades, name, CENTRES.size)
    base, _ = _foretold(own, grades, name, 0)
    held = tuple(
        GradeHeld(
            cut.lot,
            cut.entry,
            grade,
            tuple(given[at].tolist()),
            tuple(base[at].tolist()),
            at,
            len(set(lots[:at])),
            at >= LEAST_CUTS and len(set(lots[:at])) >= LEAST_LOTS,
        )
        for at, (cut, _, grade) in enumerate(known)
    )
    shares = np.bincount(grades, minlength=GRADES[name]) / max(grades.size, 1)
    return GradeLaw(
        name=name,
        cuts=len(held),
        lots=len(set(lots)),
        shares=tuple(shares.tolist()),
        slopes=tuple(slopes.tolist()),
        held=held,
        skill=_skill(held),
    )


def _numbers(cut: Cut) -> Array | None:
    """The computed numbers of a cut in steps; None where nothing was computed."""
    said = (cut.index, cut.rim_activity, cut.early_rate, cut.hollow_share)
    if any(one is None for one in said):
        return None
    return np.asarray((np.array(said, dtype=np.float64) - CENTRES) / STEPS, dtype=np.float64)


def _foretold(rows: Array, grades: Whole, name: str, slopes: int) -> tuple[Array, Array]:
    """What each look was given by those before it, and the slopes all of them taught.

    Args:
        rows: array (looks, numbers and products). By time.
        grades: array (looks,).
        name: str.
        slopes: int. How many of the columns are numbers.

    Returns:
        array (looks, grades) [0..1] and array (slopes,).
    """
    sd = np.concatenate([np.full(slopes, SLOPE_SD), np.full(rows.shape[1] - slopes, PRODUCT_SD)])
    prior = OrdinalPrior(FIRST, FIRST_SD, APART, APART_SD, sd, GRADES[name])
    given = np.empty((grades.size, GRADES[name]))
    law, next_fit = fitted(rows[:0], grades[:0], prior), 1
    for at in range(grades.size):
        if at >= next_fit:
            law = fitted(rows[:at], grades[:at], prior, law)
            next_fit = at + (1 if at < FIT_EACH else max(1, at // FIT_SHARE))
        given[at] = chances(law, rows[at], prior)
    law = fitted(rows, grades, prior, law)
    return given, law.mean[prior.cuts : prior.cuts + slopes]


def _skill(held: Sequence[GradeHeld]) -> GradeSkill:
    known = [one for one in held if one.learned]
    lots = sorted({one.lot for one in known})
    finds = sum(one.grade > 0 for one in known)
    if not known:
        return GradeSkill(0, 0, 0, None, None, None, None, None)
    score = np.log([one.given[one.grade] for one in known])
    base = np.log([one.base[one.grade] for one in known])
    of_lot = [np.flatnonzero([one.lot == lot for one in known]) for lot in lots]
    low, high = _interval(score - base, of_lot)
    means = float(score.mean()), float(base.mean())
    return GradeSkill(len(known), len(lots), finds, *means, means[0] - means[1], low, high)


def _interval(gain: Array, of_lot: Sequence[Whole]) -> tuple[float | None, float | None]:
    if len(of_lot) < 2:
        return None, None
    slots = np.arange(len(of_lot))
    drawn = []
    for draw in range(DRAWS):
        picked = np.floor(uniform(SEED, "grades", draw, slots) * len(of_lot)).astype(int)
        drawn.append(float(np.mean(gain[np.concatenate([of_lot[lot] for lot in picked])])))
    low, high = np.quantile(drawn, (0.05, 0.95))
    return float(low), float(high)
