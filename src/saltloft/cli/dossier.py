"""`saltloft dossier LOT -o FILE.pdf`: everything about one lot on paper, verdicts first."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from saltloft.foundation.words import say


def register(app: typer.Typer) -> None:
    """Add the command to the list."""
    app.command(name="dossier", help="Everything about one lot on paper, verdicts first.")(dossier)


def dossier(
    lot: Annotated[str, typer.Argument(help="The lot, such as AL-0310.")],
    output: Annotated[Path, typer.Option("-o", "--output", help="The PDF to write.")],
    letter: Annotated[bool, typer.Option("--letter", help="Letter paper in place of A4.")] = False,
    house: Annotated[Path | None, typer.Option("--house", help="Folder of the house.")] = None,
) -> None:
    """Write the dossier of one lot."""
    from saltloft.cases.lot_folder import lot_folder
    from saltloft.cli.given import refuse_unwritable, write_file
    from saltloft.cli.opening import open_house
    from saltloft.foundation.errors import InputError
    from saltloft.jobs import forecast, hand, judge, ready
    from saltloft.papers.dossier import dossier as paper
    from saltloft.papers.page import pdf

    refuse_unwritable(output)
    with open_house(house) as opened:
        at = opened.now()
        judgement = judge.judge(opened, lot, at)
        try:
            outlook = forecast.forecast(opened, lot, at)
        except InputError:
            # A ham, a fresh batch or a lot that does not hang yet has no forecast; its dossier says so.
            outlook = None
        folder = lot_folder(opened, lot, at, outlook, judgement)
        sausage = folder.record.family == "dry_sausage"
        found = ready.ready(opened, lot, outlook, judgement) if sausage else None
        hands = hand.kept_hand(opened)
    size = "us-letter" if letter else "a4"
    write_file(output, pdf(paper(folder, ready=found, hand=hands, paper=size)))
    print(say("Written: {file}", file=output))
