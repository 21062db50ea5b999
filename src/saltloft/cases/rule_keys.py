"""The fact rows that the rules of a house's markets and product names rest on."""

from __future__ import annotations

from collections.abc import Iterator

from saltloft.cases.open_house import OpenHouse
from saltloft.cases.rules import degree_hours_rules, name_limits, shelf_ways


def rule_keys(house: OpenHouse) -> Iterator[str]:
    """Keys of fact rows, in the order of their rules; one may come more than once."""
    markets = house.store.house().payload.markets
    for rule in degree_hours_rules(house.facts, markets):
        yield from (*rule.sources, *(row.source for row in rule.rows))
    names = {name for one in house.store.products.all() for name in one.defined.payload.market_names}
    for limit in name_limits(house.facts, tuple(sorted(names)) if "us" in markets else ()):
        yield from limit.sources
    for market in markets:
        for way in shelf_ways(house.facts, market):
            yield from way.sources
