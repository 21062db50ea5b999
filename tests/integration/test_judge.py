"""Judging and signing a lot out, through the public jobs, on a house that lived."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal
from pathlib import Path

import pytest
from tests.living_house import DAY, HANGING_AT, MADE_AT, TODAY, at_the_time, begin, core_ph, lived, log_rooms
from tests.small_house import draft

from saltloft.cases.judgement import confirmed_keys
from saltloft.foundation.errors import InputError, RuleBroken, UnknownName
from saltloft.house import House
from saltloft.jobs import judge, record, release
from saltloft.plant import instruments, lots, people, readings
from saltloft.plant.analyses import LotAnalysed
from saltloft.plant.answers import LotJudgement
from saltloft.plant.checks.verdict import Outcome, Verdict
from saltloft.plant.sentences import hazard_words
from saltloft.plant.stated import Stamp


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> House:
    return lived(tmp_path_factory.mktemp("judge") / "house")


def verdict(judgement: LotJudgement, rule: str) -> Verdict:
    everything = [v for stand in judgement.hazards for v in stand.verdicts]
    return next(v for v in (*everything, *judgement.names, *judgement.other) if v.rule == rule)


def test_degree_hours_of_a_steady_room_are_hours_times_degrees_above_the_base(house: House) -> None:
    """Base 60 °F and limit 1,200 as in the printed table behind degree_hours.us (facts row, second-hand):
    72 h at 22 °C are 72 x (71.6 - 60) = 835.2."""
    found = verdict(judge.judge(house, "AL-0310"), "degree_hours.us")
    assert found.outcome is Outcome.MET
    assert found.used == pytest.approx(72.0 * (22.0 * 1.8 + 32.0 - 60.0), abs=0.5)
    assert found.limit == 1200.0
    assert found.confidence == "unconfirmed"


def test_an_unconfirmed_rule_that_is_met_still_leaves_its_hazard_not_shown(house: House) -> None:
    judgement = judge.judge(house, "AL-0310")
    stand = next(s for s in judgement.hazards if s.hazard == "staphylococcus_aureus")
    assert stand.outcome is Outcome.NOT_SHOWN
    assert not judgement.releasable


def test_every_hazard_of_a_cured_product_is_listed_from_the_first_day(house: House) -> None:
    judgement = judge.judge(house, "AL-0310", MADE_AT + timedelta(hours=2))
    assert {stand.hazard for stand in judgement.hazards} >= {
        "staphylococcus_aureus", "salmonella", "escherichia_coli", "listeria_monocytogenes",
        "clostridium_botulinum", "trichinella", "nitrite", "foreign_body", "allergen",
    }  # fmt: skip
    assert all(stand.outcome is not Outcome.MET for stand in judgement.hazards)


def test_the_test_mince_never_ends_the_count(tmp_path: Path) -> None:
    made = begin(tmp_path / "house", now=MADE_AT + 5 * DAY)
    log_rooms(made, until=MADE_AT + 5 * DAY)
    core_ph(made, 48.0, "5.10", "5.10", "5.10", "5.10", "5.10", where="test_mince")
    found = verdict(judge.judge(made, "AL-0310"), "degree_hours.us")
    assert found.outcome is not Outcome.MET


def test_a_meter_that_fails_later_takes_its_readings_back_and_the_other_one_ends_the_count(
    tmp_path: Path,
) -> None:
    """The twist of the stuck lot: meter A fails, meter B reads on; the count runs to B's set."""
    made = begin(tmp_path / "house", now=MADE_AT + 7 * DAY)
    log_rooms(made, until=MADE_AT + 7 * DAY)
    core_ph(made, 72.0, "5.25", "5.24", "5.26", "5.22", "5.28")
    before = verdict(judge.judge(made, "AL-0310"), "degree_hours.us")
    assert before.outcome is Outcome.MET
    failed = instruments.InstrumentChecked("pH-A", 0, "slope 148 mV", "150 to 177 mV")
    at_the_time(made, failed, at=HANGING_AT + timedelta(hours=75))
    taken_back = verdict(judge.judge(made, "AL-0310"), "degree_hours.us")
    assert taken_back.outcome is Outcome.NOT_SHOWN
    core_ph(made, 79.0, "5.24", "5.23", "5.25", "5.20", "5.28", meter="pH-B")
    after = verdict(judge.judge(made, "AL-0310"), "degree_hours.us")
    assert after.outcome is Outcome.MET
    assert before.used is not None
    assert after.used == pytest.approx(before.used + 7.0 * 11.6, abs=0.5)


def test_a_hole_longer_than_the_plan_allows_is_not_shown_whatever_the_rest_says(tmp_path: Path) -> None:
    made = begin(tmp_path / "house", now=MADE_AT + 5 * DAY)
    core_ph(made, 72.0, "5.25", "5.24", "5.26", "5.22", "5.28")
    found = verdict(judge.judge(made, "AL-0310"), "degree_hours.us")
    assert found.outcome is Outcome.NOT_SHOWN
    assert found.gaps


def test_as_it_was_known_then(house: House) -> None:
    early = judge.judge(house, "AL-0310", HANGING_AT + timedelta(hours=20))
    assert verdict(early, "degree_hours.us").outcome is not Outcome.MET


def test_release_refuses_and_names_every_open_hazard(house: House) -> None:
    with pytest.raises(RuleBroken) as refused:
        release.permit(house, "AL-0310", "us", "ilo")
    for hazard in (
        "staphylococcus_aureus",
        "salmonella",
        "listeria_monocytogenes",
        "trichinella",
        "allergen",
    ):
        assert hazard_words(hazard) in refused.value.message


def test_a_room_hand_may_not_sign_and_a_market_must_exist(house: House) -> None:
    with pytest.raises(RuleBroken, match="may not sign"):
        release.permit(house, "AL-0310", "us", "besnik")
    with pytest.raises(InputError, match="us, ca, eu, home"):
        release.permit(house, "AL-0310", "uk", "ilo")
    with pytest.raises(UnknownName):
        release.permit(house, "AL-0311", "us", "ilo")
    with pytest.raises(InputError, match="now"):
        release.permit(house, "AL-0310", "us", "ilo", TODAY - DAY)


def documents(house: House) -> None:
    """A paper for every hazard that no rule of this version judges."""
    hazards = [stand.hazard for stand in judge.judge(house, "AL-0310").hazards if stand.is_open]
    papers = [
        readings.DocumentRecorded(hazard, f"PA-{number}", "2026-03-01", "an authority",
                                  covers_products=("alder",), limits="as made here")
        for number, hazard in enumerate(hazards)
    ]  # fmt: skip
    at_the_time(house, *papers, at=TODAY - DAY)


def test_papers_that_cover_the_lot_let_it_be_signed_once_and_a_later_entry_takes_the_permit_back(
    tmp_path: Path,
) -> None:
    made = lived(tmp_path / "house")
    documents(made)
    released, permit, judgement = release.permit(made, "AL-0310", "us", "ilo")
    assert judgement.releasable
    assert all(s.outcome is not Outcome.MET or s.verdicts for s in judgement.hazards)
    # Something is stated about the lot in between: the permit no longer fits.
    at_the_time(made, lots.LotHeld("AL-0310", "a wet rack"), at=TODAY, person="maren")
    by = Stamp("ilo", "office", TODAY)
    (late,) = record.enter(made, by, [draft(released, TODAY)], permits=[permit])
    assert late.status == "refused"
    hold = made.store.lots.get("AL-0310").open_holds[0].held.entry_id
    at_the_time(made, lots.HoldLifted("AL-0310", hold, "dried"), at=TODAY)
    released, permit, _ = release.permit(made, "AL-0310", "us", "ilo")
    (receipt,) = record.enter(made, by, [draft(released, TODAY)], permits=[permit])
    assert receipt.status == "stored", receipt
    assert made.store.lots.get("AL-0310").release is not None


def test_an_open_hold_blocks_whatever_the_papers_say(tmp_path: Path) -> None:
    made = lived(tmp_path / "house")
    documents(made)
    at_the_time(made, lots.LotHeld("AL-0310", "customer asks"), at=TODAY, person="maren")
    with pytest.raises(RuleBroken, match="hold: customer asks"):
        release.permit(made, "AL-0310", "us", "ilo")


def test_a_person_confirms_a_row_and_a_changed_row_needs_it_again(tmp_path: Path) -> None:
    made = begin(tmp_path / "house")
    keys = [key for key in made.facts.keys("degree_hours.us") if not made.facts.confirmed_by_source(key)]
    assert keys
    said = people.FactConfirmed(keys[0], "1997", made.facts.digest(keys[0]))
    stale = people.FactConfirmed(keys[1], "1997", "0" * 64)
    at_the_time(made, said, stale, at=TODAY - DAY)
    known = confirmed_keys(made, TODAY)
    assert keys[0] in known
    assert keys[1] not in known
    assert keys[0] not in confirmed_keys(made, TODAY - 2 * DAY)


def test_a_confirmed_rule_that_is_met_shows_its_hazard(tmp_path: Path) -> None:
    made = lived(tmp_path / "house")
    found = [verdict(judge.judge(made, "AL-0310"), f"degree_hours.{market}") for market in ("us", "ca")]
    rows = {key for one in found for key in one.sources if not made.facts.confirmed_by_source(key)}
    at_the_time(
        made,
        *(people.FactConfirmed(key, "1997", made.facts.digest(key)) for key in sorted(rows)),
        at=TODAY - DAY,
    )
    stand = next(s for s in judge.judge(made, "AL-0310").hazards if s.hazard == "staphylococcus_aureus")
    assert stand.outcome is Outcome.MET


def analysed(
    house: House, moisture: str, protein: str | None, *, sample: str = "ground", at: timedelta = 18 * DAY
) -> str:
    """An analysis of the lot."""
    part = None if protein is None else Decimal(protein)
    said = LotAnalysed("AL-0310", Decimal(moisture), part, sample=sample, document="LAB-1")
    return at_the_time(house, said, at=MADE_AT + at)[0].entry_id


def test_the_name_of_the_product_is_judged_by_a_measured_analysis(tmp_path: Path) -> None:
    """Limit 2.3 for this name (facts row moisture_protein.us.genoa_salami). 46.0 / 20.0 = 2.30 is met: 'at
    most'; 46.4 / 20.0 = 2.32 is not. It closes no hazard, and without both parts nothing is shown."""
    made = lived(tmp_path / "house")
    rule = "moisture_protein.us.genoa_salami"
    before = judge.judge(made, "AL-0310")
    assert verdict(before, rule).outcome is Outcome.NOT_SHOWN
    analysed(made, "46.0", None)
    analysed(made, "40.0", "22.0", sample="rim")
    assert verdict(judge.judge(made, "AL-0310"), rule).outcome is Outcome.NOT_SHOWN
    entry = analysed(made, "46.0", "20.0", at=19 * DAY)
    found = verdict(judge.judge(made, "AL-0310"), rule)
    assert (found.outcome, found.used, found.limit, found.margin) == (Outcome.MET, 2.3, 2.3, 0.0)
    assert entry in found.readings
    assert found.hazard == "name of the product"
    wetter = analysed(made, "46.4", "20.0", sample="slice", at=19 * DAY + timedelta(hours=1))
    worse = verdict(judge.judge(made, "AL-0310"), rule)
    assert (worse.outcome, worse.used) == (Outcome.NOT_MET, 2.32)
    assert worse.readings[0] == wetter
    after = judge.judge(made, "AL-0310")
    assert after.open_hazards == before.open_hazards
    assert [stand.outcome for stand in after.hazards] == [stand.outcome for stand in before.hazards]


def test_a_dry_way_of_keeping_reads_the_same_analysis(tmp_path: Path) -> None:
    """1.9 or less without cold (facts row shelf_stability.us_dry.moisture_protein): 36.1 / 19.0 = 1.90."""
    made = lived(tmp_path / "house")
    rule = "shelf_stability.us_dry"
    assert verdict(judge.judge(made, "AL-0310"), rule).outcome is Outcome.NOT_SHOWN
    analysed(made, "36.1", "19.0")
    assert verdict(judge.judge(made, "AL-0310"), rule).outcome is Outcome.MET
    analysed(made, "37.1", "19.0", at=19 * DAY)
    assert verdict(judge.judge(made, "AL-0310"), rule).outcome is Outcome.NOT_MET
