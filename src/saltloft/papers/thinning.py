"""Thin a long series for a chart without losing its extremes."""

from __future__ import annotations

from collections.abc import Sequence


def thin(time: Sequence[float], values: Sequence[float], buckets: int) -> tuple[list[float], list[float]]:
    """At most two points a bucket of equal count: its lowest and its highest, in time order.

    Args:
        time: sequence (n,) of float. Ascending, any unit.
        values: sequence (n,) of float.
        buckets: int. How many stretches the series is cut into, at least 1.

    Returns:
        tuple of list. Times and values; the first and the last point are always kept.

    Example:
        >>> thin([0, 1, 2, 3, 4, 5], [0, 9, 1, 1, -7, 0], 1)
        ([0, 1, 4, 5], [0, 9, -7, 0])
    """
    count = len(time)
    if count <= 2 * buckets + 2:
        return list(time), list(values)
    kept = {0, count - 1}
    for bucket in range(buckets):
        start, end = bucket * count // buckets, (bucket + 1) * count // buckets
        inside = range(start, max(end, start + 1))
        kept.add(min(inside, key=values.__getitem__))
        kept.add(max(inside, key=values.__getitem__))
    order = sorted(kept)
    return [time[index] for index in order], [values[index] for index in order]
