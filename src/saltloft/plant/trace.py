"""Where a thing went and what went into it: nodes, weighed links between them, and the amounts carried along.

A node is anything with a number: a material lot, a lot, a pack lot, a shipment,
or the place where samples, waste and ends are booked. A link is a weighed
amount that went from a giver into a receiver. What dries away takes nothing of
what is traced with it: the content of a lot is shared out over what came out
of it, by weight.
"""

from __future__ import annotations

from collections import defaultdict, deque
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property
from typing import NamedTuple

from saltloft.foundation.errors import RuleBroken
from saltloft.foundation.words import say

DOWN, UP = "down", "up"
# A lot in one of these states gives nothing any more; what is not booked out of it dried away.
ENDED_STATES = frozenset({"off_racks", "released", "gone", "ended"})
# Slices stand under a number of their own like goods that were packed.
SLICED = "sliced"


class Node(NamedTuple):
    """A thing with a number.

    Args:
        node: str. The number.
        sort: str. 'material', 'lot', 'pack', 'shipment' or 'sink'.
        product: str. Product or material; may be empty.
        booked_mg: int. Received, green, packed or sent. [mg]
        made_at: str. UTC text as the database keeps it.
        party: str. Supplier or customer; may be empty.
        state: str.
        counted_mg: int or None. What was left of a material lot when it was last counted. [mg]
    """

    node: str
    sort: str
    product: str = ""
    booked_mg: int = 0
    made_at: str = ""
    party: str = ""
    state: str = ""
    counted_mg: int | None = None

    @property
    def at(self) -> datetime | None:
        """When it was made, received, packed or sent; None when nobody said."""
        return datetime.fromisoformat(self.made_at) if self.made_at else None


class Link(NamedTuple):
    """A weighed amount that went from one node into another.

    Args:
        source: str. The giver.
        lot: str. The receiver.
        sort: str. 'batch', 'split', 'merge', 'slice', 'pack', 'ship', 'return', 'sample', 'waste', 'ends'.
        mg: int. 0 when it was booked by number only. [mg]
        at: str. UTC text.
        ingredient: str.
        entry_id: str.
    """

    source: str
    lot: str
    sort: str
    mg: int
    at: str = ""
    ingredient: str = ""
    entry_id: str = ""


@dataclass(frozen=True)
class Flow:
    """Everything that can be reached from some starts in one direction.

    Args:
        starts: tuple of str.
        direction: str. DOWN (where it went) or UP (what went in).
        nodes: mapping of number to Node; the starts among them.
        links: tuple of Link. Every link on a way from or to a start.
        in_mg, out_mg: mapping of number to all that went in and out, also from and to elsewhere. [mg]
    """

    starts: tuple[str, ...]
    direction: str
    nodes: Mapping[str, Node]
    links: tuple[Link, ...]
    in_mg: Mapping[str, int] = field(default_factory=dict)
    out_mg: Mapping[str, int] = field(default_factory=dict)

    @cached_property
    def onward(self) -> dict[str, list[tuple[int, str]]]:
        """For each node the places of the links that lead on from it, with their ends."""
        nexts: dict[str, list[tuple[int, str]]] = defaultdict(list)
        down = self.direction == DOWN
        for place, link in enumerate(self.links):
            giver, receiver = (link.source, link.lot) if down else (link.lot, link.source)
            nexts[giver].append((place, receiver))
        return nexts

    @cached_property
    def order(self) -> tuple[str, ...]:
        """The nodes, each after everything before it on the way from the starts.

        Raises:
            RuleBroken: when a thing went into itself; names the ring.
        """
        nexts = self.onward
        waiting = dict.fromkeys(self.nodes, 0)
        for ends in nexts.values():
            for _, after in ends:
                waiting[after] += 1
        ready = deque(node for node, count in waiting.items() if not count)
        found: list[str] = []
        while ready:
            node = ready.popleft()
            found.append(node)
            for _, after in nexts.get(node, ()):
                waiting[after] -= 1
                if not waiting[after]:
                    ready.append(after)
        if len(found) < len(waiting):
            ring = _ring(nexts, {node for node, count in waiting.items() if count})
            raise RuleBroken(
                say("by these records a thing went into itself: {ring}", ring=" → ".join(ring)),
                do=say("correct the entry that is wrong"),
                key=ring[0],
            )
        return tuple(found)


@dataclass(frozen=True)
class Carried:
    """How much of what is traced is in each node.

    Args:
        likely_mg: mapping. Shared out by weight: DOWN, of the starts' mass; UP, of each node's own mass. [mg]
        worst_mg: mapping. The most that can be in it, whatever was mixed how. [mg]
        here_mg: mapping. Of `likely_mg`, what did not go on. Over all nodes it sums up to the starts' mass
            (DOWN only). [mg]
        link_mg: tuple of int, one for each link of the flow. [mg]
        unweighed: frozenset of str. Nodes that are reached along a link without a weight.
    """

    likely_mg: Mapping[str, int]
    worst_mg: Mapping[str, int]
    here_mg: Mapping[str, int]
    link_mg: tuple[int, ...]
    unweighed: frozenset[str]


def split(amount_mg: int, weights: Sequence[int]) -> list[int]:
    """An amount in parts proportional to weights that add up to it (largest remainders, first one first).

    Args:
        amount_mg: int, not negative. [mg]
        weights: sequence of int, not negative, not all zero.
    """
    total = sum(weights)
    pairs = [divmod(amount_mg * weight, total) for weight in weights]
    parts = [whole for whole, _ in pairs]
    left = amount_mg - sum(parts)
    if left:
        by_rest = sorted(range(len(pairs)), key=lambda place: -pairs[place][1])
        for place in by_rest[:left]:
            parts[place] += 1
    return parts


def out_of(node: Node, out_mg: int, expected_mg: int | None = None, off_mg: int | None = None) -> int:
    """What comes out of a node in all: over this its content is shared out. [mg]

    Args:
        node: Node.
        out_mg: int. What was booked out of it until now. [mg]
        expected_mg: int or None. What a lot should give in all; None: what was booked into it. [mg]
        off_mg: int or None. What was weighed off a lot; None when nobody weighed it. [mg]
    """
    if node.sort == "lot" and node.state in ENDED_STATES and (off_mg or out_mg):
        # What was weighed off and not booked on lies in the house as this lot.
        return max(out_mg, off_mg or 0)
    if node.sort == "material" and node.counted_mg is not None:
        # A count replaces what the book says was left.
        return out_mg + node.counted_mg
    return max(out_mg, node.booked_mg if expected_mg is None else expected_mg)


def _ring(nexts: Mapping[str, list[tuple[int, str]]], inside: set[str]) -> list[str]:
    """One closed way through nodes that wait for each other."""
    befores: dict[str, str] = {}
    for node in inside:
        for _, after in nexts.get(node, ()):
            if after in inside:
                befores[after] = node
    # Walking back from any of them, each has one before it, so the walk must close.
    at = min(befores)
    seen: dict[str, int] = {}
    way: list[str] = []
    while at not in seen:
        seen[at] = len(way)
        way.append(at)
        at = befores[at]
    ring = way[seen[at] :][::-1]
    first = ring.index(min(ring))
    ring = ring[first:] + ring[:first]
    return [*ring, ring[0]]


def carried_down(flow: Flow, base_mg: Mapping[str, int]) -> Carried:
    """How much of the starts is in each node, for a flow DOWN.

    Args:
        flow: Flow.
        base_mg: mapping. What comes out of each node in all (`out_of`). [mg]

    Raises:
        RuleBroken: a thing went into itself.
    """
    nexts, starts = flow.onward, set(flow.starts)
    likely = dict.fromkeys(flow.nodes, 0)
    worst = dict.fromkeys(flow.nodes, 0)
    # The most that fits into a node in the starts' own (undried) mass; from elsewhere it comes as weighed.
    full = {node: flow.in_mg.get(node, 0) for node in flow.nodes}
    here: dict[str, int] = {}
    link_mg = [0] * len(flow.links)
    unweighed: set[str] = set()
    most = 0
    for node in flow.order:
        base = base_mg[node]
        if node in starts:
            # All of a start is traced, whatever came into it from another start.
            most += base - likely[node]
            likely[node] = worst[node] = base
        worst[node] = min(worst[node], most)
        full[node] = max(full[node], base)
        onward = nexts.get(node, ())
        weights = [flow.links[place].mg for place, _ in onward]
        rest = max(base - sum(weights), 0)
        parts = split(likely[node], [*weights, rest]) if base else [*([0] * len(weights)), likely[node]]
        here[node] = parts[-1]
        for (place, after), mg, part in zip(onward, weights, parts, strict=False):
            link_mg[place] = part
            likely[after] += part
            fits = -(-mg * full[node] // base) if base else 0
            full[after] += fits - mg
            worst[after] += min(worst[node], fits)
            if node in unweighed or not mg:
                unweighed.add(after)
    return Carried(likely, worst, here, tuple(link_mg), frozenset(unweighed))


def carried_up(flow: Flow, base_mg: Mapping[str, int]) -> Carried:
    """How much of each node's own mass went into the starts, for a flow UP.

    The same share of a node goes along each link as on the way down, so what is
    found here for a giver is what `carried_down` from that giver finds in the start.

    Args:
        flow: Flow.
        base_mg: mapping. What comes out of each node in all (`out_of`). [mg]

    Raises:
        RuleBroken: a thing went into itself.
    """
    nexts, starts = flow.onward, set(flow.starts)
    likely = dict.fromkeys(flow.nodes, 0)
    worst = dict.fromkeys(flow.nodes, 0)
    link_mg = [0] * len(flow.links)
    unweighed: set[str] = set()
    for node in flow.order:
        onward = nexts.get(node, ())
        weights = [flow.links[place].mg for place, _ in onward]
        total, base = sum(weights), base_mg[node]
        if node in starts:
            # All of a start, also when nothing is booked on it yet.
            likely[node] = worst[node] = base
            taken = total
        else:
            taken = (2 * total * likely[node] + base) // (2 * base) if base else 0
        parts = split(taken, weights) if total else [0] * len(weights)
        for (place, giver), part in zip(onward, parts, strict=True):
            mg = flow.links[place].mg
            link_mg[place] = part
            likely[giver] += part
            # If anything of the node is in the start, all that the giver gave it may be.
            worst[giver] += mg if worst[node] or node in starts else 0
            if node in unweighed or not mg:
                unweighed.add(giver)
    return Carried(likely, worst, {}, tuple(link_mg), frozenset(unweighed))


def reached(links: Iterable[Link], starts: Iterable[str], direction: str = DOWN) -> set[str]:
    """The nodes that links lead to from some starts, the starts among them."""
    nexts: dict[str, list[str]] = defaultdict(list)
    for link in links:
        giver, receiver = (link.source, link.lot) if direction == DOWN else (link.lot, link.source)
        nexts[giver].append(receiver)
    found, ahead = set(starts), list(starts)
    while ahead:
        for after in nexts.get(ahead.pop(), ()):
            if after not in found:
                found.add(after)
                ahead.append(after)
    return found


def worked_in_again(flow: Flow, link: Link) -> bool:
    """Whether a link is rework: a lot, or ends of one, that went into another batch."""
    giver, receiver = flow.nodes.get(link.source), flow.nodes.get(link.lot)
    return (
        link.sort in ("batch", "ends")
        and giver is not None
        and receiver is not None
        and receiver.sort == "lot"
        and giver.sort in ("lot", "sink", "pack")
    )


def through_rework(flow: Flow) -> set[str]:
    """The nodes of a flow that are reached through rework only: what a paper drill misses."""
    plain = [link for link in flow.links if not worked_in_again(flow, link)]
    return set(flow.nodes) - reached(plain, flow.starts, flow.direction)
