"""How wide the way out is at every depth: round, pressed and short pieces.

Water leaves across level sets of equal depth. With y the share of the volume inside
one of them, its area squared is 4 pi l M V(1) F(y); F = y for a long round piece.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ellipe

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Path:
    """F(y) = constant + linear y + square y^2; arrays (members,) or one number for all.

    Args:
        constant: array. What a pressed piece has at its core. [1]
        linear: array. 1 for a long round piece. [1]
        square: array. What the ends add. [1]
    """

    constant: Array = field(default_factory=lambda: np.array(0.0))
    linear: Array = field(default_factory=lambda: np.array(1.0))
    square: Array = field(default_factory=lambda: np.array(0.0))

    def at(self, inside: ArrayLike) -> Array:
        """F at a share of the volume.

        Args:
            inside: array (..., members), 0..1.

        Returns:
            Array like inside. [1]
        """
        y = np.asarray(inside, dtype=np.float64)
        return np.asarray(self.constant + y * (self.linear + y * self.square))

    @property
    def surface(self) -> Array:
        """Surface of the piece over that of the long round one, array. [1]"""
        return np.sqrt(np.asarray(self.constant + self.linear + self.square))

    def easing(self, share: Array, weight: Array) -> Array:
        """The integral of s^2/F(s): how far an even flux bends the profile, 1/2 for a round piece.

        Args:
            share, weight: arrays (n,). Nodes of 0..1 and their weights.

        Returns:
            Array of the members. [1]
        """
        s = share[:, None]
        return np.asarray(weight @ (s * s / np.atleast_1d(self.at(s))))


def excess_of_pressing(thickness_share: ArrayLike) -> Array:
    """Isoperimetric excess of a round piece pressed flat, its section keeping its area.

    Args:
        thickness_share: float or array, above 0 to 1. Thickness over the round diameter. [1]

    Returns:
        Array: P^2/(4 pi a) - 1 of the stadium (a flat strip between two half circles). [1]

    Notes:
        With t the share, the flats are pi R (1 - t^2)/(2 t) long, so the excess is
        ((1 - t^2)/(2 t))^2. Within a stadium P(depth)^2 - 4 pi a(depth) is the same at
        every depth (Steiner).
    """
    t = np.asarray(thickness_share, dtype=np.float64)
    return np.asarray(np.square((1.0 - t * t) / (2.0 * t)))


def excess_of_oval(thickness_share: ArrayLike) -> Array:
    """Isoperimetric excess of an ellipse with the area of the round piece.

    Args:
        thickness_share: float or array, above 0 to 1. Thickness over the round diameter. [1]

    Returns:
        Array: P^2/(4 pi a) - 1, P by the complete elliptic integral. [1]
    """
    t = np.asarray(thickness_share, dtype=np.float64)
    # Half axes R/t and t R: P = 4 (R/t) E(1 - t^4), a = pi R^2.
    return np.asarray(np.square(2.0 * ellipe(1.0 - t**4) / (np.pi * t)) - 1.0)


def pressed(excess: ArrayLike) -> Path:
    """The way out of a pressed or oval piece.

    Args:
        excess: float or array, 0 or more. P^2/(4 pi a) - 1. [1]

    Returns:
        Path with the true surface.

    Notes:
        By Steiner F = y + excess. Real isotherms draw back from the two ends, so the core
        sees less of it: 3.5 e^1.5/(1 + 3.5 e^0.5), chosen once on the two-dimensional
        heat equation with a surface held fixed (own): the loss stays within 0.005 of what can
        leave for stadiums of thickness over calibre 0.53 to 1, within 0.01 for ellipses of 0.63 to 1.
    """
    e = np.asarray(excess, dtype=np.float64)
    core = e * 3.5 * np.sqrt(e) / (1.0 + 3.5 * np.sqrt(e))
    return Path(core, 1.0 + e - core, np.zeros_like(e))


def _ends(slender: ArrayLike) -> tuple[Array, Array]:
    """F(y)/y of a short cylinder at its core and at its surface."""
    short = 1.0 / np.asarray(slender, dtype=np.float64)
    return 1.0 - short + 0.62 * short * short, np.square(1.0 + 0.5 * short)


def with_ends(path: Path, slender: ArrayLike, standard: float | None = None) -> Path:
    """A piece of finite length.

    Args:
        path: Path. Of the same piece without its ends.
        slender: float or array, 1 or more. Length over diameter. [1]
        standard: float or None. Slenderness whose ends are left in the numbers that were fitted
            without them; only what differs from it counts, without one all of the ends. [1]

    Returns:
        Path: F(y) times a straight line in y whose value at 1 gives the true surface.

    Notes:
        The value at the core, 1 - d/L + 0.62 (d/L)^2, was chosen once on Newman's product of
        cylinder and slab at Biot 10 (own): for L/d of 1 and more and Biot 0.1 to 300 the loss
        stays within 0.009 of what can leave (0.005 from L/d 7 on); at Biot 10 within 0.002.
        With the true surface but an even way it would be 0.02 to 0.07 off.
        L/d is taken at stuffing.
    """
    core, rim = _ends(slender)
    if standard is not None:
        base = _ends(standard)
        core, rim = core / base[0], rim / base[1]
    rise = rim - core
    return Path(
        np.asarray(path.constant * core),
        np.asarray(path.linear * core + path.constant * rise),
        np.asarray(path.square * core + path.linear * rise),
    )
