"""Where the finished weight of some lots is: sent, in stock, worked in again, ends, samples, waste, lost."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping
from dataclasses import dataclass

from saltloft.plant.trace import SLICED, Flow, Link, Node, worked_in_again

# Where a weight of the scope can be now.
SHIPPED, STOCK, REWORK, ENDS, SAMPLE, WASTE = "shipped", "stock", "rework", "ends", "sample", "waste"
PLACES = (SHIPPED, STOCK, REWORK, ENDS, SAMPLE, WASTE)
# Links that divide or join lots; what they carry has not come off the racks.
AMONG_LOTS = ("split", "merge")


@dataclass(frozen=True)
class Account:
    """Where the finished weight of some lots is.

    Args:
        finished_mg: int. [mg]
        places: mapping of PLACES to weight. [mg]
        lost_mg: mapping of node to what went in and is neither booked on nor counted there; below zero:
            more came out than went in. [mg]
        here_mg: mapping of node to the weight in scope that is there now. [mg]
        booked_only: frozenset of str. Nodes whose stock is by the books, not counted.
    """

    finished_mg: int
    places: Mapping[str, int]
    lost_mg: Mapping[str, int]
    here_mg: Mapping[str, int]
    booked_only: frozenset[str]

    @property
    def accounted_mg(self) -> int:
        """All that has a place. [mg]"""
        return sum(self.places.values())

    @property
    def accounted_pct(self) -> float | None:
        """Share of the finished weight that has a place; None when nothing is finished. [%]"""
        return 100.0 * self.accounted_mg / self.finished_mg if self.finished_mg else None


def account_of(
    flow: Flow, lots: Collection[str], counted_mg: Mapping[str, int], off_mg: Mapping[str, int] | None = None
) -> Account:
    """Follow the finished weight of some lots to where it is; stops where it is worked into another batch.

    Args:
        flow: Flow. DOWN.
        lots: collection of str. Lots, packs or shipments whose whole weight counts.
        counted_mg: mapping. Of pack lots and of lots that lie unpacked, as found. [mg]
        off_mg: mapping of lot to what was weighed off it, ends, samples and waste among it. [mg]
    """
    count = _Count(flow, frozenset(lots), counted_mg, off_mg or {})
    for name in flow.order:
        count.take(flow.nodes[name])
    return Account(count.finished, count.places, count.lost, count.here, frozenset(count.booked_only))


class _Count:
    """The finished weight of the scope on its way from node to node. [mg]"""

    def __init__(
        self, flow: Flow, chosen: frozenset[str], counted_mg: Mapping[str, int], off_mg: Mapping[str, int]
    ) -> None:
        self.flow, self.chosen, self.counted_mg, self.off_mg = flow, chosen, counted_mg, off_mg
        self.nexts = flow.onward
        self.scope_in: dict[str, int] = defaultdict(int)
        self.places = dict.fromkeys(PLACES, 0)
        self.lost: dict[str, int] = {}
        self.here: dict[str, int] = {}
        self.booked_only: set[str] = set()
        self.finished = 0

    def take(self, node: Node) -> None:
        """One node, after all that gives to it."""
        name = node.node
        onward = [self.flow.links[place] for place, _ in self.nexts.get(name, ())]
        if name in self.chosen and node.sort == "lot" and node.state != SLICED:
            # A lot that was divided gives through its parts, which are in scope themselves.
            outs = [link for link in onward if link.sort not in AMONG_LOTS]
            gone = self._hand_on(outs, 1, 1)
            self.finished += self.off_mg.get(name, gone)
            self._unpacked(name, gone)
            return
        total = self.flow.in_mg.get(name, 0)
        went_in = self.scope_in.get(name, 0)
        if name in self.chosen:
            went_in = total = max(node.booked_mg, sum(link.mg for link in onward))
            self.finished += went_in
        if went_in:
            self._stay(node, went_in, total, self._hand_on(onward, went_in, total))

    def _unpacked(self, name: str, gone: int) -> None:
        """What was weighed off a lot and booked no further lies in the house under its own number."""
        if name not in self.off_mg:
            return
        by_the_books = max(self.off_mg[name] - gone, 0)
        left = self.counted_mg.get(name, by_the_books)
        self.places[STOCK] += left
        if left or by_the_books:
            self.here[name] = left
        if name not in self.counted_mg and left:
            self.booked_only.add(name)
        if self.off_mg[name] - gone != left:
            self.lost[name] = self.off_mg[name] - gone - left

    def _hand_on(self, links: Collection[Link], part: int, whole: int) -> int:
        """Hand on what left a node, in the share that the scope has of it; returns how much that was."""
        gone = 0
        for link in links:
            mg = share_of(link.mg, part, whole)
            gone += mg
            if worked_in_again(self.flow, link):
                self.places[REWORK] += mg
            else:
                self.scope_in[link.lot] += mg
        return gone

    def _stay(self, node: Node, went_in: int, total: int, gone: int) -> None:
        """What did not go on stays there; what is neither there nor gone on is lost."""
        name = node.node
        if node.sort == "sink":
            left, place = went_in - gone, node.product if node.product in PLACES else WASTE
        else:
            left = share_of(node.booked_mg, went_in, total) - gone
            place = SHIPPED if node.sort == "shipment" else STOCK
        if place == STOCK:
            if name in self.counted_mg:
                left = share_of(self.counted_mg[name], went_in, total)
            else:
                left = max(left, 0)
                self.booked_only |= {name} if left else set()
        self.places[place] += left
        self.here[name] = left
        if went_in != gone + left:
            self.lost[name] = went_in - gone - left


def share_of(mg: int, part: int, whole: int) -> int:
    """A share of a weight, rounded to the milligram. [mg]"""
    return (2 * mg * part + whole) // (2 * whole) if whole else 0


def joined(one: Account, other: Account) -> Account:
    """Two accounts as one."""
    return Account(
        one.finished_mg + other.finished_mg,
        {place: one.places[place] + other.places[place] for place in PLACES},
        {**one.lost_mg, **other.lost_mg},
        {**one.here_mg, **other.here_mg},
        one.booked_only | other.booked_only,
    )
