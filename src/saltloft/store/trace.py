"""Following weighed links from one thing to everything, up or down: the same statements on both databases.

The links are walked by the database itself (one recursive statement); what is
then needed about the nodes that were found comes in a few narrow reads.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from sqlalchemy import CTE, Column, Connection, Select, func, select

from saltloft.foundation.errors import UnknownName
from saltloft.foundation.words import say
from saltloft.plant.trace import DOWN, Flow, Link, Node
from saltloft.store.database import Database
from saltloft.store.tables import contact, lot_link, lot_room, node_now

# Names handed over in one statement; both databases take more, but plan it no better.
AT_ONCE = 800
# Sorts behind every sign that a number can bear.
LAST_SIGN = "\U0010ffff"
_NODE = (
    node_now.c.node,
    node_now.c.sort,
    node_now.c.product,
    node_now.c.booked_mg,
    node_now.c.made_at,
    node_now.c.party,
    node_now.c.state,
    node_now.c.counted_mg,
    node_now.c.counted_at,
)
_LINK = (
    lot_link.c.source,
    lot_link.c.lot,
    lot_link.c.sort,
    lot_link.c.mg,
    lot_link.c.at,
    lot_link.c.ingredient,
    lot_link.c.entry_id,
)


class Trace:
    """Nodes and links, read from the reading tables only.

    Args:
        database: Database.
    """

    def __init__(self, database: Database) -> None:
        self.database = database

    def flow(self, starts: Sequence[str], direction: str = DOWN, at: str = "") -> Flow:
        """Everything that can be reached from some nodes.

        Args:
            starts: sequence of str.
            direction: str. DOWN or UP.
            at: str. UTC text; only links of that moment or earlier. Empty: all.

        Raises:
            UnknownName: a start nobody knows, with the nearest names.
        """
        with self.database.reading() as connection:
            known = self._nodes(connection, starts)
            for start in starts:
                if start not in known:
                    raise UnknownName(say("thing"), start, self._near(connection, start), key="node")
            reach = _reach(starts, direction, at)
            links = _links_in(connection, reach, direction, at)
            inside = select(*_NODE).where(node_now.c.node.in_(select(reach.c.node)))
            nodes = {row[0]: _node(row) for row in connection.execute(inside).all()}
            self._by_rooms(connection, nodes)
            in_mg, out_mg = _sums(connection, links, reach, direction, at)
        for link in links:
            for name in (link.source, link.lot):
                if name not in nodes:
                    # Its own entry was struck out; what was booked from or to it still stands.
                    nodes[name] = Node(name, "material" if name not in in_mg else "lot", state="struck")
        return Flow(tuple(starts), direction, nodes, links, in_mg, out_mg)

    def node(self, name: str) -> Node | None:
        """One node; None when there is none of that number."""
        with self.database.reading() as connection:
            return self._nodes(connection, [name]).get(name)

    def nodes(self, names: Iterable[str]) -> dict[str, Node]:
        """The nodes of these numbers that are known."""
        with self.database.reading() as connection:
            return self._nodes(connection, names)

    def everything(self) -> tuple[dict[str, Node], list[Link]]:
        """Every node and link there is, links by when they happened; for an export."""
        with self.database.reading() as connection:
            rows = connection.execute(select(*_NODE).order_by(node_now.c.made_at, node_now.c.node))
            nodes = {row[0]: _node(row) for row in rows}
            query = select(*_LINK).order_by(lot_link.c.at, lot_link.c.lot, lot_link.c.number)
            return nodes, list(map(Link._make, connection.execute(query)))

    def beginning(self, text: str, most: int = 20) -> list[Node]:
        """Nodes whose number begins with a text, capital or small, by number."""
        with self.database.reading() as connection:
            return self._beginning(connection, text, most)

    def of_party(self, party: str, start: str = "", end: str = "9999") -> list[Node]:
        """What came from a supplier or left for a customer in a stretch of time, by when.

        Args:
            party: str.
            start, end: str. UTC texts; from start to before end.
        """
        query = select(*_NODE).where(
            node_now.c.party == party, node_now.c.made_at >= start, node_now.c.made_at < end
        )
        return self._list(query)

    def made_between(self, start: str, end: str, sorts: Sequence[str], product: str = "") -> list[Node]:
        """What was made, received, packed or sent in a stretch of time, by when.

        Args:
            start, end: str. UTC texts; from start to before end.
            sorts: sequence of str. Sorts of node.
            product: str. Empty: of every product.
        """
        query = select(*_NODE).where(
            node_now.c.sort.in_(sorts), node_now.c.made_at >= start, node_now.c.made_at < end
        )
        return self._list(query.where(node_now.c.product == product) if product else query)

    def links_of(self, names: Iterable[str]) -> list[Link]:
        """Every link from or to these nodes, one step."""
        found: dict[tuple[str, ...], Link] = {}
        with self.database.reading() as connection:
            for side in (lot_link.c.source, lot_link.c.lot):
                for link in _links(connection, side, names):
                    found[(link.source, link.lot, link.sort, link.entry_id, link.ingredient)] = link
        return list(found.values())

    def taken_aside(self) -> list[Link]:
        """What came off each node as ends, samples and waste: one link a giver and sort, without a day."""
        query = (
            select(lot_link.c.source, lot_link.c.sort, func.sum(lot_link.c.mg))
            .where(lot_link.c.sort.in_(("ends", "sample", "waste")))
            .group_by(lot_link.c.source, lot_link.c.sort)
        )
        with self.database.reading() as connection:
            rows = list(connection.execute(query))
        return [Link(source, f"{source}/{sort}", sort, int(mg)) for source, sort, mg in rows]

    def contact_cards(self, parties: Iterable[str]) -> dict[str, tuple[str, str]]:
        """Name and address of suppliers and customers, from outside the chain; erased ones are left out."""
        found: dict[str, tuple[str, str]] = {}
        with self.database.reading() as connection:
            for some in _chunks(parties):
                query = select(contact.c.contact, contact.c.name, contact.c.address)
                rows = connection.execute(query.where(contact.c.contact.in_(some)))
                found.update({party: (name, address) for party, name, address in rows})
        return found

    def _list(self, query: Select[Any]) -> list[Node]:
        with self.database.reading() as connection:
            rows = connection.execute(query.order_by(node_now.c.made_at, node_now.c.node))
            return [_node(row) for row in rows]

    def _nodes(self, connection: Connection, names: Iterable[str]) -> dict[str, Node]:
        found = {}
        for some in _chunks(names):
            for row in connection.execute(select(*_NODE).where(node_now.c.node.in_(some))):
                found[row[0]] = _node(row)
        self._by_rooms(connection, found)
        return found

    def _by_rooms(self, connection: Connection, found: dict[str, Node]) -> None:
        """A held lot hangs or not: the hold does not say, its rooms do."""
        for some in _chunks(name for name, node in found.items() if node.state == "held"):
            query = select(lot_room.c.lot).where(lot_room.c.lot.in_(some), lot_room.c.end_at == "")
            hanging = set(connection.execute(query).scalars())
            for name in some:
                found[name] = found[name]._replace(state="hanging" if name in hanging else "off_racks")

    def _beginning(self, connection: Connection, text: str, most: int) -> list[Node]:
        # As typed or in capitals, numbers are found by the index; only then is every number looked at.
        for typed in dict.fromkeys((text, text.upper())):
            last = f"{typed}{LAST_SIGN}"
            query = select(*_NODE).where(node_now.c.node >= typed, node_now.c.node <= last)
            found = connection.execute(query.order_by(node_now.c.node).limit(most)).all()
            if found:
                return [_node(row) for row in found]
        begins = func.lower(node_now.c.node).like(_like(text.lower()) + "%", escape="!")
        query = select(*_NODE).where(begins).order_by(node_now.c.node).limit(most)
        return [_node(row) for row in connection.execute(query)]

    def _near(self, connection: Connection, text: str) -> list[str]:
        near = [node.node for node in self._beginning(connection, text[:3], 200)]
        return near or list(connection.execute(select(node_now.c.node).limit(200)).scalars())


def _ends(direction: str) -> tuple[Column[str], Column[str]]:
    """The end from which a link is walked, and the one it leads to."""
    return (lot_link.c.source, lot_link.c.lot) if direction == DOWN else (lot_link.c.lot, lot_link.c.source)


def _reach(starts: Sequence[str], direction: str, at: str) -> CTE:
    """The statement that walks: every node that links lead to, each once."""
    here, there = _ends(direction)
    reach = select(node_now.c.node).where(node_now.c.node.in_(list(starts))).cte("reach", recursive=True)
    step = select(there).join(reach, here == reach.c.node)
    return reach.union(step.where(lot_link.c.at <= at) if at else step)


def _links_in(connection: Connection, reach: CTE, direction: str, at: str) -> tuple[Link, ...]:
    here, _ = _ends(direction)
    query = select(*_LINK).where(here.in_(select(reach.c.node))).order_by(lot_link.c.lot, lot_link.c.number)
    if at:
        query = query.where(lot_link.c.at <= at)
    return tuple(map(Link._make, connection.execute(query).all()))


def _links(connection: Connection, side: Column[str], names: Iterable[str]) -> Iterator[Link]:
    for some in _chunks(names):
        query = select(*_LINK).where(side.in_(some)).order_by(lot_link.c.lot, lot_link.c.number)
        yield from map(Link._make, connection.execute(query))


def _sums(
    connection: Connection, links: Sequence[Link], reach: CTE, direction: str, at: str
) -> tuple[dict[str, int], dict[str, int]]:
    """All that went into and out of each node, also from and to what is not in the flow. [mg]"""
    _, there = _ends(direction)
    own: dict[str, int] = {}
    for link in links:
        # Every link at this end of a node was walked.
        name = link.source if direction == DOWN else link.lot
        own[name] = own.get(name, 0) + link.mg
    query = select(there, func.sum(lot_link.c.mg)).where(there.in_(select(reach.c.node))).group_by(there)
    if at:
        query = query.where(lot_link.c.at <= at)
    others = {name: int(mg) for name, mg in connection.execute(query).all()}
    return (others, own) if direction == DOWN else (own, others)


def _node(row: Sequence[Any]) -> Node:
    node, sort, product, booked_mg, made_at, party, state, counted_mg, counted_at = row
    counted = int(counted_mg) if counted_at else None
    return Node(node, sort, product, int(booked_mg), made_at, party, state, counted)


def _like(text: str) -> str:
    """A text whose signs mean themselves in LIKE ... ESCAPE '!'."""
    return text.replace("!", "!!").replace("%", "!%").replace("_", "!_")


def _chunks(names: Iterable[str]) -> Iterator[list[str]]:
    every = list(names)
    for start in range(0, len(every), AT_ONCE):
        yield every[start : start + AT_ONCE]
