"""What is known of a lot before its own first entry: a part or a merged lot begins with its line."""

from __future__ import annotations

from collections.abc import Callable

from sqlalchemy import Connection, select

from saltloft.plant.flow_story import DESCENT
from saltloft.plant.lot_state import LotState, carried_on
from saltloft.store.flow_projection import ancestors
from saltloft.store.tables import lot_link


def beginning(
    connection: Connection, lot: str, read: Callable[[str], LotState]
) -> tuple[LotState, frozenset[str]]:
    """The state a lot begins with, and the other subjects it rests on.

    Args:
        connection: Connection.
        lot: str.
        read: callable(lot) -> LotState. Of the lots it came of.
    """
    query = select(lot_link).where(lot_link.c.lot == lot, lot_link.c.sort.in_(DESCENT))
    rows = connection.execute(query.order_by(lot_link.c.number)).all()
    if not rows:
        return LotState(lot), frozenset()
    whole = [(read(row.source), int(row.mg)) for row in rows]
    return carried_on(lot, whole), frozenset(ancestors(connection, [lot]))


def merged_into(connection: Connection, lot: str) -> tuple[str, ...]:
    """The lot that a lot was merged into, if it was."""
    query = select(lot_link.c.lot).where(lot_link.c.source == lot, lot_link.c.sort == "merge")
    return tuple(connection.execute(query).scalars())
