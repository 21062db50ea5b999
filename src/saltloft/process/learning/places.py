"""Places that change: what a piece's place does to it, part of it lasting and part of it from then on.

Racks are swapped, a piece is hung up elsewhere, and nobody writes it down. What a place does to a loss
goes with the mean of the places a piece has had: the lasting part, and one draw for each stretch of
time, weighed by how much of the time so far it makes up. An old offset is so worth less with age.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from saltloft.process.draws import PIECE_SLOTS

Array = NDArray[np.float64]

# Places differ in these: a piece's share is a fixed part of the lot's own slope.
PLACE = ("film", "local_air", "other_heat", "humidity_offset", "temperature_offset")
# A piece keeps the drifting part of its place for one of these stretches. [d]
PLACE_D = np.array([0.0, 10.0, 20.0, 30.0, 45.0, 60.0, 90.0, 400.0])
STRETCHES = len(PLACE_D) - 1
# What a rack's place is made of: lasting draws, then one for each stretch.
PLACE_AND_DRIFT = (*PLACE, *(f"stretch_{i}" for i in range(STRETCHES)))
# For a forecast of a tagged piece: so far ahead of its last reading it is looked at. [d]
AHEAD_D = 10.0


def shares_of_time(day: Array) -> Array:
    """How much of the time so far each stretch makes up, array (days, STRETCHES), adding up to 1.

    Args:
        day: array (days,). Above 0. [d]
    """
    inside = np.clip(day[:, None], PLACE_D[:-1], PLACE_D[1:]) - PLACE_D[:-1]
    shares: Array = inside / day[:, None]
    return shares


def with_drift(places: Array, day: Array, drift: float) -> Array:
    """What a place's lasting draws add to each reading, then one draw of each stretch.

    Args:
        places: array (obs, places). What each of its draws adds were all of it lasting. [unit of reading]
        day: array (obs,). Above 0. [d]
        drift: float, 0..1. Share of a place's variance that does not last.

    Returns:
        Array (obs, places + STRETCHES).
    """
    size = np.sqrt(drift) * np.linalg.norm(places, axis=1)
    added = size[:, None] * shares_of_time(day)
    return np.concatenate([np.sqrt(1.0 - drift) * places, added], axis=1)


def of_piece(piece: Array, day: Array, drift: float) -> Array:
    """A piece's slopes with what of its place does not last taken out and put behind them.

    Args:
        piece: array (obs, PIECE_SLOTS). What one standard piece draw adds. [unit of the reading]
        day: array (obs,). Above 0. [d]
        drift: float, 0..1. Share of a place's variance that does not last.

    Returns:
        Array (obs, PIECE_SLOTS + STRETCHES).
    """
    place = [PIECE_SLOTS.index(name) for name in PLACE]
    both = with_drift(piece[:, place], day, drift)
    lasting = piece.copy()
    lasting[:, place] = both[:, : len(place)]
    return np.concatenate([lasting, both[:, len(place) :]], axis=1)
