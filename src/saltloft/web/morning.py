"""The last kept day sheet, read once and held until the worker kept a newer one."""

from __future__ import annotations

import threading
from dataclasses import dataclass

from fastapi import Request

from saltloft.foundation.words import LANGUAGE, say
from saltloft.house import House
from saltloft.jobs import lots, queue
from saltloft.plant.answers import DaySheet
from saltloft.plant.sentences import moment_words


@dataclass(frozen=True)
class Morning:
    """A day sheet as a page shows it.

    Args:
        day: DaySheet.
        pending: bool. True while newer entries are not in it yet.
        freshness: str. Its age and 'being recomputed' in words; empty when it is up to the last entry.
    """

    day: DaySheet
    pending: bool
    freshness: str


class DayShelf:
    """Holds the decoded day sheet of each language; reading it again costs one small query."""

    def __init__(self) -> None:
        self._held: dict[str, tuple[str, DaySheet]] = {}
        self._lock = threading.Lock()

    def get(self, house: House, language: str) -> DaySheet | None:
        """The newest kept day sheet of a language; English when that language has none yet."""
        for wanted in dict.fromkeys((language, "en")):
            key = queue.newest_day(house, wanted)
            if not key:
                continue
            with self._lock:
                held = self._held.get(wanted)
            if held is not None and held[0] == key:
                return held[1]
            found = queue.day(house, key)
            if found is not None:
                with self._lock:
                    self._held[wanted] = (key, found)
                return found
        return None


def morning_of(request: Request) -> Morning | None:
    """The day sheet for this request's language; None while none was computed yet."""
    house: House = request.app.state.house
    shelf: DayShelf = request.app.state.days
    day = shelf.get(house, LANGUAGE.get())
    if day is None:
        return None
    behind = lots.last_seq(house) - day.house.head.seq
    if behind <= 0:
        return Morning(day, pending=False, freshness="")
    words = say(
        "As of {when}, entry {seq}; being recomputed.",
        when=moment_words(day.at, str(house.zone), house.today()),
        seq=day.house.head.seq,
    )
    return Morning(day, pending=True, freshness=words)
