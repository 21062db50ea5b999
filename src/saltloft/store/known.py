"""What the last writing transaction knew of names and lots, kept for the next one.

An entry on a lot with thousands of weighings would otherwise read them all
again. Nothing here is a record: everything follows from the journal, and each
transaction first asks whether the journal still ends where this stands. Where
another process wrote meanwhile, what it wrote about is forgotten; where the
chain is another one (a commit that failed, a copy put back), everything is.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any

from sqlalchemy import Connection, select

from saltloft.plant.lot_state import LotState
from saltloft.store import journal
from saltloft.store.flow_projection import next_of_kin
from saltloft.store.journal import NO_HASH, Entry
from saltloft.store.tables import journal as journal_table

# More than this is forgotten and read again when asked for; a lot's state takes some kilobytes.
MOST_LOTS = 2000
MOST_NAMES = 20_000


class Known:
    """Names and running lot states as of one entry of the journal; used under the writer's lock only."""

    def __init__(self) -> None:
        self._seq, self._hash = 0, NO_HASH
        self._names: dict[str, dict[str, Any]] = {}
        self._lots: dict[str, LotState] = {}
        # Lots whose state was read from entries about a subject: their own name, and what they came of.
        self._resting: dict[str, set[str]] = {}
        self.somebody = False

    @contextmanager
    def during(self, connection: Connection) -> Iterator[Known]:
        """This, brought up to the journal as it is; forgotten whole when the work inside fails."""
        # Only here: in the middle of a work something accepted, but not yet written, would be lost.
        if len(self._lots) > MOST_LOTS or len(self._names) > MOST_NAMES:
            self.forget_all()
        self._catch_up(connection)
        try:
            yield self
        except BaseException:
            self.forget_all()
            raise

    def _catch_up(self, connection: Connection) -> None:
        head = journal.head(connection)
        if (head.seq, head.hash) == (self._seq, self._hash) if head else self._seq == 0:
            return
        same = select(journal_table.c.hash).where(journal_table.c.seq == self._seq)
        if self._seq and connection.execute(same).scalar() != self._hash:
            self.forget_all()
        elif self._names or self._lots:
            later = select(journal_table.c.subject).where(journal_table.c.seq > self._seq).distinct()
            subjects = list(connection.execute(later).scalars())
            # Parts of a lot that was split meanwhile, and lots that were merged, have no entry of their own.
            for subject in (*subjects, *next_of_kin(connection, subjects)):
                self.forget(subject)
        self._seq, self._hash = (head.seq, head.hash) if head else (0, NO_HASH)

    @property
    def end(self) -> tuple[int, str]:
        """Seq and hash of the entry up to which this holds."""
        return self._seq, self._hash

    def stands_at(self, written: Sequence[Entry]) -> None:
        """The entries just written, all of which were taken in, are the end of the journal now."""
        for entry in written:
            if entry.seq > self._seq:
                self._seq, self._hash = entry.seq, entry.hash

    def lot(self, lot: str) -> LotState | None:
        """A lot's running state; None when it is not known here."""
        return self._lots.get(lot)

    def lots(self) -> Iterable[LotState]:
        """Every lot known here."""
        return self._lots.values()

    def keep_lot(self, state: LotState, rests_on: Iterable[str] = ()) -> None:
        """Keep a lot's state.

        Args:
            rests_on: iterable of str. Other subjects whose entries it was read from.
        """
        self._lots[state.lot] = state
        for subject in (state.lot, *rests_on):
            self._resting.setdefault(subject, set()).add(state.lot)

    def has_name(self, sort: str, name: str) -> bool:
        """Whether it is known if there is one of that name."""
        return sort in self._names.get(name, ())

    def named(self, sort: str, name: str) -> Any | None:
        """The payload that last defined a name; None when there is none, or it is not known."""
        return self._names.get(name, {}).get(sort)

    def keep_name(self, sort: str, name: str, payload: Any | None) -> None:
        """Keep what defined a name, or that nothing did."""
        self._names.setdefault(name, {})[sort] = payload

    def names(self, sort: str) -> list[str]:
        """Names of one sort that are known here."""
        return [name for name, sorts in self._names.items() if sorts.get(sort) is not None]

    def forget(self, subject: str) -> None:
        """What was read about a subject no longer holds."""
        self._names.pop(subject, None)
        for lot in self._resting.pop(subject, ()):
            self._lots.pop(lot, None)

    def forget_all(self) -> None:
        """Nothing here holds any more."""
        self._names.clear()
        self._lots.clear()
        self._resting.clear()
        self.somebody = False
        self._seq, self._hash = 0, NO_HASH
