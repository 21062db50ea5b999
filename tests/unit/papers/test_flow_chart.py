"""The picture of a trace: no box over another, every band between columns, few boxes however many things."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import UTC, datetime
from itertools import combinations
from xml.etree import ElementTree

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.trace_cases import KG, downwards, flow_from, upwards

from saltloft.papers.flow_chart import MOST_WIDE, flow_svg
from saltloft.papers.flow_groups import boxes_of
from saltloft.plant.answers import HouseFace, JournalHead
from saltloft.plant.trace import DOWN, Flow, Link, Node, carried_down, carried_up, out_of, through_rework
from saltloft.plant.traced import Traced, TracedRow

NOW = datetime(2026, 7, 22, 9, tzinfo=UTC)
FACE = HouseFace("Test house", "Europe/Dublin", True, JournalHead(1, "0" * 64, NOW))


def traced(flow: Flow) -> Traced:
    """A trace as the job gives it, without a house."""
    base = {name: out_of(node, flow.out_mg.get(name, 0)) for name, node in flow.nodes.items()}
    carried = (carried_down if flow.direction == DOWN else carried_up)(flow, base)
    again = through_rework(flow)
    rows = tuple(
        TracedRow(
            node,
            node.product,
            node.party,
            node.at,
            0,
            carried.likely_mg[name],
            carried.worst_mg[name],
            carried.here_mg.get(name),
            False,
            name in again,
            None,
            (),
        )
        for name, node in flow.nodes.items()
    )
    return Traced(FACE, NOW, flow, rows, carried.link_mg, 0, 0)


def kilograms(mg: float) -> str:
    return f"{mg / KG:,.0f} kg"


def big(batches: int) -> Flow:
    """A bag in many batches, each with twenty pack lots for twenty customers."""
    nodes, links = [Node("BAG", "material", "fennel", 25 * KG, "2026-06-01T06:00:00.000Z", "sup")], []
    for batch in range(batches):
        day = f"2026-06-{batch % 28 + 1:02d}T09:00:00.000Z"
        lot = f"L{batch:03d}"
        nodes.append(Node(lot, "lot", f"p{batch % 4}", 700 * KG, day, "", "off_racks"))
        links.append(Link("BAG", lot, "batch", KG, day))
        for number in range(20):
            pack, ship = f"P{batch:03d}-{number}", f"S{batch:03d}-{number}"
            nodes.append(Node(pack, "pack", f"p{batch % 4}", 20 * KG, day, "", "packed"))
            nodes.append(Node(ship, "shipment", "", 20 * KG, day, f"cus-{(batch * 7 + number) % 60}", "sent"))
            links.append(Link(lot, pack, "pack", 20 * KG, day))
            links.append(Link(pack, ship, "ship", 20 * KG, day))
    return flow_from(nodes, links, ("BAG",))


def outlines(svg: str) -> Iterator[tuple[float, float, float, float]]:
    """The rectangle around the front outline of every box."""
    root = ElementTree.fromstring(svg)
    for box in root.iter("{http://www.w3.org/2000/svg}a"):
        paths = [
            path.get("d", "")
            for path in box.iter("{http://www.w3.org/2000/svg}path")
            if path.get("fill") != "none"
        ]
        yield rectangle(paths[-1])


def rectangle(path: str) -> tuple[float, float, float, float]:
    """Left, top, right and bottom of a path of absolute moves, lines and round ends."""
    xs, ys = [], []
    for letter, said in re.findall(r"([MHVLA])([^MHVLAZ]*)", path):
        numbers = [float(text) for text in re.findall(r"-?\d+(?:\.\d+)?", said)]
        if letter == "H":
            xs.append(numbers[0])
        elif letter == "V":
            ys.append(numbers[0])
        else:
            xs.append(numbers[-2])
            ys.append(numbers[-1])
    return min(xs), min(ys), max(xs), max(ys)


def apart(svg: str) -> int:
    """How many boxes there are; none lies on another or outside of the picture."""
    width, height = (float(text) for text in re.search(r'viewBox="0 0 (\d+) (\d+)"', svg).groups())  # type: ignore[union-attr]
    found = list(outlines(svg))
    for left, top, right, bottom in found:
        assert min(left, top) >= 0
        assert right <= width
        assert bottom <= height
    for one, other in combinations(found, 2):
        clear = one[2] <= other[0] or other[2] <= one[0] or one[3] <= other[1] or other[3] <= one[1]
        assert clear, (one, other)
    return len(found)


@pytest.mark.parametrize("narrow", [False, True])
@pytest.mark.parametrize(
    "flow", [downwards(), upwards("SHIP-0001"), big(12), big(120)], ids=["drill", "up", "493", "4921"]
)
def test_no_box_lies_on_another(flow: Flow, narrow: bool) -> None:
    """Also with 500 and with 5,000 things, on a desk and on a phone."""
    boxes = apart(flow_svg(traced(flow), "words", kilograms, narrow=narrow))
    assert boxes <= (4 if narrow else MOST_WIDE + 3) * 6


def test_five_hundred_things_are_a_page_of_boxes() -> None:
    """492 things become fewer than fifty boxes, and every one of them is in a box."""
    flow = big(12)
    assert len(flow.nodes) == 493
    boxes, edges = boxes_of(traced(flow), MOST_WIDE, kilograms)
    assert len(boxes) < 50
    assert sum(len(box.rows) for box in boxes) == len(flow.nodes)
    assert {row.node.node for box in boxes for row in box.rows} == set(flow.nodes)
    assert sum(edge.mg for edge in edges if edge.giver.startswith("b0")) == 12 * KG


def test_rework_is_broken_and_said() -> None:
    """The band from the ends and the Hazel's outline are broken; its box says the word."""
    svg = flow_svg(traced(downwards()), "words", kilograms)
    assert 'stroke-dasharray="7 4"' in svg
    assert "612 kg, rework" in svg


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_any_flow_can_be_drawn(data: st.DataObject) -> None:
    """Whatever went into whatever, over any number of steps: no box on another."""
    count = data.draw(st.integers(2, 25))
    sorts = st.sampled_from(["material", "lot", "pack", "shipment", "sink"])
    nodes = [Node("N0", "lot", "p", 5 * KG, "2026-06-01T09:00:00.000Z")]
    links = []
    for place in range(1, count):
        name = f"N{place}"
        nodes.append(Node(name, data.draw(sorts), "ends", KG, "2026-06-02T09:00:00.000Z", f"c{place % 3}"))
        for source in data.draw(st.sets(st.integers(0, place - 1), min_size=1, max_size=3)):
            links.append(Link(f"N{source}", name, "batch", data.draw(st.integers(0, KG)), "", "", name))
    flow = flow_from(nodes, links, ("N0",))
    for narrow in (False, True):
        apart(flow_svg(traced(flow), "words", kilograms, narrow=narrow))


def test_names_cannot_break_the_drawing() -> None:
    """A customer called <script> is text."""
    nodes = [Node("A", "lot", "<b>", KG), Node("S", "shipment", "", KG, "", "<script>alert(1)</script>")]
    svg = flow_svg(traced(flow_from(nodes, [Link("A", "S", "ship", KG)], ("A",))), "a<b", kilograms)
    ElementTree.fromstring(svg)
    assert "<script>" not in svg
