"""The usual step between readings."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

_LONGEST_COUNTED = 1_000_000


def usual_step(times: npt.NDArray[np.floating[Any]] | npt.NDArray[np.int64]) -> int:
    """The commonest step forward between neighbours; 0 when there is none.

    Args:
        times: float64 or int64 array (n,). In any order, without NaN. [s]

    Returns:
        int. To the whole second; of equally common steps the shortest. [s]
    """
    steps = np.diff(times)
    steps = np.rint(steps[steps > 0]).astype(np.int64)
    if not steps.size:
        return 0
    short = steps[steps < _LONGEST_COUNTED]
    # Counting beats sorting by far on long files; steps of more than 11 days are rare enough to sort.
    if 2 * short.size >= steps.size:
        return int(np.bincount(short).argmax())
    values, counts = np.unique(steps, return_counts=True)
    return int(values[np.argmax(counts)])
