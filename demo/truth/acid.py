"""Acidification in the truth: starter growth, sugar to lactate, a buffer that stiffens below pH 5.3."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from demo.draws import stream
from demo.plan import LotPlan
from demo.truth.sorption import Array


@dataclass(frozen=True)
class Acidification:
    """One lot's pH over the hours from stuffing.

    Args:
        start_ph: float.
        hours: array (n,). [h]
        core_ph: array (n,). Mean of the cores.
        piece_spread: float. Standard deviation between pieces.
        rise_per_day: float. Slow rise afterwards, mould and ammonia. [1/d]
    """

    start_ph: float
    hours: Array
    core_ph: Array
    piece_spread: float
    rise_per_day: float

    def core(self, hour: float) -> float:
        """Mean core pH some hours after stuffing."""
        fallen = float(np.interp(hour, self.hours, self.core_ph))
        late = max(0.0, hour / 24.0 - 6.0)
        return fallen + 0.28 * (1.0 - math.exp(-self.rise_per_day * late / 0.28))


STUCK = (
    (0, 5.86),
    (7, 5.85),
    (18, 5.71),
    (26, 5.62),
    (42, 5.51),
    (48, 5.49),
    (68, 5.31),
    (72, 5.25),
    (80, 5.24),
    (110, 5.20),
)
"""AL-0310 of March 2026: culture thawed twice, high buffer; the room was raised at 48 h."""


def acidification(seed: int, plan: LotPlan) -> Acidification:
    """The pH path of one lot."""
    rng = stream(seed, "acid", plan.name)
    start = 5.74 + 0.06 * rng.standard_normal()
    spread = float(np.clip(0.018 + 0.006 * rng.standard_normal(), 0.008, 0.032))
    rise = float(np.clip(0.006 + 0.003 * rng.standard_normal(), 0.001, 0.014))
    if plan.name == "AL-0310":
        hours, values = np.array(STUCK, dtype=float).T
        return Acidification(5.86, hours, values, 0.02, rise)
    dextrose = plan.line.dextrose_g_kg * (1 + 0.06 * rng.standard_normal())
    vigour = np.exp(0.16 * rng.standard_normal())
    stiffness = 1.0 + 0.08 * rng.standard_normal()
    lag = (5.5 + 0.05 * plan.line.calibre_mm) / vigour
    hours = np.arange(0.0, 140.0, 0.5)
    warm = np.exp(0.085 * (plan.line.ferment_c - 22.0))
    grown = 1.0 / (1.0 + np.exp(-(hours * warm - 2.4 * lag) / (4.6 / vigour)))
    grown = (grown - grown[0]) / (1.0 - grown[0])
    # A gram of dextrose gives close to a gram of lactate, 90 g/mol; some of it goes elsewhere.
    lactate = grown * dextrose * 0.9 / 0.090
    return Acidification(float(start), hours, _buffered(start, lactate, stiffness), spread, rise)


def _buffered(start: float, lactate_mmol_kg: Array, stiffness: float) -> Array:
    """Walk the pH down: buffering rises as the pH passes 5.3."""
    ph = np.empty_like(lactate_mmol_kg)
    ph[0] = start
    for index in range(1, ph.size):
        acid = lactate_mmol_kg[index] - lactate_mmol_kg[index - 1]
        capacity = stiffness * (56.0 + 62.0 / (1.0 + np.exp((ph[index - 1] - 5.15) / 0.12)))
        ph[index] = ph[index - 1] - acid / capacity
    return ph
