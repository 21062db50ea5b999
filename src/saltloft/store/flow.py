"""Every node and every link of the house, for lists, balances and the export."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from sqlalchemy import Connection, Row, func, select

from saltloft.plant.flow_story import FlowLink, FlowNode
from saltloft.store.database import Database
from saltloft.store.flow_state import FlowState
from saltloft.store.moments import from_text
from saltloft.store.tables import lot_link, node_now

_AT_ONCE = 400


class FlowTables:
    """The material flow as the reading tables hold it.

    Args:
        database: Database.
    """

    def __init__(self, database: Database) -> None:
        self.database = database

    def nodes(self, sorts: Sequence[str] = ()) -> list[FlowNode]:
        """Every node, by when it was made; with `sorts` only these."""
        query = select(node_now).order_by(node_now.c.made_at, node_now.c.node)
        if sorts:
            query = query.where(node_now.c.sort.in_(sorts))
        with self.database.reading() as connection:
            return [_node(row) for row in connection.execute(query)]

    def links(self, names: Sequence[str] | None = None) -> list[FlowLink]:
        """Every link, or those into or out of some nodes; by receiver and number."""
        with self.database.reading() as connection:
            rows = list(connection.execute(select(lot_link))) if names is None else _of(connection, names)
        return sorted((_link(row) for row in rows), key=lambda link: (link.lot, link.number))

    def left_mg(self, sorts: Sequence[str] = ("material", "pack")) -> dict[str, int]:
        """What is left by the book of every node of some sorts, where anything is. [mg]"""
        sums = select(lot_link.c.source, func.sum(lot_link.c.mg)).group_by(lot_link.c.source)
        found: dict[str, int] = {}
        with self.database.reading() as connection:
            gone = {row[0]: int(row[1]) for row in connection.execute(sums)}
            state = FlowState(connection)
            for row in connection.execute(select(node_now).where(node_now.c.sort.in_(sorts))).all():
                left = row.booked_mg - gone.get(row.node, 0)
                if row.counted_at:
                    left = row.counted_mg - state.out_mg(row.node, after=from_text(row.counted_at))
                if left > 0:
                    found[row.node] = left
        return found

    def lots_behind(self, name: str) -> tuple[str, ...]:
        """The lots that a pack lot, slices or a return are made of; a lot itself."""
        with self.database.reading() as connection:
            return FlowState(connection).lots_behind(name)


def _of(connection: Connection, names: Sequence[str]) -> list[Row[Any]]:
    found: dict[tuple[str, int], Row[Any]] = {}
    for start in range(0, len(names), _AT_ONCE):
        chunk = names[start : start + _AT_ONCE]
        for side in (lot_link.c.lot, lot_link.c.source):
            for row in connection.execute(select(lot_link).where(side.in_(chunk))):
                found[row.lot, row.number] = row
    return list(found.values())


def _node(row: Row[Any]) -> FlowNode:
    counted = from_text(row.counted_at) if row.counted_at else None
    return FlowNode(
        row.node,
        row.sort,
        row.product,
        row.booked_mg,
        from_text(row.made_at),
        row.party,
        row.state,
        row.counted_mg,
        counted,
    )


def _link(row: Row[Any]) -> FlowLink:
    return FlowLink(
        row.lot, row.source, row.ingredient, row.mg, row.entry_id, row.sort, from_text(row.at), row.number
    )
