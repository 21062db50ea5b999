"""Answers a fermentation case: the forecast, the degree-hours, and what `saltloft ferment` prints."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from saltloft import __version__
from saltloft.cases.answer_numbers import Json, fact_rows, number, series
from saltloft.cases.drying_parameters import drying_parameters
from saltloft.cases.ferment import FermentCase, read_ferment
from saltloft.cases.fermentation_parameters import (
    competition,
    fermentation_parameters,
    heat_bases,
    organism_keys,
    organisms,
)
from saltloft.cases.rules import degree_hours_rules
from saltloft.facts.loader import Facts, load_facts
from saltloft.foundation.bands import Band
from saltloft.foundation.words import say
from saltloft.plant.checks.degree_hours import judge_degree_hours
from saltloft.plant.checks.degree_hours_count import DegreeHoursRule, EndingPlan
from saltloft.plant.checks.trace import PhSet, TemperatureTrace
from saltloft.plant.checks.verdict import Outcome, Verdict
from saltloft.process.ensemble import forecast as drying_forecast
from saltloft.process.fermentation.forecast import (
    Fermentation,
    FermentationForecast,
    HeatForecast,
    PhBand,
    Room,
    WetPath,
    forecast,
)
from saltloft.process.fermentation.members import Place
from saltloft.process.fermentation.organisms import OrganismAnswer
from saltloft.process.fermentation.stages import with_ends
from saltloft.process.programme import Programme
from saltloft.science.growth import ORGANISMS
from saltloft.science.statistics import weighted_quantile

# Members of the drying run behind water activity: its median is used, its doubt hardly matters here.
_DRYING_MEMBERS = 24
_HOUR_S = 3600.0
# A flag is shown from this share of the members.
_FLAG_SHARE = 0.05


@dataclass(frozen=True)
class HeatAnswer:
    """Degree-hours of one market.

    Args:
        used: float or None. [unit]
        limit: float or None. None where the rule gives no protection. [unit]
        unit: str. 'F.h' or 'C.h'.
        outcome: Outcome. Of a forecast always NOT_SHOWN.
        basis: str. 'readings' or 'forecast'.
        words: str.
        probability: float or None. That the limit will hold, by forecast, 0..1.
        sources: tuple of str. Fact keys.
    """

    used: float | None
    limit: float | None
    unit: str
    outcome: Outcome
    basis: str
    words: str
    probability: float | None
    sources: tuple[str, ...]


@dataclass(frozen=True)
class Answered:
    """One fermentation case with its answer.

    Args:
        case: FermentCase.
        forecast: FermentationForecast.
        heat: mapping of market to HeatAnswer.
        wall_s: float. Seconds it took. [s]
    """

    case: FermentCase
    forecast: FermentationForecast
    heat: dict[str, HeatAnswer]
    wall_s: float


class FermentationDesk:
    """Answers fermentation cases one after another; facts and code are loaded once.

    Args:
        facts: Facts.
        clock: function returning seconds, for `wall_s`. [s]
    """

    def __init__(self, facts: Facts, clock: Callable[[], float]) -> None:
        self.facts, self.clock = facts, clock
        self.drying = drying_parameters(facts)
        self.parameters = fermentation_parameters(facts)
        self.rules = degree_hours_rules(facts)

    @classmethod
    def open(cls, clock: Callable[[], float]) -> FermentationDesk:
        """A desk on the facts that ship with the program."""
        return cls(load_facts(), clock)

    def answer(self, path: Path) -> Answered:
        """Read and compute one case file.

        Raises:
            SaltloftError: the file cannot be taken, or the case cannot be computed.
        """
        start = self.clock()
        case = read_ferment(path, self.facts, self.drying)
        question = Fermentation(
            batch=case.batch,
            room=Room(case.places),
            wet=self._wet_path(case),
            parameters=self.parameters,
            organisms=organisms(self.facts),
            competition=competition(self.facts),
            end_ph=self.rules[0].end_ph,
            heat=heat_bases(self.facts),
        )
        if any(level is not None for level in case.until_ph):
            question = replace(question, room=Room(with_ends(question, case.until_ph)))
        result = forecast(
            question,
            readings=(*case.readings, *case.stated_ends),
            members=case.members,
            seed=case.seed,
        )
        heat = {
            rule.market: heat_answer(rule, case, question.room.places, result.heat) for rule in self.rules
        }
        return Answered(case, result, heat, self.clock() - start)

    def _wet_path(self, case: FermentCase) -> WetPath:
        """Water activity of core and rim by the drying model's median member."""
        last_h = sum(place.duration_h.high for place in case.places)
        dried = drying_forecast(
            case.piece,
            Programme(case.programme.stages),
            self.drying,
            targets={},
            members=_DRYING_MEMBERS,
            seed=case.seed,
        )
        core, rim = dried.bands["water_activity_core"].p50, dried.bands["water_activity_rim"].p50
        time_h = np.append(24.0 * dried.time_d, max(last_h, 24.0 * dried.time_d[-1]) + 1.0)
        return WetPath(time_h, np.append(core, core[-1]), np.append(rim, rim[-1]))

    def as_json(self, answered: Answered) -> Json:
        """The answer `ferment/1` as a dict ready for json.dumps."""
        return ferment_answer(answered, self.facts)


def heat_answer(
    rule: DegreeHoursRule, case: FermentCase, places: tuple[Place, ...], heat: HeatForecast
) -> HeatAnswer:
    """Degree-hours of one market: from the readings as soon as the core was read, else the forecast's.

    Args:
        rule: DegreeHoursRule.
        case: FermentCase.
        places: tuple of Place. The stages as they were run.
        heat: HeatForecast.
    """
    core = [one for one in case.readings if one.where == "core"]
    if not core:
        return _forecast_heat(rule, heat)
    sets = [
        PhSet(one.hour * _HOUR_S, (one.ph,), one.where, "", True, f"reading at {one.hour:g} h")
        for one in case.readings
    ]
    warm, cool = (_judged(rule, places, sets, high=high) for high in (True, False))
    outcome, words = warm.outcome, warm.words
    if warm.outcome is not cool.outcome:
        outcome = Outcome.NOT_SHOWN
        words = say(
            "{low:.0f} to {high:.0f} {unit} used by the stated range of temperature, which leaves it open.",
            low=cool.used,
            high=warm.used,
            unit=rule.unit,
        )
    words += " " + say("This holds if the room was as stated.")
    return HeatAnswer(warm.used, warm.limit, rule.unit, outcome, "readings", words, None, warm.sources)


def _judged(rule: DegreeHoursRule, places: tuple[Place, ...], sets: list[PhSet], *, high: bool) -> Verdict:
    """The stages as a recorded room temperature, at the high or the low end of what was stated."""
    times, values, at = [], [], 0.0
    for place in places:
        end = at + place.duration_h.high * _HOUR_S
        times += [at, end]
        values += [place.temperature_c.high if high else place.temperature_c.low] * 2
        at = end
    trace = TemperatureTrace(
        np.array(times),
        np.array(values),
        usual_interval_s=at,
        fastest_rise_c_s=0.0,
        highest_c=max(values),
    )
    plan = EndingPlan(core_readings=1, ph_guard=0.0, longest_gap_s=2.0 * at)
    return judge_degree_hours(
        rule, trace, sets, start_s=0.0, at_s=at, plan=plan, shown_time=lambda s: f"{s / _HOUR_S:.1f} h"
    )


def _forecast_heat(rule: DegreeHoursRule, heat: HeatForecast) -> HeatAnswer:
    used = float(weighted_quantile(heat.used[rule.market], heat.weights, 0.5))
    highest = float(heat.highest_c[heat.weights > 0.0].max())
    if rule.degrees_of(highest) <= rule.base:
        words = say("forecast: the room never rises above the base: this rule gives no protection here")
        return HeatAnswer(used, None, rule.unit, Outcome.NOT_SHOWN, "forecast", words, None, rule.sources)
    row = rule.row(highest)
    holds = heat.reached & (np.round(heat.used[rule.market], 3) < row.limit)
    probability = float(heat.weights[holds].sum())
    words = say(
        "forecast: about {used:.0f} of {limit:.0f} {unit}; the limit is expected to hold with {share:.0f} % "
        "probability; nothing was measured",
        used=used,
        limit=row.limit,
        unit=rule.unit,
        share=100.0 * probability,
    )
    return HeatAnswer(
        used,
        row.limit,
        rule.unit,
        Outcome.NOT_SHOWN,
        "forecast",
        words,
        probability,
        (*rule.sources, row.source),
    )


def flags_of(answered: Answered) -> list[Json]:
    """What a person should know about the run."""
    case, result = answered.case, answered.forecast
    starter, stalled = case.batch.starter_log10, result.stalled_share
    late = 1.0 - result.share_reached
    grown = result.organisms["staphylococcus_aureus"].growth_log10.p95 or 0.0
    possible = (
        (
            "wild_flora",
            1.0 if starter is not None and starter.low < 6.0 else 0.0,
            say("few lactic bacteria at the start: other flora may lead for a day or more"),
        ),
        ("ph_stall", stalled, say("the core dries below the starter's limit before pH 5.3")),
        ("ph_not_reached", late, say("core pH 5.3 is not reached within the stages")),
        (
            "staphylococcus_growth",
            0.05 if grown >= 3.0 else 0.0,
            say("S. aureus may grow by 3 log10 or more before it is stopped"),
        ),
        (
            "readings_left_out",
            1.0 if result.readings_left_out else 0.0,
            say("mince, offcuts and strips do not stand for the core: left out"),
        ),
        *(("case_note", 1.0, note) for note in case.notes),
    )
    return [
        {"code": code, "share": number(share), "words": words}
        for code, share, words in possible
        if share >= _FLAG_SHARE
    ]


def _band(band: Band) -> Json:
    return {"p05": number(band.p05), "p50": number(band.p50), "p95": number(band.p95)}


def ferment_answer(answered: Answered, facts: Facts) -> Json:
    """The answer `ferment/1`, field by field as its JSON Schema says.

    Args:
        answered: Answered.
        facts: Facts.

    Returns:
        dict ready for json.dumps; hours from stuffing.
    """
    case, result = answered.case, answered.forecast
    sources = [key for heat in answered.heat.values() for key in heat.sources]
    return {
        "schema": "ferment/1",
        "title": case.title,
        "time_h": series(result.time_h),
        "ph": {"core": _path(result.core), "rim": _path(result.rim)},
        "core_temperature_c": series(result.core_c),
        "time_to_5_3_h": _band(result.time_to_end_ph_h),
        "share_reached_5_3": number(result.share_reached),
        "final_ph": _band(result.final_ph),
        "degree_hours": {market: _heat(heat) for market, heat in answered.heat.items()},
        "organisms": {name: _organism(result.organisms[name]) for name in ORGANISMS},
        "readings": {
            "used": result.readings_used,
            "left_out": result.readings_left_out,
            "share_effective": number(result.share_effective),
        },
        "flags": flags_of(answered),
        "facts": fact_rows((*result.facts, *case.defaults, *organism_keys(facts), *sources), facts),
        "run": {
            "members": result.members,
            "seed": result.seed,
            "version": __version__,
            "wall_s": number(answered.wall_s),
        },
    }


def _path(band: PhBand) -> Json:
    return {"p05": series(band.p05), "p50": series(band.p50), "p95": series(band.p95)}


def _heat(heat: HeatAnswer) -> Json:
    return {
        "used": number(heat.used),
        "limit": number(heat.limit),
        "unit": heat.unit,
        "outcome": heat.outcome.value,
        "basis": heat.basis,
        "words": heat.words,
        "probability": number(heat.probability),
    }


def _organism(organism: OrganismAnswer) -> Json:
    return {
        "growth_log10": _band(organism.growth_log10),
        "kill_log10": {
            "mean": number(organism.kill_mean),
            "conservative": number(organism.kill_conservative),
        },
        "growth_possible_until_h": number(organism.possible_until_h),
    }
