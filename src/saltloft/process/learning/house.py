"""A house's lots learn from each other: what the next lot starts from, given what others showed.

Every draw of a lot is a part common to the house (its meat, the model's own error), a part of its
product (recipe, casing), a part of its room (probe, fans) and a part of its own. The variances add
up to the literature's, so that the first lot of a house stands alone and honest. Lots come in as
likelihoods, never as posteriors: nobody's prior is counted twice. All is normal and in closed form;
how large the model's error and the room's offsets are in this house is weighed on a short grid.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from saltloft.process.learning.columns import AIR_SIZES, COLUMNS, Likelihood, LotPrior

Array = NDArray[np.float64]
Whole = NDArray[np.int64]

ALONE = "alone"
# Below this a variance counts as none. [1]
LEAST = 1e-9

_LAW = (
    "obstruction_exponent",
    "fat_exponent",
    "activation_energy",
    "salt_ratio",
    "salt_drag",
    "halsey_scale",
    "halsey_power",
    "crust_water",
    "length_share",
)
_ROOM = ("other_heat", "humidity_offset", "temperature_offset")
# Share of the variance that is common to house, product and room; the rest is the lot's own.
# Own choice: the law is the meat's, the casing the product's, the offsets the room's, dosing the lot's.
_SHARES: dict[str, tuple[float, float, float]] = {
    **dict.fromkeys(_LAW, (0.70, 0.20, 0.0)),
    "water_diffusivity": (0.35, 0.25, 0.0),
    "other_solutes": (0.30, 0.30, 0.0),
    "casing": (0.20, 0.60, 0.0),
    **dict.fromkeys(("fat_error", "water_error", "salt_error"), (0.0, 0.20, 0.0)),
    **dict.fromkeys(("film", "local_air"), (0.0, 0.20, 0.40)),
    **dict.fromkeys(_ROOM, (0.0, 0.10, 0.60)),
    "activity_error": (0.50, 0.20, 0.0),
}
_KNOT_SHARE = (0.40, 0.35, 0.0)
# A probe drifts: after this many days its offset is as good as another's. Own choice. [d]
DRIFT_D = 90.0
_DRIFTS = ("humidity_offset",)

# Size of the model's slow error and of the room's offsets against the literature's, and what each
# size was worth before anything was seen (own choice: most weight at one, none at zero).
ERROR_SIZES = ((0.6, 0.2), (1.0, 0.5), (1.6, 0.2), (2.5, 0.07), (5.0, 0.03))
# Lots of a house do not err alike from lot to lot: each one's word on the size of the air's error
# counts so much of its whole.
AIR_TRUST = 0.5
AIR_OPEN = 0.4
ROOM_SIZES = ((1.0, 0.75), (2.0, 0.20), (3.5, 0.05))


@dataclass(frozen=True)
class PastLot:
    """What is known of one earlier lot.

    Args:
        likelihood: Likelihood.
        product: str.
        room: str.
        age_d: float. How long before the lot that is asked about, 0 or more. [d]
    """

    likelihood: Likelihood
    product: str
    room: str
    age_d: float = 0.0


@dataclass(frozen=True)
class Shares:
    """Variances of the parts of each column, arrays (columns,).

    Args:
        house, product, room, own: arrays. Together 1 where nothing was scaled.
    """

    house: Array
    product: Array
    room: Array
    own: Array

    def sized(self, error: float, room: float) -> Shares:
        """The same with the slow error and the room's offsets larger or smaller.

        Args:
            error, room: float. Factors on standard deviations, above 0.
        """
        factor = np.ones(len(COLUMNS))
        factor[KNOTS] = error**2
        factor[[COLUMNS.index(name) for name in _DRIFTS]] = room**2
        return Shares(self.house * factor, self.product * factor, self.room * factor, self.own * factor)


KNOTS = np.array([i for i, name in enumerate(COLUMNS) if name.startswith("knot_")])


def usual_shares() -> Shares:
    """How the literature's variance of each column is shared out, Shares of arrays (columns,)."""
    parts = np.zeros((3, len(COLUMNS)))
    for name, shares in _SHARES.items():
        parts[:, COLUMNS.index(name)] = shares
    parts[:, KNOTS] = np.array(_KNOT_SHARE)[:, None]
    return Shares(parts[0], parts[1], parts[2], 1.0 - parts.sum(axis=0))


@dataclass(frozen=True)
class _Pool:
    """The common parts of all lots, stacked one after another, and what the lots say of them.

    Args:
        past: sequence of PastLot.
        product, room: str. Of the lot that is asked about.
        shares: Shares.
    """

    past: Sequence[PastLot]
    product: str
    room: str
    shares: Shares

    @cached_property
    def parts(self) -> dict[tuple[str, str], tuple[Whole, Whole]]:
        """Columns of each common part and their places in the stack."""
        named = [("house", "")]
        named += [("product", name) for name in sorted({self.product, *(one.product for one in self.past)})]
        named += [("room", name) for name in sorted({self.room, *(one.room for one in self.past)})]
        found, start = {}, 0
        for kind, name in named:
            columns = np.flatnonzero(getattr(self.shares, kind) > LEAST)
            found[kind, name] = (columns, start + np.arange(len(columns)))
            start += len(columns)
        return found

    @cached_property
    def variance(self) -> Array:
        """Prior variance of the stack, array (stack,)."""
        pieces = [getattr(self.shares, kind)[columns] for (kind, _), (columns, _) in self.parts.items()]
        return np.concatenate(pieces)

    def places(self, product: str, room: str) -> tuple[Whole, Whole]:
        """Columns and places in the stack that make up the common part of one lot."""
        mine = [self.parts[key] for key in (("house", ""), ("product", product), ("room", room))]
        return np.concatenate([one[0] for one in mine]), np.concatenate([one[1] for one in mine])

    @cached_property
    def solved(self) -> tuple[Array, Array, float]:
        """Mean and covariance of the stack, and the log evidence of these shares."""
        precision = np.diag(1.0 / self.variance)
        vector, evidence = np.zeros(len(self.variance)), 0.0
        for one in self.past:
            weaker, pull, log_own = self._own_out(one)
            columns, places = self.places(one.product, one.room)
            precision[np.ix_(places, places)] += weaker[np.ix_(columns, columns)]
            vector[places] += pull[columns]
            evidence += log_own
        inverse: Array = np.asarray(np.linalg.inv(precision))
        covariance: Array = np.asarray(0.5 * (inverse + inverse.T), dtype=np.float64)
        mean: Array = covariance @ vector
        log_det = float(np.linalg.slogdet(precision)[1] + np.log(self.variance).sum())
        return mean, covariance, evidence + 0.5 * float(vector @ mean) - 0.5 * log_det

    def _own_out(self, one: PastLot) -> tuple[Array, Array, float]:
        """A lot's likelihood of the common part: its own part, and what drifted since, integrated out."""
        own = self.shares.own.copy()
        drifting = [COLUMNS.index(name) for name in _DRIFTS]
        own[drifting] += self.shares.room[drifting] * one.age_d / DRIFT_D
        precision, vector = one.likelihood.precision, one.likelihood.vector
        mixed = np.eye(len(own)) + precision * own
        kept: Array = np.asarray(
            np.linalg.solve(mixed, np.column_stack([precision, vector])), dtype=np.float64
        )
        weaker, pull = 0.5 * (kept[:, :-1] + kept[:, :-1].T), kept[:, -1]
        log_own = 0.5 * float((vector * own) @ pull) - 0.5 * float(np.linalg.slogdet(mixed)[1])
        return weaker, pull, log_own

    def next_lot(self) -> tuple[Array, Array]:
        """Mean and covariance of the next lot's columns."""
        mean, covariance, _ = self.solved
        columns, places = self.places(self.product, self.room)
        gather = np.zeros((len(COLUMNS), len(mean)))
        gather[columns, places] = 1.0
        return gather @ mean, gather @ covariance @ gather.T + np.diag(self.shares.own)


def pooled(
    past: Sequence[PastLot],
    product: str,
    room: str = "",
    *,
    shares: Shares | None = None,
    version: str = "",
) -> LotPrior:
    """What a lot of a product in a room starts from, given the lots before it.

    Args:
        past: sequence of PastLot. Recorded before; without any the literature's prior comes back.
        product, room: str. Of the new lot.
        shares: Shares or None. None: the usual ones.
        version: str. Names the prior in every forecast that rests on it.

    Returns:
        LotPrior. A mixture over the sizes of the model's error and of the room's offsets, each with
        the weight the past lots give it, as one normal of the same mean and covariance.
    """
    usual = shares or usual_shares()
    if not past:
        plain = LotPrior.plain()
        return LotPrior(plain.mean, plain.covariance, version or ALONE)

    def pool(error: float, at_room: float) -> _Pool:
        return _Pool(past, product, room, usual.sized(error, at_room))

    stories = [(pool(size, 1.0), np.log(weight)) for size, weight in ERROR_SIZES]
    scored = [float(story.solved[2] + log_weight) for story, log_weight in stories]
    best_error = ERROR_SIZES[int(np.argmax(scored))][0]
    # The rooms' sizes are asked about at the best size of the model's error only.
    for size, weight in ROOM_SIZES[1:]:
        story = pool(best_error, size)
        stories.append((story, 0.0))
        log_weight = np.log(weight / ROOM_SIZES[0][1]) + np.log(dict(ERROR_SIZES)[best_error])
        scored.append(float(story.solved[2] + log_weight))
    weights = np.exp(np.array(scored) - max(scored))
    weights /= weights.sum()
    kept = [(w, story.next_lot()) for w, (story, _) in zip(weights, stories, strict=True) if w > 1e-3]
    total = sum(w for w, _ in kept)
    mean = sum((w / total * part[0] for w, part in kept), np.zeros(len(COLUMNS)))
    covariance = np.zeros((len(COLUMNS), len(COLUMNS)))
    for w, (middle, spread) in kept:
        covariance += w / total * (spread + np.outer(middle - mean, middle - mean))
    return LotPrior(mean, covariance, version or f"house of {len(past)}", _air_of(past))


def _air_of(past: Sequence[PastLot]) -> tuple[float, ...]:
    """Weights of AIR_SIZES after the past lots: how much the air of a day errs is the house's."""
    told = [one.likelihood.air for one in past if one.likelihood.air is not None]
    logs = np.log([weight for _, weight in AIR_SIZES]) + AIR_TRUST * np.sum(
        np.array(told).reshape(-1, len(AIR_SIZES)), axis=0
    )
    weights = np.exp(logs - logs.max())
    # The next lot may be the one with the fan that stands: what any lot may have is never quite out.
    mixed = (1.0 - AIR_OPEN) * weights / weights.sum() + AIR_OPEN * np.array([w for _, w in AIR_SIZES])
    return tuple(mixed.tolist())
