"""Shown, good, pays: three answers to 'is it done?', kept apart everywhere.

'Shown' never carries a predicted date: it says the earliest day on which the
last open rule could be measured, and what to measure.
"""

from __future__ import annotations

from datetime import date
from zoneinfo import ZoneInfo

import numpy as np

from saltloft.foundation.words import say
from saltloft.plant.answers import LotJudgement, LotOutlook
from saltloft.plant.checks.hazards import NOT_JUDGED
from saltloft.plant.checks.verdict import Outcome, Verdict
from saltloft.plant.hand import HouseHand, press_words, rim_words
from saltloft.plant.lot_record import LotRecord
from saltloft.plant.recipes import ProductDefined
from saltloft.plant.sentences import (
    calendar_day,
    day_words,
    hazard_words,
    hazards_words,
    list_words,
    now_words,
    number_words,
    ready_words,
)


def open_verdicts(judgement: LotJudgement) -> tuple[Verdict, ...]:
    """The verdicts that keep a hazard open: not met or not shown."""
    return tuple(
        verdict
        for stand in judgement.hazards
        if stand.is_open
        for verdict in stand.verdicts
        if verdict.outcome in (Outcome.NOT_MET, Outcome.NOT_SHOWN)
    )


def shown_words(judgement: LotJudgement, outlook: LotOutlook | None) -> str:
    """The line 'shown': what is open, the earliest day to measure the last of it, and what to measure.

    Args:
        judgement: LotJudgement.
        outlook: LotOutlook or None. Tells from which day on a water activity is worth a sample.
    """
    words = hazards_words(judgement)
    if not judgement.open_hazards:
        return words
    blind = [
        stand.hazard
        for stand in judgement.hazards
        if stand.is_open and all(verdict.why == NOT_JUDGED for verdict in stand.verdicts)
    ]
    if blind:
        names = list_words([hazard_words(hazard) for hazard in blind])
        return (
            words
            + " "
            + say(
                "No earliest day: {names} not judged by this version; a document that covers the lot "
                "is the only other way.",
                names=names,
            )
        )
    today = judgement.at.date() if outlook is None else judgement.at.astimezone(ZoneInfo(outlook.zone)).date()
    days = [(measurable_from(verdict, outlook, today), verdict) for verdict in open_verdicts(judgement)]
    if not days:
        return words
    day, verdict = max(days, key=lambda pair: pair[0])
    return (
        words
        + " "
        + say(
            "Earliest day the last open rule could be measured: {day}. {what}",
            day=say("today") if day <= today else day_words(day, today),
            what=verdict.next or verdict.words,
        )
    )


def measurable_from(verdict: Verdict, outlook: LotOutlook | None, today: date) -> date:
    """The first day on which measuring an open rule could settle it.

    A pH or a document can be read at once. A water activity is worth a sample once the
    early end of the computed range touches the limit; without a forecast, today.

    Args:
        verdict: Verdict.
        outlook: LotOutlook or None.
        today: date.
    """
    if outlook is None or verdict.limit is None or "water_activity" not in verdict.rule:
        return today
    curve = outlook.result.bands["water_activity_mean"].p05
    there = np.flatnonzero(np.asarray(curve) <= verdict.limit)
    last = outlook.result.horizon_d if not there.size else float(outlook.result.time_d[there[0]])
    return max(today, calendar_day(outlook, last))


def good_words(record: LotRecord, outlook: LotOutlook | None, hand: HouseHand | None = None) -> str:
    """The line 'good': the loss, when the target comes, the curer's press and cut, and how it fits.

    Args:
        record: LotRecord.
        outlook: LotOutlook or None.
        hand: HouseHand or None. What the house's presses and cuts taught.
    """
    parts = []
    if outlook is not None:
        parts.append(say("Computed {now} lost now.", now=now_words(outlook)))
        parts.append(ready_words(outlook))
    if not record.pressed_and_cut:
        parts.append(say("Not pressed and cut yet."))
        return " ".join(parts)
    last = record.pressed_and_cut[-1]
    said = {1: say("good"), 0: say("not yet good"), -1: say("no word on good")}[last.payload.good]
    parts.append(
        say(
            "Pressed and cut {day} by {person}: {said}{note}.",
            day=day_words(last.at.date(), last.at.date(), weekday=True),
            person=last.person,
            said=said,
            note=f", {last.payload.note}" if last.payload.note else "",
        )
    )
    if hand is not None:
        parts += [press_words(hand.press, record.lot), rim_words(hand.rim, record.lot)]
    return " ".join(part for part in parts if part)


def pays_words(record: LotRecord, product: ProductDefined, outlook: LotOutlook | None) -> str:
    """The line 'pays': what one more point of loss costs, and what a day on the rack takes off.

    Arithmetic on the stuffed mass, the ex-works price and the computed rate of loss.
    """
    point_kg = record.green_mass.kg / 100.0
    price = float(product.price_per_kg)
    if price <= 0.0:
        return say("One point of loss is {mass} kg; no price is set.", mass=number_words(point_kg, 1))
    words = say(
        "One point of loss is {mass} kg, {money} at {price} a kg.",
        mass=number_words(point_kg, 1),
        money=number_words(point_kg * price, 0),
        price=f"{price:.2f}",
    )
    if outlook is None or not record.hanging:
        return words
    rate = outlook.result.bands["loss_rate_pct_d"]
    now = float(np.interp(outlook.age_d, outlook.result.time_d, rate.mean_p50))
    return words + " " + say("A day more on the rack takes about {rate} points.", rate=number_words(now, 1))
