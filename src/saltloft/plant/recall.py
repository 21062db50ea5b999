"""A recall, real or drilled: what is in scope, where its weight is now, whom to call, and how the drill went.

Every weight is a booked one. Where a pack holds more than one lot, the part
that came from the scope is taken by weight; the whole pack is called back.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from decimal import Decimal

from saltloft.foundation.errors import InputError
from saltloft.foundation.units import Mass
from saltloft.foundation.words import say
from saltloft.plant.recall_account import AMONG_LOTS, Account, account_of, joined
from saltloft.plant.trace import ENDED_STATES, SLICED, Flow, Node, through_rework


@dataclass(frozen=True)
class StockCounted:
    """What was found of a pack lot when somebody went and counted.

    Args:
        node: str.
        mass: Mass or None. None: nothing was there.
    """

    node: str
    mass: Mass | None


@dataclass(frozen=True)
class RecallDrilled:
    """A recall was drilled, or really done: when, how far, what it found and what it missed.

    Args:
        drill: str. Its number, such as 'RCL-2026-1'.
        starts: tuple of str. What was called back.
        reason: str.
        real: int. 1 when it was no drill.
        started, ended: str. Moments with their zone, ISO 8601.
        lots: int. In scope, those through rework among them.
        stuffed_mg: int. [mg]
        finished_mg: int. [mg]
        accounted_mg: int. Of the finished weight, what has a place. [mg]
        customers: int. To be told.
        told: tuple of str. Customers that were told within the time.
        counted: tuple of StockCounted.
        missed: tuple of str. What went wrong or was not found, in words.
        note: str.
    """

    drill: str
    starts: tuple[str, ...]
    reason: str
    started: str
    ended: str
    lots: int
    stuffed_mg: int
    finished_mg: int
    accounted_mg: int
    customers: int
    real: int = 0
    told: tuple[str, ...] = ()
    counted: tuple[StockCounted, ...] = ()
    missed: tuple[str, ...] = ()
    note: str = ""


@dataclass(frozen=True)
class Yielding:
    """What a lot should give in all.

    Args:
        low_mg, expected_mg, high_mg: int. The band and its middle. [mg]
    """

    low_mg: int
    expected_mg: int
    high_mg: int


@dataclass(frozen=True)
class LotInScope:
    """A lot that holds, or may hold, what is called back.

    Args:
        node: Node.
        finished_mg: int. Weighed off it until now, else booked out of it. [mg]
        yielding: Yielding or None. None: no yield is known for its product.
        again: bool. Reached through rework only.
        part: bool. It came about by dividing or joining lots that are in scope themselves.
    """

    node: Node
    finished_mg: int
    yielding: Yielding | None
    again: bool
    part: bool

    @property
    def ended(self) -> bool:
        """Whether nothing more comes off it."""
        return self.node.state in ENDED_STATES


@dataclass(frozen=True)
class ToTell:
    """A customer who has some of it.

    Args:
        party: str.
        mg: int. Weight in scope that they have, returns taken off. [mg]
        whole_mg: int. Weight of the whole pack lots they got parts of. [mg]
        shipments: tuple of Node. By when they left.
        packs: tuple of str. Numbers on the packs they got.
        again: bool. Through rework only.
    """

    party: str
    mg: int
    whole_mg: int
    shipments: tuple[Node, ...]
    packs: tuple[str, ...]
    again: bool


@dataclass(frozen=True)
class Recall:
    """Everything a recall asks for.

    Args:
        starts: tuple of str.
        lots: tuple of LotInScope, direct ones first, by when they were made.
        account: Account. Of the direct lots.
        again: Account. Of the lots reached through rework.
        customers: tuple of ToTell, most weight first.
        packs: tuple of Node. Pack lots to block or fetch back.
    """

    starts: tuple[str, ...]
    lots: tuple[LotInScope, ...]
    account: Account
    again: Account
    customers: tuple[ToTell, ...]
    packs: tuple[Node, ...]
    blocked: tuple[str, ...] = field(default=())

    @property
    def direct(self) -> tuple[LotInScope, ...]:
        """Lots that took the thing itself."""
        return tuple(lot for lot in self.lots if not lot.again)

    @property
    def reworked(self) -> tuple[LotInScope, ...]:
        """Lots that took ends of one of them."""
        return tuple(lot for lot in self.lots if lot.again)


def stuffed_mg(lots: Collection[LotInScope]) -> int:
    """Green weight of lots, each counted once. [mg]"""
    return sum(lot.node.booked_mg for lot in lots if not lot.part)


def yielding_of(lots: Collection[LotInScope]) -> Yielding | None:
    """What lots should give together; None when one of them has no known yield or still hangs."""
    whole = [lot for lot in lots if not lot.part]
    found = [lot.yielding for lot in whole]
    if not whole or any(band is None for band in found) or not all(lot.ended for lot in lots):
        return None
    known = [band for band in found if band is not None]
    return Yielding(
        sum(band.low_mg for band in known),
        sum(band.expected_mg for band in known),
        sum(band.high_mg for band in known),
    )


def recall_of(
    flow: Flow,
    yields: Mapping[str, Yielding],
    counted_mg: Mapping[str, int] | None = None,
    off_mg: Mapping[str, int] | None = None,
) -> Recall:
    """Lay out a recall.

    Args:
        flow: Flow. DOWN from what is called back.
        yields: mapping of lot to what it should give.
        counted_mg: mapping of pack lot or lot to what was found of it when counted. [mg]
        off_mg: mapping of lot to what was weighed off it, ends, samples and waste among it. [mg]

    Raises:
        RuleBroken: a thing went into itself.
    """
    again, counted, off = through_rework(flow), counted_mg or {}, off_mg or {}
    lots = _lots(flow, again, yields, off)
    direct = {lot.node.node for lot in lots if not lot.again}
    second = {lot.node.node for lot in lots if lot.again}
    account = account_of(flow, direct, counted, off)
    # Packs and shipments that are called back themselves stand for no lot.
    loose = {start for start in flow.starts if flow.nodes[start].sort in ("pack", "shipment")}
    if loose:
        account = joined(account, account_of(flow, loose, counted, off))
    later = account_of(flow, second, counted, off)
    packs = tuple(node for node in _by_time(flow.nodes.values()) if node.sort == "pack")
    return Recall(flow.starts, lots, account, later, _customers(flow, account.here_mg, later.here_mg), packs)


def _by_time(nodes: Collection[Node]) -> list[Node]:
    return sorted(nodes, key=lambda node: (node.made_at, node.node))


def _lots(
    flow: Flow, again: set[str], yields: Mapping[str, Yielding], off_mg: Mapping[str, int]
) -> tuple[LotInScope, ...]:
    finished: dict[str, int] = defaultdict(int)
    parts: set[str] = set()
    for link in flow.links:
        if link.sort in AMONG_LOTS:
            parts.add(link.lot)
        else:
            finished[link.source] += link.mg
    found = [
        LotInScope(node, finished[node.node], yields.get(node.node), node.node in again, node.node in parts)
        for node in _by_time(flow.nodes.values())
        if node.sort == "lot" and node.state != SLICED
    ]
    return tuple(sorted(found, key=lambda lot: lot.again))


def _customers(flow: Flow, first: Mapping[str, int], later: Mapping[str, int]) -> tuple[ToTell, ...]:
    """Whom to tell: what each has, net of what came back."""
    packs: dict[str, set[str]] = defaultdict(set)
    whole: dict[str, int] = defaultdict(int)
    for link in flow.links:
        receiver = flow.nodes[link.lot]
        if receiver.sort == "shipment":
            packs[receiver.node].add(link.source)
            whole[receiver.node] += link.mg
    by_party: dict[str, list[Node]] = defaultdict(list)
    for node in _by_time(flow.nodes.values()):
        if node.sort == "shipment":
            by_party[node.party].append(node)
    found = [
        ToTell(
            party,
            sum(first.get(node.node, 0) + later.get(node.node, 0) for node in nodes),
            sum(whole[node.node] for node in nodes),
            tuple(nodes),
            tuple(sorted({pack for node in nodes for pack in packs[node.node]})),
            not any(node.node in first for node in nodes),
        )
        for party, nodes in by_party.items()
    ]
    return tuple(sorted(found, key=lambda one: (one.again, -one.mg, one.party)))


def drilled(
    recall: Recall,
    *,
    drill: str,
    reason: str,
    started: str,
    ended: str,
    told: tuple[str, ...] = (),
    counted: tuple[StockCounted, ...] = (),
    missed: tuple[str, ...] = (),
    real: int = 0,
    note: str = "",
) -> RecallDrilled:
    """The record of a drill: its figures are the recall's own, never typed."""
    return RecallDrilled(
        drill=drill,
        starts=recall.starts,
        reason=reason,
        started=started,
        ended=ended,
        lots=len(recall.lots),
        stuffed_mg=stuffed_mg(recall.direct) + stuffed_mg(recall.reworked),
        finished_mg=recall.account.finished_mg + recall.again.finished_mg,
        accounted_mg=recall.account.accounted_mg + recall.again.accounted_mg,
        customers=len(recall.customers),
        real=real,
        told=told,
        counted=counted,
        missed=missed,
        note=note,
    )


def score_pct(done: RecallDrilled) -> Decimal | None:
    """Share of the finished weight a drill accounted for, to a tenth; None when nothing was finished. [%]"""
    if not done.finished_mg:
        return None
    return (Decimal(100) * done.accounted_mg / done.finished_mg).quantize(Decimal("0.1"))


def with_blocked(recall: Recall, held: Collection[str]) -> Recall:
    """The recall with the lots that are held already."""
    return replace(recall, blocked=tuple(lot.node.node for lot in recall.lots if lot.node.node in held))


def refuse_impossible_drill(done: RecallDrilled) -> None:
    """Refuse a record that cannot be: nothing called back, or an end before its start.

    Raises:
        InputError: with the field.
    """
    if not done.drill.strip() or not done.starts:
        raise InputError(say("a recall names itself and what is called back"), key="starts")
    try:
        began, ended = (datetime.fromisoformat(text) for text in (done.started, done.ended))
        backwards = ended < began
    except (ValueError, TypeError):
        raise InputError(
            say("start and end of a recall are moments with their zone"),
            got=f"{done.started}, {done.ended}",
            key="started",
        ) from None
    if backwards or None in (began.tzinfo, ended.tzinfo):
        raise InputError(
            say("a recall ends after it began"), got=f"{done.started}, {done.ended}", key="ended"
        )
