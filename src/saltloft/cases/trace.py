"""Everything a trace asks of the house: the flow, what each lot should give, names, contacts, runs."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from saltloft.cases.open_house import OpenHouse
from saltloft.cases.yields import lot_facts
from saltloft.foundation.errors import InputError, UnknownName
from saltloft.foundation.words import say
from saltloft.plant.contact import Contact, contacts_of
from saltloft.plant.recall import Yielding
from saltloft.plant.trace import DOWN, SLICED, Flow, Node, out_of
from saltloft.plant.traced import Caller
from saltloft.store.moments import from_text, to_text
from saltloft.store.runs import Runs

# A telephone number as people write it: digits with a few signs, on a line of its own in the address.
_PHONE = re.compile(r"\+?[\d ()/.-]{6,25}")
SUSPECTS = ("instrument", "room", "line", "supplier", "shift")


@dataclass(frozen=True)
class TraceCase:
    """A flow with what is known about its nodes.

    Args:
        flow: Flow.
        base_mg: mapping. What comes out of each node in all. [mg]
        yields: mapping of lot to what it should give.
        off_mg: mapping of lot to what was weighed off it, ends, samples and waste among it. [mg]
        titles: mapping of product to what people call it.
        callers: mapping of party to Caller.
    """

    flow: Flow
    base_mg: Mapping[str, int]
    yields: Mapping[str, Yielding]
    off_mg: Mapping[str, int]
    titles: Mapping[str, str]
    callers: Mapping[str, Caller]


def trace_case(
    house: OpenHouse, starts: Sequence[str], direction: str = DOWN, at: datetime | None = None
) -> TraceCase:
    """Gather a flow.

    Args:
        house: OpenHouse.
        starts: sequence of str. At least one.
        direction: str. DOWN or UP.
        at: datetime or None. Only what had happened by then; None: all.

    Raises:
        UnknownName: nothing has that number.
        InputError: nothing was named.
    """
    if not starts:
        raise InputError(say("nothing was named"), do=say("give the number of a thing"), key="node")
    flow = house.store.trace.flow(list(dict.fromkeys(starts)), direction, to_text(at) if at else "")
    yields, off = lots_known(house, flow.nodes.values())
    base = {
        name: out_of(
            node,
            flow.out_mg.get(name, 0),
            yields[name].expected_mg if name in yields else None,
            off.get(name),
        )
        for name, node in flow.nodes.items()
    }
    parties = {node.party for node in flow.nodes.values() if node.party}
    return TraceCase(flow, base, yields, off, titles_of(house), callers_of(house, parties))


def titles_of(house: OpenHouse) -> dict[str, str]:
    """What people call each product."""
    return {record.product: record.defined.payload.title for record in house.store.products.all()}


def lots_known(house: OpenHouse, nodes: Iterable[Node]) -> tuple[dict[str, Yielding], dict[str, int]]:
    """What each lot should give in all, and what was weighed off it; lots without any ground are left out."""
    green = {node.node: node.booked_mg for node in nodes if node.sort == "lot" and node.state != SLICED}
    if not green:
        return {}, {}
    # Sums are all that is asked of the links; a house's links as such may be a million.
    taken = house.store.trace.taken_aside()
    facts = lot_facts(house, taken, green)
    aside: dict[str, int] = {}
    for link in taken:
        aside[link.source] = aside.get(link.source, 0) + link.mg
    yields: dict[str, Yielding] = {}
    off: dict[str, int] = {}
    for lot in green.keys() & facts.keys():
        known = facts[lot]
        if known.expected is not None:
            yields[lot] = Yielding(*known.expected.of(green[lot]))
        if known.finished_mg is not None:
            off[lot] = known.finished_mg + aside.get(lot, 0)
    return yields, off


def callers_of(house: OpenHouse, parties: Collection[str]) -> dict[str, Caller]:
    """How to reach customers and suppliers; one whose name was erased keeps its id only."""
    cards = house.store.trace.contact_cards(sorted(parties))
    found = {}
    for party in parties:
        name, address = cards.get(party, ("", ""))
        lines = [line.strip() for line in address.splitlines() if line.strip()]
        phones = [line for line in lines if _PHONE.fullmatch(line)]
        rest = "\n".join(line for line in lines if line not in phones)
        found[party] = Caller(party, name, rest, phones[0] if phones else "")
    return found


def contact_case(house: OpenHouse, flow: Flow, now: datetime) -> list[Contact]:
    """What else was in contact with what a flow reached, on lines and counters and in making."""
    scope = {name for name, node in flow.nodes.items() if node.sort in ("lot", "pack")}
    moments = [from_text(flow.nodes[name].made_at) for name in scope if flow.nodes[name].made_at]
    if not moments:
        return []
    start, end = min(moments) - timedelta(days=1), max(moments) + timedelta(days=60)
    runs = Runs(house.store.database).between(start, min(end, now + timedelta(days=1)))
    return contacts_of(scope, runs, house.zone, now)


def suspects(house: OpenHouse, sort: str, name: str, start: datetime, end: datetime) -> list[str]:
    """What a suspect instrument, room, line, supplier or shift had to do with in a time.

    Args:
        house: OpenHouse.
        sort: str. One of SUSPECTS; 'shift' takes all that was made, sliced and packed, whatever the name.
        name: str.
        start, end: datetime, aware.

    Raises:
        UnknownName: no such sort.
        InputError: the end is not after the start.
    """
    if sort not in SUSPECTS:
        raise UnknownName(say("sort of suspect"), sort, SUSPECTS, key="suspect")
    if end <= start:
        raise InputError(
            say("a suspect time ends after it begins"),
            got=f"{start.isoformat()}, {end.isoformat()}",
            key="until",
        )
    if sort != "shift" and not name:
        raise InputError(say("the suspect has no name"), key="suspect")
    runs = Runs(house.store.database)
    if sort == "instrument":
        house.store.instruments.get(name)
        found = runs.by_instrument(name, start, end)
    elif sort == "room":
        house.store.rooms.get(name)
        found = runs.in_room(name, start, end)
    elif sort == "line":
        found = runs.on_line(name, start, end)
    elif sort == "supplier":
        nodes = house.store.trace.of_party(name, to_text(start.astimezone(UTC)), to_text(end.astimezone(UTC)))
        found = [node.node for node in nodes if node.sort == "material"]
    else:
        made = house.store.trace.made_between(to_text(start), to_text(end), ("lot", "pack"))
        found = [node.node for node in made]
    known = house.store.trace.nodes(found)
    return [node for node in found if node in known]
