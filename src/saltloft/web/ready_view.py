"""What the lot page shows of promise, dispatch and the hand; templates lay it out, nothing is computed."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

from saltloft.foundation.words import say
from saltloft.house import House
from saltloft.jobs import hand as hand_job
from saltloft.jobs import ready as ready_job
from saltloft.papers.page import Grid
from saltloft.plant.answers import LotOutlook
from saltloft.plant.folder import LotFolder
from saltloft.plant.grade_words import grade_skill_words, grade_words
from saltloft.plant.hand import HouseHand, learned_words, press_words, rim_words, skill_words, warning_words
from saltloft.plant.ready import Condition, LotReady
from saltloft.plant.ready_words import (
    condition_words,
    cost_words,
    days_words,
    decider_word,
    dispatch_words,
    plan_words,
    promise_words,
    promised_words,
    sure_words,
    target_name_words,
)
from saltloft.plant.rights import may
from saltloft.plant.sentences import calendar_day, day_words, number_words
from saltloft.plant.trade_words import step_word
from saltloft.plant.warning_trial import trial_words
from saltloft.process.promise import chance_by, histogram
from saltloft.web.visitor import Visitor

RISKS = (0.5, 0.8, 0.9, 0.95)
MOST_BARS = 24
MARKS = {"done": "ready", "open": "due", "computed": "waiting", "none": "look"}


@dataclass(frozen=True)
class Bar:
    """One span of days of the histogram, in the units of its drawing.

    Args:
        x, width, height: float. Of a drawing 100 wide and 24 high.
        promised: bool. The promised day lies within it.
    """

    x: float
    width: float
    height: float
    promised: bool


@dataclass(frozen=True)
class Bars:
    """When the lot's mean reaches its target: a bar a span of days.

    Args:
        bars: tuple of Bar.
        first, last: str. Days under the ends.
        promised_x: float or None. Where the promised day lies, 0..100.
        words: str. Alternative text.
    """

    bars: tuple[Bar, ...]
    first: str
    last: str
    promised_x: float | None
    words: str


@dataclass(frozen=True)
class ChainLine:
    """One condition or step of the chain."""

    mark: str
    state: str
    title: str
    day: str
    why: str
    decides: bool


@dataclass(frozen=True)
class ReadyView:
    """'Ready and dispatch' of the lot page.

    Args:
        promise, cost, dispatch, plan: str. Sentences; cost and dispatch may be empty.
        bars: Bars or None.
        targets: Grid. Every target with its days.
        chain: tuple of ChainLine. Conditions, then steps.
        risks: tuple of (href, word, here). Other chances to ask for.
        plan_href: str. Where the days are planned; empty without that right.
    """

    promise: str
    cost: str
    dispatch: str
    plan: str
    bars: Bars | None
    targets: Grid
    chain: tuple[ChainLine, ...]
    risks: tuple[tuple[str, str, bool], ...]
    plan_href: str


@dataclass(frozen=True)
class HandView:
    """'Hand against number' of the lot page.

    Args:
        lines: tuple of (str, str). What was pressed and cut, and how it fits; a mark and a sentence each.
        learned: tuple of str. What the laws rest on.
        skill: str. Whether the early warning is more than information.
        press_href: str. The form; empty without that right.
        cut: bool. It was pressed and cut before.
    """

    lines: tuple[tuple[str, str], ...]
    learned: tuple[str, ...]
    skill: str
    press_href: str
    cut: bool = False


def ready_view(
    house: House, folder: LotFolder, visitor: Visitor, sure: float | None = None
) -> ReadyView | None:
    """The view of one lot; None for what is no dry sausage.

    Args:
        house: House.
        folder: LotFolder.
        visitor: Visitor.
        sure: float or None. Chance asked for, 0..1; None: the house's setting.

    Raises:
        InputError: a chance nobody can promise.
    """
    if folder.record.family != "dry_sausage":
        return None
    outlook = folder.outlook
    found = ready_job.ready(house, folder.record.lot, outlook, folder.judgement, sure=sure)
    units = visitor.units
    plans = may(visitor.role, "product.ready")
    return ReadyView(
        promise=promise_words(found, outlook),
        cost=units.words(cost_words(found)),
        dispatch=dispatch_words(found),
        plan=plan_words(found),
        bars=_bars(found, outlook),
        targets=_targets(found, outlook),
        chain=_chain(found, folder.people),
        risks=tuple((f"?sure={risk:g}#ready", sure_words(risk), risk == found.sure) for risk in RISKS),
        plan_href="/record?kind=product.ready/1" if plans else "",
    )


def _bars(found: LotReady, outlook: LotOutlook | None) -> Bars | None:
    if outlook is None or found.no_promise == "off_racks" or not found.promises:
        return None
    days = outlook.result.targets[outlook.target_name].chances.get("mean", ())
    known = [day for day in days if day is not None]
    if not known:
        return None
    width = float(max(1, math.ceil((known[-1] - known[0]) / MOST_BARS)))
    starts, shares = histogram(days, width)
    promised = found.promises[outlook.target_name][0].day
    begin, end = float(starts[0]), float(starts[-1]) + width
    highest = float(shares.max()) or 1.0
    bars = tuple(
        Bar(
            100.0 * (float(start) - begin) / (end - begin),
            100.0 * width / (end - begin),
            24.0 * float(share) / highest,
            promised is not None and start <= promised < start + width,
        )
        for start, share in zip(starts, shares, strict=True)
    )
    first, last = (day_words(calendar_day(outlook, day), found.today, weekday=False) for day in (begin, end))
    words = say(
        "Days on which the lot's mean is computed to reach its target, {first} to {last}, most likely near "
        "{middle}.",
        first=first,
        last=last,
        middle=day_words(calendar_day(outlook, float(starts[int(shares.argmax())])), found.today),
    )
    place = None if promised is None else min(100.0, 100.0 * (promised - begin) / (end - begin))
    return Bars(bars, first, last, place, words)


def _targets(found: LotReady, outlook: LotOutlook | None) -> Grid:
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


def _chain(found: LotReady, people: Mapping[str, str]) -> tuple[ChainLine, ...]:
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


def hand_view(house: House, folder: LotFolder, visitor: Visitor) -> HandView | None:
    """The hand beside the numbers of one lot; None for what is no dry sausage.

    Args:
        house: House.
        folder: LotFolder.
        visitor: Visitor.
    """
    record = folder.record
    if record.family != "dry_sausage":
        return None
    href = f"/enter/press?lot={record.lot}" if visitor.may_enter and record.hanging else ""
    hand = hand_job.kept_hand(house)
    if hand is None:
        return HandView((), (say("Nothing learned yet: the worker has not been round."),), "", href)
    warnings = (
        () if folder.outlook is None or not record.hanging else warning_words(folder.outlook, hand.skill)
    )
    lines = (*_hand_lines(hand, record.lot), *warnings)
    skill = f"{skill_words(hand.skill)} {trial_words()}"
    return HandView(lines, _learned(hand), skill, href, bool(record.pressed_and_cut))


def _hand_lines(hand: HouseHand, lot: str) -> tuple[tuple[str, str], ...]:
    lines = []
    for law, words in ((hand.press, press_words(hand.press, lot)), (hand.rim, rim_words(hand.rim, lot))):
        held = law.last_of(lot)
        if held is not None and words:
            mark = "look" if held.disagrees else ("ready" if held.learned else "waiting")
            lines.append((mark, words))
    graded = (grade_words(law, lot) for law in hand.grades)
    return (*lines, *(line for line in graded if line[1]))


def _learned(hand: HouseHand) -> tuple[str, ...]:
    found = [
        say("Press: {words}", words=learned_words(hand.press)),
        say("Rim: {words}", words=learned_words(hand.rim)),
    ]
    found += [grade_skill_words(law) for law in hand.grades]
    if hand.left_out:
        found.append(say("{count} cuts had no weighing and no forecast beside them.", count=hand.left_out))
    return tuple(found)
