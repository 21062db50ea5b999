"""What a case or a job is handed: an opened house, without knowing who opened it."""

from __future__ import annotations

from datetime import datetime
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

    def now(self) -> datetime: ...

    def face(self) -> HouseFace: ...
