"""Tracing: amounts are kept to the milligram, up and down say the same, and a ring is refused by name."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.trace_cases import KG, downwards, flow_from, upwards

from saltloft.foundation.errors import RuleBroken
from saltloft.plant.trace import (
    DOWN,
    UP,
    Carried,
    Flow,
    Link,
    Node,
    carried_down,
    carried_up,
    out_of,
    reached,
    split,
    through_rework,
)


def base_of(flow: Flow) -> dict[str, int]:
    """What comes out of each node in all."""
    return {name: out_of(node, flow.out_mg.get(name, 0)) for name, node in flow.nodes.items()}


@st.composite
def houses(draw: st.DrawFn) -> tuple[list[Node], list[Link]]:
    """Any house: things made one after another, each from some of those before it."""
    count = draw(st.integers(2, 14))
    sorts = [
        "material",
        *[draw(st.sampled_from(["material", "lot", "pack", "shipment"])) for _ in range(count - 1)],
    ]
    states = draw(st.lists(st.sampled_from(["hanging", "off_racks"]), min_size=count, max_size=count))
    nodes = [
        Node(f"N{place}", sorts[place], "", draw(st.integers(0, 10**9)), "", "", states[place])
        for place in range(count)
    ]
    links = []
    for place in range(1, count):
        for source in draw(st.sets(st.integers(0, place - 1), max_size=4)):
            links.append(Link(f"N{source}", f"N{place}", "batch", draw(st.integers(0, 10**9))))
    return nodes, links


def part_of(nodes: list[Node], links: list[Link], start: str, direction: str) -> Flow:
    """The flow from one node, with sums over the whole house."""
    whole = flow_from(nodes, links, (start,), direction)
    found = reached(links, [start], direction)
    kept = tuple(link for link in links if (link.source if direction == DOWN else link.lot) in found)
    inside = {name: node for name, node in whole.nodes.items() if name in found}
    return Flow((start,), direction, inside, kept, whole.in_mg, whole.out_mg)


@given(st.integers(0, 10**12), st.lists(st.integers(0, 10**9), min_size=1, max_size=30).filter(any))
def test_parts_add_up_and_none_is_off_by_a_milligram(amount: int, weights: list[int]) -> None:
    """Largest remainders: the sum is exact and each part is its exact share rounded up or down."""
    parts = split(amount, weights)
    assert sum(parts) == amount
    for part, weight in zip(parts, weights, strict=True):
        assert abs(Fraction(part) - Fraction(amount * weight, sum(weights))) < 1


@settings(max_examples=150, deadline=None)
@given(houses())
def test_what_is_traced_is_kept_to_the_milligram(house: tuple[list[Node], list[Link]]) -> None:
    """However it was mixed and divided, what stayed everywhere adds up to the start's mass."""
    flow = part_of(*house, "N0", DOWN)
    base = base_of(flow)
    carried = carried_down(flow, base)
    assert sum(carried.here_mg.values()) == base["N0"]
    assert all(mg >= 0 for mg in carried.here_mg.values())


@settings(max_examples=150, deadline=None)
@given(houses())
def test_the_worst_case_is_never_below_the_likely_one_nor_above_the_start(
    house: tuple[list[Node], list[Link]],
) -> None:
    """A node may hold more than its share, never less, and never more than there was."""
    flow = part_of(*house, "N0", DOWN)
    base = base_of(flow)
    carried = carried_down(flow, base)
    for name in flow.nodes:
        assert carried.likely_mg[name] <= carried.worst_mg[name] <= base["N0"]


@settings(max_examples=150, deadline=None)
@given(houses())
def test_up_and_down_say_the_same(house: tuple[list[Node], list[Link]]) -> None:
    """What of N0 is found in the last node going down is what going up from there finds of N0.

    Both are the same sum over ways; each link rounds by at most one and a half milligrams, which
    then travel on with the shares of the links behind it.
    """
    nodes, links = house
    last = nodes[-1].node
    down = part_of(nodes, links, "N0", DOWN)
    up = part_of(nodes, links, last, UP)
    if last not in down.nodes:
        assert "N0" not in up.nodes
        return
    base_down, base_up = base_of(down), base_of(up)
    going_down = carried_down(down, base_down).likely_mg[last]
    going_up = carried_up(up, base_up).likely_mg["N0"]
    to_end, to_start = shares_to(down, base_down, last), shares_back(up, base_up)
    exact = base_down["N0"] * to_end["N0"]
    assert abs(going_down - exact) <= sum(to_end[link.lot] for link in down.links)
    assert abs(going_up - exact) <= Fraction(3, 2) * sum(to_start[link.source] for link in up.links)


def shares_to(flow: Flow, base: dict[str, int], end: str) -> dict[str, Fraction]:
    """The exact share of each node that goes into one node, over all ways."""
    share = dict.fromkeys(flow.nodes, Fraction(0))
    for name in reversed(flow.order):
        share[name] = Fraction(name == end)
        for link in flow.links:
            if link.source == name and base[name]:
                share[name] += Fraction(link.mg, base[name]) * share[link.lot]
    return share


def shares_back(flow: Flow, base: dict[str, int]) -> dict[str, Fraction]:
    """How many milligrams of N0 stand behind one milligram of each node, over all ways."""
    share = dict.fromkeys(flow.nodes, Fraction(0))
    for name in reversed(flow.order):
        share[name] = Fraction(name == "N0")
        for link in flow.links:
            if link.lot == name and base[name]:
                share[name] += Fraction(link.mg, base[name]) * share[link.source]
    return share


def test_ten_kilograms_of_salt_by_hand() -> None:
    """A batch took 4 kg of salt and gave 20 of its 60 kg to a customer: 1.333 kg of salt."""
    nodes = [
        Node("SALT", "material", "", 10 * KG),
        Node("A", "lot", "", 100 * KG, "", "", "off_racks"),
        Node("B", "lot", "", 300 * KG, "", "", "off_racks"),
        Node("PA", "pack", "", 60 * KG),
        Node("S", "shipment", "", 20 * KG, "", "cus-1"),
    ]
    links = [
        Link("SALT", "A", "batch", 4 * KG),
        Link("SALT", "B", "batch", 6 * KG),
        Link("A", "PA", "pack", 60 * KG),
        Link("PA", "S", "ship", 20 * KG),
    ]
    flow = flow_from(nodes, links, ("SALT",))
    carried = carried_down(flow, base_of(flow))
    assert carried.likely_mg == {"SALT": 10 * KG, "A": 4 * KG, "B": 6 * KG, "PA": 4 * KG, "S": 1_333_333}
    assert carried.here_mg["PA"] == 2_666_667
    # All 4 kg of the salt in A may sit in those 20 kg.
    assert carried.worst_mg["S"] == 4 * KG
    assert sum(carried.here_mg.values()) == 10 * KG


def test_a_casing_without_a_weight_is_in_scope_and_said_so() -> None:
    """What was booked by number is followed; its amount is not known."""
    nodes = [Node("CAS", "material"), Node("A", "lot", "", KG), Node("P", "pack", "", KG)]
    links = [Link("CAS", "A", "batch", 0), Link("A", "P", "pack", KG)]
    flow = flow_from(nodes, links, ("CAS",))
    carried = carried_down(flow, base_of(flow))
    assert carried.unweighed == {"A", "P"}
    assert carried.likely_mg["P"] == 0


def test_a_ring_is_refused_and_named() -> None:
    """A thing that went into itself is a wrong entry; the message says through what."""
    nodes = [Node(name, "lot", "", KG) for name in ("HA-1", "HA-2", "HA-3", "X")]
    links = [
        Link("X", "HA-1", "batch", 1),
        Link("HA-1", "HA-2", "batch", 1),
        Link("HA-2", "HA-3", "batch", 1),
        Link("HA-3", "HA-1", "batch", 1),
    ]
    flow = flow_from(nodes, links, ("X",))
    with pytest.raises(RuleBroken, match="HA-1 → HA-2 → HA-3 → HA-1"):
        assert flow.order


def test_two_starts_count_what_they_share_once() -> None:
    """A batch that is itself suspect is suspect as a whole, whatever another start gave it."""
    nodes = [
        Node("M", "material", "", 10 * KG),
        Node("L", "lot", "", 50 * KG),
        Node("P", "pack", "", 30 * KG),
    ]
    links = [Link("M", "L", "batch", 10 * KG), Link("L", "P", "pack", 30 * KG)]
    flow = flow_from(nodes, links, ("M", "L"))
    carried = carried_down(flow, base_of(flow))
    assert carried.likely_mg["L"] == 50 * KG
    assert carried.likely_mg["P"] == 30 * KG


def test_rework_is_told_apart() -> None:
    """The Hazel batch holds fennel through ends only; so do none of the nine."""
    flow = downwards()
    assert through_rework(flow) == {"HA-0720"}


def test_a_shipment_knows_its_bag() -> None:
    """Up from one customer's shipment to the bag, with the same amount as down from the bag."""
    down, up = downwards(), upwards("SHIP-0001")
    going_up: Carried = carried_up(up, base_of(up))
    going_down = carried_down(down, base_of(down))
    assert set(up.nodes) == {"SHIP-0001", "PK-RO-0601", "RO-0601", "FEN-118"}
    assert going_up.likely_mg["FEN-118"] == pytest.approx(going_down.likely_mg["SHIP-0001"], abs=3)
