"""`saltloft party`: the name and address behind a supplier's or customer's id."""

from __future__ import annotations

from typing import Annotated

import typer

from saltloft.cli.house_commands import HouseOption
from saltloft.cli.opening import open_house
from saltloft.foundation.words import say


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command(name="party", help="Keep the name and address behind a supplier's or customer's id.")(party)


def party(
    party: Annotated[str, typer.Argument(help="Id used in entries, such as cust-07.", metavar="ID")],
    name: Annotated[str, typer.Option(help="Shown name; it stays outside the journal.")],
    address: Annotated[str, typer.Option(help="Address and telephone, line by line.")] = "",
    house: HouseOption = None,
) -> None:
    """The id has to be stated first (an entry of the kind party.added)."""
    from saltloft.jobs import parties

    with open_house(house) as opened:
        parties.keep_name(opened, party, name, address)
    print(say("{party} is shown as {name}.", party=party, name=name))
