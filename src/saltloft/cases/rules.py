"""The rules of this version, put together from their fact rows."""

from __future__ import annotations

from dataclasses import replace

from saltloft.facts.loader import Facts
from saltloft.plant.checks.degree_hours_count import DegreeHoursRule, LimitRow
from saltloft.plant.checks.moisture_protein import NameLimit
from saltloft.plant.checks.shelf_stability import ShelfWay

_ROWS = {
    "us": ("limit_below_90", "limit_90_to_100", "limit_above_100"),
    "ca": ("limit_below_33", "limit_33_to_37", "limit_above_37"),
}


def degree_hours_rules(facts: Facts, markets: tuple[str, ...] = ("us", "ca")) -> tuple[DegreeHoursRule, ...]:
    """The degree-hours rule of each market that has one.

    Args:
        facts: Facts.
        markets: tuple of str. 'us', 'ca'; others have no such rule and give nothing.
    """
    return tuple(_degree_hours(facts, market) for market in markets if market in _ROWS)


def _degree_hours(facts: Facts, market: str) -> DegreeHoursRule:
    key = f"degree_hours.{market}"
    second, third = facts.number(f"{key}.second_row_from"), facts.number(f"{key}.third_row_above")
    names = [f"{key}.{name}" for name in _ROWS[market]]
    limits = [facts.number(name) for name in names]
    rows = (
        LimitRow(None, False, second, False, limits[0], names[0]),
        LimitRow(second, True, third, True, limits[1], names[1]),
        LimitRow(third, False, None, False, limits[2], names[2]),
    )
    named = ("base", "end_ph", "second_row_from", "third_row_above")
    return DegreeHoursRule(
        key=key,
        market=market,
        fahrenheit=facts.get(f"{key}.base").unit == "degF",
        base=facts.number(f"{key}.base"),
        end_ph=facts.number(f"{key}.end_ph"),
        rows=rows,
        sources=tuple(f"{key}.{name}" for name in named),
    )


def name_limits(facts: Facts, names: tuple[str, ...]) -> tuple[NameLimit, ...]:
    """The moisture:protein limit of each product name.

    Args:
        facts: Facts.
        names: tuple of str. Keys of the table, such as 'genoa_salami', with or without its prefix.

    Returns:
        One NameLimit a name; `limit` is None where the table has none for it.
    """
    prefix = "moisture_protein.us."
    found = []
    for name in names:
        short = name.removeprefix(prefix).strip().lower().replace(" ", "_").replace("-", "_")
        ph_key = f"moisture_protein.us_end_ph.{short}"
        known = prefix + short in facts.keys(prefix + short)
        with_ph = ph_key in facts.keys(ph_key)
        found.append(
            NameLimit(
                name=short,
                limit=facts.number(prefix + short) if known else None,
                highest_ph=facts.number(ph_key) if with_ph else None,
                sources=((prefix + short,) if known else ()) + ((ph_key,) if with_ph else ()),
            )
        )
    return tuple(found)


def shelf_ways(facts: Facts, market: str) -> tuple[ShelfWay, ...]:
    """The ways in which a product of one market may be called shelf-stable.

    Args:
        facts: Facts.
        market: str. 'us' or 'ca'; others have none.
    """
    number = facts.number
    key = "shelf_stability."
    if market == "us":
        return (
            ShelfWay("us_dry", moisture_protein=number(key + "us_dry.moisture_protein"),
                     sources=(key + "us_dry.moisture_protein",)),
            ShelfWay("us_semi_dry", moisture_protein=number(key + "us_semi_dry.moisture_protein"),
                     ph=number(key + "us_semi_dry.ph"),
                     sources=(key + "us_semi_dry.moisture_protein", key + "us_semi_dry.ph")),
            ShelfWay("us_any_package", water_activity=number(key + "us_any_package.water_activity"),
                     sources=(key + "us_any_package.water_activity",)),
            ShelfWay("us_closed_package", water_activity=number(key + "us_closed_package.water_activity"),
                     closed_package=True, sources=(key + "us_closed_package.water_activity",)),
        )  # fmt: skip
    if market == "ca":
        return tuple(
            replace(
                way,
                nitrite_mg_kg=number(key + "ca_always.nitrite"),
                salt_pct=number(key + "ca_always.salt"),
                degree_hours=True,
                sources=(*way.sources, key + "ca_always.nitrite", key + "ca_always.salt"),
            )
            for way in _canadian_ways(facts, key)
        )
    return ()


def _canadian_ways(facts: Facts, key: str) -> tuple[ShelfWay, ...]:
    number = facts.number
    acid, dry = key + "ca_acid.ph", key + "ca_dry.water_activity"
    ph, water_activity = key + "ca_fermented.ph", key + "ca_fermented.water_activity"
    return (
        ShelfWay("ca_acid", ph=number(acid), sources=(acid,)),
        ShelfWay("ca_dry", water_activity=number(dry), sources=(dry,)),
        ShelfWay(
            "ca_fermented",
            fermented_ph=number(ph),
            water_activity=number(water_activity),
            sources=(ph, water_activity),
        ),
    )
