"""What the house knows while entries are taken in: names and running lot states, in one transaction."""

from __future__ import annotations

from typing import Any

from sqlalchemy import Connection

from saltloft.foundation.errors import UnknownName
from saltloft.plant.entries import versions
from saltloft.plant.lot_state import LotState
from saltloft.store import journal
from saltloft.store.stating import stated

# For each sort of name: the kinds that bring one into being.
DEFINING: dict[str, tuple[str, ...]] = {
    "room": ("room.defined/1",),
    "instrument": ("instrument.defined/1",),
    "product": ("product.defined/1",),
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
LOT_MAKING = ("lot.made/1", "ham.salted/1", "fresh.made/1")


class State:
    """Names and lot states, read on demand and kept up with every entry accepted meanwhile.

    Args:
        connection: Connection. Inside a writing transaction.
    """

    def __init__(self, connection: Connection) -> None:
        self.connection = connection
        self._named: dict[tuple[str, str], Any] = {}
        self._lots: dict[str, LotState] = {}
        self._somebody = False

    def find(self, sort: str, name: str) -> Any | None:
        """The payload that last defined a room, instrument, product and so on; None when there is none."""
        key = (sort, name)
        if key not in self._named:
            self._named[key] = self._read(sort, name)
        return self._named[key]

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
        if lot not in self._lots:
            state = LotState(lot)
            for item in sorted(
                stated(journal.of_subject(self.connection, lot)), key=lambda item: (item.at, item.seq)
            ):
                if not item.struck:
                    state.take(item.entry_id, item.payload, item.at)
            self._lots[lot] = state
        return self._lots[lot]

    def existing_lot(self, lot: str, key: str = "lot") -> LotState:
        """As `lot`.

        Raises:
            UnknownName: when nothing made it; with the nearest names.
        """
        state = self.lot(lot)
        if not state.exists:
            known = [name for name, one in self._lots.items() if one.exists]
            known += journal.subjects_of(self.connection, LOT_MAKING)
            raise UnknownName("lot", lot, known, key=key)
        return state

    def note(self, sort: str, name: str, payload: Any) -> None:
        """A name was defined by an entry just accepted."""
        self._named[(sort, name)] = payload

    def forget(self, subject: str) -> None:
        """What was read about a subject no longer holds (it was corrected)."""
        self._lots.pop(subject, None)
        for key in [key for key in self._named if key[1] == subject]:
            del self._named[key]

    def anybody_may(self) -> bool:
        """True while nobody was added yet: the first entries come from whoever sets the house up."""
        # Once somebody was added it stays so: the journal is not searched again for every entry.
        self._somebody = (
            self._somebody
            or bool(journal.subjects_of(self.connection, DEFINING["person"]))
            or any(sort == "person" and found is not None for (sort, _), found in self._named.items())
        )
        return not self._somebody

    def _read(self, sort: str, name: str) -> Any | None:
        found = None
        for item in stated(journal.of_subject(self.connection, name, DEFINING[sort])):
            if not item.struck:
                found = item.payload
        return found

    def _names(self, sort: str, kinds: tuple[str, ...]) -> list[str]:
        defined = [name for (one, name), found in self._named.items() if one == sort and found is not None]
        return defined + journal.subjects_of(self.connection, kinds)
