"""How far the rival model is believed: its record in the house, and what the lot's own weighings say.

Averaging over two models by Bayes: log odds = belief beforehand + what past forecasts of the house
scored + how much more probable the lot's own weighings are under the one than under the other.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from saltloft.process.learning.columns import LinearModel
from saltloft.process.learning.level import PastLine, level_of
from saltloft.process.learning.observations import Weighing, fresh_variance
from saltloft.process.learning.record import HouseRecord
from saltloft.process.learning.rival import Line, line_of, node_prior
from saltloft.process.learning.weighed import MOST_READINGS, Seen
from saltloft.process.parameters import DryingParameters
from saltloft.science import statistics

Array = NDArray[np.float64]

# Before anything is known the straight line is believed so far. Own choice.
BELIEF = 0.05
# Each lot further back counts so much less, and no lot for more than that: the house can change its mind.
FORGET, MOST_A_LOT = 0.9, 3.0
# Forecasts that look as far ahead as a date does; a line is always right tomorrow. [d]
LEAST_LEAD_D = 5.0
# A smaller share counts as none: it would move no quantile worth having. Own choice.
LEAST_SHARE = 0.10
# Chance above which a weighing counts as a wild one, as in faults by name.
WILD = 0.5
_TAKEN_SLOT = 11_999
NOTHING = HouseRecord()


@dataclass(frozen=True)
class Experience:
    """What the house knows of straight lines by the time of a forecast.

    Args:
        product: str. Of the lot that is asked about.
        calibre_m: float. Nominal. [m]
        lines: tuple of PastLine. Earlier lots of the house; the lot itself not among them.
        record: HouseRecord. Past forecasts of the house; the lot's own not among them.
    """

    product: str
    calibre_m: float
    lines: tuple[PastLine, ...] = ()
    record: HouseRecord = NOTHING

    def line(self, seen: Seen) -> Line:
        """A lot's line, given what the house knows.

        Args:
            seen: Seen. The lot's own weighings.
        """
        level = level_of(self.lines, self.product, self.calibre_m)
        return line_of(seen, level, node_prior(self.lines))


@dataclass(frozen=True)
class Share:
    """How far the rival is believed.

    Args:
        rival: float, 0..1. Weight of the rival among the two.
        by_record: float. Log odds that the house's past forecasts add; above 0 for the rival.
        by_lot: float. Log odds that the lot's own weighings add.
    """

    rival: float = 0.0
    by_record: float = 0.0
    by_lot: float = 0.0


def seen_of(weighings: Sequence[Weighing], parameters: DryingParameters, wild: Array | None = None) -> Seen:
    """A lot's weighings as the rival reads them, wild ones left out.

    Args:
        weighings: sequence of Weighing.
        parameters: DryingParameters. Error of scale and handling.
        wild: array (weighings,) or None. Chance of each being a wild one, 0..1.
    """
    rows = readable(weighings, wild)
    kept = [weighings[row] for row in rows]
    uneven = [one.green_spread * (1.0 - one.weight_loss) / np.sqrt(one.pieces) for one in kept]
    return Seen(
        day=np.array([one.day for one in kept]),
        loss=np.array([one.weight_loss for one in kept]),
        variance=np.array([fresh_variance(one, parameters) for one in kept]) + np.square(uneven),
        pieces=np.array([float(one.pieces) for one in kept]),
        tag=tuple(one.tag for one in kept),
    )


def readable(weighings: Sequence[Weighing], wild: Array | None = None) -> NDArray[np.int64]:
    """Rows of the weighings that both models are asked about, at most MOST_READINGS, evenly picked.

    Args:
        weighings: sequence of Weighing.
        wild: array (weighings,) or None. Chance of each being a wild one, 0..1.
    """
    good = np.array([-0.05 < one.weight_loss < 0.85 and one.day > 0.0 for one in weighings], dtype=np.bool_)
    if wild is not None:
        good &= wild <= WILD
    rows = np.flatnonzero(good)
    if len(rows) > MOST_READINGS:
        rows = rows[np.unique(np.linspace(0, len(rows) - 1, MOST_READINGS).round().astype(np.int64))]
    return rows


def engine_evidence(linear: LinearModel, rows: NDArray[np.int64]) -> float:
    """Log density of some readings under the drying model, its prior averaged over.

    Args:
        linear: LinearModel. The readings as a straight function of the draws.
        rows: array of int. Which of them. [1]
    """
    slopes = linear.jacobian[rows]
    error = linear.blocks.rows(linear.place[rows])
    whole = slopes @ linear.prior_covariance @ slopes.T + error
    left = (linear.observed - linear.expected)[rows] - slopes @ (linear.prior_mean - linear.point)
    root = np.linalg.cholesky(whole)
    pulled = np.linalg.solve(root, left)
    size = float(np.log(np.diag(root)).sum())
    return -0.5 * (len(rows) * float(np.log(2.0 * np.pi)) + float(pulled @ pulled)) - size


def by_record(record: HouseRecord) -> float:
    """Log odds for the rival by the house's past forecasts.

    Args:
        record: HouseRecord. Without the lot that is asked about.

    Notes:
        A lot counts by the mean difference of its scores (its forecasts are of one course, not
        many), over leads of LEAST_LEAD_D and more.
    """
    total = 0.0
    for back, lot in enumerate(reversed(record.lots)):
        gains = [
            one.log_score_rival - one.log_score_engine
            for one in record.past
            if one.lot == lot and one.lead_d >= LEAST_LEAD_D
        ]
        if gains:
            total += FORGET**back * float(np.clip(np.mean(gains), -MOST_A_LOT, MOST_A_LOT))
    return total


def share_of(record: HouseRecord, line: Line, linear: LinearModel | None, rows: NDArray[np.int64]) -> Share:
    """The rival's weight.

    Args:
        record: HouseRecord.
        line: Line. Fitted to the same readings.
        linear: LinearModel or None. None: nothing was read.
        rows: array of int. The readings both were asked about. [1]
    """
    past = by_record(record)
    own = 0.0 if linear is None or not len(rows) else line.log_evidence - engine_evidence(linear, rows)
    odds = float(np.log(BELIEF / (1.0 - BELIEF))) + past + own
    rival = float(1.0 / (1.0 + np.exp(-np.clip(odds, -50.0, 50.0))))
    return Share(rival if rival >= LEAST_SHARE else 0.0, past, own)


def taken(share: Share, lots: int, *, seed: int, lot: str) -> NDArray[np.bool_]:
    """Which lot draws follow the rival, array (lots,): as many as its share says.

    Args:
        share: Share.
        lots: int.
        seed: int.
        lot: str.
    """
    count = round(share.rival * lots)
    chance = statistics.uniform(seed, lot, np.arange(lots)[:, None], np.array([[_TAKEN_SLOT]]))[:, 0]
    found = np.zeros(lots, dtype=np.bool_)
    found[np.argsort(chance)[:count]] = True
    return found
