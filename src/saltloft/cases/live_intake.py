"""Taking live values: each topic into its own series, on disk at once, sealed by the stretch.

intake = Intake(house, topics)
intake.take("house/d2/temp", b"13.2", fresh=True)      # True: taken; False: refused and counted
intake.seal_due()                                       # seals every stretch that is over
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Protocol

import numpy as np

from saltloft.cases.open_house import OpenHouse
from saltloft.foundation.words import say
from saltloft.plant.live_values import FOREIGN, OTHER_VALUE, Refused, moment_of, read_payload
from saltloft.plant.readings import ReadingsSealed
from saltloft.plant.stated import Stamp
from saltloft.store.live import MINUTE
from saltloft.store.pending import Pending
from saltloft.store.settings import HouseSettings

# Live values come in the name of whoever keeps house.toml, which names their topics.
PERSON, DEVICE = "administrator", "mqtt"
# A stretch is sealed so long after its end: what is on its way still gets in.
GRACE_S = 60
# So many batches in one go: between them the broker is answered.
MOST_BATCHES = 20
_SHOWN = 60


class LiveHouse(OpenHouse, Protocol):
    """The part of an opened house that live values need."""

    @property
    def settings(self) -> HouseSettings: ...

    @property
    def folder(self) -> Path: ...

    def new_id(self) -> str: ...


class Intake:
    """Takes values, refuses others and counts both.

    Args:
        house: LiveHouse.
        topics: mapping of str to str. Series by topic.
        stretch_s: int. A batch covers so much, 60..3600 and a divisor of an hour. [s]
    """

    def __init__(self, house: LiveHouse, topics: Mapping[str, str], stretch_s: int = 900) -> None:
        self.house = house
        self.topics = dict(topics)
        self.stretch_s = stretch_s
        self.pending = Pending(house.folder)
        self.taken = 0
        self.refused: Counter[str] = Counter()
        self.last = ""

    def take(self, topic: str, payload: bytes, *, fresh: bool) -> bool:
        """Keep one value, or refuse and count it; one that came before is taken as known.

        Args:
            topic: str.
            payload: bytes.
            fresh: bool. False when the broker may have kept it.

        Returns:
            bool. False when it was refused.

        Raises:
            StoreError: it cannot be written to disk; the broker must not forget it.
        """
        series = self.topics.get(topic)
        try:
            if series is None:
                raise Refused(FOREIGN)
            said = read_payload(series, payload)
            at = moment_of(said, self.house.now(), fresh=fresh)
            known = self.pending.get(series, at)
            if known is not None and known != said.value:
                raise Refused(OTHER_VALUE)
        except Refused as error:
            self._refuse(error.reason, f"{topic[:_SHOWN]!r} {payload[:_SHOWN]!r}")
            return False
        if known is None:
            self.pending.add(series, at, said.value)
            self.taken += 1
        return True

    def seal_due(self) -> int:
        """Seal the stretches that ended a minute ago or longer, MOST_BATCHES at most.

        Returns:
            int. How many batches were sealed.

        Raises:
            StoreError: the database refused; the values wait on.
        """
        until = int(self.house.now().timestamp()) - GRACE_S
        due: dict[tuple[str, int], list[int]] = {}
        for series, values in self.pending.values.items():
            for at in values:
                start = at - at % self.stretch_s
                if start + self.stretch_s <= until:
                    due.setdefault((series, start), []).append(at)
        if not due:
            return 0
        sealed = 0
        for (series, _), moments in sorted(due.items())[:MOST_BATCHES]:
            own = self.pending.values[series]
            sealed += self._seal(series, {at: own[at] for at in sorted(moments)})
            self.pending.drop(series, moments)
        # The file last: what is sealed and still stands in it is known when it is read again.
        self.pending.save()
        return sealed

    def _seal(self, series: str, values: dict[int, float]) -> int:
        """One batch of what is new among the values; a minute with sealed values is sealed anew, whole."""
        held = self._held(series, values)
        new = {at: value for at, value in values.items() if at not in held}
        for at in values.keys() & held.keys():
            if held[at] != values[at]:
                moment = datetime.fromtimestamp(at, UTC).isoformat()
                self._refuse(OTHER_VALUE, f"{series} {moment} {values[at]:g}")
        if not new:
            return 0
        minutes = {at - at % MINUTE for at in new}
        whole = {**{at: value for at, value in held.items() if at - at % MINUTE in minutes}, **new}
        topic = next((topic for topic, own in self.topics.items() if own == series), "")
        entry_id = self.house.new_id()
        understood = (say("live values of the topic {topic}", topic=topic),) if topic else ()
        info = ReadingsSealed(
            entry_id,
            say("live values"),
            "",
            rows=0,
            digest="",
            series=(),
            first_at="",
            last_at="",
            understood=understood,
        )
        moments = sorted(whole)
        columns = np.array(moments, np.int64), np.array([whole[at] for at in moments], np.float64)
        by = Stamp(PERSON, DEVICE, self.house.now())
        self.house.store.live.seal(series, columns, info, by, entry_id)
        return 1

    def _held(self, series: str, values: dict[int, float]) -> dict[int, float]:
        """The sealed live values of the minutes the values fall in."""
        room, _, quantity = series.partition("/")
        first, last = min(values), max(values)
        start = datetime.fromtimestamp(first - first % MINUTE, UTC)
        end = datetime.fromtimestamp(last - last % MINUTE + MINUTE - 1, UTC)
        times, found = self.house.store.live.raw(room, quantity, start, end)
        return dict(zip(times.tolist(), found.tolist(), strict=True))

    def _refuse(self, reason: str, what: str) -> None:
        self.refused[reason] += 1
        self.last = what
