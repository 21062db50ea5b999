"""Comparing plain forms of entries across versions."""

from __future__ import annotations

from typing import Any


def still_says(now: Any, then: Any) -> bool:
    """Whether today's shape still says everything that was said then."""
    if isinstance(then, dict):
        known = isinstance(now, dict) and then.keys() <= now.keys()
        return known and all(still_says(now[name], said) for name, said in then.items())
    if isinstance(then, list):
        return len(now) == len(then) and all(map(still_says, now, then))
    return bool(now == then)
