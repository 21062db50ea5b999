"""Nodes and links as the checks of a new entry ask for them: narrow queries in the writing transaction."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import Connection, func, select

from saltloft.plant.flow_story import DESCENT, FlowNode
from saltloft.store.flow_projection import Booked
from saltloft.store.moments import to_text
from saltloft.store.tables import lot_link, node_now

# What is worked up or leaves; samples, waste and ends are counted beside it.
_FREE = ("ship", "pack", "slice", "batch")
_FINISHING = ("slice", "pack", "return")


class FlowState:
    """What the tables of the flow say now.

    Args:
        connection: Connection. Inside a writing transaction, after what was accepted before was written.
    """

    def __init__(self, connection: Connection) -> None:
        self.connection = connection
        self._booked = Booked(connection)

    def node(self, name: str) -> FlowNode | None:
        """A node of any sort; None when there is none of that name."""
        return self._booked.node(name)

    def out_mg(
        self, name: str, *, after: datetime | None = None, leaving_out: str = "", free: bool = False
    ) -> int:
        """What went out of a node.

        Args:
            name: str.
            after: datetime or None. Only later than this.
            leaving_out: str. Id of an entry whose amounts do not count.
            free: bool. Only what was worked up or left the house.

        Returns:
            int. [mg]
        """
        query = select(func.sum(lot_link.c.mg)).where(lot_link.c.source == name)
        if after is not None:
            query = query.where(lot_link.c.at > to_text(after))
        if leaving_out:
            query = query.where(lot_link.c.entry_id != leaving_out)
        if free:
            query = query.where(lot_link.c.sort.in_(_FREE))
        return int(self.connection.execute(query).scalar() or 0)

    def lots_behind(self, name: str) -> tuple[str, ...]:
        """The lots that a pack lot, slices or a return are made of; a lot itself."""
        found, front = set(), {name}
        while front:
            links = self._into(front, _FINISHING)
            found |= front - {link[0] for link in links}
            front = {giver for _, giver in links}
        return self._lots_among(found)

    def all_lots_in(self, name: str) -> tuple[str, ...]:
        """Every lot that is in a thing in any number of steps, by rework, splitting and merging too."""
        found, front = {name}, {name}
        while front:
            front = {giver for _, giver in self._into(front, ())} - found
            found |= front
        return self._lots_among(found)

    def _into(self, names: set[str], sorts: tuple[str, ...]) -> list[tuple[str, str]]:
        query = select(lot_link).where(lot_link.c.lot.in_(sorted(names)))
        if sorts:
            query = query.where(lot_link.c.sort.in_(sorts))
        # What came back is what it was sent as, not the rest of its shipment.
        return [
            (row.lot, row.ingredient if row.sort == "return" else row.source)
            for row in self.connection.execute(query)
            if row.ingredient != "packaging"
        ]

    def _lots_among(self, names: set[str]) -> tuple[str, ...]:
        query = select(node_now.c.node).where(
            node_now.c.node.in_(sorted(names)), node_now.c.sort == "lot", node_now.c.state != "sliced"
        )
        return tuple(sorted(self.connection.execute(query).scalars()))

    def sent_mg(self, shipment: str, node: str, *, leaving_out: str = "") -> tuple[int, int]:
        """What of a node left with a shipment, and what of it came back. [mg]"""
        sent = select(func.sum(lot_link.c.mg)).where(lot_link.c.lot == shipment, lot_link.c.source == node)
        back = select(func.sum(lot_link.c.mg)).where(
            lot_link.c.source == shipment,
            lot_link.c.sort == "return",
            lot_link.c.ingredient == node,
            lot_link.c.entry_id != leaving_out,
        )
        return (
            int(self.connection.execute(sent).scalar() or 0),
            int(self.connection.execute(back).scalar() or 0),
        )

    def parts_of(self, lot: str) -> tuple[str, ...]:
        """The numbers under which a split or merged lot goes on."""
        query = select(lot_link.c.lot).where(lot_link.c.source == lot, lot_link.c.sort.in_(DESCENT))
        return tuple(self.connection.execute(query.order_by(lot_link.c.lot)).scalars())
