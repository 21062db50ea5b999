"""`saltloft today`: the day sheet on the console, as PDF, as JSON, or the yield table as CSV."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Annotated

import typer

from saltloft.foundation.words import say


def register(app: typer.Typer) -> None:
    """Add the command to the list."""
    app.command(name="today", help="What worries me, what is due, what is ready, what to make.")(today)


def today(
    date_: Annotated[str, typer.Option("--date", help="A day, such as 2026-11-03; 06:00 of it.")] = "",
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON object.")] = False,
    output: Annotated[Path | None, typer.Option("-o", "--output", help="Write the sheet as PDF.")] = None,
    yields: Annotated[Path | None, typer.Option(help="Write kilograms in, out and loss as CSV.")] = None,
    letter: Annotated[bool, typer.Option("--letter", help="Letter paper in place of A4.")] = False,
    house: Annotated[Path | None, typer.Option("--house", help="Folder of the house.")] = None,
) -> None:
    """Print the day sheet; forecasts that are not kept yet are computed first."""
    from saltloft.cli.given import given_day, refuse_unwritable, write_file
    from saltloft.cli.opening import open_house
    from saltloft.jobs import forecast, judge
    from saltloft.jobs.today import day_sheet, moment_of, yield_csv
    from saltloft.papers import day_sheet as paper
    from saltloft.papers.page import pdf
    from saltloft.papers.text_sheet import text
    from saltloft.plant.answer_json import today_json

    for file in (output, yields):
        refuse_unwritable(file)
    with open_house(house) as opened:
        at = moment_of(opened, given_day(date_, opened.now().astimezone(opened.zone)))
        system = opened.store.house().payload.units
        outlooks = forecast.morning(opened, at, tell=_tell)
        day = day_sheet(opened, at, outlooks, judge.judge_many(opened, outlooks, at))
    if yields is not None:
        write_file(yields, yield_csv(day.yields).encode())
    sheet = paper.day_sheet(day, paper="us-letter" if letter else "a4", system=system)
    if output is not None:
        write_file(output, pdf(sheet))
    print(json.dumps(today_json(day), indent=2, ensure_ascii=False) if as_json else text(sheet))


def _tell(lot: str, done: int, of: int) -> None:
    """Show the forecasts going by on a terminal only."""
    if sys.stderr.isatty():
        words = say("forecast {done} of {of}: {lot}", done=done, of=of, lot=lot)
        print(f"\r{words:<60}", end="\n" if done == of else "", file=sys.stderr, flush=True)
