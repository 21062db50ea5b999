"""Hazard by hazard: what closes one, what never does, and how release refuses."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from saltloft.foundation.errors import RuleBroken
from saltloft.plant.checks.hazards import (
    HAZARDS,
    NOT_JUDGED,
    document_covers,
    hazard_stands,
    hazards_of,
    ingoing_nitrite,
    stand_of,
)
from saltloft.plant.checks.release import (
    InstrumentState,
    OpenHold,
    Signer,
    judge_release,
    refuse_unless_releasable,
)
from saltloft.plant.checks.verdict import Outcome, Verdict
from saltloft.plant.readings import DocumentRecorded
from saltloft.plant.recipes import Hazard, PlanStep, ProductDefined
from saltloft.plant.sentences import hazard_words
from saltloft.plant.stated import Stated

NOW = datetime(2026, 3, 14, 8, 0, tzinfo=UTC)
MADE = date(2026, 3, 10)
QUALITY = Signer("ilo", "quality")
FORBIDDEN = re.compile(r"\b(safe|unsafe|pass|passed|passes|ok to eat|fit to eat)\b", re.IGNORECASE)


def product(family: str = "dry_sausage", signed: str = "ilo", *stated: Hazard) -> ProductDefined:
    """An invented product."""
    return ProductDefined(
        product="alder", line="AL", family=family, title="Alder 65", calibre_mm=Decimal(65), hazards=stated,
        plan=PlanStep(signed_by=signed),
    )  # fmt: skip


def verdict(hazard: str, outcome: Outcome, confidence: str = "confirmed") -> Verdict:
    """A verdict as a rule would give it."""
    return Verdict(hazard, "rule", outcome, "words", confidence=confidence, why="why")


def document(hazard: str = "salmonella", entry: str = "doc", **changes: object) -> Stated[DocumentRecorded]:
    """A document that covers the lot unless changed."""
    fields: dict[str, object] = {
        "hazard": hazard, "number": "12", "date": "2026-01-05", "issuer": "a laboratory",
        "covers_products": ("alder",), "covers_from": "2026-01-01", "covers_to": "2026-12-31",
        "limits": "absent in 25 g",
    }  # fmt: skip
    payload = DocumentRecorded(**(fields | changes))  # type: ignore[arg-type]
    return Stated(entry, 1, "document.recorded/1", NOW, NOW, "ilo", "console", payload, payload)


def stands(verdicts: list[Verdict], documents: list[Stated[DocumentRecorded]], demo: bool = False):  # type: ignore[no-untyped-def]
    """The stands of an unsigned dry sausage lot by hazard."""
    found = hazard_stands(product(), verdicts, documents, lot="AL-0310", made_on=MADE, demo_house=demo)
    return {stand.hazard: stand for stand in found}


@pytest.mark.parametrize("family", ["dry_sausage", "fresh_sausage", "ham"])
def test_every_hazard_is_listed_from_day_one(family: str) -> None:
    """A product that states no hazard has them all, each 'not shown: not judged by this version'."""
    found = hazard_stands(product(family), [], [], lot="X", made_on=MADE, demo_house=False)
    assert tuple(stand.hazard for stand in found) == HAZARDS[family]
    for stand in found:
        assert stand.outcome is Outcome.NOT_SHOWN
        assert stand.words == "not judged by this version"
        assert stand.verdicts[0].why == NOT_JUDGED
        assert stand.is_open
    judgement = judge_release("X", NOW, found)
    with pytest.raises(RuleBroken) as refusal:
        refuse_unless_releasable(judgement, QUALITY)
    for hazard in HAZARDS[family]:
        assert hazard_words(hazard) in refusal.value.message


def test_a_hazard_is_left_out_only_by_a_signed_plan() -> None:
    """The same reason counts when the plan is signed and not while it is a draft."""
    reason = Hazard("escherichia_coli", "pork only, no beef enters")
    signed = {hazard.name: hazard for hazard in hazards_of(product("dry_sausage", "ilo", reason))}
    draft = {hazard.name: hazard for hazard in hazards_of(product("dry_sausage", "", reason))}
    assert signed["escherichia_coli"].left_out_reason
    assert not draft["escherichia_coli"].left_out_reason
    assert not stand_of(signed["escherichia_coli"], [], []).is_open
    assert stand_of(draft["escherichia_coli"], [], []).is_open
    assert stand_of(signed["escherichia_coli"], [verdict("escherichia_coli", Outcome.NOT_MET)], []).is_open


def test_met_on_unconfirmed_facts_counts_as_not_shown() -> None:
    """The verdict stays 'met' with its confidence; the hazard does not."""
    stand = stands([verdict("salmonella", Outcome.MET, "unconfirmed")], [])["salmonella"]
    assert stand.outcome is Outcome.NOT_SHOWN
    assert stand.verdicts[0].outcome is Outcome.MET
    assert stand.is_open


def test_does_not_apply_closes_nothing() -> None:
    """A rule that gives no protection leaves the hazard open, with why."""
    stand = stands([verdict("staphylococcus_aureus", Outcome.DOES_NOT_APPLY)], [])["staphylococcus_aureus"]
    assert stand.outcome is Outcome.NOT_SHOWN
    assert "no route applies" in stand.words
    assert stand.is_open


def test_a_document_closes_what_was_not_judged_and_says_so() -> None:
    """'By document, not judged'; the outcome stays 'not shown'."""
    stand = stands([], [document()])["salmonella"]
    assert stand.outcome is Outcome.NOT_SHOWN
    assert stand.words == "by document, not judged"
    assert stand.documents == ("doc",)
    assert not stand.is_open


def test_a_document_never_outweighs_a_measured_not_met() -> None:
    """Not met stays not met, the document is not even listed as covering."""
    stand = stands([verdict("salmonella", Outcome.NOT_MET)], [document()])["salmonella"]
    assert stand.outcome is Outcome.NOT_MET
    assert stand.documents == ()
    assert stand.is_open


@pytest.mark.parametrize(
    "changes",
    [
        {"hazard": "listeria_monocytogenes"},
        {"covers_products": ("rowan",)},
        {"covers_products": ()},
        {"covers_products": (), "covers_lots": ("AL-0311",)},
        {"covers_from": "2026-03-11"},
        {"covers_to": "2026-03-09"},
        {"limits": ""},
        {"number": ""},
        {"issuer": ""},
        {"demo": 1},
    ],
)
def test_a_document_that_does_not_cover_this_lot_changes_nothing(changes: dict[str, object]) -> None:
    """Another hazard, product, lot or period, no limits, no number, or an invented one in a real house."""
    bare = stands([], [])["salmonella"]
    fields = {"hazard": "salmonella", **changes}
    assert stands([], [document(**fields)])["salmonella"] == bare  # type: ignore[arg-type]


@pytest.mark.parametrize(
    "changes",
    [{}, {"covers_from": "2026-03-10", "covers_to": "2026-03-10"}, {"covers_lots": ("AL-0310",)}],
)
def test_both_ends_of_a_period_are_covered(changes: dict[str, object]) -> None:
    """A production date on the first or last day counts; a named lot counts by itself."""
    payload = document(**changes).payload  # type: ignore[arg-type]
    assert document_covers(
        payload, "salmonella", lot="AL-0310", product="alder", made_on=MADE, demo_house=False
    )


def test_a_demo_document_counts_in_the_demo_house_only() -> None:
    """Invented evidence can close a hazard in the invented house."""
    assert not stands([], [document(demo=1)], demo=True)["salmonella"].is_open
    assert stands([], [document(demo=1)], demo=False)["salmonella"].is_open


def test_ingoing_nitrite_is_shown_but_not_judged() -> None:
    """Arithmetic on weighed amounts, with no rule of this version behind it."""
    found = ingoing_nitrite(124.4, 118.2, ("made-1",))
    assert found.outcome is Outcome.NOT_SHOWN
    assert "124 mg per kg of meat" in found.words
    assert "not judged by this version" in found.words
    assert "not known" in ingoing_nitrite(None, None, ()).words


CLOSED = [verdict(hazard, Outcome.MET) for hazard in HAZARDS["dry_sausage"]]


@given(struck=st.sets(st.sampled_from(HAZARDS["dry_sausage"]), min_size=1))
def test_striking_out_every_rule_of_a_hazard_makes_release_refuse_and_name_it(struck: set[str]) -> None:
    """Any hazards without a route: release refuses and names each of them and no other."""
    found = list(stands([one for one in CLOSED if one.hazard not in struck], []).values())
    judgement = judge_release("AL-0310", NOW, found)
    assert set(judgement.open_hazards) == struck
    with pytest.raises(RuleBroken) as refusal:
        refuse_unless_releasable(judgement, QUALITY)
    for hazard in HAZARDS["dry_sausage"]:
        assert (hazard_words(hazard) in refusal.value.message) is (hazard in struck)
    assert not FORBIDDEN.search(refusal.value.message)


OUTCOMES = st.sampled_from(list(Outcome))


@given(
    outcomes=st.lists(st.tuples(OUTCOMES, st.sampled_from(["confirmed", "unconfirmed"])), max_size=4),
    covered=st.booleans(),
)
def test_met_needs_one_confirmed_route_and_no_broken_one(
    outcomes: list[tuple[Outcome, str]], covered: bool
) -> None:
    """For every mix of verdicts: met exactly when one is met and confirmed and none is not met."""
    own = [verdict("salmonella", outcome, confidence) for outcome, confidence in outcomes]
    stand = stand_of(Hazard("salmonella"), own, ("doc",) if covered else ())
    broken = any(outcome is Outcome.NOT_MET for outcome, _ in outcomes)
    shown = (Outcome.MET, "confirmed") in outcomes
    assert (stand.outcome is Outcome.MET) is (shown and not broken)
    assert (stand.outcome is Outcome.NOT_MET) is broken
    if broken:
        assert stand.is_open


def test_a_closed_lot_is_released_by_a_person_with_that_right_only() -> None:
    """Everything met: quality may sign, the curer may not."""
    judgement = judge_release("AL-0310", NOW, list(stands(CLOSED, []).values()))
    assert judgement.releasable
    refuse_unless_releasable(judgement, QUALITY)
    for role in ("curer", "room_hand", "manager", "auditor"):
        with pytest.raises(RuleBroken, match="may not sign"):
            refuse_unless_releasable(judgement, Signer("maren", role))


def test_an_open_hold_or_an_instrument_out_of_check_stands_in_the_way() -> None:
    """Each is named, with its reason."""
    closed = list(stands(CLOSED, []).values())
    held = judge_release("AL-0310", NOW, closed, holds=[OpenHold("h1", "hot room", "core pH")])
    meter = InstrumentState("pH-A", False, "slope 148 mV")
    doubtful = judge_release("AL-0310", NOW, closed, instruments=[meter])
    assert not held.releasable
    assert "hot room" in held.open[0]
    assert not doubtful.releasable
    assert "slope 148 mV" in doubtful.open[0]
    assert judge_release("AL-0310", NOW, closed, instruments=[InstrumentState("pH-B", True)]).releasable


def test_a_product_without_hazards_is_not_releasable() -> None:
    """An empty list shows nothing."""
    judgement = judge_release("AL-0310", NOW, [])
    assert not judgement.releasable
    with pytest.raises(RuleBroken):
        refuse_unless_releasable(judgement, QUALITY)


def test_the_products_name_closes_no_hazard() -> None:
    """A met name or shelf verdict stands apart: every hazard stays open."""
    name = verdict("name of the product", Outcome.MET)
    found = list(stands([name], []).values())
    assert all(stand.is_open for stand in found)
    assert not judge_release("AL-0310", NOW, found, names=[name]).releasable
