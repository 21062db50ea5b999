"""A forecast put right by how a house's earlier forecasts came out.

Where the truth fell among the draws of earlier forecasts (its rank) tells whether this house's
forecasts lean, or are too wide or too narrow. As normal scores the ranks of honest forecasts have
mean 0 and deviation 1; what they show instead, shrunk towards that by some lots' worth of belief,
is the map: the draw at score s takes the value that stood at score lean + spread s. A house without
a record gets exactly what it put in.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from saltloft.foundation.words import say
from saltloft.process.learning.record import LOSS, READY, HouseRecord
from saltloft.process.result import Flag

Array = NDArray[np.float64]
Whole = NDArray[np.int64]
Truths = NDArray[np.bool_]

PUT_RIGHT = "put_right"
# Lots' worth of belief that forecasts do not lean, and that their spread is right. Own choice.
LEAN_WORTH, SPREAD_WORTH = 3.0, 4.0
# A lot counts so much less for each later one. Own choice.
FORGET = 0.93
# Leads and calibres alike: standard deviation of a normal weight in ln. Own choice.
ALIKE_LEAD, ALIKE_CALIBRE, LEAST_ALIKE = 0.7, 0.35, 0.3
# What a loss that came out says of a date, or a date of a loss: so much, and the other way round. Own choice.
OTHER_KIND = 0.5
# A rank is told so finely at most: no one lot is further out than this. [score]
FURTHEST = 2.6
LEAST_SPREAD, MOST_SPREAD, MOST_LEAN = 0.6, 2.0, 1.5


@dataclass(frozen=True)
class Correction:
    """A map of normal scores.

    Args:
        lean: float. Mean score of what came out, shrunk; above 0: more, or later, than forecast. [1]
        spread: float. Deviation of the scores about it, shrunk; above 1: bands were too narrow. [1]
        lots: float. Lots' worth of experience behind it.
    """

    lean: float = 0.0
    spread: float = 1.0
    lots: float = 0.0

    def of(self, samples: Array) -> Array:
        """Draws put right, each keeping its place among the others.

        Args:
            samples: array (draws,). Infinity for never. [any unit]

        Returns:
            Array (draws,). Beyond the outermost draws the outer fifth goes on straight, in scores.
        """
        if self.lots <= 0.0:
            return samples
        count = len(samples)
        order = np.argsort(samples, kind="stable")
        score = ndtri((np.arange(count) + 0.5) / count)
        moved = np.empty(count)
        moved[order] = _at(samples[order], score, self.lean + self.spread * score)
        return moved


def _at(rising: Array, score: Array, wanted: Array) -> Array:
    """Values at some scores of draws in rising order, straight between them and beyond."""
    known = int(np.isfinite(rising).sum())
    if known < 2:
        return rising
    values, here = rising[:known], score[:known]
    found = np.interp(wanted, here, values)
    fifth = max(known // 5, 1)
    low = (values[fifth] - values[0]) / (here[fifth] - here[0])
    high = (values[-1] - values[-1 - fifth]) / (here[-1] - here[-1 - fifth])
    found = np.where(wanted < here[0], values[0] + low * (wanted - here[0]), found)
    if known < len(rising):
        # What lies between the last number and the first 'never' is never.
        return np.where(wanted > here[-1], np.inf, found)
    return np.where(wanted > here[-1], values[-1] + high * (wanted - here[-1]), found)


@dataclass(frozen=True)
class _Told:
    """Past forecasts as arrays (forecasts,).

    Args:
        score: array. Of what came out. [1]
        lead: array. ln of the lead. [ln d]
        of_date: array of bool.
        lot: array of int. Number of the lot, the oldest first.
        counts: array. What the lot counts here, 0..1.
    """

    score: Array
    lead: Array
    of_date: Truths
    lot: Whole
    counts: Array


@dataclass(frozen=True)
class Recalibration:
    """What a house's record says of a new forecast of one product.

    Args:
        record: HouseRecord. Without the lot that is asked about.
        product: str.
        calibre_mm: float. Nominal. [mm]
    """

    record: HouseRecord
    product: str
    calibre_mm: float

    @property
    def lots(self) -> int:
        """How many lots it rests on."""
        return len(self.record.lots)

    def flag(self) -> Flag | None:
        """Says what a forecast was put right by; None without a record."""
        if not self.lots:
            return None
        words = say(
            "bands and days are put right by how the forecasts of {lots} earlier lots of the house came out",
            lots=self.lots,
        )
        return Flag(PUT_RIGHT, None, 1.0, words)

    @cached_property
    def _told(self) -> _Told:
        past = self.record.past
        lots = {lot: number for number, lot in enumerate(self.record.lots)}
        number: Whole = np.array([lots[one.lot] for one in past], dtype=np.int64)
        score = np.clip(ndtri(np.array([one.rank for one in past])), -FURTHEST, FURTHEST)
        lead = np.log(np.maximum(np.array([one.lead_d for one in past]), 0.5))
        of_date = np.array([one.kind == READY for one in past])
        away = np.log([one.calibre_mm / self.calibre_mm for one in past]) / ALIKE_CALIBRE
        alike = LEAST_ALIKE + (1.0 - LEAST_ALIKE) * np.exp(-0.5 * away**2)
        alike = np.where([one.product == self.product for one in past], 1.0, alike)
        return _Told(score, lead, of_date, number, alike * FORGET ** (len(lots) - 1 - number))

    def correction(self, kind: str, lead_d: float) -> Correction:
        """The map for one quantity and lead.

        Args:
            kind: str. 'loss' or 'ready'.
            lead_d: float. From the asking to what is forecast, above 0. [d]
        """
        if not self.record.past:
            return Correction()
        told = self._told
        score, of_date, number = told.score, told.of_date, told.lot
        near = np.exp(-0.5 * ((told.lead - np.log(max(lead_d, 0.5))) / ALIKE_LEAD) ** 2)
        if kind == READY:
            score = np.where(of_date, score, -score)
            near = np.where(of_date, np.maximum(near, 0.5), OTHER_KIND * near)
        else:
            score = np.where(of_date, -score, score)
            near = np.where(of_date, OTHER_KIND * near, near)
        total = np.bincount(number, near)
        known = total > 1e-6
        each = np.where(known, total, 1.0)
        mean = np.bincount(number, near * score) / each
        square = np.bincount(number, near * score**2) / each
        # A lot's forecasts are of one course: together they count as one, at their nearest lead.
        weight: Array = np.zeros(len(total))
        np.maximum.at(weight, number, near * told.counts)
        lots = float(weight.sum())
        lean = float(weight @ mean) / (lots + LEAN_WORTH)
        away = square - 2.0 * lean * mean + lean**2
        spread = np.sqrt((SPREAD_WORTH + float(weight @ away)) / (SPREAD_WORTH + lots))
        return Correction(
            float(np.clip(lean, -MOST_LEAN, MOST_LEAN)),
            float(np.clip(spread, LEAST_SPREAD, MOST_SPREAD)),
            lots,
        )

    def corrected(self, samples: Array, kind: str, lead_d: float) -> Array:
        """Draws of one quantity at one lead put right, each keeping its place among the others.

        Args:
            samples: array (draws,). Loss 0..1, or days with infinity for never. [1 or d]
            kind: str. 'loss' or 'ready'.
            lead_d: float. Of a date: its median's. [d]
        """
        return self.correction(kind, lead_d).of(samples)

    def added(self, loss: Array, time_d: Array, asked_d: float) -> Array:
        """What the curves of an ensemble are moved by, array (times, draws). [loss, 0..1]

        Args:
            loss: array (times, draws). Weight loss of each lot draw, 0..1.
            time_d: array (times,). From stuffing, rising. [d]
            asked_d: float. Up to then everything known is in the curves already. [d]

        Notes:
            Each draw keeps its place among the others on every day, and the map changes smoothly with
            the lead, so a draw stays one curve; it grows from nothing over the first day.
        """
        moved = np.zeros_like(loss)
        if not self.record.past:
            return moved
        for row in np.flatnonzero(time_d > asked_d).tolist():
            lead = float(time_d[row]) - asked_d
            better = self.corrected(loss[row], LOSS, lead)
            moved[row] = min(lead, 1.0) * (better - loss[row])
        return moved


def recalibration_of(record: HouseRecord, *, product: str, calibre_mm: float) -> Recalibration:
    """What a house's record says of a new forecast of one product.

    Args:
        record: HouseRecord. Without the lot that is asked about.
        product: str.
        calibre_mm: float. Nominal. [mm]
    """
    return Recalibration(record, product, calibre_mm)
