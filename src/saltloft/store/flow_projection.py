"""The tables of the material flow: links between nodes, and every node with what is booked on it.

A subject's rows are computed from all of its entries that book mass, in the
order in which the subjects first did; parts and merged lots are computed anew
when the lot they came from changes.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime

from sqlalchemy import Connection, delete, func, insert, select

from saltloft.plant.entries import KINDS
from saltloft.plant.flow_story import DESCENT, TELLING, Flow, FlowNode, flow_of
from saltloft.store import journal
from saltloft.store.journal import CORRECTION, Entry
from saltloft.store.moments import from_text, to_text
from saltloft.store.stating import stated
from saltloft.store.tables import lot_link, node_now

_NAMES = {kind.partition("/")[0] for kind, sort in KINDS.items() if sort in TELLING}
# Every kind that books mass, in every version.
FLOW_KINDS = tuple(kind for kind in KINDS if kind.partition("/")[0] in _NAMES)
_AT_ONCE = 400


class Booked:
    """Nodes of other subjects, from the tables."""

    def __init__(self, connection: Connection) -> None:
        self.connection = connection

    def node(self, name: str) -> FlowNode | None:
        row = self.connection.execute(select(node_now).where(node_now.c.node == name)).first()
        if row is None:
            return None
        counted = from_text(row.counted_at) if row.counted_at else None
        made = from_text(row.made_at)
        return FlowNode(
            row.node,
            row.sort,
            row.product,
            row.booked_mg,
            made,
            row.party,
            row.state,
            row.counted_mg,
            counted,
        )

    def out_mg(self, name: str) -> int:
        """What went out, but into the same sausage under another number. [mg]"""
        sums = select(func.sum(lot_link.c.mg)).where(
            lot_link.c.source == name, lot_link.c.sort.not_in(DESCENT)
        )
        return int(self.connection.execute(sums).scalar() or 0)


def update(connection: Connection, entries: Iterable[Entry]) -> set[str]:
    """Bring links and nodes up to entries just appended.

    Returns:
        set of str. Lots whose own rows follow: those that were split or merged, and what came of them.
    """
    entries = list(entries)
    booking = {entry.subject for entry in entries if entry.kind in FLOW_KINDS or entry.kind == CORRECTION}
    if not booking:
        return set()
    before = descendants(connection, booking) | _merged_into(connection, booking)
    _project(connection, booking | before)
    after = descendants(connection, booking) | _merged_into(connection, booking)
    if after - before:
        # What a corrected split or merge brought about anew.
        _project(connection, after - before)
    return booking | before | after


def rebuild(connection: Connection) -> None:
    """Fill the empty tables from the journal alone."""
    known = journal.of_kinds(connection, FLOW_KINDS)
    for subject in sorted(known, key=lambda name: known[name][0].seq):
        _write(connection, subject, flow_of(subject, stated(known[subject]), Booked(connection)))


def descendants(connection: Connection, lots: Iterable[str]) -> set[str]:
    """Every lot that came of some lots by splitting and merging, in any number of steps."""
    return _closure(connection, lots, down=True)


def ancestors(connection: Connection, lots: Iterable[str]) -> set[str]:
    """Every lot that some lots came of by splitting and merging, in any number of steps."""
    return _closure(connection, lots, down=False)


def _closure(connection: Connection, lots: Iterable[str], *, down: bool) -> set[str]:
    giver, receiver = lot_link.c.source, lot_link.c.lot
    given, wanted = (giver, receiver) if down else (receiver, giver)
    found: set[str] = set()
    front = sorted(set(lots))
    while front:
        reached: set[str] = set()
        for start in range(0, len(front), _AT_ONCE):
            query = select(wanted).where(
                given.in_(front[start : start + _AT_ONCE]), lot_link.c.sort.in_(DESCENT)
            )
            reached.update(connection.execute(query).scalars())
        front = sorted(reached - found)
        found |= reached
    return found


def tied(connection: Connection, lots: Sequence[str]) -> list[str]:
    """Those of some lots that were split or merged, or came of it."""
    found: set[str] = set()
    for side in (lot_link.c.lot, lot_link.c.source):
        for start in range(0, len(lots), _AT_ONCE):
            chosen = side.in_(lots[start : start + _AT_ONCE])
            query = select(side).where(chosen, lot_link.c.sort.in_(DESCENT))
            found.update(connection.execute(query).scalars())
    return sorted(found)


def next_of_kin(connection: Connection, lots: Sequence[str]) -> set[str]:
    """The lots one step away from some lots by splitting and merging, up and down."""
    found: set[str] = set()
    for here, there in ((lot_link.c.source, lot_link.c.lot), (lot_link.c.lot, lot_link.c.source)):
        for start in range(0, len(lots), _AT_ONCE):
            chosen = here.in_(lots[start : start + _AT_ONCE])
            query = select(there).where(chosen, lot_link.c.sort.in_(DESCENT))
            found.update(connection.execute(query).scalars())
    return found


def _merged_into(connection: Connection, lots: Iterable[str]) -> set[str]:
    """The lots that some merged lots were made of: they hang nowhere now, or again."""
    names = sorted(lots)
    query = select(lot_link.c.source).where(lot_link.c.lot.in_(names), lot_link.c.sort.in_(DESCENT))
    return set(connection.execute(query).scalars())


def _project(connection: Connection, subjects: Iterable[str]) -> None:
    known = {name: journal.of_subject(connection, name, FLOW_KINDS) for name in subjects}
    telling = {name: [entry for entry in found if entry.kind != CORRECTION] for name, found in known.items()}
    for subject in sorted(known, key=lambda name: telling[name][0].seq if telling[name] else 0):
        _clear(connection, subject, [entry.id for entry in telling[subject]])
        if telling[subject]:
            _write(connection, subject, flow_of(subject, stated(known[subject]), Booked(connection)))


def _clear(connection: Connection, subject: str, entry_ids: Sequence[str]) -> None:
    connection.execute(delete(node_now).where(node_now.c.subject == subject))
    for start in range(0, len(entry_ids), _AT_ONCE):
        chunk = entry_ids[start : start + _AT_ONCE]
        connection.execute(delete(lot_link).where(lot_link.c.entry_id.in_(chunk)))


def _write(connection: Connection, subject: str, flow: Flow) -> None:
    if flow.nodes:
        connection.execute(insert(node_now), [_node_row(node, subject) for node in flow.nodes])
    if flow.links:
        connection.execute(
            insert(lot_link),
            [
                {
                    "lot": link.lot,
                    "number": link.number,
                    "source": link.source,
                    "ingredient": link.ingredient,
                    "mg": link.mg,
                    "entry_id": link.entry_id,
                    "sort": link.sort,
                    "at": to_text(link.at),
                }
                for link in flow.links
            ],
        )


def _node_row(node: FlowNode, subject: str) -> dict[str, str | int]:
    return {
        "node": node.node,
        "sort": node.sort,
        "product": node.product,
        "booked_mg": node.booked_mg,
        "made_at": to_text(node.made_at),
        "party": node.party,
        "state": node.state,
        "counted_mg": node.counted_mg,
        "counted_at": _moment(node.counted_at),
        "subject": subject,
    }


def _moment(at: datetime | None) -> str:
    return to_text(at) if at is not None else ""
