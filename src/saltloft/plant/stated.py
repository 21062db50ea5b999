"""What was stated, by whom and when: the wrapper around every payload read back from the journal.

A door makes a `Draft`; `jobs.record.enter` answers with a `Receipt`; reading
gives `Stated` payloads. Nothing that is read back is without its entry id.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Generic, TypeVar

T = TypeVar("T")
T_co = TypeVar("T_co", covariant=True)


@dataclass(frozen=True)
class Stamp:
    """Who records, on which device, and when.

    Args:
        person: str. Id of the person.
        device: str. Id of the phone, tablet, reader or 'console'.
        recorded_at: datetime, aware. The server's clock when it was taken in.
    """

    person: str
    device: str
    recorded_at: datetime


@dataclass(frozen=True)
class Draft:
    """One entry as a door hands it in, before it is in the journal.

    Args:
        id: str. Made by the client, time-ordered (`entries.entry_id`), so that sending it twice
            is harmless; 8 to 64 letters, digits and hyphens.
        payload: object. One of the dataclasses listed in `entries.KINDS`.
        happened_at: datetime, aware. When it happened.
        seen: int or None. The seq its author looked at; refused when something later
            was stated about the same subject. None: depends on nothing seen.
        person: str. Empty: the stamp's person.
        device: str. Empty: the stamp's device.
        recorded_at: datetime or None. None: the stamp's; another moment is taken in the demo house only.
    """

    id: str
    payload: Any
    happened_at: datetime
    seen: int | None = None
    person: str = ""
    device: str = ""
    recorded_at: datetime | None = None


@dataclass(frozen=True)
class Receipt:
    """What became of one draft.

    Args:
        entry_id: str.
        status: str. 'stored'; 'already' (same id, same bytes: nothing to do); 'refused'
            (words say why, nothing was written); 'ask' (an unexpected number: send it again
            with kept=1, or mend it; nothing was written).
        words: str. One sentence for the person.
        seq: int. Its number in the journal; 0 when not stored.
        expected: str. What was expected and whether it fits; empty when there is nothing to compare.
        key: str. Field the refusal is about; may be empty.
        allowed: str. What would have been taken; may be empty.
    """

    entry_id: str
    status: str
    words: str
    seq: int = 0
    expected: str = ""
    key: str = ""
    allowed: str = ""


@dataclass(frozen=True)
class Correction:
    """A later entry that corrects or strikes out an earlier one.

    Args:
        entry_id: str. Id of the correcting entry.
        seq: int.
        at: datetime, aware. When it was recorded.
        person: str.
        reason: str.
        strikes: bool. True when the old entry counts no more and nothing replaces it.
    """

    entry_id: str
    seq: int
    at: datetime
    person: str
    reason: str
    strikes: bool


@dataclass(frozen=True)
class Stated(Generic[T_co]):
    """A payload as it counts now, with where it stands in the journal.

    Args:
        entry_id: str.
        seq: int.
        kind: str. Such as 'piece.weighed/1'.
        at: datetime, aware. When it happened.
        recorded_at: datetime, aware.
        person: str.
        device: str.
        payload: object. What counts now (the corrected values, if it was corrected).
        original: object. What was first stated; shown struck through when it differs.
        corrections: tuple of Correction, oldest first.
    """

    entry_id: str
    seq: int
    kind: str
    at: datetime
    recorded_at: datetime
    person: str
    device: str
    payload: T_co
    original: T_co
    corrections: tuple[Correction, ...] = ()

    @property
    def struck(self) -> bool:
        """True when the entry was struck out and counts no more."""
        return bool(self.corrections) and self.corrections[-1].strikes

    @property
    def corrected(self) -> bool:
        """True when any later entry corrects or strikes this one."""
        return bool(self.corrections)

    @property
    def entry_ids(self) -> tuple[str, ...]:
        """Its own id and those of its corrections: what a number taken from it rests on."""
        return (self.entry_id, *(correction.entry_id for correction in self.corrections))


def counting(statements: Sequence[Stated[Any]], sort: type[T]) -> tuple[Stated[T], ...]:
    """The statements of one payload class that are not struck out, by when they happened."""
    chosen = [item for item in statements if isinstance(item.payload, sort) and not item.struck]
    return tuple(sorted(chosen, key=lambda item: (item.at, item.seq)))
