"""The journal as people look through it: what was stated, by whom, on what, and what became of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Protocol

from saltloft.plant.people import EnteredOffline
from saltloft.plant.readings import Corrected
from saltloft.plant.stated import Stated
from saltloft.store.devices import Devices
from saltloft.store.moments import from_text
from saltloft.store.open import Store
from saltloft.store.records import Records, Wanted
from saltloft.store.stating import payload_of

LINES = 50

__all__ = ["LINES", "Looked", "RecordLine", "Wanted", "kinds", "look"]


class RecordsHouse(Protocol):
    """The part of an opened house that looking through its records needs."""

    @property
    def store(self) -> Store: ...


@dataclass(frozen=True)
class RecordLine:
    """One entry of the journal.

    Args:
        seq: int.
        entry_id, kind, subject, person, device, hash: str.
        happened_at, recorded_at: datetime, aware.
        payload: object. As first stated.
        stated: Stated or None. With what counts now; None for a correction.
        corrects: str. Id of the entry it corrects; empty when it is no correction.
        reason: str. Of a correction.
        offline: EnteredOffline or None. It was entered without a network, with what was stated beside it.
    """

    seq: int
    entry_id: str
    kind: str
    subject: str
    person: str
    device: str
    hash: str
    happened_at: datetime
    recorded_at: datetime
    payload: Any
    stated: Stated[Any] | None
    corrects: str = ""
    reason: str = ""
    offline: EnteredOffline | None = None


@dataclass(frozen=True)
class Looked:
    """One look through the journal.

    Args:
        lines: tuple of RecordLine. Newest first.
        back_to: int. The next look begins before this seq; 0: nothing is left.
    """

    lines: tuple[RecordLine, ...]
    back_to: int


def look(house: RecordsHouse, wanted: Wanted, before: int = 0, limit: int = LINES) -> Looked:
    """The newest entries that fit, before a seq (0: from the end)."""
    page = Records(house.store.database).look(wanted, before, limit)
    marks = _marks(house, [entry.id for entry, _ in page.entries])
    lines = []
    for entry, said in page.entries:
        payload = payload_of(entry)
        correction = payload if isinstance(payload, Corrected) else None
        lines.append(
            RecordLine(
                entry.seq,
                entry.id,
                entry.kind,
                entry.subject,
                entry.person,
                entry.device,
                entry.hash,
                from_text(entry.happened_at),
                from_text(entry.recorded_at),
                payload,
                said,
                correction.entry if correction else "",
                correction.reason if correction else "",
                marks.get(entry.id),
            )
        )
    return Looked(tuple(lines), page.back_to)


def kinds(house: RecordsHouse) -> list[str]:
    """Every kind that was ever stated, without its version."""
    return Records(house.store.database).kinds()


def _marks(house: RecordsHouse, entries: Sequence[str]) -> dict[str, EnteredOffline]:
    found = {}
    for mark in Devices(house.store.database).marks_beside(entries):
        found.update(dict.fromkeys(mark.entries, mark))
    return found
