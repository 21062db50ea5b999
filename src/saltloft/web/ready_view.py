"""What the lot page shows of promise, dispatch and the hand; templates lay it out, nothing is computed."""

from __future__ import annotations

import math
from dataclasses import dataclass

from saltloft.foundation.words import say
from saltloft.house import House
from saltloft.jobs import hand as hand_job
from saltloft.jobs import ready as ready_job
from saltloft.papers.page import Grid
from saltloft.papers.ready_tables import ChainLine, chain_lines, targets_grid
from saltloft.plant.answers import LotOutlook
from saltloft.plant.folder import LotFolder
from saltloft.plant.hand import hand_lines, learned_lines, skill_words, warning_words
from saltloft.plant.ready import LotReady
from saltloft.plant.ready_words import (
    cost_words,
    dispatch_words,
    plan_words,
    promise_words,
    sure_words,
)
from saltloft.plant.rights import may
from saltloft.plant.sentences import calendar_day, day_words
from saltloft.plant.warning_trial import trial_words
from saltloft.process.promise import histogram
from saltloft.web.visitor import Visitor

RISKS = (0.5, 0.8, 0.9, 0.95)
MOST_BARS = 24


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
        skill: tuple of str. Whether the early warning is more than information, and how it did on trial.
        press_href: str. The form; empty without that right.
        cut: bool. It was pressed and cut before.
    """

    lines: tuple[tuple[str, str], ...]
    learned: tuple[str, ...]
    skill: tuple[str, ...]
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
        targets=targets_grid(found, outlook),
        chain=chain_lines(found, folder.people),
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
        return HandView((), (say("Nothing learned yet: the worker has not been round."),), (), href)
    warnings = (
        () if folder.outlook is None or not record.hanging else warning_words(folder.outlook, hand.skill)
    )
    lines = (*hand_lines(hand, record.lot), *warnings)
    skill = (skill_words(hand.skill), trial_words())
    return HandView(lines, learned_lines(hand), skill, href, bool(record.pressed_and_cut))
