"""The permit that `jobs.release` hands to `jobs.record`: every hazard was asked, by this person, just now."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True)
class ReleasePermit:
    """What the release rests on; `jobs.record` refuses a LotReleased without one that fits.

    Args:
        lot: str.
        market: str. As LotReleased.market.
        verdict_digest: str. As LotReleased.verdict_digest.
        person: str. Who signs; must have the right.
        judged_at: datetime, aware.
        seen: int. `LotRecord.last_seq` that was judged; anything later about the lot refuses it.
    """

    lot: str
    market: str
    verdict_digest: str
    person: str
    judged_at: datetime
    seen: int
