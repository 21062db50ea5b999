"""From the statements about one subject to its nodes and links: what mass went from where into what.

A node is named by its number; ends, samples and waste stand on nodes of their
own, '<number>/ends' and so on, which no typed number can be (it has no
stroke). The amount of a part of a split lot is its share of the green weight
that was left of the whole, to the milligram.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal
from fractions import Fraction
from typing import Any, Protocol

from saltloft.plant import flow, hams, lots, orders, stock
from saltloft.plant.stated import Stated

ENDS, SAMPLE, WASTE = "ends", "sample", "waste"
# Links of a line of descent: what hangs is the same sausage under another number.
DESCENT = ("split", "merge")


@dataclass(frozen=True)
class FlowLink:
    """A booked amount that went from one node into another.

    Args:
        lot: str. The receiver.
        source: str. The giver.
        ingredient: str. What as.
        mg: int. 0 when it was booked by number only. [mg]
        entry_id: str. The entry that says so.
        sort: str. 'batch', 'split', 'merge', 'slice', 'pack', 'ship', 'return', 'sample', 'waste' or 'ends'.
        at: datetime, aware.
        number: int. Counts the links into one receiver.
    """

    lot: str
    source: str
    ingredient: str
    mg: int
    entry_id: str
    sort: str
    at: datetime
    number: int = 0


@dataclass(frozen=True)
class FlowNode:
    """A thing that mass is booked on.

    Args:
        node: str.
        sort: str. 'material', 'lot', 'pack', 'shipment' or 'sink'.
        product: str. Product or material; may be empty.
        booked_mg: int. Received, green, packed or sent. [mg]
        made_at: datetime, aware.
        party: str. Supplier or customer; may be empty.
        state: str.
        counted_mg: int. Left at the last count of a material lot. [mg]
        counted_at: datetime or None. None: never counted.
    """

    node: str
    sort: str
    product: str
    booked_mg: int
    made_at: datetime
    party: str = ""
    state: str = ""
    counted_mg: int = 0
    counted_at: datetime | None = None


class Booked(Protocol):
    """What has to be known of other subjects: they were booked before."""

    def node(self, name: str) -> FlowNode | None: ...

    def out_mg(self, name: str) -> int: ...


@dataclass
class Flow:
    """The nodes and links one subject's statements make.

    Args:
        nodes: list of FlowNode.
        links: list of FlowLink.
    """

    nodes: list[FlowNode] = field(default_factory=list)
    links: list[FlowLink] = field(default_factory=list)
    _counts: Counter[str] = field(default_factory=Counter)

    def link(
        self, said: Stated[Any], source: str, lot: str, mg: int, *, sort: str, ingredient: str = ""
    ) -> None:
        """Add a link; links into one receiver are counted in the order in which they were stated."""
        number = self._counts[lot]
        self._counts[lot] += 1
        self.links.append(FlowLink(lot, source, ingredient, mg, said.entry_id, sort, said.at, number))

    def sink(self, said: Stated[Any], source: str, what: str, mg: int, ingredient: str = "") -> None:
        """Book an amount out to the source's own ends, samples or waste."""
        self.link(said, source, f"{source}/{what}", mg, sort=what, ingredient=ingredient or what)


def allocate(whole: int, shares: Sequence[Decimal]) -> list[int]:
    """A whole number in parts by shares, which add up to it: the largest remainders get what is over.

    Args:
        whole: int. [mg]
        shares: sequence of Decimal. Of any scale; together above zero.

    Example:
        >>> allocate(100, [Decimal(1), Decimal(1), Decimal(1)])
        [34, 33, 33]
    """
    # Fractions: a decimal quotient rounded up could give more than there is.
    total = sum(map(Fraction, shares), Fraction(0))
    exact = [whole * Fraction(share) / total for share in shares]
    parts = [int(part) for part in exact]
    over = whole - sum(parts)
    by_remainder = sorted(range(len(parts)), key=lambda number: (parts[number] - exact[number], number))
    for number in by_remainder[:over]:
        parts[number] += 1
    return parts


def flow_of(subject: str, statements: Iterable[Stated[Any]], booked: Booked) -> Flow:
    """The nodes and links that the statements about one subject make.

    Args:
        subject: str.
        statements: iterable of Stated, by seq; what was struck out counts no more.
        booked: Booked. Nodes of other subjects.
    """
    found = Flow()
    for said in statements:
        tell = _TELLERS.get(type(said.payload))
        if tell is not None and not said.struck:
            tell(found, said, booked)
    _sink_nodes(found)
    return found


def _sink_nodes(found: Flow) -> None:
    made = {node.node for node in found.nodes}
    sums: dict[str, int] = {}
    first: dict[str, FlowLink] = {}
    for link in found.links:
        if link.sort in (ENDS, SAMPLE, WASTE):
            sums[link.lot] = sums.get(link.lot, 0) + link.mg
            first.setdefault(link.lot, link)
    for name, mg in sums.items():
        if name not in made:
            link = first[name]
            found.nodes.append(FlowNode(name, "sink", link.sort, mg, link.at, "", link.sort))


def _consumed(found: Flow, said: Stated[Any], lot: str, consumed: Iterable[lots.Consumed], sort: str) -> None:
    for line in consumed:
        found.link(said, line.material_lot, lot, line.mass.mg, sort=sort, ingredient=line.ingredient)


def _lot_node(found: Flow, said: Stated[Any], mg: int) -> None:
    found.nodes.append(FlowNode(said.payload.lot, "lot", said.payload.product, mg, said.at))


def _made(found: Flow, said: Stated[lots.LotMade], _: Booked) -> None:
    made = said.payload
    _lot_node(found, said, made.green_mass.mg)
    _consumed(found, said, made.lot, made.consumed, "batch")
    # Casings and cultures named here are booked by number; a weighed amount stands among what was consumed.
    weighed = {line.material_lot for line in made.consumed}
    for lot, what in ((made.casing_lot, "casing"), (made.culture_lot, "culture")):
        if lot and lot not in weighed:
            found.link(said, lot, made.lot, 0, sort="batch", ingredient=what)


def _fresh(found: Flow, said: Stated[lots.FreshMade], _: Booked) -> None:
    _lot_node(found, said, said.payload.mass.mg)
    _consumed(found, said, said.payload.lot, said.payload.consumed, "batch")


def _salted(found: Flow, said: Stated[hams.HamGroupSalted], _: Booked) -> None:
    group = said.payload
    _lot_node(found, said, group.green_mass.mg)
    _consumed(found, said, group.lot, group.consumed, "batch")
    weighed = {line.material_lot for line in group.consumed}
    for source in group.material_lots:
        if source not in weighed:
            found.link(said, source, group.lot, 0, sort="batch", ingredient="leg")


def _split(found: Flow, said: Stated[flow.LotSplit], booked: Booked) -> None:
    lot = said.payload.lot
    own = next((node for node in found.nodes if node.node == lot), None) or booked.node(lot)
    if own is None:
        return
    gone = sum(link.mg for link in found.links if link.source == lot)
    parts = said.payload.parts
    for part, mg in zip(
        parts, allocate(max(own.booked_mg - gone, 0), [part.share for part in parts]), strict=True
    ):
        found.nodes.append(FlowNode(part.lot, "lot", own.product, mg, own.made_at))
        found.link(said, lot, part.lot, mg, sort="split")


def _merged(found: Flow, said: Stated[flow.LotsMerged], booked: Booked) -> None:
    sources = [(name, node) for name in said.payload.sources if (node := booked.node(name)) is not None]
    if not sources:
        return
    amounts = [max(node.booked_mg - booked.out_mg(name), 0) for name, node in sources]
    youngest = max(node.made_at for _, node in sources)
    found.nodes.append(FlowNode(said.payload.lot, "lot", sources[0][1].product, sum(amounts), youngest))
    for (name, _), mg in zip(sources, amounts, strict=True):
        found.link(said, name, said.payload.lot, mg, sort="merge")


def _yielded(found: Flow, said: Stated[lots.LotYielded], _: Booked) -> None:
    if said.payload.into in (ENDS, SAMPLE, WASTE):
        found.sink(said, said.payload.lot, said.payload.into, said.payload.mass.mg)


def _dispatched(found: Flow, said: Stated[lots.LotDispatched], _: Booked) -> None:
    sent = said.payload
    name = f"SHIP-{said.entry_id}"
    found.nodes.append(FlowNode(name, "shipment", "", sent.mass.mg, said.at, sent.customer, "sent"))
    found.link(said, sent.lot, name, sent.mass.mg, sort="ship")


def _received(found: Flow, said: Stated[stock.MaterialReceived], _: Booked) -> None:
    came = said.payload
    # What was refused at the door never was in the house.
    mg = 0 if came.decision == "refused" else came.mass.mg
    # A later statement of the same number replaces the earlier one.
    found.nodes[:] = [node for node in found.nodes if node.node != came.material_lot]
    found.nodes.append(
        FlowNode(came.material_lot, "material", came.material, mg, said.at, came.supplier, came.decision)
    )


def _counted(found: Flow, said: Stated[flow.MaterialCounted], _: Booked) -> None:
    for number, node in enumerate(found.nodes):
        if node.node == said.payload.material_lot and (node.counted_at or said.at) <= said.at:
            left = said.payload.left
            found.nodes[number] = FlowNode(
                node.node,
                node.sort,
                node.product,
                node.booked_mg,
                node.made_at,
                node.party,
                node.state,
                left.mg if left else 0,
                said.at,
            )


def _material_wasted(found: Flow, said: Stated[flow.MaterialWasted], _: Booked) -> None:
    found.sink(said, said.payload.material_lot, WASTE, said.payload.mass.mg, said.payload.reason)


def _sliced(found: Flow, said: Stated[flow.LotSliced], booked: Booked) -> None:
    log = said.payload
    source = booked.node(log.lot)
    product = source.product if source else ""
    found.nodes.append(FlowNode(log.sliced, "lot", product, log.mass_in.mg, said.at, "", "sliced"))
    found.link(said, log.lot, log.sliced, log.mass_in.mg, sort="slice")
    for what, mass in ((ENDS, log.ends), (WASTE, log.waste)):
        if mass is not None:
            found.sink(said, log.sliced, what, mass.mg)


def _packed(found: Flow, said: Stated[flow.PackMade], _: Booked) -> None:
    pack = said.payload
    found.nodes.append(FlowNode(pack.pack, "pack", pack.product, pack.mass.mg, said.at, "", "packed"))
    _consumed(found, said, pack.pack, pack.sources, "pack")
    if pack.packaging_lot:
        found.link(said, pack.packaging_lot, pack.pack, 0, sort="pack", ingredient="packaging")


def _sent(found: Flow, said: Stated[orders.ShipmentSent], _: Booked) -> None:
    sent = said.payload
    mg = sum(line.mass.mg for line in sent.lines)
    found.nodes.append(FlowNode(sent.shipment, "shipment", "", mg, said.at, sent.customer, "sent"))
    for line in sent.lines:
        found.link(said, line.node, sent.shipment, line.mass.mg, sort="ship")


def _returned(found: Flow, said: Stated[orders.GoodsReturned], booked: Booked) -> None:
    back = said.payload
    sent, source = booked.node(back.shipment), booked.node(back.node)
    party, product = (sent.party if sent else ""), (source.product if source else "")
    found.nodes.append(
        FlowNode(back.returned, "pack", product, back.mass.mg, said.at, party, f"returned, {back.decision}")
    )
    found.link(said, back.shipment, back.returned, back.mass.mg, sort="return", ingredient=back.node)
    if back.decision == WASTE:
        found.sink(said, back.returned, WASTE, back.mass.mg, back.reason)


def _sampled(found: Flow, said: Stated[flow.LotSampled], _: Booked) -> None:
    found.sink(said, said.payload.lot, SAMPLE, said.payload.mass.mg, said.payload.purpose)


def _wasted(found: Flow, said: Stated[flow.LotWasted], _: Booked) -> None:
    found.sink(said, said.payload.lot, WASTE, said.payload.mass.mg, said.payload.reason)


_TELLERS: dict[type, Callable[[Flow, Stated[Any], Booked], None]] = {
    lots.LotMade: _made,
    lots.FreshMade: _fresh,
    hams.HamGroupSalted: _salted,
    flow.LotSplit: _split,
    flow.LotsMerged: _merged,
    lots.LotYielded: _yielded,
    lots.LotDispatched: _dispatched,
    stock.MaterialReceived: _received,
    flow.MaterialCounted: _counted,
    flow.MaterialWasted: _material_wasted,
    flow.LotSliced: _sliced,
    flow.PackMade: _packed,
    orders.ShipmentSent: _sent,
    orders.GoodsReturned: _returned,
    flow.LotSampled: _sampled,
    flow.LotWasted: _wasted,
}
TELLING = frozenset(_TELLERS)
