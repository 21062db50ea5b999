"""The boxes of a flow picture: things by column, put together by day, week or product where they are many."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from saltloft.foundation.words import say, say_many
from saltloft.plant.recall_account import REWORK
from saltloft.plant.sentences import day_words
from saltloft.plant.trace import worked_in_again
from saltloft.plant.traced import Traced, TracedRow

KG = 1_000_000
Say = Callable[[float], str]


@dataclass(frozen=True)
class Box:
    """One box: a thing, or several that belong together.

    Args:
        key: str. Names it in the picture.
        column: int. From the left.
        sort: str. Sort of node; decides the shape.
        label, amount: str. Two lines.
        rows: tuple of TracedRow.
        again: bool. Reached through rework only.
        start: bool. What is traced.
    """

    key: str
    column: int
    sort: str
    label: str
    amount: str
    rows: tuple[TracedRow, ...]
    again: bool
    start: bool

    @property
    def many(self) -> bool:
        """Whether it stands for more than one thing."""
        return len(self.rows) > 1


@dataclass(frozen=True)
class Edge:
    """What goes from one box into another.

    Args:
        giver, receiver: str. Keys of boxes.
        mg: int. Of what is traced. [mg]
        again: bool. Rework.
    """

    giver: str
    receiver: str
    mg: int
    again: bool


def boxes_of(traced: Traced, most: int, mass: Say) -> tuple[list[Box], list[Edge]]:
    """Boxes and what goes between them.

    Args:
        traced: Traced.
        most: int. Boxes that have room in one column.
        mass: callable(mg) -> str. A weight in the reader's unit.
    """
    columns = _columns(traced)
    zone = ZoneInfo(traced.house.zone)
    by_column: dict[int, list[TracedRow]] = defaultdict(list)
    for row in traced.rows:
        by_column[columns[row.node.node]].append(row)
    boxes: list[Box] = []
    home: dict[str, str] = {}
    for column in sorted(by_column):
        for members in _together(traced, by_column[column], most, zone):
            box = _box(traced, column, members, mass)
            boxes.append(box)
            home.update({row.node.node: box.key for row in members})
    sums: dict[tuple[str, str, bool], int] = defaultdict(int)
    for link, mg in zip(traced.flow.links, traced.link_mg, strict=True):
        giver, receiver = home[link.source], home[link.lot]
        if giver != receiver:
            sums[giver, receiver, worked_in_again(traced.flow, link)] += mg
    return boxes, [Edge(giver, receiver, mg, again) for (giver, receiver, again), mg in sums.items()]


def _columns(traced: Traced) -> dict[str, int]:
    """The longest way from a start, counted so that time runs from left to right."""
    flow = traced.flow
    depth = dict.fromkeys(flow.nodes, 0)
    for name in flow.order:
        for _, after in flow.onward.get(name, ()):
            depth[after] = max(depth[after], depth[name] + 1)
    deepest = max(depth.values(), default=0)
    ends = "shipment" if traced.down else "material"
    for name, node in flow.nodes.items():
        if node.sort == ends and not flow.onward.get(name):
            depth[name] = deepest if name not in flow.starts else depth[name]
    return depth if traced.down else {name: deepest - own for name, own in depth.items()}


def _together(
    traced: Traced, rows: Sequence[TracedRow], most: int, zone: ZoneInfo
) -> Iterable[list[TracedRow]]:
    """Rows of one column in as many groups as have room: starts alone, rework apart, sorts apart."""
    classes: dict[tuple[str, bool], list[TracedRow]] = defaultdict(list)
    for row in rows:
        if row.node.node in traced.flow.starts:
            yield [row]
        else:
            classes[row.node.sort, row.again].append(row)
    # What came off is at most ends, samples and waste, however many they are.
    sizes = {
        key: min(len(members), 3) if key[0] == "sink" else len(members) for key, members in classes.items()
    }
    for key, members in classes.items():
        room = round(most * sizes[key] / sum(sizes.values())) if len(classes) > 1 else most
        yield from _grouped(key[0], members, max(room, 1), zone)


def _grouped(sort: str, rows: list[TracedRow], room: int, zone: ZoneInfo) -> list[list[TracedRow]]:
    keys: tuple[Callable[[TracedRow], object], ...]
    if sort == "shipment":
        keys = (lambda row: row.node.node, lambda row: row.node.party)
    elif sort == "sink":
        keys = (lambda row: row.node.product,)
    else:
        keys = (
            lambda row: row.node.node,
            lambda row: (row.node.product, _day(row, zone)),
            lambda row: (row.node.product, _week(row, zone)),
            lambda row: row.node.product,
        )
    groups: list[list[TracedRow]] = []
    for key in keys:
        found: dict[object, list[TracedRow]] = defaultdict(list)
        for row in rows:
            found[key(row)].append(row)
        groups = list(found.values())
        if len(groups) <= room:
            return groups
    # No key is coarse enough: the largest stand alone, the rest together.
    groups.sort(key=lambda group: (-sum(row.likely_mg for row in group), group[0].node.node))
    return [*groups[: room - 1], [row for group in groups[room - 1 :] for row in group]]


def _day(row: TracedRow, zone: ZoneInfo) -> str:
    return row.at.astimezone(zone).date().isoformat() if row.at else ""


def _week(row: TracedRow, zone: ZoneInfo) -> str:
    return "{}-{}".format(*row.at.astimezone(zone).isocalendar()[:2]) if row.at else ""


def _box(traced: Traced, column: int, rows: list[TracedRow], mass: Say) -> Box:
    first = rows[0]
    start = first.node.node in traced.flow.starts
    weight = sum(row.node.booked_mg for row in rows)
    parts = [_product(rows), mass(weight) if weight else mass(sum(row.likely_mg for row in rows))]
    amount = ", ".join(part for part in (*parts, say("rework") if first.again else "") if part)
    key = f"b{column}-{first.node.node}"
    return Box(key, column, first.node.sort, _label(traced, rows), amount, tuple(rows), first.again, start)


def _product(rows: list[TracedRow]) -> str:
    """What several lots or packs have in common; one of them is known by its number."""
    titles = {row.title for row in rows}
    shown = len(rows) > 1 and len(titles) == 1 and rows[0].node.sort in ("lot", "pack", "material")
    return titles.pop() if shown else ""


def _label(traced: Traced, rows: list[TracedRow]) -> str:
    first = rows[0]
    if first.node.sort == "sink":
        return place_word(first.node.product)
    parties = {row.node.party for row in rows}
    if first.node.sort == "shipment" and len(parties) == 1:
        return first.party or first.node.node
    if first.node.sort == "shipment":
        return say_many("{count} customer", "{count} customers", len(parties))
    if len(rows) == 1:
        return first.node.node
    zone = ZoneInfo(traced.house.zone)
    days = {row.at.astimezone(zone).date() for row in rows if row.at}
    count = things_words(first.node.sort, len(rows))
    if len(days) != 1:
        return count
    day = day_words(days.pop(), traced.at.astimezone(zone).date(), weekday=False)
    return say("{count}, {day}", count=count, day=day)


def things_words(sort: str, count: int) -> str:
    """'9 lots', '3 pack lots', '31 shipments'."""
    if sort == "material":
        return say_many("{count} delivery", "{count} deliveries", count)
    if sort == "lot":
        return say_many("{count} lot", "{count} lots", count)
    if sort == "pack":
        return say_many("{count} pack lot", "{count} pack lots", count)
    return say_many("{count} shipment", "{count} shipments", count)


def place_word(place: str) -> str:
    """Where a weight is, in a word."""
    words = {
        "shipped": say("shipped"),
        "stock": say("in stock"),
        REWORK: say("worked in again"),
        "ends": say("ends"),
        "sample": say("samples"),
        "waste": say("waste"),
    }
    return words.get(place, place)
