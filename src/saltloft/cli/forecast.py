"""`saltloft forecast LOT`: when it will be ready, with its doubt."""

from __future__ import annotations

import json
import time
from pathlib import Path
from typing import Annotated

import typer

from saltloft.foundation.words import say


def register(app: typer.Typer) -> None:
    """Add the command to the list."""
    app.command(name="forecast", help="When a lot will be ready, with its doubt.")(forecast)


def forecast(
    lot: Annotated[str, typer.Argument(help="The lot, such as AL-0310.")],
    sure: Annotated[
        float | None, typer.Option("--sure", help="How sure a promised day is, such as 0.9.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON object.")] = False,
    house: Annotated[Path | None, typer.Option("--house", help="Folder of the house.")] = None,
) -> None:
    """Print the forecast of one lot: the kept one, or a new one when anything changed."""
    from saltloft.cases.lot import lot_case
    from saltloft.cli.opening import open_house
    from saltloft.jobs import calculate, hand, judge, ready
    from saltloft.jobs import forecast as job
    from saltloft.papers.chart_words import air_words, ready_days_words
    from saltloft.plant.hand import press_words, rim_words
    from saltloft.plant.ready_words import cost_words, dispatch_words, promise_words
    from saltloft.plant.sentences import caution, now_words, ready_words

    started = time.perf_counter()
    with open_house(house) as opened:
        outlook = job.forecast(opened, lot)
        found = ready.ready(opened, lot, outlook, judge.judge(opened, lot), sure=sure)
        hands = hand.learn(opened)
        if as_json:
            case = lot_case(opened, lot, outlook.asof)
            wall_s = time.perf_counter() - started
            answer = calculate.dry_answer(case.drying, outlook.result, opened.facts, wall_s)
            more = {**ready.ready_fields(found, outlook), "hand": hand.hand_fields(hands, lot)}
            print(json.dumps({**answer, **job.forecast_fields(outlook), **more}))
            return
    print(ready_words(outlook))
    print(say("Computed {now} lost now.", now=now_words(outlook)))
    print(ready_days_words(outlook))
    told = (promise_words(found, outlook), cost_words(found), dispatch_words(found))
    for line in (*told, press_words(hands.press, lot), rim_words(hands.rim, lot)):
        if line:
            print(line)
    print(air_words(outlook))
    for flag in outlook.result.flags:
        print(f"  {flag.code}: {flag.words}")
    print(caution())
    print(say("Prior {prior}, model {model}.", prior=outlook.prior, model=outlook.model))
