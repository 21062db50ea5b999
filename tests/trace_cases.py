"""The recall of FEN-118, of the invented house, as a flow."""

from __future__ import annotations

from collections.abc import Iterable

from saltloft.plant.recall import Yielding
from saltloft.plant.trace import DOWN, UP, Flow, Link, Node, split

KG = 1_000_000
# Nine batches took the bag; green weights add up to 5,730 kg.
BATCHES = {
    "RO-0601": 750,
    "AL-0602": 640,
    "RO-0605": 740,
    "AL-0609": 650,
    "RO-0612": 760,
    "HA-0615": 450,
    "RO-0619": 745,
    "AL-0616": 645,
    "HA-0622": 350,
}
SHIPPED_KG, STOCK_KG, ENDS_KG, REST_KG = 2204, 1190, 61, 27
FINISHED_KG = SHIPPED_KG + STOCK_KG + ENDS_KG + REST_KG
CUSTOMERS, AGAIN = 31, "HA-0720"


def flow_from(
    nodes: Iterable[Node], links: Iterable[Link], starts: tuple[str, ...], direction: str = DOWN
) -> Flow:
    """A flow whose sums come from its own links."""
    known, every = {node.node: node for node in nodes}, tuple(links)
    in_mg: dict[str, int] = {}
    out_mg: dict[str, int] = {}
    for link in every:
        out_mg[link.source] = out_mg.get(link.source, 0) + link.mg
        in_mg[link.lot] = in_mg.get(link.lot, 0) + link.mg
    return Flow(starts, direction, known, every, in_mg, out_mg)


def fennel() -> tuple[list[Node], list[Link]]:
    """Bag, batches, pack lots, shipments, ends into one Hazel batch, samples and waste."""
    nodes = [Node("FEN-118", "material", "fennel", 25 * KG, "2026-05-28T08:00:00.000Z", "sup-07", "accepted")]
    links: list[Link] = []
    greens = list(BATCHES.values())
    spice = split(25 * KG, greens)
    parts = {
        "ship": split(SHIPPED_KG * KG, greens),
        "stock": split(STOCK_KG * KG, greens),
        "ends": split(ENDS_KG * KG, greens),
        "rest": split(REST_KG * KG, greens),
    }
    customer = 0
    for place, (lot, green) in enumerate(BATCHES.items()):
        day = f"2026-06-{lot[-2:]}T09:00:00.000Z"
        nodes.append(Node(lot, "lot", lot[:2], green * KG, day, "", "off_racks"))
        links.append(Link("FEN-118", lot, "batch", spice[place], day, "fennel", f"e-{lot}"))
        packed = parts["ship"][place] + parts["stock"][place]
        pack = f"PK-{lot}"
        nodes.append(Node(pack, "pack", lot[:2], packed, day.replace("-06-", "-07-"), "", "packed"))
        links.append(Link(lot, pack, "pack", packed, day, "", f"p-{lot}"))
        # 31 customers over nine pack lots: four each in the first four, three each in the others.
        count = 4 if place < 4 else 3
        for mg in split(parts["ship"][place], [3, *([1] * (count - 1))]):
            customer += 1
            ship = f"SHIP-{customer:04d}"
            nodes.append(
                Node(ship, "shipment", "", mg, "2026-07-18T06:00:00.000Z", f"cus-{customer:02d}", "sent")
            )
            links.append(Link(pack, ship, "ship", mg, "2026-07-18T06:00:00.000Z", "", f"s-{customer}"))
        nodes.append(Node(f"{lot}/ends", "sink", "ends", parts["ends"][place], day, "", "ends"))
        links.append(Link(lot, f"{lot}/ends", "ends", parts["ends"][place], day))
        links.append(Link(f"{lot}/ends", AGAIN, "batch", parts["ends"][place], day, "ends"))
        sample, waste = split(parts["rest"][place], [1, 2])
        for what, mg in (("sample", sample), ("waste", waste)):
            nodes.append(Node(f"{lot}/{what}", "sink", what, mg, day, "", what))
            links.append(Link(lot, f"{lot}/{what}", what, mg, day))
    nodes.append(Node(AGAIN, "lot", "HA", 612 * KG, "2026-07-20T09:00:00.000Z", "", "hanging"))
    return nodes, links


def fennel_yields() -> dict[str, Yielding]:
    """0.625 of the green weight, with a band of 4 per cent."""
    found = {}
    for lot, green in {**BATCHES, AGAIN: 612}.items():
        expected = green * KG * 625 // 1000
        found[lot] = Yielding(expected * 96 // 100, expected, expected * 104 // 100)
    return found


def downwards() -> Flow:
    """The bag and everything it went into."""
    nodes, links = fennel()
    return flow_from(nodes, links, ("FEN-118",))


def upwards(start: str) -> Flow:
    """A thing and everything that went into it, of the same links."""
    nodes, links = fennel()
    whole = flow_from(nodes, links, (start,), UP)
    found, ahead = {start}, [start]
    while ahead:
        node = ahead.pop()
        for link in links:
            if link.lot == node and link.source not in found:
                found.add(link.source)
                ahead.append(link.source)
    kept = tuple(link for link in links if link.lot in found)
    known = {name: node for name, node in whole.nodes.items() if name in found}
    return Flow((start,), UP, known, kept, whole.in_mg, whole.out_mg)
