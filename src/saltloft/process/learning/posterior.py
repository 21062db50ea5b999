"""One linear step: readings, their errors and the prior in, best point and its doubt out."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from saltloft.process.learning.columns import State
from saltloft.process.learning.errors import ErrorBlocks

Array = NDArray[np.float64]
Whole = NDArray[np.int64]


@dataclass(frozen=True)
class Posterior:
    """A straight-line model of the readings met with its prior.

    Args:
        state: State. Columns and prior.
        slopes: array (obs, columns).
        errors: ErrorBlocks.
        residual: array (obs,). Read minus what the prior's mean leads to expect.
    """

    state: State
    slopes: Array
    errors: ErrorBlocks
    residual: Array

    @cached_property
    def solved(self) -> Array:
        """Inverse error covariance times the slopes, array (obs, columns)."""
        return self.errors.solve(self.slopes)

    @cached_property
    def information(self) -> Array:
        """What the readings alone say, as a precision, array (columns, columns)."""
        raw = self.slopes.T @ self.solved
        return np.asarray(0.5 * (raw + raw.T))

    @cached_property
    def covariance(self) -> Array:
        """Of the columns after the readings, array (columns, columns)."""
        inverse = np.linalg.inv(self.information + self.state.precision)
        return np.asarray(0.5 * (inverse + inverse.T))

    @cached_property
    def gain(self) -> Array:
        """Change of the columns for each reading's surprise, array (columns, obs)."""
        return self.covariance @ self.solved.T

    @cached_property
    def best(self) -> Array:
        """Most probable columns, array (columns,)."""
        return self.state.mean + self.gain @ self.residual

    @cached_property
    def pull(self) -> Array:
        """Inverse of the readings' whole covariance times the residual, array (obs,)."""
        plain = self.errors.solve(self.residual[:, None])[:, 0]
        return plain - self.solved @ (self.gain @ self.residual)

    @cached_property
    def tightness(self) -> Array:
        """Diagonal of the inverse of the readings' whole covariance, array (obs,)."""
        explained = np.einsum("nk,kn->n", self.solved, self.gain)
        return np.asarray(self.errors.inverse_diagonal - explained)

    def times(self, values: Array) -> Array:
        """Inverse of the readings' whole covariance times values, array (obs, k).

        Args:
            values: array (obs, k).
        """
        plain = self.errors.solve(values)
        return plain - self.solved @ (self.covariance @ (self.slopes.T @ plain))

    def block(self, rows: Whole) -> Array:
        """Inverse of the readings' whole covariance between some rows, array (rows, rows).

        Args:
            rows: array of int.
        """
        return self.errors.inverse_block(rows) - self.solved[rows] @ self.gain[:, rows]

    def surprise(self) -> tuple[Array, Array]:
        """What all others lead to expect of each reading: its miss and the miss's variance, (obs,) each."""
        variance = 1.0 / np.maximum(self.tightness, 1e-12)
        return self.pull * variance, variance
