"""`saltloft new, verify, rebuild, backup, restore, drill, upgrade, move-house, config, doctor`."""

from __future__ import annotations

import json
import os
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from saltloft.cli.opening import open_house
from saltloft.foundation.words import say

if TYPE_CHECKING:
    from saltloft.plant.answers import JournalHead

HouseOption = Annotated[Path | None, typer.Option("--house", help="Folder of the house.")]
JsonOption = Annotated[bool, typer.Option("--json", help="Print one JSON object.")]


def register(app: typer.Typer) -> None:
    """Add the commands to the list."""
    app.command(name="new", help="Make an empty house.")(new)
    app.command(name="verify", help="Walk the journal and say whether it is whole.")(verify)
    app.command(name="rebuild", help="Build the reading tables anew from the journal.")(rebuild)
    app.command(name="backup", help="Back the house up into one verified file, while it runs.")(backup)
    app.command(name="restore", help="Restore a backup into an empty folder, and verify it there.")(restore)
    app.command(
        name="drill", help="Restore the newest backup into a temporary folder, to see that it opens."
    )(drill)
    app.command(name="upgrade", help="Back up, then bring the house up to this program, and verify.")(upgrade)
    app.command(name="move-house", help="Carry a house to another database, verified on both sides.")(
        move_house
    )
    app.command(name="config", help="Every setting with its value and where it comes from.")(config)
    app.command(name="doctor", help="The state of everything at a glance.")(doctor)


def new(
    folder: Annotated[Path, typer.Argument(help="A folder that is empty or does not exist.", metavar="DIR")],
    name: Annotated[str, typer.Option(prompt="Name of the house", help="On every paper.")],
    zone: Annotated[
        str, typer.Option(prompt="Time zone", help="IANA time zone, such as Europe/Dublin.")
    ] = "UTC",
    units: Annotated[str, typer.Option(prompt="Units (metric or us)", help="metric or us.")] = "metric",
    market: Annotated[list[str] | None, typer.Option(help="us, ca or eu; may be given again.")] = None,
) -> None:
    """Make a house and print the administrator's one-time code."""
    from saltloft.house import ADMINISTRATOR, House
    from saltloft.jobs import people

    with House.create(folder, name, zone, units, markets=tuple(market or ())) as house:
        code = people.make_link(house, ADMINISTRATOR, house.now())
    print(say("{name} is ready in {folder}.", name=name, folder=folder))
    print(say("One-time code of the administrator, for one day: {code}", code=code))
    print(say("Start it with: saltloft serve --house {folder}", folder=folder))


def verify(
    anchor: Annotated[
        list[str] | None,
        typer.Option(
            help="A head as printed (1842-9f3c0a77b1d2), a file of heads, or a backup; may be given again."
        ),
    ] = None,
    as_json: JsonOption = False,
    house: HouseOption = None,
) -> None:
    """Walk the chain; exit code 1 when anything is wrong."""
    from saltloft.jobs import keep

    with open_house(house) as opened:
        found = keep.verify(opened, anchor or [])
    if as_json:
        answer = {
            "schema": "verify/1",
            "whole": found.whole,
            "entries": found.entries,
            "head": _head(found.head),
            "faults": [asdict(fault) for fault in found.faults],
            "readings_checked": found.readings_checked,
            "anchored": found.anchored,
            "cannot_see": found.cannot_see,
        }
        print(json.dumps(answer, indent=2))
    else:
        for fault in found.faults:
            print(fault.words)
        if found.whole:
            print(
                say(
                    "The journal is whole: {entries} entries, {batches} batches of readings.",
                    entries=found.entries,
                    batches=found.readings_checked,
                )
            )
        print(say("Head: {head}", head=_head(found.head)))
        if found.cannot_see:
            print(found.cannot_see)
    if not found.whole:
        raise typer.Exit(1)


def rebuild(house: HouseOption = None) -> None:
    """Build the reading tables anew; exit code 1 when they had differed."""
    from saltloft.jobs import keep

    with open_house(house) as opened:
        done = keep.rebuild(opened)
    if done.same:
        print(say("Built anew from the journal: {count} subjects, the same rows.", count=done.subjects))
        return
    print(
        say(
            "Built anew from the journal: {count} subjects. The rows before were not the same; "
            "what is shown now is what the journal says.",
            count=done.subjects,
        )
    )
    raise typer.Exit(1)


def backup(
    to: Annotated[Path | None, typer.Option(help="Folder for the backup.")] = None,
    house: HouseOption = None,
) -> None:
    """Back up and verify."""
    from saltloft.jobs import keep

    with open_house(house) as opened:
        done = keep.backup(opened, to)
    print(done.path)
    print(say("Verified. Head: {head}", head=_head(done.head)))
    print(say("The key of the PINs is not in it: after a restore, PINs are set anew."))


def restore(
    packed: Annotated[Path, typer.Argument(help="The backup.", metavar="FILE")],
    folder: Annotated[Path, typer.Argument(help="A folder that is empty or does not exist.", metavar="DIR")],
) -> None:
    """Restore and verify."""
    from saltloft.jobs import keep

    done = keep.restore(packed, folder)
    print(say("Restored into {folder} and verified. Head: {head}", folder=done.path, head=_head(done.head)))
    print(say("PINs must be set anew: their key is never in a backup."))


def drill(house: HouseOption = None) -> None:
    """Restore, verify, rebuild, compare; nothing is left behind."""
    from saltloft.jobs import upkeep

    with open_house(house) as opened:
        done = upkeep.drill(opened)
    print(
        say(
            "{name} restores, verifies and rebuilds. Head: {head}", name=done.path.name, head=_head(done.head)
        )
    )


def upgrade(house: HouseOption = None) -> None:
    """Bring a house of an older program up to this one."""
    from saltloft.jobs import moving

    done = moving.upgrade(_folder(house), os.environ, datetime.now(UTC))
    if done.backup is None:
        print(say("The house is up to date: revision {revision}.", revision=done.after))
    else:
        print(say("Backed up first: {path}", path=done.backup.path))
        print(say("Revision {before} is {after} now.", before=done.before, after=done.after))
    print(say("Verified: {entries} entries. Head: {head}", entries=done.entries, head=_head(done.head)))


def move_house(
    house: Annotated[Path, typer.Argument(help="Folder of the house.", metavar="FROM")],
    to: Annotated[
        str,
        typer.Argument(help="postgresql://… or the name of a SQLite file in the folder.", metavar="TO"),
    ],
) -> None:
    """Copy the database, verify both sides, and let the house open there from now on."""
    from saltloft.jobs import moving

    done = moving.move_house(house, to, os.environ)
    print(
        say(
            "{entries} entries and {batches} batches of readings are whole on both sides.",
            entries=done.entries,
            batches=done.batches,
        )
    )
    print(say("Head on both: {head}", head=_head(done.head)))
    print(
        say(
            "The house opens in {after} now. {before} was left as it was; nothing is written to it any more.",
            after=done.after,
            before=done.before,
        )
    )


def _folder(house: Path | None) -> Path:
    from saltloft.cli.opening import house_folder

    folder = house_folder(house)
    if folder is None:
        with open_house(house):
            raise typer.Exit(2)
    return folder


def config(as_json: JsonOption = False, house: HouseOption = None) -> None:
    """Print every setting, its value and its origin."""
    with open_house(house) as opened:
        rows = opened.settings.rows()
    if as_json:
        answer = [
            {"name": row.setting.name, "value": row.shown, "origin": row.origin, "help": row.setting.help}
            for row in rows
        ]
        print(json.dumps({"schema": "config/1", "settings": answer}, indent=2))
        return
    for row in rows:
        print(f"{row.setting.name} = {json.dumps(row.shown, ensure_ascii=False)}    ({row.origin})")
        print(f"    {row.setting.help}")


def doctor(
    as_json: JsonOption = False,
    bundle: Annotated[
        Path | None, typer.Option(help="Write one file for whoever helps into this folder; no names in it.")
    ] = None,
    house: HouseOption = None,
) -> None:
    """Look at everything; exit code 1 when somebody should do something."""
    from saltloft.jobs import doctor as job

    with open_house(house) as opened:
        if bundle is not None:
            print(job.bundle(opened, bundle))
            return
        findings = job.doctor(opened)
    if as_json:
        print(json.dumps({"schema": "doctor/1", "findings": [asdict(one) for one in findings]}, indent=2))
    else:
        for one in findings:
            print(f"{'+' if one.good else '!'} {one.name}: {one.words}{'; ' + one.do if one.do else ''}")
    if not all(one.good for one in findings):
        raise typer.Exit(1)


def _head(head: JournalHead | None) -> str:
    """A head as every paper prints it: seq and the first 12 digits of the hash."""
    return f"{head.seq}-{head.hash[:12]}" if head else "0"
