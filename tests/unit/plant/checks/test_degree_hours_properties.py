"""What must hold for every trace: fewer readings, more heat, more hours or more doubt never help."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from saltloft.cases.rules import degree_hours_rules
from saltloft.facts.loader import load_facts
from saltloft.foundation.errors import InputError
from saltloft.plant.checks.degree_hours import judge_degree_hours
from saltloft.plant.checks.degree_hours_count import DegreeHoursRule, EndingPlan, ending_set
from saltloft.plant.checks.trace import PhSet, TemperatureTrace, cover
from saltloft.plant.checks.verdict import Outcome, Verdict

RULES = degree_hours_rules(load_facts())
US, CA = RULES
RANK = {Outcome.NOT_MET: 0, Outcome.NOT_SHOWN: 1, Outcome.DOES_NOT_APPLY: 1, Outcome.MET: 2}
STEP = 600.0
FORBIDDEN = re.compile(r"\b(safe|unsafe|pass|passed|passes|ok to eat|fit to eat)\b", re.IGNORECASE)


@st.composite
def traces(draw: st.DrawFn) -> TemperatureTrace:
    """A room every ten minutes for some days: a bounded walk, its rise known from a longer record."""
    count = draw(st.integers(30, 500))
    level = draw(st.floats(12.0, 36.0))
    seed = draw(st.integers(0, 10_000))
    rng = np.random.default_rng(seed)
    walk = level + np.clip(np.cumsum(rng.normal(0.0, draw(st.floats(0.0, 0.4)), count)), -6.0, 6.0)
    times = STEP * np.arange(count, dtype=float)
    rise = float(np.abs(np.diff(walk)).max()) / STEP
    return TemperatureTrace(times, walk, STEP, rise, max(50.0, float(walk.max())), ("b1",))


@st.composite
def ph_sets(draw: st.DrawFn) -> list[PhSet]:
    """A few sets over the days, of any place, size and standing."""
    found = []
    for index in range(draw(st.integers(0, 5))):
        values = draw(st.lists(st.floats(4.8, 5.8).map(lambda v: round(v, 2)), min_size=1, max_size=6))
        where = draw(st.sampled_from(["core", "core", "core", "rim", "test_mince", "offcut", "strip"]))
        at = draw(st.floats(0.0, 500 * STEP))
        found.append(PhSet(at, tuple(values), where, "pH-A", draw(st.booleans()), f"e{index}"))
    return found


PLANS = st.builds(
    EndingPlan,
    core_readings=st.integers(1, 5),
    ph_guard=st.sampled_from([0.0, 0.02, 0.05]),
    longest_gap_s=st.just(900.0),
)
RULE = st.sampled_from(RULES)


def judge(
    rule: DegreeHoursRule,
    trace: TemperatureTrace,
    sets: list[PhSet],
    plan: EndingPlan,
    at: float = 500 * STEP,
) -> Verdict:
    """The verdict of one market at a moment."""
    return judge_degree_hours(rule, trace, sets, start_s=0.0, at_s=at, plan=plan)


@settings(max_examples=150, deadline=None)
@given(trace=traces(), sets=ph_sets(), plan=PLANS, rule=RULE, data=st.data())
def test_removing_readings_never_turns_an_outcome_into_met(
    trace: TemperatureTrace, sets: list[PhSet], plan: EndingPlan, rule: DegreeHoursRule, data: st.DataObject
) -> None:
    """Take away any logger readings or any pH sets: what was not met before is not met after.

    One case stands apart: acid before the room ever passed the base, 'does not apply'. Without that
    early set the count runs on into the warm and may be met, with more hours against it, not fewer.
    """
    before = judge(rule, trace, sets, plan)
    keep = np.array(
        data.draw(st.lists(st.booleans(), min_size=trace.times_s.size, max_size=trace.times_s.size))
    )
    fewer = replace(trace, times_s=trace.times_s[keep], temperature_c=trace.temperature_c[keep])
    kept_sets = [one for one in sets if data.draw(st.booleans())]
    if before.outcome is not Outcome.MET:
        assert judge(rule, fewer, sets, plan).outcome is not Outcome.MET
    if before.outcome in (Outcome.NOT_MET, Outcome.NOT_SHOWN):
        assert judge(rule, trace, kept_sets, plan).outcome is not Outcome.MET


@settings(max_examples=150, deadline=None)
@given(trace=traces(), sets=ph_sets(), plan=PLANS, rule=RULE, data=st.data())
def test_a_few_missing_readings_never_help(
    trace: TemperatureTrace, sets: list[PhSet], plan: EndingPlan, rule: DegreeHoursRule, data: st.DataObject
) -> None:
    """Single readings taken away, so that gaps stay near the 30 minutes the plan bears here."""
    plan = replace(plan, longest_gap_s=1800.0)
    before = judge(rule, trace, sets, plan)
    gone = data.draw(st.sets(st.integers(0, trace.times_s.size - 1), max_size=6))
    keep = np.array([index not in gone for index in range(trace.times_s.size)])
    after = judge(
        rule, replace(trace, times_s=trace.times_s[keep], temperature_c=trace.temperature_c[keep]), sets, plan
    )
    assert not (after.outcome is Outcome.MET and before.outcome is not Outcome.MET)


@settings(max_examples=150, deadline=None)
@given(
    trace=traces(),
    sets=ph_sets(),
    plan=PLANS,
    rule=RULE,
    warmer=st.floats(0.0, 8.0),
    later=st.floats(0.0, 2e5),
)
def test_more_heat_or_hours_never_improve(  # noqa: PLR0917 - one argument a drawn thing
    trace: TemperatureTrace,
    sets: list[PhSet],
    plan: EndingPlan,
    rule: DegreeHoursRule,
    warmer: float,
    later: float,
) -> None:
    """A room warmer all along, or every pH set read later, is never better; the base may then be reached."""
    before = judge(rule, trace, sets, plan)
    hot = replace(trace, temperature_c=trace.temperature_c + warmer, highest_c=trace.highest_c + warmer)
    if before.outcome is not Outcome.DOES_NOT_APPLY:
        assert RANK[judge(rule, hot, sets, plan).outcome] <= RANK[before.outcome]
    late = [replace(one, at_s=one.at_s + later) for one in sets]
    after = judge(rule, trace, late, plan)
    if before.outcome is not Outcome.DOES_NOT_APPLY:
        assert RANK[after.outcome] <= max(RANK[before.outcome], 1)
        assert not (after.outcome is Outcome.MET and before.outcome is not Outcome.MET)


@settings(max_examples=150, deadline=None)
@given(trace=traces(), sets=ph_sets(), plan=PLANS, rule=RULE)
def test_more_doubt_never_improves(
    trace: TemperatureTrace, sets: list[PhSet], plan: EndingPlan, rule: DegreeHoursRule
) -> None:
    """A wider guard, more readings asked for, a logger or meter out of check: never better."""
    before = judge(rule, trace, sets, plan)
    doubts = (
        judge(rule, trace, sets, replace(plan, ph_guard=plan.ph_guard + 0.03)),
        judge(rule, trace, sets, replace(plan, core_readings=plan.core_readings + 1)),
        judge(rule, trace, [replace(one, in_check=False) for one in sets], plan),
        judge(rule, replace(trace, in_check=False), sets, plan),
        judge(rule, replace(trace, fastest_rise_c_s=trace.fastest_rise_c_s * 3.0), sets, plan),
    )
    for after in doubts:
        if before.outcome in (Outcome.NOT_MET, Outcome.NOT_SHOWN):
            assert after.outcome is not Outcome.MET


@settings(max_examples=100, deadline=None)
@given(trace=traces(), sets=ph_sets(), plan=PLANS, rule=RULE)
def test_words_and_numbers_of_every_verdict(
    trace: TemperatureTrace, sets: list[PhSet], plan: EndingPlan, rule: DegreeHoursRule
) -> None:
    """Never a forbidden word; met only below the limit and by a core set in check; margin adds up."""
    verdict = judge(rule, trace, sets, plan)
    assert not FORBIDDEN.search(" ".join((verdict.words, verdict.why, verdict.next)))
    if verdict.outcome is Outcome.MET:
        ended = ending_set(sets, rule, plan, 0.0)
        assert ended is not None
        assert ended.where == "core"
        assert ended.in_check
        assert verdict.used is not None
        assert verdict.limit is not None
        assert verdict.used < verdict.limit
    if verdict.limit is not None and verdict.used is not None:
        assert verdict.margin == pytest.approx(verdict.limit - verdict.used, abs=1e-6)
    if verdict.outcome is Outcome.DOES_NOT_APPLY:
        assert "this rule gives no protection here" in verdict.words


def _flat(
    hours: float, temperature_c: float, rise_c_h: float = 3.0, highest_c: float = 35.0
) -> TemperatureTrace:
    times = np.arange(0.0, hours * 3600.0 + 1.0, STEP)
    return TemperatureTrace(times, np.full(times.size, temperature_c), STEP, rise_c_h / 3600.0, highest_c)


def _without(trace: TemperatureTrace, start_h: float, end_h: float) -> TemperatureTrace:
    keep = (trace.times_s <= start_h * 3600.0) | (trace.times_s >= end_h * 3600.0)
    return replace(trace, times_s=trace.times_s[keep], temperature_c=trace.temperature_c[keep])


ACID = [PhSet(40 * 3600.0, (5.2, 5.21), "core", "pH-B", True, "acid")]


def test_worst_of_a_gap_is_higher_neighbour_plus_half_the_gap_at_the_fastest_rise() -> None:
    """20 minutes at 3 K/h beside 22.0 degC: 22.5 by hand; it is in the total and nowhere else."""
    trace = _without(_flat(40, 22.0), 10.0, 10.33)
    (gap,) = cover(trace, 0.0, 40 * 3600.0, 1800.0).gaps
    assert gap.worst_c == pytest.approx(22.5)
    assert not gap.too_long
    whole, holed = (
        judge_degree_hours(CA, one, ACID, start_s=0.0, at_s=2e5, plan=EndingPlan(2, 0.0, 1800.0))
        for one in (_flat(40, 22.0), trace)
    )
    assert holed.used == pytest.approx((whole.used or 0.0) + 0.5 / 3.0, abs=1e-6)


def test_worst_of_a_gap_is_capped_by_what_the_room_can_reach() -> None:
    """A rise of 100 K/h beside a room that reaches 30 degC: 30, and that picks the row."""
    trace = _without(_flat(40, 22.0, 100.0, 34.0), 10.0, 10.5)
    (gap,) = cover(trace, 0.0, 40 * 3600.0, 1800.0).gaps
    assert gap.worst_c == 34.0
    verdict = judge_degree_hours(CA, trace, ACID, start_s=0.0, at_s=2e5, plan=EndingPlan(2, 0.0, 1800.0))
    assert verdict.limit == 555, "the worst value picks the row, not the readings"


def test_a_gap_longer_than_the_plan_needs_a_second_logger() -> None:
    """31 minutes without a reading: not shown; with a second logger in the gap: met."""
    trace = _without(_flat(40, 22.0), 10.0, 10.5)
    plan = EndingPlan(2, 0.0, 900.0)
    alone = judge_degree_hours(US, trace, ACID, start_s=0.0, at_s=2e5, plan=plan)
    assert alone.outcome is Outcome.NOT_SHOWN
    assert "longer than the 15 minutes" in alone.why
    assert "second logger" in alone.next
    second = judge_degree_hours(US, trace, ACID, start_s=0.0, at_s=2e5, plan=plan, second=_flat(40, 22.1))
    assert second.outcome is Outcome.MET


def test_a_gap_alone_never_takes_a_lot_past_the_base() -> None:
    """15.5 degC with 20 minutes missing: 16.5 is possible there, so neither met nor 'does not apply'."""
    trace = _without(_flat(40, 15.5, 6.0), 10.0, 10.33)
    for rule in RULES:
        verdict = judge_degree_hours(
            rule, trace, ACID, start_s=0.0, at_s=2e5, plan=EndingPlan(2, 0.0, 1800.0)
        )
        assert verdict.outcome is Outcome.NOT_SHOWN


def test_no_trace_at_all_is_not_shown() -> None:
    """An acid core alone shows nothing about the hours before it."""
    for highest_c in (35.0, float("inf")):
        empty = TemperatureTrace(np.empty(0), np.empty(0), STEP, 0.0, highest_c)
        verdict = judge_degree_hours(US, empty, ACID, start_s=0.0, at_s=2e5, plan=EndingPlan(2))
        assert verdict.outcome is Outcome.NOT_SHOWN
        assert (verdict.used is None) is (highest_c > 100.0)


@pytest.mark.parametrize("temperature_c", [15.0, 15.55])
def test_never_above_the_base_gives_no_protection(temperature_c: float) -> None:
    """A cold room: does not apply in either country, and the words say why."""
    for rule in RULES:
        verdict = judge_degree_hours(
            rule, _flat(40, temperature_c, 0.0), ACID, start_s=0.0, at_s=2e5, plan=EndingPlan(2)
        )
        assert verdict.outcome is Outcome.DOES_NOT_APPLY
        assert verdict.why == "this rule gives no protection here"
        assert verdict.next


def test_next_names_the_hour_by_which_core_must_be_acid() -> None:
    """22.0 degC for 40 h: 464 of 1200 used, 11.6 an hour, 63.4 h left: Sunday 07:26 UTC of the epoch week."""
    verdict = judge_degree_hours(US, _flat(40, 22.0), [], start_s=0.0, at_s=40 * 3600.0, plan=EndingPlan(2))
    assert verdict.used == pytest.approx(464.0)
    assert verdict.next == "core pH must reach 5.30 by 1970-01-05 07:26 UTC"


def test_a_plan_that_asks_for_no_reading_is_refused() -> None:
    """n below one would end a count with nothing."""
    with pytest.raises(InputError, match="plan"):
        ending_set(ACID, US, EndingPlan(0), 0.0)


def test_traces_out_of_order_are_refused() -> None:
    """Falling times and unequal lengths are no trace."""
    with pytest.raises(InputError, match="rise"):
        TemperatureTrace(np.array([1.0, 0.0]), np.array([1.0, 1.0]), STEP, 0.0, 30.0)
    with pytest.raises(InputError, match="length"):
        TemperatureTrace(np.array([1.0]), np.array([1.0, 1.0]), STEP, 0.0, 30.0)
