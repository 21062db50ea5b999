"""Where did it go, what went in, what touched it, and a recall with its drill."""

from __future__ import annotations

from collections import defaultdict, deque
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from saltloft.cases.open_house import AS_GOOD_AS_NOW, OpenHouse
from saltloft.cases.trace import (
    TraceCase,
    callers_of,
    contact_case,
    suspects,
    titles_of,
    trace_case,
)
from saltloft.foundation.errors import InputError, UnknownName
from saltloft.foundation.words import say
from saltloft.plant.digital_link import GTIN, LinkKey, read_address, read_brackets
from saltloft.plant.hams import HamGroupSalted
from saltloft.plant.lot_record import LotRecord
from saltloft.plant.recall import RecallDrilled, recall_of
from saltloft.plant.trace import DOWN, Carried, Node, carried_down, carried_up, through_rework
from saltloft.plant.traced import RecallAnswer, Traced, TracedRow, balance_of

# More of what begins with the same signs is no help.
MOST_HITS = 30


@dataclass(frozen=True)
class Hit:
    """Something a typed number can mean.

    Args:
        node: str. The number.
        sort: str. Sort of node, or 'rack', 'party', 'product'.
        words: str. What it is.
        why: str. How it was found; empty when by its own number.
    """

    node: str
    sort: str
    words: str
    why: str = ""


def trace(
    house: OpenHouse, starts: Sequence[str], direction: str = DOWN, at: datetime | None = None
) -> Traced:
    """Everything below or above some things, with amounts and balances.

    Args:
        house: OpenHouse.
        starts: sequence of str.
        direction: str. DOWN (where did it go) or UP (what went in).
        at: datetime or None. Only what had happened by then; None: now.

    Raises:
        UnknownName: nothing has that number.
        RuleBroken: by the records a thing went into itself.
    """
    case = trace_case(house, starts, direction, _asked(house, at))
    carried = (carried_down if direction == DOWN else carried_up)(case.flow, case.base_mg)
    start_mg = sum(case.base_mg[start] for start in case.flow.starts)
    found_mg = sum(carried.here_mg.values())
    return Traced(
        house.face(),
        at or house.now(),
        case.flow,
        _rows(case, carried),
        carried.link_mg,
        # Of starts that stand below each other only what is there in all counts.
        found_mg if len(case.flow.starts) > 1 and direction == DOWN else start_mg,
        found_mg,
    )


def _asked(house: OpenHouse, at: datetime | None) -> datetime | None:
    """None, which reads all there is, when the moment is now."""
    return None if at is None or house.now() - at <= AS_GOOD_AS_NOW else at


def _rows(case: TraceCase, carried: Carried) -> tuple[TracedRow, ...]:
    flow = case.flow
    again = through_rework(flow)
    steps = _steps(case)
    entries: dict[str, list[str]] = defaultdict(list)
    for link in flow.links:
        end = link.lot if flow.direction == DOWN else link.source
        if link.entry_id and link.entry_id not in entries[end]:
            entries[end].append(link.entry_id)
    rows = [
        TracedRow(
            node,
            case.titles.get(node.product, node.product),
            case.callers[node.party].shown if node.party in case.callers else node.party,
            node.at,
            steps[name],
            carried.likely_mg[name],
            carried.worst_mg[name],
            carried.here_mg.get(name),
            name in carried.unweighed,
            name in again,
            balance_of(
                node,
                flow.in_mg.get(name, 0),
                flow.out_mg.get(name, 0),
                case.yields.get(name),
                case.off_mg.get(name),
            ),
            tuple(entries[name]),
        )
        for name, node in flow.nodes.items()
    ]
    return tuple(sorted(rows, key=lambda row: (row.steps, row.node.made_at, row.node.node)))


def _steps(case: TraceCase) -> dict[str, int]:
    """The fewest links between each node and a start."""
    found = dict.fromkeys(case.flow.starts, 0)
    ahead = deque(case.flow.starts)
    while ahead:
        node = ahead.popleft()
        for _, after in case.flow.onward.get(node, ()):
            if after not in found:
                found[after] = found[node] + 1
                ahead.append(after)
    return found


def recall(
    house: OpenHouse,
    starts: Sequence[str],
    at: datetime | None = None,
    *,
    counted_mg: Mapping[str, int] | None = None,
    reason: str = "",
) -> RecallAnswer:
    """What is in scope when some things are called back, where its weight is, and whom to call.

    Args:
        house: OpenHouse.
        starts: sequence of str.
        at: datetime or None. Only what had happened by then; None: now.
        counted_mg: mapping of pack lot to what was found when counted. [mg]
        reason: str.

    Raises:
        UnknownName: nothing has that number, or a counted pack lot is not in scope.
        RuleBroken: by the records a thing went into itself.
    """
    case = trace_case(house, starts, DOWN, _asked(house, at))
    for node in counted_mg or {}:
        if node not in case.flow.nodes:
            raise InputError(say("what was counted is not in scope"), got=node, key="counted")
    moment = at or house.now()
    return RecallAnswer(
        house.face(),
        moment,
        recall_of(case.flow, case.yields, counted_mg, case.off_mg),
        tuple(sorted(case.callers.items())),
        tuple(sorted(case.titles.items())),
        tuple(contact_case(house, case.flow, moment)),
        reason,
    )


def scope(house: OpenHouse, suspect: str, name: str, start: datetime, end: datetime) -> list[str]:
    """What a suspect instrument, room, line, supplier or shift had to do with in a time; starts for a recall.

    Args:
        house: OpenHouse.
        suspect: str. 'instrument', 'room', 'line', 'supplier' or 'shift'.
        name: str. Empty for a shift.
        start, end: datetime, aware.

    Raises:
        UnknownName, InputError: no such suspect, or a time that cannot be.
    """
    return suspects(house, suspect, name, start, end)


def find(house: OpenHouse, text: str) -> list[Hit]:
    """What any number typed or scanned from a tag, a pack or a paper can mean; the exact one first.

    Args:
        house: OpenHouse.
        text: str. A number, the address of a tag, or the line in brackets below its code.

    Raises:
        InputError: a GS1 number whose check digit is wrong.
    """
    typed = text.strip()
    if not typed:
        return []
    key = read_address(typed) or read_brackets(typed)
    if key is not None:
        return of_key(house, key)
    name = typed.rsplit("/g/", 1)[-1] if "/g/" in typed else typed
    titles = titles_of(house)
    hits = [_hit(node, titles) for node in house.store.trace.beginning(name, MOST_HITS)]
    exact = [hit for hit in hits if hit.node.lower() == name.lower()]
    if exact:
        return exact + [hit for hit in hits if hit not in exact]
    return [
        *_of_number(house, name),
        *_on_rack(house, name, titles),
        *_of_tag(house, name, titles),
        *_of_party(house, name, titles),
        *_of_supplier(house, name, titles),
        *hits,
    ]


def of_key(house: OpenHouse, key: LinkKey) -> list[Hit]:
    """What a Digital Link names in this house; empty when nothing."""
    titles = titles_of(house)
    for wanted in (key.serial, key.lot):
        node = house.store.trace.node(wanted) if wanted else None
        if node is not None:
            return [_hit(node, titles)]
    if key.lot or key.serial:
        return []
    numbered = {said.payload.gtin.zfill(14): said.payload.product for said in house.store.numbers.all()}
    product = numbered.get(key.value)
    if product is None:
        return _on_rack(house, key.value, titles)
    recent = house.store.trace.made_between("", "9999", ("lot", "pack"), product)[-MOST_HITS:]
    return [_hit(node, titles) for node in reversed(recent)]


def _of_number(house: OpenHouse, name: str) -> list[Hit]:
    """By a trade item number typed without brackets; any other number of digits may mean something else."""
    if not name.isdecimal() or len(name) not in (8, 12, 13, 14):
        return []
    return of_key(house, LinkKey(GTIN, name.zfill(14)))


def _hit(node: Node, titles: Mapping[str, str], why: str = "") -> Hit:
    return Hit(node.node, node.sort, titles.get(node.product, node.product), why)


def _on_rack(house: OpenHouse, name: str, titles: Mapping[str, str]) -> list[Hit]:
    """The lots that hang on a rack now; a tag bears the rack's name behind the house's prefix."""
    wanted = name.lower()
    return [
        Hit(lot.lot, "lot", titles.get(lot.product, lot.product), say("hangs on rack {rack}", rack=rack))
        for lot in house.store.lots.hanging()
        for rack in lot.racks
        if rack.lower() == wanted or (wanted.endswith(rack.lower()) and wanted[: -len(rack)].isdigit())
    ]


def _of_tag(house: OpenHouse, name: str, titles: Mapping[str, str]) -> list[Hit]:
    """Hanging lots one of whose pieces or hams bears this tag."""
    wanted = name.lower()
    why = say("tag {tag}", tag=name)
    return [
        Hit(lot.lot, "lot", titles.get(lot.product, lot.product), why)
        for lot in house.store.lots.hanging()
        if wanted in {tag.lower() for tag in _tags(lot)}
    ]


def _tags(lot: LotRecord) -> set[str]:
    made = lot.made.payload
    own = set(made.tags) if isinstance(made, HamGroupSalted) else set()
    return own | {item.payload.tag for item in lot.weighings if item.payload.tag}


def _of_party(house: OpenHouse, name: str, titles: Mapping[str, str]) -> list[Hit]:
    found = house.store.trace.of_party(name)
    why = say("of {party}", party=name)
    return [_hit(node, titles, why) for node in reversed(found[-MOST_HITS:])]


def _of_supplier(house: OpenHouse, name: str, titles: Mapping[str, str]) -> list[Hit]:
    """Material lots by the supplier's own number for them."""
    wanted = name.lower()
    found = [
        said.payload for said in house.store.deliveries.all() if said.payload.supplier_lot.lower() == wanted
    ]
    nodes = house.store.trace.nodes([came.material_lot for came in found])
    why = say("the supplier's number {number}", number=name)
    return [_hit(node, titles, why) for node in nodes.values()]


def drills(house: OpenHouse) -> list[RecallDrilled]:
    """Every recall that was drilled or done, newest first."""
    return [said.payload for said in reversed(house.store.drills.all())]


def drill(house: OpenHouse, name: str) -> RecallDrilled:
    """One drill; UnknownName offers the nearest."""
    known = {done.drill: done for done in drills(house)}
    if name not in known:
        raise UnknownName(say("drill"), name, known, key="drill")
    return known[name]


def next_drill(house: OpenHouse) -> str:
    """A number for the next drill: the year and a running count."""
    year = house.now().astimezone(house.zone).year
    taken = {done.drill for done in drills(house)}
    count = len(taken) + 1
    while f"RCL-{year}-{count}" in taken:
        count += 1
    return f"RCL-{year}-{count}"


def name_of(house: OpenHouse, party: str) -> str:
    """The name of a customer or supplier, else the id."""
    return callers_of(house, [party])[party].shown
