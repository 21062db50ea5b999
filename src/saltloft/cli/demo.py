"""`saltloft demo`: build the invented house, print its day sheet, open its pages."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from saltloft.foundation.errors import InputError
from saltloft.foundation.words import say

if TYPE_CHECKING:
    from saltloft.house import House

FOLDER = Path("tolwyth")


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command(name="demo", help="Build the invented house, print its day sheet, open its pages.")(demo)


def demo(
    folder: Annotated[Path, typer.Argument(metavar="[DIR]", help="Where the house goes.")] = FOLDER,
    no_serve: Annotated[bool, typer.Option("--no-serve", help="Stop after the day sheet.")] = False,
    port: Annotated[
        int, typer.Option(min=0, max=65535, help="Port of the pages; the house's setting without.")
    ] = 0,
) -> None:
    """Build it from the files that came with this program; a demo house that is there already is used."""
    from saltloft.cli import serve, today
    from saltloft.house import House

    if (folder / "house.toml").is_file():
        with House.open(folder) as house:
            if not house.demo:
                raise InputError(
                    say("a real house lies there"), got=str(folder), do=say("name another folder")
                )
        _tell(say("Using the demo house in {folder}; remove it to build it anew.", folder=folder))
    else:
        _build(folder)
    today.today(house=folder)
    with House.open(folder) as house:
        _say_what_this_is(house)
        if not no_serve:
            _print_links(house, port)
    if not no_serve:
        serve.serve(house=folder, port=port)


def _build(folder: Path) -> None:
    from saltloft.cli.demo_house import build_demo_house, read_demo_files

    files = read_demo_files()
    _tell(say("Building the demo house in {folder} ...", folder=folder))
    built = build_demo_house(folder, files, _tell)
    _tell(
        say(
            "{entries} entries, {files} logger files; {released} lots signed out, {refused} refused.",
            entries=built.entries,
            files=built.files,
            released=len(built.released),
            refused=len(built.refused),
        )
    )


def _say_what_this_is(house: House) -> None:
    now = house.now().astimezone(house.zone)
    print(
        say(
            "Invented house: here every command and page takes {now} as now. More: saltloft --help, "
            "and SALTLOFT_HOUSE={folder}",
            now=f"{now:%A %d %B %Y %H:%M}",
            folder=house.folder,
        )
    )


def _print_links(house: House, port: int) -> None:
    """One link for each of its people; each signs in once."""
    from saltloft.jobs import people

    root = f"http://{house.settings.text('address')}:{port or house.settings.number('port')}"
    print(say("Sign in as one of its people; each link works once:"))
    for person in house.store.people.all():
        if person.person != "administrator":
            code = people.make_link(house, person.person, house.now())
            print(f"  {person.name:<16} {person.role:<10} {root}/sign-in/{code}")


def _tell(words: str) -> None:
    print(words, file=sys.stderr, flush=True)
