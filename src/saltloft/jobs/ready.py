"""When could a lot leave: the day to promise at a chosen risk, what a day costs, the chain to the door."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from saltloft.cases.open_house import OpenHouse
from saltloft.cases.ready import ready_of
from saltloft.plant.answers import LotJudgement, LotOutlook
from saltloft.plant.ready import Loss, LotReady
from saltloft.plant.ready_words import cost_words, dispatch_words, promise_words
from saltloft.plant.sentences import calendar_day
from saltloft.process.promise import Promise
from saltloft.process.result import DAY_CHANCES


def ready(
    house: OpenHouse,
    lot: str,
    outlook: LotOutlook | None,
    judgement: LotJudgement,
    *,
    sure: float | None = None,
) -> LotReady:
    """When one lot of dry sausage could leave.

    Args:
        house: OpenHouse.
        lot: str.
        outlook: LotOutlook or None. Its forecast.
        judgement: LotJudgement.
        sure: float or None. Wanted chance, 0..1; None: the house's setting.

    Raises:
        InputError: a chance outside 0.025 to 0.975.
    """
    return ready_of(house, lot, outlook, judgement, sure=sure)


def ready_fields(found: LotReady, outlook: LotOutlook) -> Mapping[str, Any]:
    """What `forecast --json` says under `promise` and `dispatch`.

    Args:
        found: LotReady.
        outlook: LotOutlook.
    """
    return {
        "promise": {
            "sure": found.sure,
            "chances_at": DAY_CHANCES,
            "none_because": found.no_promise or None,
            "targets": {
                name: {
                    "mean": _day(mean, outlook),
                    "nine_in_ten": _day(most, outlook),
                    "level": outlook.result.targets[name].level,
                    "chances": dict(outlook.result.targets[name].chances),
                }
                for name, (mean, most) in found.promises.items()
            },
            "day_late": _loss(found.day_late),
            "waiting": _loss(found.waiting),
            "day_early_under_target": found.early_share if found.day_late else None,
            "words": " ".join(part for part in (promise_words(found, outlook), cost_words(found)) if part),
        },
        "dispatch": _dispatch(found),
    }


def _day(one: Promise, outlook: LotOutlook) -> dict[str, Any] | None:
    if one.day is None:
        return None
    return {"day": round(one.day, 3), "date": calendar_day(outlook, one.day).isoformat()}


def _loss(loss: Loss | None) -> dict[str, Any] | None:
    if loss is None:
        return None
    money = None if loss.money is None else f"{loss.money / 100:.2f}"
    return {"points": round(loss.points, 4), "kg": loss.mg / 1e6, "money": money}


def _dispatch(found: LotReady) -> dict[str, Any] | None:
    chain = found.dispatch
    if chain is None:
        return None
    return {
        "earliest": chain.day.isoformat() if chain.day else None,
        "without_what_is_missing": chain.without.isoformat() if chain.without else None,
        "decides": list(chain.decides),
        "conditions": [
            {
                "name": one.name,
                "day": one.day.isoformat() if one.day else None,
                "state": one.state,
                "reason": one.reason,
                "about": list(one.about),
            }
            for one in chain.conditions
        ],
        "steps": [
            {"name": step.name, "days": step.days, "end": step.end.isoformat() if step.end else None}
            for step in chain.steps
        ],
        "plan_stated": found.plan_stated,
        "words": dispatch_words(found),
    }
