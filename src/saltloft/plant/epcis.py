"""Lot events in the words of EPCIS 2.0, as JSON-LD: what came, was made, packed, sent, came back, was taken.

Written from the EPCIS 2.0 and CBV 2.0 standards (business steps, dispositions,
source and destination types). A lot of a product with a trade item number is
named by its GS1 Digital Link; everything else by an address of the house, which
CBV allows. Every weight is in kilograms (KGM).
"""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from typing import Any
from urllib.parse import quote
from zoneinfo import ZoneInfo

from saltloft.foundation.errors import InputError
from saltloft.plant.digital_link import CANONICAL, GTIN, LinkKey, address, gtin_14
from saltloft.plant.trace import Link, Node

CONTEXT = "https://ref.gs1.org/standards/epcis/2.0.0/epcis-context.jsonld"
# One event a sort of step; a shipment gives two, what is in it and for whom it left.
STEPS = {
    "batch": "commissioning",
    "split": "creating_class_instance",
    "merge": "creating_class_instance",
    "slice": "commissioning",
    "pack": "packing",
    "ends": "creating_class_instance",
}
Event = dict[str, Any]


class Naming:
    """How things are named in events.

    Args:
        base: str. The house's own address for its things, such as 'https://house.example'.
        numbers: mapping of product to its trade item number.
    """

    def __init__(self, base: str, numbers: Mapping[str, str]) -> None:
        self.base = base.rstrip("/")
        self.gtins = {product: gtin_14(gtin) for product, gtin in numbers.items()}

    def thing(self, node: Node) -> str:
        """The class of a lot: a Digital Link where its product has a number and its name can stand in one."""
        gtin = self.gtins.get(node.product)
        if gtin and node.sort in ("lot", "pack"):
            try:
                return address(LinkKey(GTIN, gtin, node.node), CANONICAL)
            except InputError:
                pass
        return self.own(node.node)

    def own(self, name: str) -> str:
        """An address of the house."""
        return f"{self.base}/g/{quote(name, safe='')}"

    def party(self, party: str) -> str:
        """A supplier or customer, by id only."""
        return self.own(f"party/{party}")


def document(
    nodes: Mapping[str, Node], links: Sequence[Link], naming: Naming, zone: ZoneInfo, created: datetime
) -> dict[str, Any]:
    """An EPCIS 2.0 document of everything that some nodes and links state.

    Args:
        nodes: mapping of number to Node; every end of a link among them.
        links: sequence of Link.
        naming: Naming.
        zone: ZoneInfo. Whose offset events bear.
        created: datetime, aware.

    Returns:
        dict. Plain JSON values.
    """
    teller = _Teller(nodes, naming, zone)
    events = [*teller.received(), *teller.linked(links)]
    events.sort(key=lambda event: (event["eventTime"], event["eventID"]))
    return {
        "@context": [CONTEXT],
        "type": "EPCISDocument",
        "schemaVersion": "2.0",
        "creationDate": created.isoformat(),
        "epcisBody": {"eventList": events},
    }


def _amount(thing: str, mg: int) -> dict[str, Any]:
    # Booked by number only: the class is named without an amount.
    return {"epcClass": thing, "quantity": mg / 1e6, "uom": "KGM"} if mg else {"epcClass": thing}


class _Teller:
    """Puts nodes and links of one house into events."""

    def __init__(self, nodes: Mapping[str, Node], naming: Naming, zone: ZoneInfo) -> None:
        self.nodes, self.naming, self.zone = nodes, naming, zone

    def received(self) -> Iterator[Event]:
        """What came into the house."""
        for node in self.nodes.values():
            if node.sort != "material" or node.at is None:
                continue
            event = self._event("ObjectEvent", f"received:{node.node}", node.at, "receiving")
            event |= {"action": "OBSERVE", "disposition": "in_progress"}
            event["quantityList"] = [_amount(self.naming.thing(node), node.booked_mg)]
            if node.party:
                party = self.naming.party(node.party)
                event["sourceList"] = [{"type": "possessing_party", "source": party}]
            yield event

    def linked(self, links: Sequence[Link]) -> Iterator[Event]:
        """What became of it."""
        groups: dict[tuple[str, str, str], list[Link]] = defaultdict(list)
        for link in links:
            # What one entry says about one receiver is one event; a split has one giver.
            receiver = link.source if link.sort == "split" else link.lot
            groups[link.entry_id, link.sort, receiver].append(link)
        tellers = {
            "ship": self._shipped,
            "return": self._came_back,
            "sample": self._taken,
            "waste": self._taken,
        }
        for (entry, sort, receiver), group in groups.items():
            at = datetime.fromisoformat(group[0].at)
            yield from tellers.get(sort, self._made)(group, f"{entry}:{sort}:{receiver}", at)

    def _event(self, sort: str, key: str, at: datetime, step: str) -> Event:
        local = at.astimezone(self.zone)
        offset = f"{local:%z}"
        # The same record always gives the same event.
        name = uuid.uuid5(uuid.NAMESPACE_URL, f"saltloft:{key}")
        return {
            "type": sort,
            "eventID": f"urn:uuid:{name}",
            "eventTime": local.isoformat(timespec="milliseconds"),
            "eventTimeZoneOffset": f"{offset[:3]}:{offset[3:]}",
            "bizStep": step,
        }

    def _named(self, name: str, mg: int) -> dict[str, Any]:
        return _amount(self.naming.thing(self.nodes[name]), mg)

    def _made(self, group: Sequence[Link], key: str, at: datetime) -> Iterator[Event]:
        sort = group[0].sort
        event = self._event("TransformationEvent", key, at, STEPS.get(sort, "other"))
        event["disposition"] = "in_progress"
        givers: dict[str, int] = defaultdict(int)
        receivers: dict[str, int] = {}
        for link in group:
            givers[link.source] += link.mg
            # What is booked on the receiver came of it; a part of a split and ends are booked by the link.
            whole = sort in ("batch", "slice", "pack", "merge")
            receivers[link.lot] = self.nodes[link.lot].booked_mg if whole else link.mg
        event["inputQuantityList"] = [self._named(name, mg) for name, mg in givers.items()]
        event["outputQuantityList"] = [self._named(name, mg) for name, mg in receivers.items()]
        yield event

    def _shipped(self, group: Sequence[Link], key: str, at: datetime) -> Iterator[Event]:
        shipment = self.nodes[group[0].lot]
        inside = [self._named(link.source, link.mg) for link in group]
        unit = self.naming.own(shipment.node)
        packed = self._event("AggregationEvent", f"{key}:packed", at, "loading")
        packed |= {
            "action": "ADD",
            "parentID": unit,
            "childQuantityList": inside,
            "disposition": "in_progress",
        }
        yield packed
        left = self._event("TransactionEvent", f"{key}:left", at, "shipping")
        left |= {
            "action": "ADD",
            "parentID": unit,
            "bizTransactionList": [{"type": "desadv", "bizTransaction": unit}],
            "quantityList": inside,
            "disposition": "in_transit",
        }
        if shipment.party:
            party = self.naming.party(shipment.party)
            left["destinationList"] = [{"type": "owning_party", "destination": party}]
        yield left

    def _came_back(self, group: Sequence[Link], key: str, at: datetime) -> Iterator[Event]:
        back, sent = self.nodes[group[0].lot], self.nodes[group[0].source]
        event = self._event("TransformationEvent", key, at, "receiving")
        event["disposition"] = "returned"
        # What came back stands under a number of its own; the name it was sent under is in the link.
        came_as = group[0].ingredient if group[0].ingredient in self.nodes else sent.node
        mg = sum(link.mg for link in group)
        event["inputQuantityList"] = [self._named(came_as, mg)]
        event["outputQuantityList"] = [self._named(back.node, mg)]
        if sent.party:
            event["sourceList"] = [{"type": "owning_party", "source": self.naming.party(sent.party)}]
        yield event

    def _taken(self, group: Sequence[Link], key: str, at: datetime) -> Iterator[Event]:
        sampled = group[0].sort == "sample"
        event = self._event("ObjectEvent", key, at, "sampling" if sampled else "destroying")
        event["action"] = "OBSERVE" if sampled else "DELETE"
        event["disposition"] = "in_progress" if sampled else "destroyed"
        event["quantityList"] = [self._named(group[0].source, sum(link.mg for link in group))]
        yield event
