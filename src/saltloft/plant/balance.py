"""Does the mass close: every milligram booked into a thing is found again, or its place is named.

For each thing, what went in is what went out plus what stayed, dried away or
was lost on the way, to the milligram of the booked weights. Each of these
terms has the range in which it may lie; a term outside of it is where the
balance does not close.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from saltloft.foundation.words import say
from saltloft.plant.flow_story import DESCENT, ENDS, SAMPLE, WASTE, FlowLink, FlowNode

# Shares of what went in; all of them common practice, no source.
LINE_LOSS = (-0.02, 0.06)
"""Between the scale of the mixer and the green weight: what stays in grinder, mixer and stuffer."""
PACK_LOSS = (-0.005, 0.03)
"""Between what is put on the packing line and the net weight of its packs: trim, giveaway, scales."""
SCALES = (-0.02, 0.02)
"""Between what was weighed off the racks and what was packed or sent of it: two scales."""
COUNT = (-0.02, 0.02)
"""Between the book of a material lot and the count of its shelf."""
_FREE = ("ship", "pack", "slice", "batch")


@dataclass(frozen=True)
class YieldBand:
    """Which share of its green weight a lot gives when it is finished.

    Args:
        low, expected, high: float. 0..1.
        words: str. What it rests on.
    """

    low: float
    expected: float
    high: float
    words: str = ""

    def of(self, green_mg: int) -> tuple[int, int, int]:
        """The same as masses of a green weight. [mg]"""
        return round(self.low * green_mg), round(self.expected * green_mg), round(self.high * green_mg)


@dataclass(frozen=True)
class Term:
    """A part of what went into a thing that did not go out of it to another.

    Args:
        name: str. 'line', 'dried', 'hangs', 'shelf', 'slicing', 'packing', 'counted', 'delivered', 'gone'.
        mg: int. Negative where more came out than went in. [mg]
        low_mg, high_mg: int. The range in which it may lie. [mg]
        words: str. What it is.
    """

    name: str
    mg: int
    low_mg: int
    high_mg: int
    words: str

    @property
    def closes(self) -> bool:
        """True inside its range."""
        return self.low_mg <= self.mg <= self.high_mg


@dataclass(frozen=True)
class NodeBalance:
    """The balance of one thing.

    Args:
        node, sort, product: str.
        in_mg: int. Booked into it; of a material lot what was received. [mg]
        out_mg: mapping of link sort to what went out. [mg]
        terms: tuple of Term.
        unweighed: tuple of str. What went in by number only.
    """

    node: str
    sort: str
    product: str
    in_mg: int
    out_mg: Mapping[str, int]
    terms: tuple[Term, ...]
    unweighed: tuple[str, ...] = ()

    @property
    def rest_mg(self) -> int:
        """What neither went out nor stands in a term: 0 when booked weights close to the milligram. [mg]"""
        return self.in_mg - sum(self.out_mg.values()) - sum(term.mg for term in self.terms)

    @property
    def open_terms(self) -> tuple[Term, ...]:
        """Where it does not close."""
        return tuple(term for term in self.terms if not term.closes)

    @property
    def closes(self) -> bool:
        """True when every term lies in its range and nothing is left over."""
        return not self.open_terms and self.rest_mg == 0


@dataclass(frozen=True)
class LotFacts:
    """What a balance has to know of a lot besides its links.

    Args:
        green_mg: int. [mg]
        finished_mg: int or None. Weighed off the racks for packing or the stock; None before. [mg]
        hangs: bool. A part of it hangs, or it was not worked up yet.
        expected: YieldBand or None.
    """

    green_mg: int
    finished_mg: int | None
    hangs: bool
    expected: YieldBand | None = None


@dataclass(frozen=True)
class HouseBalance:
    """The balance of everything together.

    Args:
        nodes: tuple of NodeBalance.
    """

    nodes: tuple[NodeBalance, ...]

    @property
    def received_mg(self) -> int:
        """What came in from outside. [mg]"""
        return sum(node.in_mg for node in self.nodes if node.sort == "material")

    @property
    def terms_mg(self) -> dict[str, int]:
        """Each term over all things. [mg]"""
        found: dict[str, int] = {}
        for node in self.nodes:
            for term in node.terms:
                found[term.name] = found.get(term.name, 0) + term.mg
        return found

    @property
    def unbooked_mg(self) -> int:
        """Green weight of lots into which nothing was weighed: it came from nowhere. [mg]"""
        return -sum(term.mg for node in self.nodes for term in node.terms if term.name == "unweighed")

    @property
    def rest_mg(self) -> int:
        """Received less all terms: 0 when the house closes to the milligram. [mg]"""
        return self.received_mg - sum(self.terms_mg.values())

    @property
    def open_nodes(self) -> tuple[NodeBalance, ...]:
        """Where it does not close, the largest amount first."""
        return tuple(
            sorted(
                (node for node in self.nodes if not node.closes),
                key=lambda node: -max((abs(term.mg) for term in node.open_terms), default=0),
            )
        )


def balance_of_house(
    nodes: Iterable[FlowNode],
    links: Iterable[FlowLink],
    facts: Mapping[str, LotFacts],
    slices_mg: Mapping[str, int],
) -> HouseBalance:
    """The balance of every node.

    Args:
        nodes: iterable of FlowNode.
        links: iterable of FlowLink.
        facts: mapping of lot to LotFacts.
        slices_mg: mapping of a slicing log's number to the weight of its slices. [mg]
    """
    into: dict[str, list[FlowLink]] = {}
    out: dict[str, list[FlowLink]] = {}
    for link in links:
        into.setdefault(link.lot, []).append(link)
        out.setdefault(link.source, []).append(link)
    return HouseBalance(
        tuple(
            node_balance(
                node,
                into.get(node.node, ()),
                out.get(node.node, ()),
                facts=facts.get(node.node),
                slices_mg=slices_mg.get(node.node),
            )
            for node in nodes
        )
    )


def node_balance(
    node: FlowNode,
    into: Sequence[FlowLink],
    out: Sequence[FlowLink],
    *,
    facts: LotFacts | None = None,
    slices_mg: int | None = None,
) -> NodeBalance:
    """The balance of one node.

    Args:
        node: FlowNode.
        into, out: sequence of FlowLink. Everything that went in and out.
        facts: LotFacts or None. Of a lot.
        slices_mg: int or None. Weight of the slices, of a slicing log. [mg]
    """
    in_mg = node.booked_mg if node.sort == "material" else sum(link.mg for link in into)
    gone: dict[str, int] = {}
    for link in out:
        gone[link.sort] = gone.get(link.sort, 0) + link.mg
    if node.sort == "material":
        terms = _material(node, out)
    elif node.sort == "lot" and slices_mg is not None:
        terms = _slices(in_mg, slices_mg, gone)
    elif node.sort == "lot":
        terms = _lot(node, into, in_mg, gone, facts)
    else:
        terms = _goods(node, in_mg, sum(gone.values()))
    unweighed = tuple(
        dict.fromkeys(link.source for link in into if not link.mg and link.ingredient != "packaging")
    )
    return NodeBalance(node.node, node.sort, node.product, in_mg, gone, tuple(terms), unweighed)


def _material(node: FlowNode, out: Sequence[FlowLink]) -> list[Term]:
    booked = node.booked_mg
    if node.counted_at is None:
        return [_shelf(booked - sum(link.mg for link in out))]
    before = booked - sum(link.mg for link in out if link.at <= node.counted_at)
    since = sum(link.mg for link in out if link.at > node.counted_at)
    missing = before - node.counted_mg
    low, high = _band(booked, COUNT)
    words = say("less was there than the book said, when it was counted")
    return [Term("counted", missing, low, high, words), _shelf(node.counted_mg - since)]


def _shelf(mg: int, low: int = 0, high: int | None = None) -> Term:
    return Term("shelf", mg, low, max(mg, 0) if high is None else high, say("still there by the book"))


def _band(whole: int, shares: tuple[float, float]) -> tuple[int, int]:
    return round(whole * shares[0]), round(whole * shares[1])


def _lot(
    node: FlowNode,
    into: Sequence[FlowLink],
    in_mg: int,
    gone: Mapping[str, int],
    facts: LotFacts | None,
) -> list[Term]:
    green = node.booked_mg
    terms = [_line(into, in_mg, green)]
    aside = sum(gone.get(sort, 0) for sort in (ENDS, SAMPLE, WASTE))
    over = sum(gone.get(sort, 0) for sort in DESCENT)
    free = sum(gone.get(sort, 0) for sort in _FREE)
    if over:
        terms.append(Term("shelf", green - over - aside - free, 0, 0, say("did not go over into its parts")))
    elif facts is None or facts.hangs or (facts.finished_mg is None and not free):
        left = green - aside - free
        terms.append(Term("hangs", left, 0, max(left, 0), say("green weight that was not worked up yet")))
    else:
        finished = facts.finished_mg if facts.finished_mg is not None else free
        terms.append(_dried(green, finished + aside, facts.expected))
        low, high = _band(finished, SCALES)
        # What was weighed off the racks and not sent yet lies in the house.
        terms.append(_shelf(finished - free, low, max(finished - free, high)))
    return terms


def _line(into: Sequence[FlowLink], in_mg: int, green: int) -> Term:
    if any(link.sort in DESCENT for link in into):
        return Term("line", in_mg - green, 0, 0, say("did not come over from the whole"))
    if not in_mg:
        return Term(
            "unweighed", -green, 0, 0, say("nothing was weighed in: the green weight comes from nowhere")
        )
    low, high = _band(in_mg, LINE_LOSS)
    return Term("line", in_mg - green, low, high, say("stayed in the machines, or the scales differ"))


def _dried(green: int, given: int, expected: YieldBand | None) -> Term:
    words = say("dried away")
    if expected is None:
        return Term("dried", green - given, 0, green, words)
    least, _, most = expected.of(green)
    return Term("dried", green - given, green - most, green - least, words)


def _slices(in_mg: int, slices_mg: int, gone: Mapping[str, int]) -> list[Term]:
    aside = sum(gone.get(sort, 0) for sort in (ENDS, SAMPLE, WASTE))
    free = sum(gone.get(sort, 0) for sort in _FREE)
    low, high = _band(in_mg, PACK_LOSS)
    lost = Term(
        "slicing", in_mg - slices_mg - aside, low, high, say("stayed on the slicer, or the scales differ")
    )
    return [lost, _shelf(slices_mg - free)]


def _goods(node: FlowNode, in_mg: int, gone: int) -> list[Term]:
    if node.sort == "shipment":
        terms = [] if in_mg == node.booked_mg else [_unlike(node, in_mg)]
        return [*terms, Term("delivered", node.booked_mg - gone, 0, node.booked_mg, say("with the customer"))]
    if node.sort == "sink":
        left = node.booked_mg - gone
        words = say("ends not worked in yet") if node.state == ENDS else say("taken out of the house's goods")
        name = "shelf" if node.state == ENDS else "gone"
        return [Term(name, left, 0, max(left, 0), words)]
    low, high = _band(in_mg, PACK_LOSS)
    lost = Term("packing", in_mg - node.booked_mg, low, high, say("trim and giveaway, or the scales differ"))
    return [lost, _shelf(node.booked_mg - gone)]


def _unlike(node: FlowNode, in_mg: int) -> Term:
    return Term("packing", in_mg - node.booked_mg, 0, 0, say("booked otherwise than its lines"))
