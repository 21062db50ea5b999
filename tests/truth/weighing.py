"""The house's scale and its habit of weighing."""

from __future__ import annotations

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator

from tests.truth.houses import LotDraw
from tests.truth.known import Weighings

Array = NDArray[np.float64]

LEADS_D = (1.0, 3.0, 7.0, 14.0, 28.0)
ASOF_D = (3.0, 7.0, 14.0)
AIR_BLAST_KG = 0.0003


def asked_days(horizon_d: float) -> Array:
    """Every day on which some forecast of this lot is held against the scale. [d]"""
    days = sorted({asof + lead for asof in ASOF_D for lead in LEADS_D})
    return np.array([day for day in days if day <= horizon_d])


def read_scale(rng: Generator, weight_kg: Array, division_kg: float, gain: float) -> Array:
    """Weights as the scale shows them: its gain, its noise, its division. [kg]"""
    noise = rng.normal(0.0, 0.4 * division_kg + AIR_BLAST_KG, weight_kg.shape)
    return np.asarray(np.round((weight_kg * gain + noise) / division_kg) * division_kg)


def weigh(
    lot: LotDraw, day: Array, weight_kg: Array, target_loss: float
) -> tuple[Array, Weighings, Array, Array]:
    """Weigh the tagged pieces green, by habit until they are seen at the target, and on the asked days.

    Args:
        lot: LotDraw. Its generator is used up from here.
        day: array (days,). [d]
        weight_kg: array (days, tags). True. [kg]
        target_loss: float. 0..1.

    Returns:
        Green weights (tags,) [kg], Weighings, asked days [d], loss read on them (asked, tags) 0..1. One
        scale took all of them, with one small gain error; one reading in fifty is missed.
    """
    rng, division = lot.rng, lot.house.division_kg
    gain = 1.0 + float(rng.normal(0.0, 0.001))
    at = PchipInterpolator(day, weight_kg, axis=0)
    green = read_scale(rng, weight_kg[0], division, gain)
    habit = [*lot.house.weighing_days, *range(28, int(day[-1]) + 1, 7)]
    times = np.array(habit) - rng.uniform(0.0, 0.15, len(habit))
    read = read_scale(rng, at(times), division, gain)
    read[rng.random(read.shape) < 0.02] = np.nan
    seen = np.nanmean(1.0 - read / green, axis=1)
    done = np.flatnonzero(seen >= target_loss)
    last = int(done[0]) + 1 if len(done) else len(times)
    asked = asked_days(float(day[-1]))
    asked_loss = 1.0 - read_scale(rng, at(asked), division, gain) / green
    return green, Weighings(times[:last], read[:last]), asked, asked_loss
