"""Why a forecast moved, what taught what and what to weigh next, in sentences computed from an Insight."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from zoneinfo import ZoneInfo

from saltloft.foundation.words import say, say_many
from saltloft.plant.answers import LotOutlook
from saltloft.plant.insight import AirTaken, Insight, Move
from saltloft.plant.sentences import calendar_day, day_words, list_words, number_words
from saltloft.process.learning.advice import FAT, SAMPLED, WEIGHED, Option, Taught, Teaching

# A move this small is none; a cause this small is not named. [d]
STILL, NAMED = 0.5, 0.5
# Humidity this much off is 'wetter' or 'drier'. [1, degC]
OFF_RH, OFF_C = 0.005, 0.5
# Narrowing less than this share of the doubt is 'almost nothing'.
ALMOST_NOTHING = 0.05
# A day is early enough when it narrows so much of what waiting two weeks would; so for fewer pieces.
WORTH, ENOUGH_PIECES = 0.7, 0.9
LOOK_AHEAD_D = 14.5
# Up to this day from hanging a lot has lost what its surface gives away. [d]
EARLY_D = 7.0


def _today(outlook: LotOutlook) -> date:
    return outlook.asof.astimezone(ZoneInfo(outlook.zone)).date()


def _days(value: float) -> str:
    """A number of days, no finer than it matters."""
    return number_words(abs(value), 1 if abs(value) < 1.95 else 0)


def _when(outlook: LotOutlook, day_d: float) -> str:
    return day_words(calendar_day(outlook, day_d), _today(outlook))


def moved_words(insight: Insight, outlook: LotOutlook) -> str:
    """Why the ready day moved since the forecast of an earlier day, in one or two sentences.

    Args:
        insight: Insight.
        outlook: LotOutlook. The one it belongs to.
    """
    before = insight.before
    if before is None:
        return say("The first forecast of this lot: nothing to compare it with yet.")
    since = day_words(before.at.astimezone(ZoneInfo(outlook.zone)).date(), _today(outlook))
    now = insight.points[-1].middle_d
    if before.middle_d is None or now is None:
        if before.middle_d is None and now is None:
            return say("As on {since}, the target is not reached in half of the cases.", since=since)
        return _lost_or_found(insight, outlook, since)
    total = now - before.middle_d
    causes = [move for move in insight.moves if move.days is not None and abs(move.days) >= NAMED]
    causes.sort(key=lambda move: -abs(move.days or 0.0))
    told = list_words([_part(move, outlook) for move in causes[:3]])
    if abs(total) < STILL:
        words = say("The ready day stands as on {since}.", since=since)
        return words if not causes else words + " " + say("What moved it evened out: {causes}.", causes=told)
    if total > 0.0:
        words = say("Since {since} the ready day moved {days} d later", since=since, days=_days(total))
    else:
        words = say("Since {since} the ready day moved {days} d earlier", since=since, days=_days(total))
    if len(causes) == 1:
        told = cause_words(causes[0], outlook)
    return f"{words}: {told}." if told else words + ", " + say("by many small things.")


def _lost_or_found(insight: Insight, outlook: LotOutlook, since: str) -> str:
    at = next((move for move in insight.moves if move.days is None), None)
    cause = cause_words(at, outlook) if at is not None else say("several things together")
    if insight.points[-1].middle_d is None:
        return say(
            "On {since} it had a ready day, now it has none; first with: {cause}.", since=since, cause=cause
        )
    return say("On {since} it had no ready day, now it has; first with: {cause}.", since=since, cause=cause)


def _part(move: Move, outlook: LotOutlook) -> str:
    """One cause with its days: '3 d later by ...'."""
    assert move.days is not None
    days, cause = _days(move.days), cause_words(move, outlook)
    if move.days > 0.0:
        return say("{days} d later by {cause}", days=days, cause=cause)
    return say("{days} d earlier by {cause}", days=days, cause=cause)


def cause_words(move: Move, outlook: LotOutlook) -> str:
    """One cause by name, with what is known of it.

    Args:
        move: Move.
        outlook: LotOutlook.
    """
    if move.cause == "air":
        return _air_words(move.air, move.days or 0.0)
    if move.cause in ("weighed", "sampled"):
        when = _when(outlook, move.day or 0.0)
        if move.cause == "weighed":
            return say_many(
                "the weighing of {when}, {count} piece",
                "the weighing of {when}, {count} pieces",
                move.pieces,
                when=when,
            )
        return say("{what} of {when}", what=quantity_words(move.what), when=when)
    return {
        "model": say("a new version of the model"),
        "house": say("what other lots of the house taught"),
        "corrected": say("corrected entries"),
        "piece": say("what is now known of the batter or wanted of the lot"),
    }[move.cause]


def _air_words(air: AirTaken | None, days: float) -> str:
    if air is None:
        return say("the room's air")
    if air.first:
        return say(
            "the room's log, read for the first time: what was lost is laid to the meat, not to the room"
        )
    read, taken = f"{100.0 * air.read_rh:.0f}", f"{100.0 * air.taken_rh:.0f}"
    if read == taken:
        read, taken = f"{100.0 * air.read_rh:.1f}", f"{100.0 * air.taken_rh:.1f}"
    if air.read_rh - air.taken_rh > OFF_RH:
        words = say("the room's air, wetter than planned: {read} % RH, not {taken} %", read=read, taken=taken)
        # Against first sight: the loss weighed so far was reached in wetter air.
        if days < 0.0:
            words += ", " + say("so the meat gives its water more easily than thought")
        return words
    if air.taken_rh - air.read_rh > OFF_RH:
        words = say("the room's air, drier than planned: {read} % RH, not {taken} %", read=read, taken=taken)
        if days > 0.0:
            words += ", " + say("so the meat gives its water less easily than thought")
        return words
    if abs(air.read_c - air.taken_c) > OFF_C:
        return say(
            "the room's air, at {read} °C and not {taken} °C",
            read=f"{air.read_c:.1f}",
            taken=f"{air.taken_c:.1f}",
        )
    return say("the room's air as read, near its plan ({read} % RH)", read=read)


def quantity_words(quantity: str) -> str:
    """What was read, in the words of the trade.

    Args:
        quantity: str. As of Measured, 'weight_loss' or 'fat'.
    """
    return {
        WEIGHED: say("weighing"),
        SAMPLED: say("water activity"),
        "water_activity_core": say("water activity of the core"),
        "water_activity_rim": say("water activity of the rim"),
        "moisture": say("moisture"),
        "diameter_m": say("calibre"),
        FAT: say("fat of the batter"),
    }[quantity]


def about_words(about: str) -> str:
    """What a reading told of, in the words of the trade.

    Args:
        about: str. As of Taught; may be empty.
    """
    return {
        "inside": say("how fast it dries inside"),
        "room": say("the air at its place"),
        "end": say("where it comes to rest"),
        "batter": say("fat, salt and water of the batter"),
        "model": say("how far this lot strays from the model"),
        "": say("nothing"),
    }[about]


def doubt_words(insight: Insight, sd: float) -> str:
    """Half of a 90 % range, with its unit: '9 d', '1.4 %'.

    Args:
        insight: Insight.
        sd: float. Standard deviation. [d, or % where the teaching is of the loss]
    """
    assert insight.teaching is not None
    value = sd * insight.days_each
    if insight.teaching.of_loss:
        return f"{number_words(value, 1)} %"
    return say("{days} d", days=_days(value))


def asked_words(teaching: Teaching, outlook: LotOutlook) -> str:
    """What every doubt in the table is a doubt of.

    Args:
        teaching: Teaching.
        outlook: LotOutlook.
    """
    if teaching.of_loss:
        return say(
            "The day itself says little here, because the loss creeps towards its target: doubt is half "
            "of the 90 % range of the weight loss on {when}.",
            when=_when(outlook, teaching.ready_d),
        )
    return say("Doubt is half of the 90 % range of the ready day.")


def taught_row(taught: Taught, insight: Insight, outlook: LotOutlook) -> tuple[str, ...]:
    """One visit as a row: day, date, what and how many, doubt before and after, without it, about what."""
    day = round(taught.day - outlook.hang_offset_d)
    what = say_many(
        "{what}, {count} piece", "{what}, {count} pieces", taught.pieces, what=quantity_words(taught.quantity)
    )
    before, after = (doubt_words(insight, value) for value in (taught.before_d, taught.after_d))
    return (
        str(day),
        what,
        f"{before.rsplit(' ', 1)[0]} → {after}",
        doubt_words(insight, taught.without_d),
        about_words(taught.about),
    )


def early_words(insight: Insight, outlook: LotOutlook) -> str:
    """That early weighings alone say almost nothing, where that is true; else empty.

    Args:
        insight: Insight.
        outlook: LotOutlook.
    """
    teaching = insight.teaching
    if teaching is None or not teaching.taught:
        return ""
    early = [one for one in teaching.taught if one.day - outlook.hang_offset_d <= EARLY_D]
    if not early or early[-1].after_d < (1.0 - 3.0 * ALMOST_NOTHING) * teaching.prior_d:
        return ""
    return say(
        "The readings up to day {day} alone say almost nothing of it ({before} before them, {after} after).",
        day=round(early[-1].day - outlook.hang_offset_d),
        before=doubt_words(insight, teaching.prior_d),
        after=doubt_words(insight, early[-1].after_d),
    )


def house_words(insight: Insight) -> str:
    """How much wiser than the first lot of the house this one started.

    Args:
        insight: Insight.
    """
    teaching = insight.teaching
    if teaching is None:
        return ""
    alone, prior = (doubt_words(insight, value) for value in (teaching.alone_d, teaching.prior_d))
    if abs(teaching.alone_d - teaching.prior_d) < 0.01 * teaching.alone_d:
        return say(
            "It started as the first lot of a house does, from the literature alone: doubt {alone}.",
            alone=alone,
        )
    return say(
        "Before its own first reading its doubt was {prior}, with what other lots of the house taught; "
        "the first lot would have started from {alone}.",
        prior=prior,
        alone=alone,
    )


def chosen(teaching: Teaching, today_d: float) -> Option | None:
    """The weighing worth advising: soon, with few pieces, for most of what waiting would give.

    Args:
        teaching: Teaching.
        today_d: float. From stuffing. [d]

    Returns:
        Option or None, where no weighing within two weeks narrows the doubt.
    """
    soon = [one for one in teaching.options if one.quantity == WEIGHED and one.day <= today_d + LOOK_AHEAD_D]
    if not soon:
        return None
    best = min(one.after_d for one in soon)
    if best > (1.0 - ALMOST_NOTHING) * teaching.now_d:
        return None
    enough = teaching.now_d - WORTH * (teaching.now_d - best)
    first = min(one.day for one in soon if one.after_d <= enough)
    that_day = [one for one in soon if one.day == first]
    most = min(one.after_d for one in that_day)
    plenty = teaching.now_d - ENOUGH_PIECES * (teaching.now_d - most)
    return min((one for one in that_day if one.after_d <= plenty), key=lambda one: one.pieces)


def advice_words(insight: Insight, outlook: LotOutlook) -> str:
    """What to weigh next, when, and what it would narrow; empty for a lot off the racks.

    Args:
        insight: Insight.
        outlook: LotOutlook.
    """
    teaching = insight.teaching
    if teaching is None or not outlook.hanging:
        return ""
    best = chosen(teaching, outlook.age_d)
    now = doubt_words(insight, teaching.now_d)
    if best is None:
        words = say("No weighing in the next two weeks would narrow the doubt of {now} by much.", now=now)
    else:
        of = say("the loss on the ready day") if teaching.of_loss else say("the ready day")
        words = say_many(
            "Weigh {count} piece on {when}: narrows {of} from ±{now} to ±{after}.",
            "Weigh {count} pieces on {when}: narrows {of} from ±{now} to ±{after}.",
            best.pieces,
            when=_when(outlook, best.day),
            of=of,
            now=now.rsplit(" ", 1)[0],
            after=doubt_words(insight, best.after_d),
        )
        words += _before_words(teaching, best, outlook)
    return " ".join(part for part in (words, _instead_words(insight, best, outlook)) if part)


def _before_words(teaching: Teaching, best: Option, outlook: LotOutlook) -> str:
    """That weighing sooner says almost nothing, where that is so."""
    sooner = [one for one in teaching.options if one.quantity == WEIGHED and one.day <= outlook.age_d + 1.1]
    if best.day <= outlook.age_d + 2.1 or not sooner:
        return ""
    if min(one.after_d for one in sooner) < (1.0 - ALMOST_NOTHING) * teaching.now_d:
        return ""
    return " " + say("Weighing today or tomorrow says almost nothing.")


def _instead_words(insight: Insight, best: Option | None, outlook: LotOutlook) -> str:
    """A water activity sample or a fat analysis, where it narrows more than the weighing does."""
    teaching = insight.teaching
    assert teaching is not None
    mark = best.after_d if best is not None else (1.0 - ALMOST_NOTHING) * teaching.now_d
    others = [
        one
        for one in teaching.options
        if one.quantity != WEIGHED and one.day <= (best.day if best else outlook.age_d + LOOK_AHEAD_D)
    ]
    other = min(others, key=lambda one: one.after_d, default=None)
    if other is None or other.after_d >= mark:
        return ""
    after = doubt_words(insight, other.after_d)
    if other.quantity == FAT:
        return say("An analysis of the batter's fat would narrow it to ±{after}.", after=after)
    return say(
        "A water activity of one piece on {when} would narrow it to ±{after}.",
        when=_when(outlook, other.day),
        after=after,
    )


def course_words(insight: Insight, outlook: LotOutlook) -> str:
    """The alternative text of the course: first and last forecast, how the doubt went."""
    dated: Sequence[tuple[str, str]] = [
        (
            day_words(point.at.astimezone(ZoneInfo(outlook.zone)).date(), _today(outlook), weekday=False),
            say("open")
            if point.middle_d is None
            else day_words(calendar_day(outlook, point.middle_d), _today(outlook), weekday=False),
        )
        for point in insight.points
    ]
    told = list_words(
        [
            say("on {at}: {day}", at=at, day=day)
            for at, day in (dated if len(dated) < 4 else [dated[0], dated[len(dated) // 2], dated[-1]])
        ]
    )
    return say("The ready day as it was forecast, {told}.", told=told)
