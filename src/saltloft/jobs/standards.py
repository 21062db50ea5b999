"""Numbers, tags and events in the open standards: what leaves the house for other people's programs."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, time
from typing import Any

from saltloft.cases.open_house import OpenHouse
from saltloft.cases.trace import titles_of
from saltloft.foundation.errors import InputError, UnknownName
from saltloft.foundation.words import say
from saltloft.plant.digital_link import ASSET, LinkKey, address, brackets, own_asset
from saltloft.plant.epcis import Naming, document
from saltloft.plant.flow import PackMade
from saltloft.plant.hams import HamGroupSalted
from saltloft.plant.lot_record import LotRecord
from saltloft.plant.sentences import day_words
from saltloft.plant.stated import counting
from saltloft.plant.tags import HAM, PACK, RACK, STICKER, Tag, TagSheet, link_of, with_attributes
from saltloft.plant.trace import DOWN, UP, Link, Node
from saltloft.plant.trace_words import kilograms
from saltloft.store.moments import to_text

MOST_TAGS = 2000


def numbers(house: OpenHouse) -> dict[str, str]:
    """The trade item number of each product that has one; the last statement counts."""
    return {said.payload.product: said.payload.gtin for said in house.store.numbers.all()}


def _base(base: str) -> str:
    if not base.startswith(("https://", "http://")):
        raise InputError(
            say("the house has no address for its tags"),
            got=f"'{base}'",
            allowed=say("an address such as https://house.example"),
            do=say("set tag_address in house.toml"),
            key="tag_address",
        )
    return base


def events(
    house: OpenHouse, nodes: Sequence[str] = (), start: date | None = None, *, base: str
) -> dict[str, Any]:
    """An EPCIS 2.0 document.

    Args:
        house: OpenHouse.
        nodes: sequence of str. Only what is above and below these; empty: everything.
        start: date or None. Only what happened from this day on, in the house's zone.
        base: str. The house's own address for things without a trade item number.

    Raises:
        UnknownName: nothing has that number.
        InputError: no address.
    """
    naming = Naming(_base(base), numbers(house))
    links: dict[tuple[str, ...], Link] = {}
    known: dict[str, Node] = {}
    if nodes:
        for way in (UP, DOWN):
            flow = house.store.trace.flow(list(nodes), way)
            known.update(flow.nodes)
            links.update({(*link[:3], link.entry_id, link.ingredient): link for link in flow.links})
        every = list(links.values())
    else:
        known, every = house.store.trace.everything()
    if start is not None:
        first = to_text(datetime.combine(start, time.min, house.zone))
        every = [link for link in every if link.at >= first]
        ends = {end for link in every for end in (link.source, link.lot)}
        # Of what came before, only its name is needed, not the event of its coming.
        known = {
            name: node if node.made_at >= first else node._replace(made_at="")
            for name, node in known.items()
            if node.made_at >= first or name in ends
        }
    return document(known, every, naming, house.zone, house.now())


def tags(house: OpenHouse, name: str, *, base: str, prefix: str = "", count: int = 1) -> TagSheet:
    """Tags of a lot's racks, of the hams of a group, labels of a pack lot, or a rack's own sticker.

    Args:
        house: OpenHouse.
        name: str. A lot, a pack lot or a rack.
        base: str. Where tags of this house lead.
        prefix: str. The house's company prefix; empty: racks get the house's own address.
        count: int. Labels of a pack lot.

    Raises:
        UnknownName: nothing has that number.
        InputError: no address, or too many labels.
    """
    base = _base(base)
    if not 1 <= count <= MOST_TAGS:
        raise InputError(
            say("so many labels at once are not printed"),
            got=str(count),
            allowed=say("1 to {most}", most=MOST_TAGS),
            key="count",
        )
    lot = house.store.lots.find(name)
    if lot is not None:
        made = _hams(house, lot, base) if lot.family == "ham" else _racks(house, lot, base)
    elif (node := house.store.trace.node(name)) is not None:
        made = [_pack(house, node, base)] * count
    elif any(name in lot.racks for lot in house.store.lots.hanging()):
        made = [_sticker(name, base, prefix)]
    else:
        raise UnknownName(say("lot, pack lot or rack"), name, house.store.lots.names(), key="node")
    return TagSheet(house.face(), house.now().astimezone(house.zone).date(), tuple(made))


def _day(house: OpenHouse, moment: datetime) -> str:
    now = house.now().astimezone(house.zone).date()
    return day_words(moment.astimezone(house.zone).date(), now)


def _racks(house: OpenHouse, lot: LotRecord, base: str) -> list[Tag]:
    title = titles_of(house).get(lot.product, lot.product)
    link, typed = link_of(base, lot.lot, gtin=numbers(house).get(lot.product, ""), lot=lot.lot)
    lines = (
        title,
        say("made {day}", day=_day(house, lot.made_at)),
        say("{mass} green, {count} pieces", mass=kilograms(lot.green_mass.mg), count=lot.pieces),
    )
    racks = [(rack, stay.room) for stay in lot.rooms if stay.end is None for rack in stay.racks]
    return [
        Tag(RACK, lot.lot, (*lines, say("rack {rack}, room {room}", rack=rack, room=room)), link, typed)
        for rack, room in racks
    ] or [Tag(RACK, lot.lot, lines, link, typed)]


def _hams(house: OpenHouse, lot: LotRecord, base: str) -> list[Tag]:
    made = lot.made.payload
    title = titles_of(house).get(lot.product, lot.product)
    gtin = numbers(house).get(lot.product, "")
    own = made.tags if isinstance(made, HamGroupSalted) else ()
    salted = say("salted {day}", day=_day(house, lot.made_at))
    found = []
    for tag in own or tuple(str(number + 1) for number in range(lot.pieces)):
        serial = f"{lot.lot}-{tag}"
        link, typed = link_of(base, lot.lot, gtin=gtin, lot=lot.lot, serial=serial)
        found.append(Tag(HAM, tag, (title, say("group {lot}", lot=lot.lot), salted), link, typed))
    return found


def _pack(house: OpenHouse, node: Node, base: str) -> Tag:
    title = titles_of(house).get(node.product, node.product)
    lines = [title, say("{mass} in all", mass=kilograms(node.booked_mg))]
    if node.at is not None:
        lines.append(say("packed {day}", day=_day(house, node.at)))
    gtin = numbers(house).get(node.product, "") if node.sort in ("pack", "lot") else ""
    link, typed = link_of(base, node.node, gtin=gtin, lot=node.node)
    said = counting(house.store.of_subject(node.node), PackMade)
    if said:
        pack = said[-1].payload
        net_mg = pack.mass.mg // pack.packs if pack.packs and not pack.mass.mg % pack.packs else 0
        link = with_attributes(link, use_by=pack.use_by, net_mg=net_mg)
        if pack.use_by:
            use_by = day_words(date.fromisoformat(pack.use_by), house.now().astimezone(house.zone).date())
            lines.append(say("use by, as entered: {day}", day=use_by))
    return Tag(PACK, node.node, tuple(lines), link, typed)


def _sticker(rack: str, base: str, prefix: str) -> Tag:
    if prefix:
        key = LinkKey(ASSET, own_asset(prefix, rack))
        return Tag(STICKER, rack, (say("rack"),), address(key, base), brackets(key))
    link, typed = link_of(base, rack)
    return Tag(STICKER, rack, (say("rack"),), link, typed)
