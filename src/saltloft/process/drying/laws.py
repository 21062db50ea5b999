"""How fast water moves in the meat, and the potential whose gradient is the flux."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

CELLS = 320
TOGETHER = 16  # members tabulated at once
WETTEST = 6.4  # kg/kg; beyond it the potential goes on as a straight line


@dataclass(frozen=True)
class DiffusivityLaw:
    """Water diffusivity falling with dryness and fat; fields are arrays (members,).

    Args:
        reference: array. In a fat-free matrix at `reference_water`, 14 degC. [m2/s]
        exponent: array. Of the obstruction by the solids. [1]
        fat_exponent: array. Beyond Maxwell. [1]
        crust_water: array. Water content at which the crust halves it. [kg/kg]
        crust_power: float. [1]
        obstruction_water: float. Density of water over that of the solids. [kg/kg]
        reference_water: float. [kg/kg]
        fat_volume: array. Volume of fat per kg of solids. [m3/kg]
        fixed_volume: array. Volume per kg of solids of all but water. [m3/kg]
        water_volume: float. Volume of a kg of water. [m3/kg]
    """

    reference: Array
    exponent: Array
    fat_exponent: Array
    crust_water: Array
    crust_power: float
    obstruction_water: float
    reference_water: float
    fat_volume: Array
    fixed_volume: Array
    water_volume: float

    def at(self, water: ArrayLike) -> Array:
        """Diffusivity at 14 degC.

        Args:
            water: array (..., members). Per kg of fat-free salt-free solids. [kg/kg]

        Returns:
            Array like water. [m2/s]

        Notes:
            D = D0 [f(X)/f(2)]^k (1-phi)^nu / (1+phi/2) / (1+(Xc/X)^4),
            f = (1-p)/(1+p) = X/(X+2*0.751) with p the volume share of the solids in solids and
            water (Mackie & Meares, recalled), phi the local volume fraction of fat. Valid for
            X 0.05..5 kg/kg and fat up to 40 % of the batter. Source: own_drying_trial.
        """
        x = np.maximum(np.asarray(water, dtype=np.float64), 1e-9)
        half = 2.0 * self.obstruction_water
        open_share = x / (x + half) * (self.reference_water + half) / self.reference_water
        phi = self.fat_volume / (self.fixed_volume + x * self.water_volume)
        # Both powers in one exponential: this line is most of the cost of a table.
        powers = np.exp(self.exponent * np.log(open_share) + self.fat_exponent * np.log(1.0 - phi))
        wet = x**self.crust_power
        crust = wet / (wet + self.crust_water**self.crust_power)
        diffusivity: Array = self.reference * powers * crust / (1.0 + 0.5 * phi)
        return diffusivity

    def slope_of_potential(self, water: ArrayLike) -> Array:
        """D over the square of the volume per kg of solids, dU/dX. [kg2/m4.s]"""
        x = np.asarray(water, dtype=np.float64)
        slope: Array = self.at(x) / np.square(self.fixed_volume + x * self.water_volume)
        return slope


@dataclass(frozen=True)
class Potential:
    """U(X), the integral of D/v^2 over water content, as cubic Hermite pieces.

    The flux is a gradient of U: it stays smooth at a dry rim where X itself bends
    like a root.

    Args:
        step: float. Width of a cell. [kg/kg]
        value: array (members, cells + 1). U at the cell borders. [kg2/m4.s]
        slope: array (members, cells + 1). dU/dX there. [kg2/m4.s]
    """

    step: float
    value: Array
    slope: Array

    def at(self, water: Array) -> tuple[Array, Array, Array]:
        """U and its first two derivatives by water content.

        Args:
            water: array (n, members). [kg/kg]

        Returns:
            Three arrays like water. Beyond the last cell U is straight.
        """
        last = self.value.shape[1] - 1
        place = water / self.step
        cell = np.clip(place.astype(np.int64), 0, last - 1)
        t = np.minimum(place - cell, 1.0)
        beyond = place - cell - t
        member = np.arange(water.shape[-1])
        left, right = self.value[member, cell], self.value[member, cell + 1]
        m0 = self.slope[member, cell] * self.step
        m1 = self.slope[member, cell + 1] * self.step
        rise = right - left
        curve, twist = 3.0 * rise - 2.0 * m0 - m1, m0 + m1 - 2.0 * rise
        value = left + t * (m0 + t * (curve + t * twist))
        slope = m0 + t * (2.0 * curve + t * 3.0 * twist)
        bend = np.where(beyond > 0.0, 0.0, 2.0 * curve + t * 6.0 * twist)
        return value + beyond * slope, slope / self.step, bend / (self.step * self.step)


def tabulate(law: DiffusivityLaw) -> Potential:
    """The potential of every member by the four-point Lobatto rule within each cell.

    Args:
        law: DiffusivityLaw.

    Returns:
        Potential, within 1e-10 of its largest value.
    """
    step = WETTEST / CELLS
    borders = np.arange(CELLS + 1) * step
    # The rule's two outer points are the borders, where the slope is wanted anyway.
    inside = 0.5 * (1.0 + np.array([-1.0, -1.0, 1.0]) * np.sqrt([1.0, 0.2, 0.2]))
    points = np.append((borders[:-1, None] + step * inside).ravel(), borders[-1])
    parts = (law.reference, law.exponent, law.fat_exponent, law.crust_water, law.fat_volume, law.fixed_volume)
    columns = [np.asarray(part, dtype=np.float64) for part in np.broadcast_arrays(*parts)]
    members = columns[0].shape[-1] if columns[0].ndim else 1
    value, slope = np.empty((members, CELLS + 1)), np.empty((members, CELLS + 1))
    for first in range(0, members, TOGETHER):  # few at once stay in the cache
        own = slice(first, first + TOGETHER)
        few = [column.reshape(-1)[own, None] for column in columns]
        some = replace(
            law,
            reference=few[0],
            exponent=few[1],
            fat_exponent=few[2],
            crust_water=few[3],
            fat_volume=few[4],
            fixed_volume=few[5],
        )
        everywhere = some.slope_of_potential(points)
        everywhere[:, 0] = 0.0
        at_border = everywhere[:, ::3]
        pieces = everywhere[:, 1::3] + everywhere[:, 2::3]
        pieces *= 5.0
        pieces += at_border[:, :-1]
        pieces += at_border[:, 1:]
        value[own, 0] = 0.0
        np.cumsum(pieces, axis=1, out=value[own, 1:])
        slope[own] = at_border
    value *= step / 12.0
    return Potential(step, value, slope)
