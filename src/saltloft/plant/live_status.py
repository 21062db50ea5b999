"""How the listening for live values stands, kept as one line for `doctor` and `/health`."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from saltloft.foundation.words import say, say_many
from saltloft.plant.live_values import refusal_words

# Without a sign for so long, what was noted last says nothing any more.
SILENT = timedelta(minutes=5)


@dataclass(frozen=True)
class LiveStatus:
    """How it stands.

    Args:
        since: datetime, aware. Since when it is connected, or not.
        heard: datetime, aware. When this was noted.
        connected: bool.
        why: str. Why not; empty when connected.
        taken: int. Values taken since the worker started.
        waiting: int. Values taken but not sealed yet.
        refused: mapping of str to int. Values refused since then, by reason.
        last: str. Topic and payload refused last, shortened; empty when none.
    """

    since: datetime
    heard: datetime
    connected: bool
    why: str = ""
    taken: int = 0
    waiting: int = 0
    refused: Mapping[str, int] = field(default_factory=dict)
    last: str = ""

    def to_text(self) -> str:
        """As kept."""
        plain = {**asdict(self), "since": self.since.isoformat(), "heard": self.heard.isoformat()}
        return json.dumps(plain, sort_keys=True)

    @classmethod
    def from_text(cls, text: str) -> LiveStatus:
        """As kept by `to_text`."""
        plain = json.loads(text)
        times = {name: datetime.fromisoformat(plain[name]) for name in ("since", "heard")}
        return cls(**{**plain, **times})

    def live(self, now: datetime) -> bool:
        """True when it is connected, and said so lately."""
        return self.connected and now - self.heard <= SILENT

    def words(self, now: datetime, zone: ZoneInfo) -> str:
        """One or two sentences: connected or not since when, what was taken and what refused."""
        if self.connected and not self.live(now):
            return say("nothing heard of the listening since {when}", when=_clock(self.heard, zone))
        if self.connected:
            head = say("connected since {when}", when=_clock(self.since, zone))
        else:
            head = say("not connected since {when}: {why}", when=_clock(self.since, zone), why=self.why)
        counts = say_many("{count} value taken", "{count} values taken", self.taken)
        parts = [f"{head}; {counts}"]
        for reason, count in sorted(self.refused.items()):
            words = refusal_words(reason)
            parts.append(say_many("{count} refused, {why}", "{count} refused, {why}", count, why=words))
        if self.last:
            parts.append(say("the last refused: {what}", what=self.last))
        return "; ".join(parts)


def _clock(at: datetime, zone: ZoneInfo) -> str:
    return at.astimezone(zone).isoformat(" ", "minutes")
