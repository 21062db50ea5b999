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
        assert hazard in refusal.value.message


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
