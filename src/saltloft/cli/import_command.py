"""`saltloft import`: look at logger files, store what is new in them, or undo one import."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from saltloft.foundation.errors import SaltloftError
from saltloft.foundation.words import say

if TYPE_CHECKING:
    from saltloft.jobs.watch import FileTaken, Said


def register(app: typer.Typer) -> None:
    """Add the command to the list."""
    app.command(name="import", help="Bring logger files in, or look at what they would bring.")(import_files)


def import_files(
    files: Annotated[
        list[Path] | None, typer.Argument(help="Logger files: CSV or text.", metavar="FILE...")
    ] = None,
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Show what was understood; store nothing.")
    ] = False,
    zone: Annotated[str, typer.Option(help="Time zone of the logger's clock, such as Europe/Dublin.")] = "",
    room: Annotated[str, typer.Option(help="Room of the readings; ROOM/LOGGER for a second logger.")] = "",
    role: Annotated[str, typer.Option(help="Role of the room, such as drying, when no house knows it.")] = "",
    answer: Annotated[list[str] | None, typer.Option(help="Answer to a question, KEY=VALUE.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON object.")] = False,
    undo: Annotated[str, typer.Option(help="A batch that shall count no more.", metavar="BATCH")] = "",
    reason: Annotated[str, typer.Option(help="Why it is undone.")] = "",
    person: Annotated[str, typer.Option(help="Who brings the files in.")] = "",
    house: Annotated[Path | None, typer.Option("--house", help="Folder of the house.")] = None,
) -> None:
    """Bring logger files in, each as one sealed batch."""
    from saltloft.jobs.watch import Said

    if bool(files) == bool(undo):
        raise typer.BadParameter(say("name one or more files, or a batch with --undo"))
    said = Said(zone, room, role, _answers(answer or []))
    if undo:
        _undo(undo, reason, person, house)
        return
    results = _take(files or [], said, dry_run=dry_run, person=person, folder=house)
    if as_json:
        print(
            json.dumps(
                {"schema": "import/1", "files": [_plain(name, one) for name, one in results]}, indent=2
            )
        )
    else:
        for name, one in results:
            _print(name, one)
    if any(isinstance(one, SaltloftError) or one.status == "asked" for _, one in results):
        raise typer.Exit(1)


def _answers(pairs: list[str]) -> dict[str, str]:
    answers = {}
    for pair in pairs:
        key, mark, value = pair.partition("=")
        if not mark or not key.strip() or not value.strip():
            raise typer.BadParameter(say("an answer is KEY=VALUE, not '{pair}'", pair=pair))
        answers[key.strip()] = value.strip()
    return answers


def _take(
    files: list[Path], said: Said, *, dry_run: bool, person: str, folder: Path | None
) -> list[tuple[str, FileTaken | SaltloftError]]:
    from contextlib import ExitStack

    from saltloft.cli.opening import house_or_none, open_house
    from saltloft.jobs import watch
    from saltloft.plant.stated import Stamp

    results: list[tuple[str, FileTaken | SaltloftError]] = []
    with ExitStack() as stack:
        house = house_or_none(folder) if dry_run else open_house(folder)
        if house is not None:
            stack.enter_context(house)
        for path in files:
            try:
                data = watch.read_bytes(path)
                if dry_run:
                    now = house.now() if house is not None else datetime.now(UTC)
                    results.append((path.name, watch.look(path.name, data, said, now=now, house=house)))
                    continue
                assert house is not None
                by = Stamp(person or "administrator", "console", house.now())
                taken = watch.import_file(house, by, path.name, data, said, entry_id=house.new_id())
                results.append((path.name, taken))
            except SaltloftError as error:
                results.append((path.name, error))
    return results


def _undo(batch: str, reason: str, person: str, folder: Path | None) -> None:
    from saltloft.cli.opening import open_house
    from saltloft.jobs import watch
    from saltloft.plant.stated import Stamp

    with open_house(folder) as house:
        by = Stamp(person or "administrator", "console", house.now())
        record = watch.undo(house, by, batch, reason, house.new_id())
    print(
        say(
            "{batch} counts no more; its {rows} readings stay on record.",
            batch=batch,
            rows=record.sealed.payload.rows,
        )
    )


def _print(name: str, taken: FileTaken | SaltloftError) -> None:
    from saltloft.jobs.watch import sentences

    print(name)
    if isinstance(taken, SaltloftError):
        print("  " + say("refused: {message}", message=taken.message))
        return
    for sentence in sentences(taken):
        print(f"  {sentence}")


def _plain(name: str, taken: FileTaken | SaltloftError) -> dict[str, Any]:
    from saltloft.jobs.watch import as_plain

    if isinstance(taken, SaltloftError):
        error = {"message": taken.message, "key": taken.key, "line": taken.line, "allowed": taken.allowed}
        return {"file": name, "status": "refused", "error": error}
    return as_plain(taken)
