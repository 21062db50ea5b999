"""Plain-language sentences: days and numbers no finer than their doubt, and what a lot's outlook says.

The same words go on a page, on paper and to a screen reader. Everything is
computed from the results handed in; no date is ever given for 'shown'.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date, datetime, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

import numpy as np
from babel import Locale, UnknownLocaleError
from babel.dates import format_date, format_time

from saltloft.foundation.bands import Band
from saltloft.foundation.words import LANGUAGE, say, say_many
from saltloft.plant.answers import LotJudgement, LotOutlook
from saltloft.plant.checks.verdict import Outcome

# Up to this width of the 90 % range a single weekday is still a fair thing to name. [d]
NARROW_D = 14.0
# Up to this width the day is given without its weekday; beyond, only the third of a month. [d]
WIDE_D = 42.0


@lru_cache(maxsize=16)
def _known_locale(language: str) -> str:
    try:
        return str(Locale.parse(language, sep="-" if "-" in language else "_"))
    except (UnknownLocaleError, ValueError):
        return "en"


def locale_name() -> str:
    """The reader's language as Babel knows it; English for one it does not."""
    return _known_locale(LANGUAGE.get())


def caution() -> str:
    """The one sentence that stands on every page and paper of a lot."""
    return say(
        "Saltloft does not decide whether this may be eaten or sold; "
        "the inspector and a process authority do."
    )


def demo_caution() -> str:
    """What every page and paper of the invented house says."""
    return say("Invented house, edition not read: its confirmations and documents are not evidence.")


def hazard_words(hazard: str) -> str:
    """The name of a hazard as people write it; an unknown key is given as it is."""
    names = {
        "staphylococcus_aureus": say("S. aureus"),
        "salmonella": say("Salmonella"),
        "escherichia_coli": say("E. coli"),
        "listeria_monocytogenes": say("Listeria"),
        "clostridium_botulinum": say("C. botulinum"),
        "trichinella": say("Trichinella"),
        "nitrite": say("nitrite"),
        "foreign_body": say("foreign body"),
        "allergen": say("allergen"),
    }
    return names.get(hazard, hazard.replace("_", " "))


def outcome_word(outcome: Outcome) -> str:
    """One of the four outcomes in the reader's language."""
    return {
        Outcome.MET: say("met"),
        Outcome.NOT_MET: say("not met"),
        Outcome.NOT_SHOWN: say("not shown"),
        Outcome.DOES_NOT_APPLY: say("does not apply"),
    }[outcome]


def day_words(day: date, today: date, *, weekday: bool = True) -> str:
    """'Fri 24 Apr', with the year when it is not this one.

    Args:
        day: date. In the house's zone.
        today: date. The reader's day, which decides whether the year is said.
        weekday: bool. False leaves the weekday out.
    """
    pattern = ("EEE d MMM" if weekday else "d MMM") + ("" if day.year == today.year else " y")
    return format_date(day, pattern, locale=locale_name())


def moment_words(moment: datetime, zone: str, today: date) -> str:
    """'Fri 24 Apr 21:30' in the house's zone."""
    local = moment.astimezone(ZoneInfo(zone))
    clock = format_time(local, "HH:mm", tzinfo=ZoneInfo(zone), locale=locale_name())
    return f"{day_words(local.date(), today)} {clock}"


def decimals_for(half_width: float) -> int:
    """Decimal places a number with this half-width of doubt may carry; negative means tens.

    Args:
        half_width: float. Half of the 90 % range, in the number's unit.

    Example:
        >>> [decimals_for(width) for width in (0.3, 2.0, 15.0)]
        [1, 0, -1]
    """
    if not math.isfinite(half_width) or half_width <= 0.0:
        return 0
    return -math.floor(math.log10(half_width))


def number_words(value: float, decimals: int) -> str:
    """A number rounded to `decimals` places (tens for -1), with the sign people write."""
    rounded = round(value, decimals)
    text = f"{rounded:.{max(decimals, 0)}f}"
    return text.replace("-", "−") if float(text) else text.lstrip("-")


def range_words(band: Band, unit: str) -> str:
    """'35 % (33 to 37)': the median and its 90 % range, no finer than the doubt."""
    if band.p50 is None:
        return say("not reached")
    if band.p05 is None or band.p95 is None:
        return say("about {value} {unit}, range open", value=number_words(band.p50, 0), unit=unit)
    decimals = decimals_for((band.p95 - band.p05) / 2.0)
    return say(
        "{value} {unit} ({low} to {high})",
        value=number_words(band.p50, decimals),
        unit=unit,
        low=number_words(band.p05, decimals),
        high=number_words(band.p95, decimals),
    )


def share_words(share: float) -> str:
    """A share as people say it: 'all', 'about 7 in 10', 'fewer than 1 in 20'."""
    if share >= 0.995:
        return say("all")
    if share < 0.05:
        return say("fewer than 1 in 20")
    return say("about {count} in 10", count=max(1, min(9, round(share * 10))))


def _third_words(day: date, today: date) -> str:
    month = format_date(day, "LLLL" if day.year == today.year else "LLLL y", locale=locale_name())
    if day.day <= 10:
        return say("early {month}", month=month)
    if day.day <= 20:
        return say("mid {month}", month=month)
    return say("late {month}", month=month)


def when_words(earliest: date, middle: date, latest: date | None, today: date) -> str:
    """A day with its range, coarser as the range grows.

    Args:
        earliest, middle: date. 5 and 50 per cent quantiles.
        latest: date or None. 95 per cent quantile; None when it is not reached.
        today: date. Decides whether years are said.

    A range that begins before today begins 'now'.

    Example:
        >>> when_words(date(2026, 4, 20), date(2026, 4, 24), date(2026, 5, 2), date(2026, 4, 1))
        'around Fri 24 Apr (20 Apr to 2 May)'
    """
    if latest is None:
        return say(
            "around {middle} at the earliest likely (not before {earliest}; the late end is open)",
            middle=_third_words(middle, today),
            earliest=day_words(earliest, today, weekday=False),
        )
    width = (latest - earliest).days
    if earliest <= today:
        wide = width > WIDE_D
        return say(
            "around {middle} (now to {latest})",
            middle=_third_words(middle, today)
            if wide
            else day_words(middle, today, weekday=width <= NARROW_D),
            latest=_third_words(latest, today) if wide else day_words(latest, today, weekday=False),
        )
    if width > WIDE_D:
        return say(
            "around {middle} ({earliest} to {latest})",
            middle=_third_words(middle, today),
            earliest=_third_words(earliest, today),
            latest=_third_words(latest, today),
        )
    return say(
        "around {middle} ({earliest} to {latest})",
        middle=day_words(middle, today, weekday=width <= NARROW_D),
        earliest=day_words(earliest, today, weekday=False),
        latest=day_words(latest, today, weekday=False),
    )


def duration_words(days: float) -> str:
    """'about 3 weeks', 'about 5 days', 'about 3 months': a length in whole fitting units."""
    if days < 0.75:
        return say("less than a day")
    if days < 14.0:
        return say_many("about {count} day", "about {count} days", round(days))
    if days < 75.0:
        return say_many("about {count} week", "about {count} weeks", round(days / 7.0))
    return say_many("about {count} month", "about {count} months", round(days / 30.4))


def list_words(names: Sequence[str], most: int = 99) -> str:
    """Names in a row with commas; of more than `most`, the first ones and how many more."""
    if len(names) <= most:
        return ", ".join(names)
    return say("{names} and {count} more", names=", ".join(names[: most - 1]), count=len(names) - most + 1)


def target_words(outlook: LotOutlook) -> str:
    """The target as people say it, such as '35 %' or 'moisture:protein 1.9'."""
    value = f"{outlook.target_value:g}"
    if outlook.target_name == "weight_loss_pct":
        return say("{value} %", value=value)
    if outlook.target_name == "moisture_protein":
        return say("moisture:protein {value}", value=value)
    return say("water activity {value}", value=value)


def calendar_day(outlook: LotOutlook, day_d: float) -> date:
    """The house's calendar day on which `day_d` days from stuffing fall."""
    moment = outlook.stuffed_at + timedelta(days=day_d)
    return moment.astimezone(ZoneInfo(outlook.zone)).date()


def ready_words(outlook: LotOutlook) -> str:
    """The first half of a lot's sentence: when it is where the curer wants it.

    Args:
        outlook: LotOutlook.

    Returns:
        str. 'AL-0310 is at 35 % around Fri 24 Apr (20 Apr to 2 May).', or that the
        target is not reached, or that set points alone give no date.
    """
    today = outlook.asof.astimezone(ZoneInfo(outlook.zone)).date()
    target = outlook.result.targets[outlook.target_name]
    band, words = target.mean, target_words(outlook)
    if not outlook.hanging:
        return _off_racks_words(outlook, today)
    if not outlook.promise:
        return _no_promise_words(outlook, band, words)
    if band.p05 is None or band.p50 is None:
        return say(
            "{lot} reaches {target} in {share} computed cases within {horizon} d; "
            "its room's air or the target needs a look.",
            lot=outlook.lot,
            target=words,
            share=share_words(target.share_reached),
            horizon=round(outlook.result.horizon_d),
        )
    early, middle, late = (
        None if day_d is None else calendar_day(outlook, day_d) for day_d in (band.p05, band.p50, band.p95)
    )
    assert early is not None
    assert middle is not None
    if late is not None and late < today:
        return say("{lot} is computed to be beyond {target}; weigh to know.", lot=outlook.lot, target=words)
    if middle <= today:
        return say(
            "{lot} is about at {target} now ({early} to {late}).",
            lot=outlook.lot,
            target=words,
            early=day_words(early, today, weekday=False),
            late=say("open") if late is None else day_words(late, today, weekday=False),
        )
    return say(
        "{lot} is at {target} {when}.",
        lot=outlook.lot,
        target=words,
        when=when_words(early, middle, late, today),
    )


def _off_racks_words(outlook: LotOutlook, today: date) -> str:
    days = round(outlook.age_d - outlook.hang_offset_d)
    if not outlook.weighings:
        return say(
            "{lot} came off the racks on {day} after {days} d.",
            lot=outlook.lot,
            day=day_words(today, today),
            days=days,
        )
    return say(
        "{lot} came off the racks on {day} after {days} d; last weighed {loss} % lost.",
        lot=outlook.lot,
        day=day_words(today, today),
        days=days,
        loss=number_words(outlook.weighings[-1].value, 1),
    )


def _no_promise_words(outlook: LotOutlook, band: Band, words: str) -> str:
    if band.p50 is None:
        return say(
            "{lot}: no log of its room's air and no weighing; nothing can be said of {target} yet.",
            lot=outlook.lot,
            target=words,
        )
    left = max(band.p50 - outlook.age_d, 0.0)
    return say(
        "{lot}: by set points only, {target} is {length} away as a plan; "
        "no date before its room's log or a weighing is in.",
        lot=outlook.lot,
        target=words,
        length=duration_words(left),
    )


def hazards_words(judgement: LotJudgement, most: int = 99) -> str:
    """The second part of a lot's sentence: hazards not met, not shown, and those covered by paper only.

    Args:
        judgement: LotJudgement.
        most: int. Names said of each group but 'not met'; the rest are counted.
    """
    not_met: list[str] = []
    not_shown: list[str] = []
    by_document: list[str] = []
    left_out: list[str] = []
    for stand in judgement.hazards:
        name = hazard_words(stand.hazard)
        if stand.outcome is Outcome.NOT_MET:
            not_met.append(name)
        elif stand.is_open:
            not_shown.append(name)
        elif stand.outcome is not Outcome.MET:
            (by_document if stand.documents else left_out).append(name)
    parts = []
    if not_met:
        parts.append(say("Not met: {names}.", names=list_words(not_met)))
    if not_shown:
        parts.append(say("Not shown yet: {names}.", names=list_words(not_shown, most)))
    if by_document:
        parts.append(say("By document, not judged: {names}.", names=list_words(by_document, most)))
    if left_out and len(judgement.hazards) <= most:
        parts.append(say("Left out of its plan by signature: {names}.", names=list_words(left_out)))
    if not judgement.hazards:
        return say("Its product has no plan: no hazard is shown.")
    return " ".join(parts) or say("Every hazard of its plan has a met rule.")


def lot_sentence(lot: str, outlook: LotOutlook | None, judgement: LotJudgement | None, next_step: str) -> str:
    """The sentence a lot's page and dossier begin with.

    Args:
        lot: str.
        outlook: LotOutlook or None when no forecast is kept for it yet.
        judgement: LotJudgement or None when it was not judged.
        next_step: str. What to do next, such as 'weigh 6 pieces tomorrow'; may be empty.
    """
    parts = [ready_words(outlook) if outlook else say("{lot}: no forecast computed yet.", lot=lot)]
    if judgement is not None:
        parts.append(hazards_words(judgement))
    if next_step:
        parts.append(say("Next: {step}.", step=next_step))
    return " ".join(parts)


def basis_words(outlook: LotOutlook | None) -> str:
    """That a forecast rests on set points and not on the room's log, where it does; else empty."""
    if outlook is None or outlook.result.from_log_until_d > 0.0:
        return ""
    if outlook.promise:
        return say(
            "No reading of the room's air: it is taken as set, give or take what rooms stray by. "
            "Weighings narrow the range; a logger would narrow it more."
        )
    return say(
        "By set points only: nothing was read of the room's air and nothing weighed. The range is wide "
        "for that reason, and no date is promised. A logger at the pieces, or weighings, narrow it."
    )


def now_words(outlook: LotOutlook) -> str:
    """Where the lot is computed to stand at `asof`, such as '31 % (29 to 33)'."""
    return range_words(loss_at(outlook, outlook.age_d), "%")


def loss_at(outlook: LotOutlook, day_d: float) -> Band:
    """The lot's mean weight loss at a day, linearly between output times. [%]

    Args:
        outlook: LotOutlook.
        day_d: float. From stuffing. [d]
    """
    series, times = outlook.result.bands["weight_loss_pct"], outlook.result.time_d
    curves = (series.mean_p05, series.mean_p50, series.mean_p95)
    return Band(*(float(np.interp(day_d, times, curve)) for curve in curves))
