"""`saltloft judge LOT`: every hazard and rule of one lot; exit code 1 while one is not met or not shown."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from saltloft.foundation.words import say

if TYPE_CHECKING:
    from collections.abc import Iterator

    from saltloft.plant.answers import LotJudgement


# A document may let a lot be signed out; the rule is still not shown, and the exit code says so.
_OPEN = ("not met", "not shown")


def register(app: typer.Typer) -> None:
    """Add the command to the list."""
    app.command(name="judge", help="How a lot, or a logger file, stands against every rule.")(judge)


def judge(
    lot: Annotated[str, typer.Argument(help="The lot, such as AL-0310.")] = "",
    from_: Annotated[
        Path | None, typer.Option("--from", help="A case file with logger files and pH, without a house.")
    ] = None,
    at: Annotated[str, typer.Option(help="As it was known then, such as 2026-03-13T16:00+01:00.")] = "",
    market: Annotated[str, typer.Option(help="us, ca, eu or home; every market of the house without.")] = "",
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON object.")] = False,
    house: Annotated[Path | None, typer.Option("--house", help="Folder of the house.")] = None,
) -> None:
    """Print the judgement of one lot."""
    from saltloft.cli.given import given_moment
    from saltloft.cli.opening import open_house
    from saltloft.jobs import judge as job
    from saltloft.plant.answer_json import judge_json

    if bool(lot) == (from_ is not None):
        raise typer.BadParameter(say("name one lot, or a case file with --from"))
    if from_ is not None:
        found, demo = job.judge_file(from_), False
    else:
        with open_house(house) as opened:
            moment = given_moment(at, opened.now().astimezone(opened.zone), opened.zone)
            found = job.judge(opened, lot, moment, market=market)
            demo = opened.demo
    if as_json:
        print(json.dumps(judge_json(found), indent=2, ensure_ascii=False))
    else:
        for line in _lines(found, demo=demo):
            print(line)
    if not found.releasable or any(stand.outcome in _OPEN for stand in found.hazards):
        raise typer.Exit(1)


def _lines(found: LotJudgement, *, demo: bool) -> Iterator[str]:
    from saltloft.papers.dossier import outcome_words
    from saltloft.plant.sentences import caution, demo_caution, hazard_words, hazards_words, outcome_word

    yield f"{found.lot}: {hazards_words(found)}"
    for stand in found.hazards:
        yield f"  {hazard_words(stand.hazard)}: {outcome_word(stand.outcome)}. {stand.words}"
        for verdict in stand.verdicts:
            yield f"      {verdict.rule}: {outcome_words(verdict)} [{verdict.confidence}]"
            if verdict.next:
                yield "      " + say("next: {step}", step=verdict.next)
    for verdict in (*found.names, *found.other):
        yield f"  {verdict.hazard}, {verdict.rule}: {outcome_words(verdict)}"
    for line in found.open:
        yield "  " + say("open: {line}", line=line)
    yield caution()
    if demo:
        yield demo_caution()
