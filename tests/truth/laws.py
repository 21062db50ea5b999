"""Water diffusivity laws of the truths: callables (water, fat volume fraction) -> m2/s at 14 degC."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tests.truth.cylinder import Law

Array = NDArray[np.float64]


def obstruction(level: Array, power: Array, fat_power: Array) -> Law:
    """Polymer obstruction and Maxwell's fat: falls smoothly with dryness.

    Args:
        level: array (pieces,). At 2 kg/kg without fat. [m2/s]
        power: array (pieces,). How strongly it falls, dimensionless.
        fat_power: array (pieces,). Beyond Maxwell, dimensionless.
    """

    def law(water: Array, fat: Array) -> Array:
        open_share = water / (water + 0.75) / 0.7273
        return level * np.exp(power * np.log(open_share) + fat_power * np.log1p(-fat)) / (1.0 + 0.5 * fat)

    return law


def moisture_exponential(level: Array, steepness: Array, fat_limit: Array) -> Law:
    """The other law: exponential in moisture, a wet end that is slower again, percolating fat.

    Args:
        level: array (pieces,). At half water in the fat-free salt-free matter, without fat. [m2/s]
        steepness: array (pieces,). Of ln D against that moisture, dimensionless.
        fat_limit: array (pieces,). Volume fraction of fat at which nothing moves any more, 0..1.

    Notes:
        Different from `obstruction` where it hurts: it never vanishes at the dry rim, it is highest
        near 2 kg/kg and lower in fresh batter, and fat bites more the more there is of it.
    """

    def law(water: Array, fat: Array) -> Array:
        moisture = water / (1.0 + water)
        wet = 1.0 / (1.0 + (water / 2.5) ** 2)
        open_share = np.maximum(1.0 - fat / fat_limit, 0.02)
        return level * np.exp(steepness * (moisture - 0.5)) * wet * open_share**1.2

    return law
