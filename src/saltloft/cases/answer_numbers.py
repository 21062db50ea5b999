"""Numbers and fact rows as the JSON answers of the stand-alone calculations print them."""

from __future__ import annotations

import math
from collections.abc import Iterable

from saltloft.facts.loader import Facts

Json = dict[str, object]

# Far below the last digit of anything answered here, far above rounding noise.
NOISE = 1e-11


def number(value: float | None) -> float | None:
    """Six significant digits, or None for what is not a number."""
    if value is None or not math.isfinite(value):
        return None
    return float(f"{value:.6g}")


def series(values: Iterable[float]) -> list[float | None]:
    """A list of numbers with None where there is none; what is only rounding noise is 0."""
    return [0.0 if abs(value) < NOISE else number(float(value)) for value in values]


def fact_rows(keys: Iterable[str], facts: Facts) -> list[Json]:
    """The rows an answer rested on, each with value, unit, confidence and source.

    Args:
        keys: iterable of str. Fact keys; repeated ones are given once.
        facts: Facts.
    """
    rows: list[Json] = []
    for key in dict.fromkeys(keys):
        fact = facts.get(key)
        rows.append(
            {
                "key": key,
                "value": fact.value if isinstance(fact.value, str) else number(fact.number),
                "unit": fact.unit,
                "confidence": str(fact.confidence),
                "confirmed": facts.confirmed_by_source(key),
                "source": facts.source(key).title,
            }
        )
    return rows
