"""When a lot could leave: the day to promise, what a day costs, and the chain of steps to the door.

'Shown', 'good' and 'pays' stay apart: the chain says the earliest day on which a
lot could leave *if* everything open gets measured and comes out as its rule asks.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import ROUND_HALF_UP, Decimal
from zoneinfo import ZoneInfo

from saltloft.plant.answers import LotJudgement, LotOutlook
from saltloft.plant.checks.hazards import NOT_JUDGED
from saltloft.plant.checks.verdict import Outcome
from saltloft.plant.lot_record import LotRecord
from saltloft.plant.ready_plan import STEPS, ReadyPlanned
from saltloft.plant.recipes import ProductDefined
from saltloft.plant.sentences import calendar_day
from saltloft.plant.three_lines import measurable_from, open_verdicts
from saltloft.process.promise import Promise, over_dried, promise

CONDITIONS = ("shown", "least_days", "good", "target")


@dataclass(frozen=True)
class Condition:
    """One thing that the first step after the racks waits for.

    Args:
        name: str. One of CONDITIONS.
        day: date or None. Earliest; None when no day can be named.
        state: str. 'done', 'open' (it has to be measured, said or waited for), 'computed' (a day of the
            forecast, behind or ahead) or 'none' (no day).
        reason: str. Key of why it stands so, such as 'not_said' or 'set_points_only'.
        about: tuple of str. What the reason is about: hazards, a hold, the rule that asks.
    """

    name: str
    day: date | None
    state: str
    reason: str
    about: tuple[str, ...] = ()


@dataclass(frozen=True)
class Step:
    """One step between the racks and the door.

    Args:
        name: str. One of ready_plan.STEPS.
        days: float. Its length. [d]
        end: date or None. Day on which it ends; None while no start can be named.
    """

    name: str
    days: float
    end: date | None


@dataclass(frozen=True)
class Dispatch:
    """The chain of conditions and steps, and the day it ends on.

    Args:
        conditions: tuple of Condition.
        steps: tuple of Step.
        day: date or None. Earliest possible; None while a condition has no day.
        decides: tuple of str. The conditions that decide: the latest, or those without a day; 'steps'
            when only those are left, empty when nothing is.
        without: date or None. The day the rest would allow, when `day` is None. [date]
    """

    conditions: tuple[Condition, ...]
    steps: tuple[Step, ...]
    day: date | None
    decides: tuple[str, ...]
    without: date | None = None


@dataclass(frozen=True)
class Loss:
    """Weight taken off a lot and what it is worth.

    Args:
        points: float. [% of green weight]
        mg: int. [mg]
        money: int or None. Smallest coins; None without a price.
    """

    points: float
    mg: int
    money: int | None


@dataclass(frozen=True)
class LotReady:
    """Everything about when one lot could leave.

    Args:
        lot: str.
        today: date.
        sure: float. Chance asked for, 0..1.
        plan: ReadyPlanned.
        plan_stated: bool. False: the plan holds common practice, no source.
        no_promise: str. Key of why nothing is promised; empty when it is.
        promises: mapping of target name to (Promise of the mean, Promise of nine pieces in ten).
        day_late: Loss or None. What a day after the promised one takes off.
        waiting: Loss or None. What is lost beyond the target by the promised day, expected.
        early_share: float. Pieces a day earlier leaves under the target, more than the day itself, 0..1.
        dispatch: Dispatch or None. None once it left, or when it was never hung.
    """

    lot: str
    today: date
    sure: float
    plan: ReadyPlanned
    plan_stated: bool
    no_promise: str
    promises: Mapping[str, tuple[Promise, Promise]]
    day_late: Loss | None
    waiting: Loss | None
    early_share: float
    dispatch: Dispatch | None


def money_of(mg: int, price_per_kg: Decimal) -> int | None:
    """What a mass is worth, in smallest coins, exact and rounded half up; None without a price.

    Args:
        mg: int. [mg]
        price_per_kg: Decimal. [1/kg]
    """
    if price_per_kg <= 0:
        return None
    coins = Decimal(mg) * price_per_kg * 100 / Decimal(1_000_000)
    return int(coins.quantize(Decimal(1), rounding=ROUND_HALF_UP))


def loss_of(points: float, green_mg: int, price_per_kg: Decimal) -> Loss:
    """Points of green weight as mass and money.

    Args:
        points: float. [% of green weight]
        green_mg: int. [mg]
        price_per_kg: Decimal. [1/kg]
    """
    mg = round(points / 100.0 * green_mg)
    return Loss(points, mg, money_of(mg, price_per_kg))


def lot_ready(
    record: LotRecord,
    product: ProductDefined,
    plan: ReadyPlanned,
    outlook: LotOutlook | None,
    judgement: LotJudgement,
    *,
    plan_stated: bool,
    sure: float,
    zone: ZoneInfo,
) -> LotReady:
    """The day to promise and the chain to the door.

    Args:
        record: LotRecord. Of dry sausage.
        product: ProductDefined.
        plan: ReadyPlanned.
        outlook: LotOutlook or None. Its last forecast.
        judgement: LotJudgement. Its moment is taken as today.
        plan_stated: bool.
        sure: float. Wanted chance, 0..1.
        zone: ZoneInfo. Of the house.
    """
    today = judgement.at.astimezone(zone).date()
    no_promise = _no_promise(record, outlook)
    promises: dict[str, tuple[Promise, Promise]] = {}
    if outlook is not None and not no_promise:
        for name, target in outlook.result.targets.items():
            over = _over(outlook) if name == outlook.target_name == "weight_loss_pct" else None
            mean, most = (promise(target, sure=sure, of=of, over=over) for of in ("mean", "0.9"))
            promises[name] = (mean, most)
    main = promises[outlook.target_name][0] if outlook is not None and promises else None
    if main is not None and main.day is None:
        no_promise = "not_reached"
    green, price = record.green_mass.mg, product.price_per_kg
    told = main is not None and main.day is not None and main.on_it is not None
    return LotReady(
        lot=record.lot,
        today=today,
        sure=sure,
        plan=plan,
        plan_stated=plan_stated,
        no_promise=no_promise,
        promises=promises,
        day_late=loss_of(main.late_points, green, price) if told and main else None,
        waiting=loss_of(main.on_it.over_points, green, price) if told and main and main.on_it else None,
        early_share=main.early_share if main is not None else 0.0,
        dispatch=_dispatch(
            record, plan, outlook, judgement, main=main, no_promise=no_promise, today=today, zone=zone
        ),
    )


def _over(outlook: LotOutlook) -> Callable[[float], float]:
    """Weight lost beyond the curer's target by a day of the lot's own forecast."""
    loss, time_d = outlook.result.bands["weight_loss_pct"], outlook.result.time_d
    return lambda day: over_dried(loss, time_d, day, outlook.target_value)


def _no_promise(record: LotRecord, outlook: LotOutlook | None) -> str:
    if not record.hanging:
        return "off_racks"
    if outlook is None:
        return "no_forecast"
    if not outlook.promise or any(flag.code == "set_points_only" for flag in outlook.result.flags):
        return "set_points_only"
    return ""


def _dispatch(
    record: LotRecord,
    plan: ReadyPlanned,
    outlook: LotOutlook | None,
    judgement: LotJudgement,
    *,
    main: Promise | None,
    no_promise: str,
    today: date,
    zone: ZoneInfo,
) -> Dispatch | None:
    if record.state in ("gone", "ended") or record.hung_at is None:
        return None
    conditions = [_shown(record, plan, outlook, judgement, today)]
    if plan.least_days:
        day = record.hung_at.astimezone(zone).date() + timedelta(days=plan.least_days)
        state = "done" if day <= today else "open"
        conditions.append(Condition("least_days", day, state, "counted", (plan.least_days_why,)))
    if record.hanging:
        conditions.append(_good(record, today, zone))
        conditions.append(_target(outlook, main, no_promise))
    dated = {one.name: max(one.day, today) for one in conditions if one.day is not None}
    rest = max(dated.values(), default=today)
    missing = tuple(one.name for one in conditions if one.day is None)
    # What is off the racks is through its steps, as far as anybody said.
    left = [(name, plan.days_of(name)) for name in STEPS if record.hanging and plan.days_of(name) > 0.0]
    in_all = math.ceil(sum(days for _, days in left) - 1e-9)
    latest = tuple(name for name, day in dated.items() if day == rest and rest > today)
    return Dispatch(
        conditions=tuple(conditions),
        steps=_steps(left, None if missing else rest),
        day=None if missing else rest + timedelta(days=in_all),
        decides=missing or latest or (("steps",) if left else ()),
        without=rest + timedelta(days=in_all) if missing else None,
    )


def _steps(left: list[tuple[str, float]], start: date | None) -> tuple[Step, ...]:
    found, behind = [], 0.0
    for name, days in left:
        behind += days
        end = None if start is None else start + timedelta(days=math.ceil(behind - 1e-9))
        found.append(Step(name, days, end))
    return tuple(found)


def _shown(
    record: LotRecord, plan: ReadyPlanned, outlook: LotOutlook | None, judgement: LotJudgement, today: date
) -> Condition:
    """The earliest day the last open rule could be measured, and a laboratory's days after it."""
    if record.open_holds:
        return Condition("shown", None, "none", "held", (record.open_holds[-1].held.payload.reason,))
    if not judgement.hazards:
        return Condition("shown", None, "none", "no_plan")
    if not judgement.open_hazards:
        return Condition("shown", today, "done", "every_hazard")
    broken = [stand.hazard for stand in judgement.hazards if stand.outcome is Outcome.NOT_MET]
    if broken:
        return Condition("shown", None, "none", "not_met", tuple(broken))
    blind = [
        stand.hazard
        for stand in judgement.hazards
        if stand.is_open and all(verdict.why == NOT_JUDGED for verdict in stand.verdicts)
    ]
    if blind:
        return Condition("shown", None, "none", "not_judged", tuple(blind))
    days = [measurable_from(verdict, outlook, today) for verdict in open_verdicts(judgement)]
    day = max(days, default=today) + timedelta(days=math.ceil(plan.lab_days))
    return Condition("shown", day, "open", "measurable", judgement.open_hazards)


def _good(record: LotRecord, today: date, zone: ZoneInfo) -> Condition:
    if not record.pressed_and_cut:
        return Condition("good", today, "open", "not_pressed")
    last = record.pressed_and_cut[-1]
    day = last.at.astimezone(zone).date()
    if last.payload.good == 1:
        return Condition("good", day, "done", "said_good", (last.person,))
    return Condition("good", today, "open", "not_yet" if last.payload.good == 0 else "not_said")


def _target(outlook: LotOutlook | None, main: Promise | None, no_promise: str) -> Condition:
    if outlook is None or main is None or main.day is None:
        return Condition("target", None, "none", no_promise or "no_forecast")
    day = calendar_day(outlook, main.day)
    return Condition("target", day, "computed", "promised")
