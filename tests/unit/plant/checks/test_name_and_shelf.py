"""The product's name and its keeping without cold: measured numbers only, both sides of each limit."""

from __future__ import annotations

from dataclasses import replace

import pytest

from saltloft.cases.rules import name_limits, shelf_ways
from saltloft.facts.loader import load_facts
from saltloft.plant.checks.moisture_protein import Analysis, judge_name
from saltloft.plant.checks.shelf_stability import Finished, judge_shelf
from saltloft.plant.checks.verdict import Outcome

FACTS = load_facts()
WAYS = {way.key: way for market in ("us", "ca") for way in shelf_ways(FACTS, market)}


@pytest.mark.parametrize(
    ("moisture", "outcome"), [(38.0, Outcome.MET), (38.09, Outcome.MET), (38.11, Outcome.NOT_MET)]
)
def test_the_ratio_is_compared_after_rounding_to_two_decimals(moisture: float, outcome: Outcome) -> None:
    """1.90 exactly and 1.9045 meet 1.90; 1.9055 does not (policy book 1996, second-hand)."""
    (limit,) = name_limits(FACTS, ("dry_or_hard_salami",))
    assert judge_name(limit, Analysis(moisture, 20.0)).outcome is outcome


def test_a_computed_ratio_shows_nothing() -> None:
    """Without an analysis: not shown, the computed ratio beside it in words only."""
    (limit,) = name_limits(FACTS, ("moisture_protein.us.genoa_salami",))
    verdict = judge_name(limit, None, computed_ratio=1.5)
    assert verdict.outcome is Outcome.NOT_SHOWN
    assert verdict.used is None
    assert "computed 1.50, not measured" in verdict.words


def test_semi_dry_also_asks_for_ph() -> None:
    """3.1 and pH at most 5.0: missing, on the limit and above it."""
    (limit,) = name_limits(FACTS, ("semi_dry_not_refrigerated",))
    analysis = Analysis(60.0, 20.0)
    assert judge_name(limit, analysis).outcome is Outcome.NOT_SHOWN
    assert judge_name(limit, analysis, ph=5.0).outcome is Outcome.MET
    assert judge_name(limit, analysis, ph=5.01).outcome is Outcome.NOT_MET


def test_a_name_without_a_ratio_does_not_apply() -> None:
    """A name that the table does not know, and one for which it prints no standard."""
    for name in ("plain sausage", "semi_dry_refrigerated"):
        (limit,) = name_limits(FACTS, (name,))
        assert judge_name(limit, Analysis(60.0, 20.0)).outcome is Outcome.DOES_NOT_APPLY


@pytest.mark.parametrize(("water_activity", "outcome"), [(0.85, Outcome.MET), (0.851, Outcome.NOT_MET)])
def test_water_activity_of_any_package(water_activity: float, outcome: Outcome) -> None:
    """At most 0.85 (guideline practice, from memory): unconfirmed either way."""
    verdict = judge_shelf(WAYS["us_any_package"], Finished(water_activity, "ground"))
    assert verdict.outcome is outcome
    assert verdict.confidence == "unconfirmed"


@pytest.mark.parametrize("sample", ["rim", "slice", ""])
def test_a_rim_or_slice_does_not_stand_for_the_piece(sample: str) -> None:
    """A dry rim at 0.80 shows nothing about the core."""
    assert judge_shelf(WAYS["us_any_package"], Finished(0.80, sample)).outcome is Outcome.NOT_SHOWN


def test_a_closed_package_must_be_closed() -> None:
    """0.90 in a closed package: met; open: not met; not packed yet: not shown."""
    outcomes = [
        judge_shelf(WAYS["us_closed_package"], Finished(0.90, "core", closed_package=closed)).outcome
        for closed in (True, False, None)
    ]
    assert outcomes == [Outcome.MET, Outcome.NOT_MET, Outcome.NOT_SHOWN]


WHOLE = Finished(
    water_activity=0.90,
    water_activity_sample="ground",
    ph=5.0,
    fermented_ph=5.28,
    nitrite_mg_kg=120.0,
    salt_pct=2.7,
    degree_hours=Outcome.MET,
)


def test_the_canadian_way_asks_for_every_column() -> None:
    """pH 5.3 at the end of fermentation and 0.90: each column missing is not shown, broken is not met."""
    way = WAYS["ca_fermented"]
    assert judge_shelf(way, WHOLE).outcome is Outcome.MET
    for name in ("water_activity", "fermented_ph", "nitrite_mg_kg", "salt_pct", "degree_hours"):
        assert judge_shelf(way, replace(WHOLE, **{name: None})).outcome is Outcome.NOT_SHOWN, name
    for name, value in (
        ("water_activity", 0.901), ("fermented_ph", 5.31), ("nitrite_mg_kg", 99.0), ("salt_pct", 2.4),
        ("degree_hours", Outcome.NOT_MET),
    ):  # fmt: skip
        assert judge_shelf(way, replace(WHOLE, **{name: value})).outcome is Outcome.NOT_MET, name
    assert judge_shelf(way, replace(WHOLE, degree_hours=Outcome.DOES_NOT_APPLY)).outcome is Outcome.NOT_SHOWN


def test_other_markets_have_no_way_here() -> None:
    """The European Union has no such rule in this version."""
    assert shelf_ways(FACTS, "eu") == ()
