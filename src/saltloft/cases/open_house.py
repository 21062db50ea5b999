"""What a case or a job is handed: an opened house, without knowing who opened it."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Protocol
from zoneinfo import ZoneInfo

from saltloft.facts.loader import Facts
from saltloft.plant.answers import HouseFace
from saltloft.store.open import Store


class OpenHouse(Protocol):
    """The part of `saltloft.House` that cases and jobs use."""

    @property
    def store(self) -> Store: ...

    @property
    def facts(self) -> Facts: ...

    @property
    def zone(self) -> ZoneInfo: ...

    @property
    def demo(self) -> bool: ...

    @property
    def promise_sure(self) -> float: ...

    def now(self) -> datetime: ...

    def face(self) -> HouseFace: ...


# A moment this close to now is now: nothing that was recorded needs to be left out.
AS_GOOD_AS_NOW = timedelta(seconds=5)


def known_at(house: OpenHouse, at: datetime) -> datetime | None:
    """What to hand the store as `asof`: None, which is quick, when `at` is now."""
    return None if house.now() - at <= AS_GOOD_AS_NOW else at
