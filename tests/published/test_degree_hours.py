"""Every worked example of degree-hours to its printed digit, both sides of each limit, and scenario A.

Sources: American Meat Institute practice 1982/1997 (second-hand; 1000 and 900 computed), Canadian
Food Inspection Agency manual ch. 4 (second-hand), a university fermentation log of 2012 (read), and
examples computed from these. Each example in tables/degree_hours.json carries its confidence.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from saltloft.cases.rules import degree_hours_rules, name_limits
from saltloft.facts.loader import load_facts
from saltloft.plant.checks.degree_hours import judge_degree_hours
from saltloft.plant.checks.degree_hours_count import EndingPlan, hours_left
from saltloft.plant.checks.moisture_protein import Analysis, judge_name
from saltloft.plant.checks.trace import PhSet, TemperatureTrace
from saltloft.plant.checks.verdict import Outcome, Verdict

FACTS = load_facts()
US, CA = degree_hours_rules(FACTS)
TABLE = json.loads((Path(__file__).parent / "tables" / "degree_hours.json").read_text())
EXAMPLES = {example["id"]: example for example in TABLE["examples"]}
MINUTE, HOUR = 60.0, 3600.0


def steps(*hours_and_c: tuple[float, float], every_s: float = 600.0) -> TemperatureTrace:
    """A logger's trace of flat steps: a reading every ten minutes and both values at each change."""
    times: list[float] = []
    values: list[float] = []
    start = 0.0
    for hours, temperature_c in hours_and_c:
        stop = start + hours * HOUR
        own = np.append(np.arange(start, stop, every_s), stop)
        times += list(own)
        values += [temperature_c] * own.size
        start = stop
    return TemperatureTrace(
        np.array(times), np.array(values), usual_interval_s=every_s, fastest_rise_c_s=0.0, highest_c=60.0
    )


def core(hour: float, *values: float, in_check: bool = True, where: str = "core") -> PhSet:
    """A set of pH readings."""
    return PhSet(hour * HOUR, values, where, "pH-A", in_check, f"ph-{hour:g}")


def judge(rule: Any, trace: TemperatureTrace, sets: list[PhSet], at: float = 1e4, **plan: Any) -> Verdict:
    """The verdict at an hour."""
    return judge_degree_hours(
        rule, trace, sets, start_s=0.0, at_s=at * HOUR, plan=EndingPlan(**plan), confirmed=()
    )


def _celsius(temperature: float, unit: str) -> float:
    return (temperature - 32.0) / 1.8 if unit == "F" else temperature


@pytest.mark.parametrize("name", [key for key, one in EXAMPLES.items() if one["kind"] == "degree_hours"])
def test_worked_example(name: str) -> None:
    """Total, limit and outcome of one printed example (confidence beside it in the table)."""
    example = EXAMPLES[name]
    inputs, expected = example["inputs"], example["expected"]
    rule = US if inputs["jurisdiction"] == "US" else CA
    parts = [(hours, _celsius(degrees, inputs["unit"])) for hours, degrees in inputs["steps_h_T"]]
    total_h = sum(hours for hours, _ in parts)
    verdict = judge(rule, steps(*parts), [core(total_h, inputs["pH_at_end"])], at=total_h)
    assert verdict.used == pytest.approx(expected["degree_hours"], abs=1e-6)
    assert verdict.limit == expected["limit"]
    if expected["limit"] is None:
        assert verdict.outcome is Outcome.DOES_NOT_APPLY
        assert "this rule gives no protection here" in verdict.words
    elif not expected["within_limit"]:
        assert verdict.outcome is Outcome.NOT_MET
    else:
        assert verdict.outcome is (Outcome.MET if expected["finished"] else Outcome.NOT_SHOWN)
    assert verdict.confidence == "unconfirmed", "no row of these rules was read in its source"


def test_hours_at_constant_temperature() -> None:
    """DH-E (hours second-hand): 70.74 h at 25 degC; the list of Canada computed as limit / (T - 15.6)."""
    printed = EXAMPLES["DH-E"]["expected"]["hours"]
    assert hours_left(0.0, CA.row(25.0).limit, 25.0, CA.base) == pytest.approx(printed, abs=0.006)
    for temperature_c, hours in TABLE["hours"]["dh_ca_hours"]["rows"]:
        left = hours_left(0.0, CA.row(temperature_c).limit, temperature_c, CA.base)
        assert left is not None
        assert round(left + 1e-9, 1) == hours, temperature_c


def test_hours_left() -> None:
    """DH-F2 (computed): 458.4 of 555 used at 36 degC leaves 96.6, 4.735 h."""
    expected = EXAMPLES["DH-F2"]["expected"]
    assert pytest.approx(expected["degree_hours_left"]) == 555 - 458.4
    assert hours_left(458.4, 555.0, 36.0, CA.base) == pytest.approx(expected["hours"], abs=0.0006)


def test_the_printed_list_of_longest_hours() -> None:
    """University fermentation log 2012 (read): whole hours, rounded down, at eight temperatures."""
    for temperature_f, hours in TABLE["hours"]["dh_us_hours"]["rows"]:
        limit = US.row((temperature_f - 32.0) / 1.8).limit
        left = hours_left(0.0, limit, float(temperature_f), US.base)
        assert left is not None
        assert int(left) == hours, temperature_f
        assert FACTS.number(f"degree_hours.us_hours.{temperature_f}.longest") == hours


@pytest.mark.parametrize(
    ("total", "outcome"),
    [(1199.9, Outcome.MET), (1200.0, Outcome.NOT_MET), (1200.1, Outcome.NOT_MET)],
)
def test_both_sides_of_the_united_states_limit(total: float, outcome: Outcome) -> None:
    """A total equal to the limit is not met (text: the total must be below the limit)."""
    hours = total / (80.0 - 60.0)
    verdict = judge(US, steps((hours, (80.0 - 32.0) / 1.8)), [core(hours, 5.3)])
    assert verdict.used == pytest.approx(total, abs=1e-6)
    assert verdict.outcome is outcome


@pytest.mark.parametrize(("total", "outcome"), [(664.9, Outcome.MET), (665.0, Outcome.NOT_MET)])
def test_both_sides_of_the_canadian_limit(total: float, outcome: Outcome) -> None:
    """Equal to the limit is not met: the stricter reading, our choice."""
    hours = total / (25.6 - 15.6)
    assert judge(CA, steps((hours, 25.6)), [core(hours, 5.3)]).outcome is outcome


@pytest.mark.parametrize(
    ("temperature_f", "limit"), [(89.9, 1200), (90.0, 1000), (100.0, 1000), (100.1, 900)]
)
def test_row_borders_in_fahrenheit(temperature_f: float, limit: float) -> None:
    """90.0 and 100.0 degF take the 1000 row, also after a way through degrees Celsius."""
    assert US.row((temperature_f - 32.0) / 1.8).limit == limit


@pytest.mark.parametrize(("temperature_c", "limit"), [(32.9, 665), (33.0, 555), (37.0, 555), (37.1, 500)])
def test_row_borders_in_celsius(temperature_c: float, limit: float) -> None:
    """33.0 and 37.0 take the 555 row, 37.1 takes 500 (second-hand)."""
    assert CA.row(temperature_c).limit == limit


SCENARIO = steps((48.0, 22.0), (40.0, 24.0))


@pytest.mark.parametrize(("hour", "used"), [(48, 557), (68, 861), (72, 922), (80, 1043)])
def test_scenario_a_on_flat_traces(hour: int, used: int) -> None:
    """Invented house, the stuck lot: 22.0 degC to 48 h, then 24.0; used of 1200, to the digit."""
    verdict = judge(US, SCENARIO, [], at=hour)
    assert verdict.used is not None
    assert round(verdict.used) == used
    assert verdict.limit == 1200
    assert verdict.outcome is Outcome.NOT_SHOWN


READINGS = [
    core(18, 5.71, 5.70, 5.72, 5.71, 5.71),
    core(48, 5.28, where="test_mince"),
    core(68, 5.31, 5.27, 5.36, 5.30, 5.31),
    core(72, 5.25, 5.22, 5.28, 5.25, 5.25),
]
PLAN: dict[str, Any] = {"core_readings": 5, "ph_guard": 0.02}


def test_scenario_a_ends_at_the_first_set_whose_highest_is_under_the_guard() -> None:
    """Not at 48 h (mince), not at 68 h (highest 5.36), at 72 h: 922 of 1200, 77 % of the allowance."""
    verdict = judge(US, SCENARIO, READINGS, **PLAN)
    assert verdict.outcome is Outcome.MET
    assert verdict.used == pytest.approx(921.6)
    assert verdict.margin == pytest.approx(1200 - 921.6)
    assert "test mince, not core" in verdict.words


def test_scenario_a_when_meter_a_failed_counts_to_the_first_valid_reading() -> None:
    """Meter A out of check: its sets end nothing; meter B at 80 h ends it at 1043 of 1200."""
    doubtful = [PhSet(one.at_s, one.values, one.where, "pH-A", False, one.entry_id) for one in READINGS]
    alone = judge(US, SCENARIO, doubtful, at=80, **PLAN)
    assert alone.outcome is Outcome.NOT_SHOWN
    assert "not in check" in alone.words
    with_b = judge(US, SCENARIO, [*doubtful, core(80, 5.24, 5.20, 5.28, 5.24, 5.24)], at=80, **PLAN)
    assert with_b.outcome is Outcome.MET
    assert with_b.used == pytest.approx(1043.2)


@pytest.mark.parametrize("name", [key for key, one in EXAMPLES.items() if one["kind"] == "mpr"])
def test_moisture_protein_example(name: str) -> None:
    """Ratio and outcome under the product's name (table second-hand; ratio computed)."""
    inputs, expected = EXAMPLES[name]["inputs"], EXAMPLES[name]["expected"]
    (limit,) = name_limits(FACTS, (inputs["product"],))
    verdict = judge_name(limit, Analysis(inputs["moisture_pct"], inputs["protein_pct"]))
    assert verdict.used == expected["mpr"]
    assert verdict.outcome is (Outcome.MET if expected["within"] else Outcome.NOT_MET)
    assert verdict.hazard == "name of the product"
