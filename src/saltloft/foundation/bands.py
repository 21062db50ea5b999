"""A number with its doubt: three quantiles of a distribution."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Band:
    """The 5, 50 and 95 per cent quantiles of one quantity.

    Args:
        p05: float or None. Lower end, in the quantity's own unit; None when not reached.
        p50: float or None. Median, same unit.
        p95: float or None. Upper end, same unit.
    """

    p05: float | None
    p50: float | None
    p95: float | None

    @property
    def width(self) -> float | None:
        """Distance from p05 to p95 in the quantity's own unit; None when an end is open."""
        if self.p05 is None or self.p95 is None:
            return None
        return self.p95 - self.p05
