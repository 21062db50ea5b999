"""What the house knows while entries are taken in: names and running lot states."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import Connection

from saltloft.foundation.errors import UnknownName
from saltloft.plant.entries import versions
from saltloft.plant.lot_state import LotState
from saltloft.store import journal
from saltloft.store.journal import Entry
from saltloft.store.known import Known
from saltloft.store.line_state import beginning, merged_into
from saltloft.store.stating import stated

# For each sort of name: the kinds that bring one into being.
DEFINING: dict[str, tuple[str, ...]] = {
    "room": ("room.defined/1",),
    "instrument": ("instrument.defined/1",),
    "product": versions("product.defined"),
    "recipe": ("recipe.defined/1",),
    "material lot": versions("material.received"),
    "party": ("party.added/1",),
    "order": ("order.placed/1",),
    "pack lot": ("pack.made/1",),
    "slices": ("lot.sliced/1",),
    "shipment": ("shipment.sent/1",),
    "return": ("goods.returned/1",),
    "person": ("person.added/1",),
    "batch": ("readings.sealed/1",),
    "house": ("house.set_up/1",),
}
LOT_MAKING = (*versions("lot.made"), *versions("ham.salted"), *versions("fresh.made"))


class State:
    """Names and lot states, read on demand and kept up with every entry accepted meanwhile.

    Args:
        connection: Connection. Inside a writing transaction.
        known: Known. What the transaction before knew, brought up to the journal as it is.
    """

    def __init__(self, connection: Connection, known: Known) -> None:
        self.connection = connection
        self._known = known
        self._late: set[str] = set()

    def find(self, sort: str, name: str) -> Any | None:
        """The payload that last defined a room, instrument, product and so on; None when there is none."""
        if not self._known.has_name(sort, name):
            self._known.keep_name(sort, name, self._read(sort, name))
        return self._known.named(sort, name)

    def get(self, sort: str, name: str, key: str) -> Any:
        """As `find`.

        Raises:
            UnknownName: with the nearest names.
        """
        found = self.find(sort, name)
        if found is None:
            raise UnknownName(sort, name, self._names(sort, DEFINING[sort]), key=key)
        return found

    def lot(self, lot: str) -> LotState:
        """A lot's running state; one that does not exist yet has made_at None."""
        found = self._known.lot(lot)
        if found is None:
            found, resting = self._read_lot(lot)
            self._known.keep_lot(found, resting)
        return found

    def _read_lot(self, lot: str) -> tuple[LotState, frozenset[str]]:
        """Its state, and the other subjects that it was read from."""
        state, resting = beginning(self.connection, lot, self.lot)
        said = stated(journal.of_subject(self.connection, lot))
        for item in sorted(said, key=lambda item: (item.at, item.seq)):
            if not item.struck:
                state.take(item.entry_id, item.payload, item.at)
        merged = merged_into(self.connection, lot)
        state.ended = state.ended or bool(merged)
        return state, resting | frozenset(merged)

    def take(self, lot: str, entry_id: str, payload: Any, at: datetime) -> None:
        """An entry about a lot was accepted."""
        state = self.lot(lot)
        if state.last_at is not None and at < state.last_at:
            # Entries count in the order in which they happened: read it anew once this one is written.
            self._late.add(lot)
        state.take(entry_id, payload, at)

    def existing_lot(self, lot: str, key: str = "lot") -> LotState:
        """As `lot`.

        Raises:
            UnknownName: when nothing made it; with the nearest names.
        """
        state = self.lot(lot)
        if not state.exists:
            known = [one.lot for one in self._known.lots() if one.exists]
            known += journal.subjects_of(self.connection, LOT_MAKING)
            raise UnknownName("lot", lot, known, key=key)
        return state

    def note(self, sort: str, name: str, payload: Any) -> None:
        """A name was defined by an entry just accepted."""
        self._known.keep_name(sort, name, payload)

    def forget(self, subject: str) -> None:
        """What was read about a subject no longer holds (it was corrected)."""
        self._known.forget(subject)

    @property
    def end(self) -> tuple[int, str]:
        """Seq and hash of the journal's end, as read in this transaction and written since."""
        return self._known.end

    def written(self, entries: Sequence[Entry]) -> None:
        """Everything accepted until now is in the journal."""
        self._known.stands_at(entries)
        for lot in self._late:
            self._known.forget(lot)
        self._late.clear()

    def anybody_may(self) -> bool:
        """True while nobody was added yet: the first entries come from whoever sets the house up."""
        # Once somebody was added it stays so: the journal is not searched again for every entry.
        self._known.somebody = (
            self._known.somebody
            or bool(self._known.names("person"))
            or bool(journal.subjects_of(self.connection, DEFINING["person"]))
        )
        return not self._known.somebody

    def _read(self, sort: str, name: str) -> Any | None:
        found = None
        for item in stated(journal.of_subject(self.connection, name, DEFINING[sort])):
            if not item.struck:
                found = item.payload
        return found

    def _names(self, sort: str, kinds: tuple[str, ...]) -> list[str]:
        return self._known.names(sort) + journal.subjects_of(self.connection, kinds)
