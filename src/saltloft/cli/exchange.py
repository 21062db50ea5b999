"""`saltloft export, import-house`: everything out of a house, and into an empty one."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from saltloft.cli.house_commands import HouseOption
from saltloft.cli.opening import open_house
from saltloft.foundation.words import say


def register(app: typer.Typer) -> None:
    """Add the commands."""
    app.command(name="export", help="Everything out of a house, as JSON lines, CSV or a spreadsheet.")(export)
    app.command(name="import-house", help="An export of JSON lines into an empty folder, same journal.")(
        import_house
    )


def export(
    folder: Annotated[Path, typer.Argument(help="A folder that is empty or missing.", metavar="DIR")],
    form: Annotated[str, typer.Option("--as", help="jsonl (can be imported again), csv or xlsx.")] = "jsonl",
    names: Annotated[
        bool, typer.Option("--names", help="Names and addresses of people, customers and suppliers too.")
    ] = False,
    house: HouseOption = None,
) -> None:
    """Write everything; names only when asked."""
    from saltloft.jobs import exchange, tables_out

    with open_house(house) as opened:
        if form == "jsonl":
            done = exchange.export_lines(opened, folder, names=names)
            print(
                say(
                    "{entries} entries, {batches} batches of readings, {files} attached files in {folder}.",
                    entries=done.entries,
                    batches=done.batches,
                    files=done.files,
                    folder=folder,
                )
            )
            if done.head is not None:
                print(say("Head: {head}", head=f"{done.head.seq}-{done.head.hash[:12]}"))
        else:
            for path in tables_out.export_tables(opened, exchange.empty_folder(folder), form, names=names):
                print(path)
    if not names:
        print(say("Without names and addresses; --names takes them along."))


def import_house(
    exported: Annotated[Path, typer.Argument(help="Folder of the export.", metavar="EXPORT")],
    folder: Annotated[Path, typer.Argument(help="A folder that is empty or missing.", metavar="DIR")],
) -> None:
    """Make an empty house and put the export in; exit code 1 when it is not whole."""
    from saltloft.house import House
    from saltloft.jobs import exchange

    found = exchange.carried_house(exported)
    with House.create(
        folder,
        found.name,
        found.zone,
        found.units,
        markets=found.markets,
        demo=found.demo,
        demo_now=found.demo_now,
        set_up=False,
    ) as house:
        done = exchange.import_lines(house, exported)
        whole = house.store.verify().whole
    print(
        say("{entries} entries, {batches} batches of readings.", entries=done.entries, batches=done.batches)
    )
    if done.head is not None:
        print(say("Head: {head}", head=f"{done.head.seq}-{done.head.hash[:12]}"))
    print(say("The chain is whole.") if whole else say("The chain is not whole."))
    raise typer.Exit(0 if whole else 1)
