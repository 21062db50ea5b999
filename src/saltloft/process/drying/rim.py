"""A rim that remembers: a surface resistance that grows while the rim is dry.

Speculative: no measurement of ours or read anywhere says how large it is. Two parts. The
first follows the rim both ways, so a rest takes it back; the second only grows, as a skin
does that no rest softens.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class RimMemory:
    """How the rim hardens and softens; arrays (members,).

    Args:
        reversible: array. Resistance of a rim long dry, the part that goes back. [s/m]
        lasting: array. The part that does not go back. [s/m]
        wet: float. Rim water activity above which nothing hardens. [1]
        dry: float. Rim water activity below which hardening is full. [1]
        harden_s: float. Time in which a dry rim hardens to 63 %. [s]
        soften_s: float. Time in which a wet rim softens by 63 %. [s]
    """

    reversible: Array
    lasting: Array
    wet: float
    dry: float
    harden_s: float
    soften_s: float

    @staticmethod
    def fresh(members: int) -> Array:
        """The memory of pieces just stuffed, array (2, members): reversible, lasting. [1]"""
        return np.zeros((2, members))

    def dryness(self, activity: Array) -> Array:
        """How much a rim hardens in the end: 0 wet, 1 dry, smooth between.

        Args:
            activity: array (members,). Water activity of the rim. [1]
        """
        part = np.clip((self.wet - activity) / (self.wet - self.dry), 0.0, 1.0)
        return np.asarray(part * part * (3.0 - 2.0 * part))

    def after(self, memory: Array, activity: Array, time_s: Array) -> Array:
        """The memory after a time at one water activity of the rim, exactly.

        Args:
            memory: array (2, members), 0..1.
            activity: array (members,). Of the rim. [1]
            time_s: array (members,). [s]

        Returns:
            Array (2, members), 0..1.
        """
        goal = self.dryness(activity)
        pace = np.where(goal > memory[0], self.harden_s, self.soften_s)
        back = goal + (memory[0] - goal) * np.exp(-time_s / pace)
        grown = goal + (memory[1] - goal) * np.exp(-time_s / self.harden_s)
        return np.stack([back, np.maximum(memory[1], grown)])

    def resistance(self, memory: Array) -> Array:
        """What the memory adds to casing and film.

        Args:
            memory: array (..., 2, members), 0..1.

        Returns:
            Array (..., members). [s/m]
        """
        resistance: Array = self.reversible * memory[..., 0, :] + self.lasting * memory[..., 1, :]
        return resistance
