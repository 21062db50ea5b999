"""A trace as a picture: boxes in columns, time from left to right, bands as wide as what goes along them.

Each sort of thing has its own outline and each box its words, so that a grey
print says the same. Boxes never overlap: a band that passes a column has a lane
of its own there. On a phone the columns become rows.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean
from urllib.parse import quote

from markupsafe import escape

from saltloft.foundation.words import say
from saltloft.papers.flow_groups import Box, Edge, Say, boxes_of
from saltloft.plant.traced import Traced

INK, BAND, PAPER = "#22262a", "#8d8a80", "#ffffff"
WIDE, NARROW = 960.0, 360.0
BOX_H, GAP, LANE, HEAD = 40.0, 12.0, 8.0, 26.0
MOST_WIDE, MOST_NARROW = 14, 3
LEAST_BOX = 84.0
# Letters on a screen and, where the picture is shrunk to a sheet's width, on paper. [px]
SCREEN_SIZE, PAPER_SIZE = 12.0, 14.5
# Width of a letter over its size, to the safe side.
LETTER = 0.55


@dataclass
class Place:
    """Where a box, or the lane of a band that passes, comes to lie. [px]"""

    key: str
    column: int
    box: Box | None
    x: float = 0.0
    y: float = 0.0
    w: float = 0.0
    h: float = BOX_H


def flow_svg(
    traced: Traced, words: str, mass: Say, *, narrow: bool = False, links: bool = True, font: str = ""
) -> str:
    """The picture of a trace.

    Args:
        traced: Traced.
        words: str. Alternative text.
        mass: callable(mg) -> str. A weight in the reader's unit.
        narrow: bool. For a phone: rows in place of columns.
        links: bool. Boxes lead to the trace of what they show (screens only).
        font: str. Font family; empty: the page's.
    """
    boxes, edges = boxes_of(traced, MOST_NARROW if narrow else MOST_WIDE, mass)
    places, hops = _with_lanes(boxes, edges)
    _sort_columns(places, hops)
    width, height = _lay_out_rows(places) if narrow else _lay_out_columns(places)
    by_key = {place.key: place for column in places for place in column}
    most = max([edge.mg for edge in edges], default=0)
    bands = "".join(_band(by_key[edge.giver], by_key[edge.receiver], edge, most, narrow) for edge in hops)
    size = SCREEN_SIZE if links else PAPER_SIZE
    shown = "".join(
        _box(place, place.box, traced, size=size, links=links)
        for column in places
        for place in column
        if place.box is not None
    )
    heads = "" if narrow else "".join(_head(column, width) for column in places)
    family = f' font-family="{escape(font)}"' if font else ""
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="flow" viewBox="0 0 {width:.0f} {height:.0f}" '
        f'role="{"group" if links else "img"}" aria-label="{escape(words)}"{family} font-size="{size}">'
        f"{bands}{heads}{shown}</svg>"
    )


def _with_lanes(boxes: Sequence[Box], edges: Sequence[Edge]) -> tuple[list[list[Place]], list[Edge]]:
    """Columns of places, and edges in hops from one to the next; a giver's far bands share a lane."""
    column_of = {box.key: box.column for box in boxes}
    columns: dict[int, dict[str, Place]] = defaultdict(dict)
    for box in boxes:
        columns[box.column][box.key] = Place(box.key, box.column, box)
    sums: dict[tuple[str, str, bool], int] = defaultdict(int)
    for edge in edges:
        first, last = column_of[edge.giver], column_of[edge.receiver]
        at = edge.giver
        for column in range(first + 1, last):
            lane = f"lane-{column}-{edge.giver}"
            columns[column].setdefault(lane, Place(lane, column, None, h=LANE))
            sums[at, lane, edge.again] += edge.mg
            at = lane
        sums[at, edge.receiver, edge.again] += edge.mg
    hops = [Edge(giver, receiver, mg, again) for (giver, receiver, again), mg in sums.items()]
    return [list(columns[column].values()) for column in sorted(columns)], hops


def _sort_columns(columns: list[list[Place]], hops: Sequence[Edge]) -> None:
    """Fewer crossings: each place near the middle of what it is joined to, a few times to and fro."""
    near: dict[str, list[str]] = defaultdict(list)
    for hop in hops:
        near[hop.giver].append(hop.receiver)
        near[hop.receiver].append(hop.giver)
    rank = {
        place.key: number / max(len(column), 1) for column in columns for number, place in enumerate(column)
    }
    for turn in range(6):
        for column in columns if turn % 2 == 0 else columns[::-1]:
            wanted = {
                place.key: fmean([rank[key] for key in near[place.key]])
                if near[place.key]
                else rank[place.key]
                for place in column
            }
            column.sort(
                key=lambda place: (place.box is not None and place.box.again, wanted[place.key], place.key)
            )
            for number, place in enumerate(column):
                rank[place.key] = (number + 0.5) / len(column)


def _lay_out_columns(columns: list[list[Place]]) -> tuple[float, float]:
    count = len(columns)
    # A little is left at the right for the outline behind a box of many.
    between = 34.0 * (count - 1)
    # Rework of rework makes many columns: then the picture grows, and its letters stay in their boxes.
    width = max(WIDE, LEAST_BOX * count + between + 6.0)
    room = width - 6.0
    box_w = min(168.0, (room - between) / count)
    step = (room - box_w) / (count - 1) if count > 1 else 0.0
    tall = max(sum(place.h for place in column) + GAP * (len(column) - 1) for column in columns)
    for number, column in enumerate(columns):
        own = sum(place.h for place in column) + GAP * (len(column) - 1)
        y = HEAD + (tall - own) / 2.0
        for place in column:
            place.x, place.y, place.w = 2.0 + number * step, y, box_w
            y += place.h + GAP
    return width, HEAD + tall + 4.0


def _lay_out_rows(columns: list[list[Place]]) -> tuple[float, float]:
    """Rows from top to bottom; lanes are narrow gaps between the boxes of a row."""
    y = 4.0
    for column in columns:
        lanes = sum(place.box is None for place in column)
        boxes = len(column) - lanes
        room = NARROW - 8.0 - GAP * (len(column) - 1) - LANE * lanes
        box_w = min(room / boxes, 150.0) if boxes else 0.0
        x = 2.0 + (room - box_w * boxes) / 2.0
        for place in column:
            place.w = LANE if place.box is None else box_w
            place.x, place.y, place.h = x, y, BOX_H
            x += place.w + GAP
        y += BOX_H + 44.0
    return NARROW, y - 40.0


def _band(giver: Place, receiver: Place, edge: Edge, most: int, narrow: bool) -> str:
    wide = 1.2 + (9.0 * edge.mg / most if most else 0.0)
    # Through its lane a band goes straight on.
    lane = giver.box is None
    if narrow:
        x0, y0 = giver.x + giver.w / 2.0, giver.y + giver.h
        x1, y1 = receiver.x + receiver.w / 2.0, receiver.y
        middle = (y0 + y1) / 2.0
        begin = f"M{x0:.1f} {giver.y:.1f}V{y0:.1f}" if lane else f"M{x0:.1f} {y0:.1f}"
        path = f"{begin}C{x0:.1f} {middle:.1f} {x1:.1f} {middle:.1f} {x1:.1f} {y1:.1f}"
    else:
        x0, y0 = giver.x + giver.w, giver.y + giver.h / 2.0
        x1, y1 = receiver.x, receiver.y + receiver.h / 2.0
        middle = (x0 + x1) / 2.0
        begin = f"M{giver.x:.1f} {y0:.1f}H{x0:.1f}" if lane else f"M{x0:.1f} {y0:.1f}"
        path = f"{begin}C{middle:.1f} {y0:.1f} {middle:.1f} {y1:.1f} {x1:.1f} {y1:.1f}"
    look = f'stroke="{BAND}" stroke-opacity=".6" stroke-width="{wide:.1f}"'
    dash = ' stroke-dasharray="7 4"' if edge.again else ""
    return f'<path class="band" fill="none" {look}{dash} d="{path}"/>'


def _head(column: Sequence[Place], width: float) -> str:
    boxes = [place for place in column if place.box is not None]
    if not boxes:
        return ""
    sorts = [place.box.sort for place in boxes if place.box is not None]
    word = sort_word(max(set(sorts), key=lambda sort: (sorts.count(sort), sort)))
    x = min(max(boxes[0].x + boxes[0].w / 2.0, 40.0), width - 40.0)
    return f'<text x="{x:.1f}" y="14" text-anchor="middle" fill="{INK}">{escape(word)}</text>'


def sort_word(sort: str) -> str:
    """The head of a column."""
    words = {
        "material": say("received"),
        "lot": say("lots"),
        "pack": say("packed"),
        "shipment": say("sent to"),
        "sink": say("came off"),
    }
    return words.get(sort, sort)


def outline(sort: str, x: float, y: float, w: float, h: float) -> str:
    """The outline of a sort of thing: a sack, a sausage, a pack, an arrow, an open box."""
    if sort == "material":
        return (
            f"M{x + 9:.1f} {y:.1f}H{x + w - 9:.1f}L{x + w:.1f} {y + 9:.1f}V{y + h:.1f}H{x:.1f}V{y + 9:.1f}Z"
        )
    if sort == "lot":
        r = h / 2.0
        return (
            f"M{x + r:.1f} {y:.1f}H{x + w - r:.1f}A{r:.1f} {r:.1f} 0 0 1 {x + w - r:.1f} {y + h:.1f}"
            f"H{x + r:.1f}A{r:.1f} {r:.1f} 0 0 1 {x + r:.1f} {y:.1f}Z"
        )
    if sort == "shipment":
        tip, middle = x + w - 10.0, y + h / 2.0
        return f"M{x:.1f} {y:.1f}H{tip:.1f}L{x + w:.1f} {middle:.1f}L{tip:.1f} {y + h:.1f}H{x:.1f}Z"
    return f"M{x:.1f} {y:.1f}H{x + w:.1f}V{y + h:.1f}H{x:.1f}Z"


def _box(place: Place, box: Box, traced: Traced, *, size: float, links: bool) -> str:
    stroke = 2.6 if box.start else 1.2
    dash = ' stroke-dasharray="5 3"' if box.sort == "sink" or box.again else ""
    pen = f'fill="{PAPER}" stroke="{INK}"'
    parts = []
    if box.many:
        behind = outline(box.sort, place.x + 3.0, place.y - 3.0, place.w, place.h)
        parts.append(f'<path class="box" {pen} stroke-width=".8" d="{behind}"/>')
    path = outline(box.sort, place.x, place.y, place.w, place.h)
    parts.append(f'<path class="box" {pen} stroke-width="{stroke}"{dash} d="{path}"/>')
    if box.sort == "pack":
        line = f"M{place.x + 5:.1f} {place.y:.1f}v{place.h:.1f}"
        parts.append(f'<path class="box" fill="none" stroke="{INK}" stroke-width=".8" d="{line}"/>')
    middle = place.x + place.w / 2.0
    letters = int((place.w - 12.0) / (LETTER * size))
    for text, y, weight in ((box.label, 17.0, "600"), (box.amount, 32.0, "400")):
        short = text if len(text) <= letters else text[: max(letters - 1, 1)] + "…"
        parts.append(
            f'<text x="{middle:.1f}" y="{place.y + y:.1f}" text-anchor="middle" font-weight="{weight}" '
            f'fill="{INK}">{escape(short)}</text>'
        )
    drawn = "".join(parts)
    title = f"<title>{escape(box.label)}: {escape(box.amount)}</title>"
    if not links:
        return f"<g>{title}{drawn}</g>"
    way = "down" if traced.down else "up"
    href = "#list" if box.many else f"/trace?node={quote(box.rows[0].node.node, safe='')}&way={way}"
    return f'<a href="{escape(href)}">{title}{drawn}</a>'
