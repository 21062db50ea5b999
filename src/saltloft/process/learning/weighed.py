"""The weighings of one lot as the straight line reads them."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Whole = NDArray[np.int64]

# Pieces told apart by their tag; the readings of any others count as of fresh pieces.
MOST_TAGS, MOST_READINGS = 40, 400


@dataclass(frozen=True)
class Seen:
    """The weighings of one lot.

    Args:
        day: array (readings,). Above 0. [d]
        loss: array (readings,). 0..1.
        variance: array (readings,). Of scale and handling, above 0. [1]
        pieces: array (readings,). How many were weighed together, 1 or more.
        tag: tuple of str. Names one piece or one set; empty where nobody knows which.
    """

    day: Array
    loss: Array
    variance: Array
    pieces: Array
    tag: tuple[str, ...]

    @cached_property
    def thinned(self) -> Seen:
        """At most MOST_READINGS of them, evenly picked."""
        if len(self.day) <= MOST_READINGS:
            return self
        return self.only(np.unique(np.linspace(0, len(self.day) - 1, MOST_READINGS).round().astype(int)))

    def only(self, rows: Whole) -> Seen:
        """Some of the readings.

        Args:
            rows: array of int, or of bool.
        """
        places = np.arange(len(self.day))[rows]
        return Seen(
            self.day[places],
            self.loss[places],
            self.variance[places],
            self.pieces[places],
            tuple(self.tag[i] for i in places),
        )

    @cached_property
    def named(self) -> tuple[str, ...]:
        """The tags that are told apart, in order of appearance."""
        return tuple(dict.fromkeys(tag for tag in self.tag if tag))[:MOST_TAGS]

    @cached_property
    def visit(self) -> Whole:
        """Number of the visit of each reading, array (readings,): same half day, same visit."""
        return np.unique(np.round(2.0 * self.day), return_inverse=True)[1]
