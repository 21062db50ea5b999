"""When a lot could leave, in sentences: the promise, what a day costs, the chain and what decides it."""

from __future__ import annotations

from saltloft.foundation.words import say, say_many
from saltloft.plant.answers import LotOutlook
from saltloft.plant.ready import Condition, Loss, LotReady
from saltloft.plant.sentences import (
    calendar_day,
    day_words,
    hazard_words,
    list_words,
    number_words,
    target_words,
)
from saltloft.process.promise import Promise


def sure_words(sure: float) -> str:
    """A chance as people say it: '9 in 10 sure', '19 in 20 sure', '83 % sure'."""
    for whole in (10, 20):
        count = sure * whole
        if abs(count - round(count)) < 1e-6 and 0 < round(count) < whole:
            return say("{count} in {whole} sure", count=round(count), whole=whole)
    return say("{share} % sure", share=number_words(100.0 * sure, 0))


def promise_words(ready: LotReady, outlook: LotOutlook | None) -> str:
    """The day to promise for the main target, or why none is promised."""
    if ready.no_promise or outlook is None:
        return no_promise_words(ready.no_promise or "no_forecast")
    mean, most = ready.promises[outlook.target_name]
    words = say(
        "{sure}: the lot's mean is at {target} by {day}",
        sure=sure_words(ready.sure),
        target=target_words(outlook),
        day=promised_words(mean, outlook, ready),
    )
    if most.day is None:
        return words + say("; nine pieces in ten are not there so surely.")
    return words + say("; nine pieces in ten by {day}.", day=promised_words(most, outlook, ready))


def target_name_words(name: str, level: float | None) -> str:
    """A target as people say it, such as '35 % lost' or 'core water activity 0.90'."""
    if level is None:
        return name.replace("_", " ")
    words = {
        "weight_loss_pct": lambda: say("{value} % lost", value=f"{level:g}"),
        "moisture_protein": lambda: say("moisture:protein {value}", value=f"{level:g}"),
        "water_activity": lambda: say("water activity {value}", value=f"{level:.2f}"),
        "water_activity_core": lambda: say("core water activity {value}", value=f"{level:.2f}"),
    }
    return words[name]()


def promised_words(one: Promise, outlook: LotOutlook, ready: LotReady) -> str:
    """A promised day, 'now' when it is behind."""
    if one.day is None:
        return say("no day")
    day = calendar_day(outlook, one.day)
    return say("now") if day <= ready.today else day_words(day, ready.today)


def no_promise_words(why: str) -> str:
    """Why no day is promised."""
    return {
        "off_racks": say("Nothing to promise: it is off the racks."),
        "no_forecast": say("No promise: no forecast is computed yet."),
        "set_points_only": say(
            "No promise: the forecast knows its room by set points only; the room's log is needed."
        ),
        "not_reached": say("No promise: too many computed cases do not get to the target in this air."),
    }[why]


def cost_words(ready: LotReady) -> str:
    """What waiting costs, a day later and a day earlier; empty when nothing is promised."""
    if ready.day_late is None or ready.waiting is None:
        return ""
    return " ".join(
        (
            say(
                "A day later takes {points} % of the green weight: {loss}.",
                points=points_words(ready.day_late.points),
                loss=loss_words(ready.day_late),
            ),
            say(
                "A day earlier leaves {share} % more of the pieces under the target.",
                share=number_words(100.0 * ready.early_share, 0),
            ),
            say(
                "Being so sure dries it {points} % beyond the target on average: {loss}.",
                points=points_words(ready.waiting.points),
                loss=loss_words(ready.waiting),
            ),
        )
    )


def points_words(points: float) -> str:
    """Points of weight, one decimal; two where one would say nought."""
    return number_words(points, 1 if points >= 0.095 else 2)


def loss_words(loss: Loss) -> str:
    """Kilograms, and money where a price is set."""
    mass = number_words(loss.mg / 1e6, 1)
    if loss.money is None:
        return say("{mass} kg; no price is set", mass=mass)
    return say("{mass} kg, {money}", mass=mass, money=f"{loss.money / 100:,.2f}")


def dispatch_words(ready: LotReady) -> str:
    """The earliest possible day, what it rests on, and what decides it; never a claim."""
    chain = ready.dispatch
    if chain is None:
        return ""
    decides = list_words([decider_word(name) for name in chain.decides])
    if chain.day is None:
        words = say("No dispatch day can be named: {what} has none yet.", what=decides)
        if chain.without is None:
            return words
        when = day_words(chain.without, ready.today)
        return words + " " + say("Everything else would allow {day} at the earliest.", day=when)
    if not chain.decides:
        return say("Off the racks, and no condition of this chain is open.")
    return say(
        "Earliest possible dispatch {day}, if everything open is measured and comes out as its rule asks. "
        "What decides: {what}.",
        day=day_words(chain.day, ready.today),
        what=decides,
    )


def decider_word(name: str) -> str:
    """What decides the dispatch day."""
    words = {
        "shown": say("shown"),
        "least_days": say("least days"),
        "good": say("the curer's good"),
        "target": say("the target"),
        "steps": say("the steps after the racks"),
    }
    return words[name]


def condition_words(one: Condition, ready: LotReady) -> str:
    """Why a condition stands as it does."""
    names = list_words([hazard_words(name) for name in one.about], 4)
    about = one.about[0] if one.about else ""
    words = {
        "held": lambda: say("held: {why}", why=about),
        "no_plan": lambda: say("its product has no plan"),
        "every_hazard": lambda: say("every hazard of its plan is met or covered"),
        "not_met": lambda: say("not met: {names}; a person has to decide", names=names),
        "not_judged": lambda: say(
            "{names} not judged by this version; only a document that covers the lot helps", names=names
        ),
        "measurable": lambda: say(
            "open: {names}; the last of them could be measured then, {days} of a laboratory included",
            names=names,
            days=days_words(float(ready.plan.lab_days)),
        ),
        "counted": lambda: say(
            "{days} from hanging, for: {why}", days=days_words(ready.plan.least_days), why=about
        ),
        "not_pressed": lambda: say("not pressed and cut yet"),
        "said_good": lambda: say("said good by {person}", person=about),
        "not_yet": lambda: say("not yet good when last cut"),
        "not_said": lambda: say("no word on good when last cut"),
        "promised": lambda: say("the lot's mean, {sure}", sure=sure_words(ready.sure)),
        "off_racks": lambda: no_promise_words("off_racks"),
        "no_forecast": lambda: say("no forecast is computed yet"),
        "set_points_only": lambda: say("its room is known by set points only"),
        "not_reached": lambda: say("not reached so surely in this air"),
    }
    return words[one.reason]()


def days_words(days: float) -> str:
    """'1 day', '3 days', '0.5 days'."""
    if days == round(days):
        return say_many("{count} day", "{count} days", round(days))
    return say("{days} days", days=number_words(days, 1))


def plan_words(ready: LotReady) -> str:
    """Where the days of the steps come from."""
    if ready.plan_stated:
        return say("Days as the house planned them for this product.")
    return say("Days by common practice, no source; the house may plan its own for this product.")
