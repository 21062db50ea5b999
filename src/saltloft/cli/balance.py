"""`saltloft balance`: does the mass close, of everything or of one thing."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Annotated, Any

import typer

from saltloft.cli.house_commands import HouseOption, JsonOption
from saltloft.cli.opening import open_house
from saltloft.foundation.words import say

if TYPE_CHECKING:
    from saltloft.plant.balance import NodeBalance

MOST_SHOWN = 30


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command(name="balance", help="Where every booked milligram went, and where the books do not close.")(
        balance
    )


def balance(
    node: Annotated[str, typer.Argument(metavar="[NUMBER]", help="One thing; everything without.")] = "",
    as_json: JsonOption = False,
    house: HouseOption = None,
) -> None:
    """Ends with 1 when something does not close."""
    from saltloft.jobs import balance as job

    with open_house(house) as opened:
        if node:
            one = job.one(opened, node)
            print(json.dumps(_plain(one)) if as_json else _lines(one))
            raise SystemExit(0 if one.closes else 1)
        found = job.house_balance(opened)
    answer = {
        "schema": "balance/1",
        "received_mg": found.received_mg,
        "terms_mg": found.terms_mg,
        "rest_mg": found.rest_mg,
        "open": [_plain(one) for one in found.open_nodes],
    }
    if as_json:
        print(json.dumps(answer))
    else:
        print(say("Received {kg} kg.", kg=_kg(found.received_mg)))
        for name, mg in found.terms_mg.items():
            print(f"  {name:<10} {_kg(mg):>16} kg")
        print(say("Not accounted for: {mg} mg.", mg=found.rest_mg))
        for one in found.open_nodes[:MOST_SHOWN]:
            print(_lines(one))
        if len(found.open_nodes) > MOST_SHOWN:
            print(say("and {count} more; --json names all", count=len(found.open_nodes) - MOST_SHOWN))
    raise SystemExit(1 if found.open_nodes or found.rest_mg else 0)


def _plain(one: NodeBalance) -> dict[str, Any]:
    return {
        "node": one.node,
        "sort": one.sort,
        "product": one.product,
        "in_mg": one.in_mg,
        "out_mg": dict(one.out_mg),
        "rest_mg": one.rest_mg,
        "closes": one.closes,
        "terms": [
            {
                "name": term.name,
                "mg": term.mg,
                "low_mg": term.low_mg,
                "high_mg": term.high_mg,
                "closes": term.closes,
                "words": term.words,
            }
            for term in one.terms
        ],
        "unweighed": list(one.unweighed),
    }


def _lines(one: NodeBalance) -> str:
    rows = [f"{one.node} ({one.product or one.sort})", f"  {'in':<10} {_kg(one.in_mg):>16} kg"]
    rows += [f"  {sort:<10} {_kg(mg):>16} kg" for sort, mg in one.out_mg.items()]
    for term in one.terms:
        note = (
            ""
            if term.closes
            else say("   expected {low} to {high}", low=_kg(term.low_mg), high=_kg(term.high_mg))
        )
        rows.append(f"  {term.name:<10} {_kg(term.mg):>16} kg  {term.words}{note}")
    if one.unweighed:
        rows.append("  " + say("by number only: {names}", names=", ".join(one.unweighed)))
    return "\n".join(rows)


def _kg(mg: int) -> str:
    return f"{mg / 1e6:,.6f}"
