"""What each scale at a rack shows just now, held in memory: a weighing is only what a person enters."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass

# A scale that said nothing for this long shows nothing any more. [s]
FRESH_S = 10.0


@dataclass(frozen=True)
class Shown:
    """The last a scale said.

    Args:
        number, unit: str. As the scale shows them.
        still: bool. False while it moves.
        at: float. Seconds of a clock that only runs on.
    """

    number: str
    unit: str
    still: bool
    at: float


class ScaleShelf:
    """The last reading of every scale.

    Args:
        clock: callable() -> float. Seconds of a clock that only runs on.
    """

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._shown: dict[str, Shown] = {}
        self._lock = threading.Lock()

    def put(self, scale: str, number: str, unit: str, *, still: bool) -> None:
        """Keep what a scale shows."""
        with self._lock:
            self._shown[scale] = Shown(number, unit, still, self._clock())

    def get(self, scale: str) -> Shown | None:
        """What a scale shows; None when it has said nothing lately."""
        with self._lock:
            found = self._shown.get(scale)
        return found if found is not None and self._clock() - found.at <= FRESH_S else None
