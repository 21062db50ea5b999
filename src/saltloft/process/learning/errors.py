"""The error of many readings in blocks: fresh noise, and what pieces carry with them.

The covariance is diag(1/weight) + one block a group of pieces, offset offset'. Its inverse
costs one small matrix a group (Woodbury), so ten thousand weighings need no large matrix.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Whole = NDArray[np.int64]

# With this many readings a group or more, groups are taken one after the other.
FEW = 8


@dataclass(frozen=True)
class ErrorBlocks:
    """Covariance of the readings' errors.

    Args:
        weight: array (obs,). One over the variance of the fresh error; 0 for a reading left out.
        offset: array (obs, slots). What one standard piece draw adds to each reading.
        group: array of int (obs,), rising, without gaps. Same pieces, same number.
    """

    weight: Array
    offset: Array
    group: Whole

    @cached_property
    def starts(self) -> Whole:
        """First reading of each group, array of int (groups,)."""
        return np.searchsorted(self.group, np.arange(int(self.group[-1]) + 1))

    @cached_property
    def capacity(self) -> Array:
        """Posterior covariance of each group's piece draws if the lot were known, (groups, slots, slots)."""
        weighted = self.offset * self.weight[:, None]
        inner = np.add.reduceat(weighted[:, :, None] * self.offset[:, None, :], self.starts)
        inverse: Array = np.asarray(np.linalg.inv(np.eye(self.offset.shape[1]) + inner))
        return inverse

    @cached_property
    def parts(self) -> list[slice]:
        """The readings of each group."""
        ends = [*self.starts[1:].tolist(), len(self.group)]
        return [slice(start, end) for start, end in zip(self.starts.tolist(), ends, strict=True)]

    def by_group(self, values: Array) -> Array:
        """offset' diag(weight) values of each group, array (groups, slots, k).

        Args:
            values: array (obs, k).
        """
        weighted = self.offset * self.weight[:, None]
        if len(self.starts) * FEW <= len(values):
            return np.array([weighted[part].T @ values[part] for part in self.parts])
        summed: Array = np.add.reduceat(weighted[:, :, None] * values[:, None, :], self.starts)
        return summed

    def solve(self, values: Array) -> Array:
        """Inverse covariance times values, array (obs, k).

        Args:
            values: array (obs, k).
        """
        pieces = self.capacity @ self.by_group(values)
        if len(self.starts) * FEW <= len(values):
            carried = [self.offset[part] @ one for part, one in zip(self.parts, pieces, strict=True)]
            return np.asarray(self.weight[:, None] * (values - np.concatenate(carried)))
        solved: Array = self.weight[:, None] * (
            values - np.einsum("np,npk->nk", self.offset, pieces[self.group])
        )
        return solved

    @cached_property
    def inverse_diagonal(self) -> Array:
        """Diagonal of the inverse covariance, array (obs,)."""
        own = np.einsum("np,npq,nq->n", self.offset, self.capacity[self.group], self.offset)
        diagonal: Array = self.weight - self.weight**2 * own
        return diagonal

    def inverse_block(self, rows: Whole) -> Array:
        """The inverse covariance between some rows, array (rows, rows).

        Args:
            rows: array of int.
        """
        offset, weight, group = self.offset[rows], self.weight[rows], self.group[rows]
        cross = np.einsum("ip,ipq,jq->ij", offset, self.capacity[group], offset)
        same = group[:, None] == group[None, :]
        block: Array = np.diag(weight) - weight[:, None] * weight * np.where(same, cross, 0.0)
        return block

    def dense(self) -> Array:
        """The whole covariance, array (obs, obs); a reading left out has a huge variance."""
        return self.rows(np.arange(len(self.group)))

    def rows(self, rows: Whole) -> Array:
        """The covariance between some readings, array (rows, rows).

        Args:
            rows: array of int.
        """
        offset, group = self.offset[rows], self.group[rows]
        same = group[:, None] == group[None, :]
        fresh = np.diag(1.0 / np.maximum(self.weight[rows], 1e-12))
        whole: Array = fresh + np.where(same, offset @ offset.T, 0.0)
        return whole
