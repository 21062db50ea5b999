"""When a lot could leave: the latest of four conditions, then the steps; no day where none can be named."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from tests.small_house import alder, lot_made

from saltloft.foundation.bands import Band
from saltloft.foundation.units import mass
from saltloft.plant import lots, readings
from saltloft.plant.answers import AirRecord, HazardStand, LotJudgement, LotOutlook
from saltloft.plant.checks.hazards import NOT_JUDGED
from saltloft.plant.checks.verdict import Outcome, Verdict
from saltloft.plant.lot_record import LotRecord
from saltloft.plant.lot_story import lot_record
from saltloft.plant.ready import LotReady, loss_of, lot_ready, money_of
from saltloft.plant.ready_plan import ReadyPlanned
from saltloft.plant.ready_words import condition_words, cost_words, dispatch_words, promise_words, sure_words
from saltloft.plant.stated import Stated
from saltloft.process.result import DAY_CHANCES, DryingForecast, Flag, SeriesBand, TargetDay

DUBLIN = ZoneInfo("Europe/Dublin")
STUFFED = datetime(2026, 3, 10, 12, 0, tzinfo=UTC)
NOW = STUFFED + timedelta(days=30)  # Thu 9 April
PLAN = ReadyPlanned("alder")
PRODUCT = replace(alder(), price_per_kg=Decimal("12.40"))
# Evenly spread on day 40 to 60: by day 58 nine times in ten, which is Thu 7 May.
EVEN = tuple(40.0 + 20.0 * chance for chance in DAY_CHANCES)
NEVER = tuple(None for _ in DAY_CHANCES)


def said(seq: int, payload: Any, day: float = 0.0) -> Stated[Any]:
    at = STUFFED + timedelta(days=day)
    return Stated(f"e{seq}", seq, "", at, at, "maren", "tablet", payload, payload)


def record(*more: Any, day: float = 29.0) -> LotRecord:
    items = [said(1, lot_made()), said(2, lots.LotHung("AL-0310", "D2"))]
    items += [said(3 + number, payload, day) for number, payload in enumerate(more)]
    found = lot_record("AL-0310", items)
    assert found is not None
    return found


def cut(good: int) -> readings.PressedAndCut:
    return readings.PressedAndCut("AL-0310", (3, 3, 4), Decimal("1.5"), good=good)


def outlook(chances: Any = EVEN, *, promise: bool = True, flags: tuple[Flag, ...] = ()) -> LotOutlook:
    """35 % on day 50 and half a point a day, water activity down by 0.002 a day from 0.96."""
    time = np.linspace(0.0, 90.0, 91)

    def flat(values: Any) -> SeriesBand:
        return SeriesBand(*(np.asarray(values) for _ in range(6)))

    bands = {
        "weight_loss_pct": flat(10.0 + 0.5 * time),
        "loss_rate_pct_d": flat(np.full(91, 0.5)),
        "water_activity_mean": flat(0.96 - 0.002 * time),
    }
    band = Band(41.0, 50.0, 59.0)
    most = tuple(None if day is None else day + 4.0 for day in chances)
    target = TargetDay(
        band, band, 1.0, {"0.5": band, "0.9": band}, {},
        chances={"mean": chances, "piece": chances, "0.9": most},
    )  # fmt: skip
    result = DryingForecast(time, 90.0, bands, {"weight_loss_pct": target}, {}, flags, (), 400, 1)
    return LotOutlook(
        "AL-0310", "alder", "Alder 65", NOW, "Europe/Dublin", STUFFED, STUFFED, "weight_loss_pct", 35.0, (),
        AirRecord((), (), ()), result, (), "p", "m", "k", promise,
    )  # fmt: skip


def stand(outcome: Outcome, *verdicts: Verdict, hazard: str = "listeria_monocytogenes") -> HazardStand:
    return HazardStand(hazard, outcome, verdicts)


def judged(*stands: HazardStand) -> LotJudgement:
    return LotJudgement("AL-0310", NOW, stands, (), (), False, ())


MET = judged(stand(Outcome.MET))
ACTIVITY = Verdict(
    "listeria_monocytogenes", "water_activity.eu", Outcome.NOT_SHOWN, "not measured", limit=0.89, unit="1"
)
OPEN = judged(stand(Outcome.NOT_SHOWN, ACTIVITY))


def ready(
    lot: LotRecord, *, plan: ReadyPlanned = PLAN, at: LotJudgement = MET, sure: float = 0.9, **more: Any
) -> LotReady:
    found = more["outlook"] if "outlook" in more else outlook()
    return lot_ready(lot, PRODUCT, plan, found, at, plan_stated=True, sure=sure, zone=DUBLIN)


def test_the_target_decides_and_the_steps_follow() -> None:
    """Nine in ten sure by day 58, 7 May; a day each to wash, to dry and to pack: 10 May."""
    found = ready(record(cut(1)))
    assert found.dispatch is not None
    assert found.dispatch.day == date(2026, 5, 10)
    assert found.dispatch.decides == ("target",)
    assert [(step.name, step.end) for step in found.dispatch.steps] == [
        ("wash", date(2026, 5, 8)), ("dry", date(2026, 5, 9)), ("pack", date(2026, 5, 10)),
    ]  # fmt: skip
    assert dispatch_words(found).startswith("Earliest possible dispatch Sun 10 May, if everything open")
    assert promise_words(found, outlook()) == (
        "9 in 10 sure: the lot's mean is at 35 % by Thu 7 May; nine pieces in ten by Mon 11 May."
    )


def test_half_days_add_up_before_they_are_rounded() -> None:
    """Half a day and half a day are one day; a third half makes two."""
    plan = replace(PLAN, wash_days=Decimal("0.5"), dry_days=Decimal("0.5"), pack_days=Decimal("0.5"))
    found = ready(record(cut(1)), plan=plan)
    assert found.dispatch is not None
    assert [step.end for step in found.dispatch.steps] == [
        date(2026, 5, 8), date(2026, 5, 8), date(2026, 5, 9),
    ]  # fmt: skip


def test_the_least_days_of_a_rule_can_decide() -> None:
    """Seventy days from hanging on 10 March end on 19 May."""
    plan = replace(PLAN, least_days=70, least_days_why="the customer's specification")
    found = ready(record(cut(1)), plan=plan)
    assert found.dispatch is not None
    assert (found.dispatch.day, found.dispatch.decides) == (date(2026, 5, 22), ("least_days",))
    least = next(one for one in found.dispatch.conditions if one.name == "least_days")
    assert condition_words(least, found) == "70 days from hanging, for: the customer's specification"


def test_shown_is_the_day_it_could_be_measured_and_a_laboratorys_days() -> None:
    """Computed water activity touches 0.89 on day 35, 14 April; five days of a laboratory: 19 April. The
    target is later and decides; with a target already reached, shown does."""
    found = ready(record(cut(1)), at=OPEN)
    assert found.dispatch is not None
    shown = found.dispatch.conditions[0]
    assert (shown.name, shown.state, shown.day) == ("shown", "open", date(2026, 4, 19))
    assert found.dispatch.decides == ("target",)
    behind = ready(record(cut(1)), at=OPEN, outlook=outlook(tuple(20.0 for _ in DAY_CHANCES)))
    assert behind.dispatch is not None
    assert (behind.dispatch.day, behind.dispatch.decides) == (date(2026, 4, 22), ("shown",))
    assert "Listeria" in condition_words(behind.dispatch.conditions[0], behind)


@pytest.mark.parametrize(
    ("at", "reason"),
    [
        (judged(stand(Outcome.NOT_SHOWN, replace(ACTIVITY, why=NOT_JUDGED))), "not_judged"),
        (judged(stand(Outcome.NOT_MET, replace(ACTIVITY, outcome=Outcome.NOT_MET))), "not_met"),
        (judged(), "no_plan"),
    ],
)
def test_where_nothing_can_show_it_no_day_is_named(at: LotJudgement, reason: str) -> None:
    """A hazard nobody judges, one that is not met, or no plan: no day is named, the rest stands beside."""
    found = ready(record(cut(1)), at=at)
    assert found.dispatch is not None
    assert found.dispatch.day is None
    assert (found.dispatch.decides, found.dispatch.conditions[0].reason) == (("shown",), reason)
    assert found.dispatch.without == date(2026, 5, 10)
    assert dispatch_words(found).startswith("No dispatch day can be named: shown has none yet.")
    assert all(step.end is None for step in found.dispatch.steps)


def test_a_hold_names_no_day() -> None:
    found = ready(record(cut(1), lots.LotHeld("AL-0310", "meter A failed")))
    assert found.dispatch is not None
    assert found.dispatch.day is None
    assert "meter A failed" in condition_words(found.dispatch.conditions[0], found)


@pytest.mark.parametrize(
    ("entries", "state", "reason"),
    [((cut(1),), "done", "said_good"), ((cut(0),), "open", "not_yet"), ((cut(-1),), "open", "not_said"),
     ((), "open", "not_pressed"), ((cut(1), cut(0)), "open", "not_yet")],
)  # fmt: skip
def test_the_curers_good_is_said_by_a_person_only(entries: Any, state: str, reason: str) -> None:
    """The last word counts; what was not said stands open and is never assumed."""
    found = ready(record(*entries))
    assert found.dispatch is not None
    good = next(one for one in found.dispatch.conditions if one.name == "good")
    assert (good.state, good.reason) == (state, reason)


@pytest.mark.parametrize(
    ("seen", "why"),
    [
        (outlook(promise=False), "set_points_only"),
        (outlook(flags=(Flag("set_points_only", None, 1.0, "x"),)), "set_points_only"),
        (outlook(NEVER), "not_reached"),
        (None, "no_forecast"),
    ],
)
def test_without_a_log_or_a_reached_target_nothing_is_promised(seen: LotOutlook | None, why: str) -> None:
    """Set points alone give no promise and no dispatch day; the reason is said."""
    found = ready(record(cut(1)), outlook=seen)
    assert found.no_promise == why
    assert (found.day_late, found.waiting) == (None, None)
    assert promise_words(found, seen).startswith("No promise:")
    assert found.dispatch is not None
    assert (found.dispatch.day, found.dispatch.decides) == (None, ("target",))


def test_a_lot_off_the_racks_waits_for_what_has_to_be_shown_only() -> None:
    found = ready(record(cut(1), lots.LotYielded("AL-0310", mass("800", "kg"), "pack")), at=OPEN)
    assert found.no_promise == "off_racks"
    assert found.dispatch is not None
    assert [one.name for one in found.dispatch.conditions] == ["shown"]
    assert found.dispatch.steps == ()
    shown = ready(record(cut(1), lots.LotYielded("AL-0310", mass("800", "kg"), "pack")))
    assert shown.dispatch is not None
    assert shown.dispatch.decides == ()
    assert dispatch_words(shown) == "Off the racks, and no condition of this chain is open."


def test_more_certainty_is_a_later_day() -> None:
    """Even chance by day 50, 29 April; 19 in 20 by day 59, 8 May."""
    even, surer = ready(record(), sure=0.5), ready(record(), sure=0.95)
    assert even.promises["weight_loss_pct"][0].day == pytest.approx(50.0)
    assert surer.promises["weight_loss_pct"][0].day == pytest.approx(59.0)
    assert (sure_words(0.5), sure_words(0.95), sure_words(0.83)) == (
        "5 in 10 sure", "19 in 20 sure", "83 % sure",
    )  # fmt: skip


def test_a_day_late_costs_weight_and_exact_money() -> None:
    """The median is at 35 % on day 50 and at 39 % on day 58: 4 points over. A day more is half a point of
    1,280 kg, 6.4 kg, 79.36 at 12.40 a kg."""
    found = ready(record())
    assert found.day_late is not None
    assert found.waiting is not None
    assert found.waiting.points == pytest.approx(4.0)
    assert (found.day_late.mg, found.day_late.money) == (6_400_000, 7936)
    assert "A day later takes 0.5 % of the green weight: " in cost_words(found)
    assert "A day earlier leaves 5 % more of the pieces under the target." in cost_words(found)


@pytest.mark.parametrize(
    ("mg", "price", "coins"),
    [(5_123_000, "12.40", 6353), (1_000_000, "0.005", 1), (333_333, "10", 333), (5_000_000, "0", None)],
)
def test_money_is_exact_and_rounded_once(mg: int, price: str, coins: int | None) -> None:
    """5.123 kg at 12.40 are 63.5252, booked as 6353 coins; half a coin goes up; no price, no money."""
    assert money_of(mg, Decimal(price)) == coins


def test_points_of_a_lot_are_whole_milligrams() -> None:
    found = loss_of(0.4, 1_280_000_000, Decimal("12.40"))
    assert (found.mg, found.money) == (5_120_000, 6349)
