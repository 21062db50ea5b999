"""Ready and dispatch as lines and tables, the same on the lot page and in its dossier."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any

from saltloft.foundation.words import say
from saltloft.papers.page import Block, Grid, Mark, Marks, Notes
from saltloft.plant.answers import LotOutlook
from saltloft.plant.ready import Condition, LotReady
from saltloft.plant.ready_words import (
    condition_words,
    days_words,
    decider_word,
    dispatch_words,
    plan_words,
    promise_words,
    promised_words,
    sure_words,
    target_name_words,
)
from saltloft.plant.sentences import calendar_day, day_words, number_words
from saltloft.plant.trade_words import step_word
from saltloft.process.promise import chance_by

MARKS = {"done": "ready", "open": "due", "computed": "waiting", "none": "look"}


@dataclass(frozen=True)
class ChainLine:
    """One condition or step of the chain."""

    mark: str
    state: str
    title: str
    day: str
    why: str
    decides: bool


def targets_grid(found: LotReady, outlook: LotOutlook | None) -> Grid:
    """Every target with its days, the main one first.

    Args:
        found: LotReady.
        outlook: LotOutlook or None. Of the same lot.
    """
    rows = []
    names: Sequence[str] = sorted(found.promises, key=lambda name: (name != _main(outlook), name))
    for name in names:
        assert outlook is not None
        mean, most = found.promises[name]
        target = outlook.result.targets[name]
        middle = "–"
        if target.mean.p50 is not None:
            day = calendar_day(outlook, target.mean.p50)
            middle = say("now") if day <= found.today else day_words(day, found.today)
        by_now = 100.0 * chance_by(target.chances.get("mean", ()), outlook.age_d)
        rows.append(
            (
                target_name_words(name, target.level),
                say("{share} %", share=number_words(by_now, 0)),
                middle,
                promised_words(mean, outlook, found),
                promised_words(most, outlook, found),
            )
        )
    sure = sure_words(found.sure)
    columns = (
        say("target"),
        say("chance that the mean is there now"),
        say("mean, even chance"),
        say("mean, {sure}", sure=sure),
        say("nine pieces in ten, {sure}", sure=sure),
    )
    return Grid(say("Targets, computed"), columns, tuple(rows), empty=say("Nothing is promised."))


def _main(outlook: LotOutlook | None) -> str:
    return "" if outlook is None else outlook.target_name


def _state_word(one: Condition) -> str:
    """Where a condition stands; what a person said is told from what was computed."""
    if one.state == "done":
        return {"shown": say("nothing open"), "least_days": say("over"), "good": say("said")}[one.name]
    return {"open": say("open"), "computed": say("computed"), "none": say("no day")}[one.state]


def chain_lines(found: LotReady, people: Mapping[str, str]) -> tuple[ChainLine, ...]:
    """Conditions, then steps, in the order in which they hold a lot back.

    Args:
        found: LotReady.
        people: mapping of id to name.
    """
    if found.dispatch is None:
        return ()
    lines = []
    for one in found.dispatch.conditions:
        own = one
        if one.reason == "said_good":
            own = replace(one, about=tuple(people.get(person, person) for person in one.about))
        lines.append(
            ChainLine(
                MARKS[one.state],
                _state_word(one),
                decider_word(one.name),
                _day(one.day, found.today, done=one.state in ("done", "computed")),
                condition_words(own, found),
                one.name in found.dispatch.decides,
            )
        )
    lines += [
        ChainLine(
            "waiting",
            say("then"),
            step_word(step.name),
            _day(step.end, found.today),
            days_words(step.days),
            False,
        )
        for step in found.dispatch.steps
    ]
    return tuple(lines)


def _day(day: date | None, today: date, *, done: bool = False) -> str:
    if day is None:
        return "–"
    if done:
        return day_words(day, today)
    if day <= today:
        return say("today at the earliest")
    if day == today + timedelta(days=1):
        return say("tomorrow")
    return day_words(day, today)


def ready_blocks(
    found: LotReady | None, outlook: LotOutlook | None, people: Mapping[str, str]
) -> tuple[Block, ...]:
    """The day to promise and the way to the door, as blocks of a paper; none for what is no dry sausage.

    Args:
        found: LotReady or None.
        outlook: LotOutlook or None. Of the same lot.
        people: mapping of id to name.
    """
    if found is None:
        return ()
    words = (promise_words(found, outlook), dispatch_words(found), plan_words(found))
    rows = tuple(
        Mark(line.mark, line.state, line.title, f"{line.day}: {line.why}" if line.day != "–" else line.why)
        for line in chain_lines(found, people)
    )
    return (
        Notes(say("Ready and dispatch, computed"), tuple(word for word in words if word)),
        targets_grid(found, outlook),
        Marks(say("The way to the door"), rows, say("Nothing stands between it and the door.")),
    )


def ready_evidence(found: LotReady | None, outlook: LotOutlook | None) -> dict[str, Any]:
    """The same for programs, inside the paper; empty for what is no dry sausage.

    Args:
        found: LotReady or None.
        outlook: LotOutlook or None. Of the same lot.
    """
    if found is None:
        return {}

    def day_of(days: float | None) -> str | None:
        return None if days is None or outlook is None else calendar_day(outlook, days).isoformat()

    chain = found.dispatch
    return {
        "sure": found.sure,
        "none_because": found.no_promise or None,
        "promised": {
            name: {"mean": day_of(mean.day), "nine_in_ten": day_of(most.day)}
            for name, (mean, most) in found.promises.items()
        },
        "earliest_dispatch": None if chain is None or chain.day is None else chain.day.isoformat(),
        "conditions": [
            {
                "name": one.name,
                "day": None if one.day is None else one.day.isoformat(),
                "state": one.state,
                "reason": one.reason,
                "about": list(one.about),
            }
            for one in (() if chain is None else chain.conditions)
        ],
    }
