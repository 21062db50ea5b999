"""Does the house's mass close: of everything, or of one thing."""

from __future__ import annotations

from saltloft.cases.open_house import OpenHouse
from saltloft.cases.yields import lot_facts
from saltloft.foundation.errors import UnknownName
from saltloft.plant.balance import HouseBalance, NodeBalance, balance_of_house


def house_balance(house: OpenHouse) -> HouseBalance:
    """The balance of every material lot, lot, pack lot, shipment, sample and waste.

    Args:
        house: OpenHouse.
    """
    nodes, links = house.store.flow.nodes(), house.store.flow.links()
    slices = {
        item.payload.sliced: item.payload.mass.mg for item in house.store.slicings.all() if not item.struck
    }
    return balance_of_house(nodes, links, lot_facts(house, links), slices)


def one(house: OpenHouse, node: str) -> NodeBalance:
    """The balance of one thing.

    Args:
        house: OpenHouse.
        node: str.

    Raises:
        UnknownName: with the nearest names.
    """
    found = house_balance(house)
    for balance in found.nodes:
        if balance.node == node:
            return balance
    raise UnknownName("thing", node, [balance.node for balance in found.nodes], key="node")
