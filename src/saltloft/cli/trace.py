"""`saltloft trace`, `recall`, `epcis` and `tags`: from any number to everything up and down, and to paper."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from saltloft.cli.house_commands import HouseOption, JsonOption
from saltloft.cli.opening import open_house
from saltloft.foundation.words import say

if TYPE_CHECKING:
    from saltloft.plant.traced import RecallAnswer, Traced

AtOption = Annotated[
    str, typer.Option("--at", help="What had happened by then, such as 2026-07-22T09:00+01:00.")
]
LetterOption = Annotated[bool, typer.Option("--letter", help="Letter paper in place of A4.")]
OutputOption = Annotated[Path | None, typer.Option("-o", "--output", help="The file to write.")]


def register(app: typer.Typer) -> None:
    """Add the commands."""
    app.command(name="trace", help="Where a thing went and what went into it, with amounts.")(trace)
    app.command(
        name="recall", help="What is in scope, where its weight is, whom to call; report and letters."
    )(recall)
    app.command(name="epcis", help="Lot events as an EPCIS 2.0 document (JSON-LD).")(epcis)
    app.command(name="tags", help="Rack tags, ham tags and pack labels with their QR code, as a PDF.")(tags)


def trace(
    nodes: Annotated[
        list[str], typer.Argument(metavar="NUMBER...", help="Any number: a bag, a lot, a pack.")
    ],
    up: Annotated[bool, typer.Option("--up", help="Only what went into it.")] = False,
    down: Annotated[bool, typer.Option("--down", help="Only where it went.")] = False,
    as_json: JsonOption = False,
    at: AtOption = "",
    picture: Annotated[Path | None, typer.Option("--picture", help="Also write the picture, as SVG.")] = None,
    house: HouseOption = None,
) -> None:
    """Print a trace, both ways unless one is asked for."""
    from saltloft.cli.given import given_moment, write_file
    from saltloft.jobs import trace as job
    from saltloft.papers.flow_chart import flow_svg
    from saltloft.plant.trace import DOWN, UP
    from saltloft.plant.trace_json import trace_json
    from saltloft.plant.trace_words import kilograms, trace_sentence

    ways = [way for way, asked in ((UP, up or not down), (DOWN, down or not up)) if asked]
    with open_house(house) as opened:
        moment = given_moment(at, opened.now().astimezone(opened.zone), opened.zone)
        found = [job.trace(opened, nodes, way, moment) for way in ways]
    if picture is not None:
        last = found[-1]
        drawn = flow_svg(last, trace_sentence(last), kilograms, links=False, font="sans-serif")
        write_file(picture, drawn.encode())
    if as_json:
        answers = [trace_json(one) for one in found]
        print(json.dumps(answers[0] if len(answers) == 1 else answers, indent=1, ensure_ascii=False))
        return
    for one in found:
        for line in _trace_lines(one):
            print(line)


def _trace_lines(traced: Traced) -> Iterator[str]:
    from saltloft.plant.trace_words import balance_words, kept_words, kilograms, trace_sentence

    yield trace_sentence(traced)
    for row in traced.rows:
        amount = say(
            "{likely}, at most {worst}", likely=kilograms(row.likely_mg), worst=kilograms(row.worst_mg)
        )
        if row.unweighed:
            amount = (
                say("no weight on the way") if not row.likely_mg else say("{amount} or more", amount=amount)
            )
        day = row.at.date().isoformat() if row.at else ""
        stand = balance_words(row.balance) if row.balance else ""
        again = say("rework") if row.again else ""
        what = " ".join(part for part in (row.title, row.party, day, again) if part)
        yield f"  {'  ' * min(row.steps, 8)}{row.node.node:<16} {what:<40} {amount}  {stand}".rstrip()
    if words := kept_words(traced):
        yield words


def recall(
    nodes: Annotated[list[str], typer.Argument(metavar="NUMBER...", help="What is called back.")],
    as_json: JsonOption = False,
    at: AtOption = "",
    reason: Annotated[str, typer.Option(help="Why; stands in the letters.")] = "",
    report: Annotated[Path | None, typer.Option("--report", help="The report to write, as a PDF.")] = None,
    letters: Annotated[Path | None, typer.Option("--letters", help="The letters to write, as a PDF.")] = None,
    letter: LetterOption = False,
    house: HouseOption = None,
) -> None:
    """Print what a recall comes to; exit code 1 while not all of its finished weight has a place."""
    from saltloft.cli.given import given_moment, refuse_unwritable, write_file
    from saltloft.jobs import trace as job
    from saltloft.papers.page import pdf
    from saltloft.papers.recall import letters as letters_sheet
    from saltloft.papers.recall import recall_report
    from saltloft.plant.trace_json import recall_json

    for file in (report, letters):
        if file is not None:
            refuse_unwritable(file)
    with open_house(house) as opened:
        moment = given_moment(at, opened.now().astimezone(opened.zone), opened.zone)
        found = job.recall(opened, nodes, moment, reason=reason)
    paper = "us-letter" if letter else "a4"
    if report is not None:
        write_file(report, pdf(recall_report(found, paper=paper)))
    if letters is not None:
        write_file(letters, pdf(letters_sheet(found, paper=paper)))
    if as_json:
        print(json.dumps(recall_json(found), indent=1, ensure_ascii=False))
    else:
        for line in _recall_lines(found):
            print(line)
    account = found.recall.account
    if account.accounted_mg != account.finished_mg:
        raise typer.Exit(1)


def _recall_lines(answer: RecallAnswer) -> Iterator[str]:
    from saltloft.plant.sentences import caution, demo_caution
    from saltloft.plant.trace_words import (
        finished_words,
        kilograms,
        lost_words,
        places_rows,
        recall_sentence,
        stock_words,
    )

    yield recall_sentence(answer)
    yield finished_words(answer)
    for place, weight in places_rows(answer.recall.account):
        yield f"  {place:<24} {weight:>14}"
    yield from lost_words(answer.recall.account)
    if words := stock_words(answer):
        yield words
    for one in answer.recall.customers:
        caller = answer.caller(one.party)
        again = say("through rework") if one.again else ""
        phone = caller.phone or say("no number")
        yield f"  {caller.shown:<28} {phone:<20} {kilograms(one.mg):>12}  {again}".rstrip()
    yield caution()
    if answer.house.demo:
        yield demo_caution()


def epcis(
    output: OutputOption = None,
    nodes: Annotated[
        list[str] | None,
        typer.Option("--of", help="Only what is above and below this number; may be repeated."),
    ] = None,
    start: Annotated[str, typer.Option("--from", help="Only what happened from this day on.")] = "",
    house: HouseOption = None,
) -> None:
    """Write, or print, the events."""
    from saltloft.cli.given import given_day, refuse_unwritable, write_file
    from saltloft.jobs import standards

    if output is not None:
        refuse_unwritable(output)
    with open_house(house) as opened:
        day = given_day(start, opened.now().astimezone(opened.zone))
        made = standards.events(opened, nodes or [], day, base=opened.settings.text("tag_address"))
    text = json.dumps(made, indent=1, ensure_ascii=False)
    if output is None:
        print(text)
        return
    write_file(output, text.encode())
    print(say("Written: {file}", file=output))


def tags(
    node: Annotated[str, typer.Argument(metavar="NUMBER", help="A lot, a ham group or a pack lot.")],
    output: Annotated[Path, typer.Option("-o", "--output", help="The PDF to write.")],
    count: Annotated[int, typer.Option(help="How many labels of a pack lot.")] = 1,
    letter: LetterOption = False,
    house: HouseOption = None,
) -> None:
    """Write tags: one a rack or ham, or labels of a pack lot."""
    from saltloft.cli.given import refuse_unwritable, write_file
    from saltloft.jobs import standards
    from saltloft.papers.tags import tags_pdf

    refuse_unwritable(output)
    with open_house(house) as opened:
        said = opened.settings
        base, prefix = said.text("tag_address"), said.text("gs1_company_prefix")
        made = standards.tags(opened, node, base=base, prefix=prefix, count=count)
    write_file(output, tags_pdf(made, paper="us-letter" if letter else "a4"))
    print(say("Written: {file}", file=output))
