"""Sentences: the words follow the numbers, and are never finer than the doubt."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest

from saltloft.foundation.bands import Band
from saltloft.plant import sentences
from saltloft.plant.answers import AirRecord, HazardStand, LotJudgement, LotOutlook
from saltloft.plant.checks.verdict import Outcome
from saltloft.process.result import DryingForecast, SeriesBand, TargetDay

STUFFED = datetime(2026, 3, 10, 12, 0, tzinfo=UTC)


def outlook(mean: Band, *, promise: bool = True, age_d: float = 20.0, share: float = 1.0) -> LotOutlook:
    time = np.linspace(0.0, 90.0, 91)
    loss = 40.0 * (1.0 - np.exp(-time / 30.0))
    series = SeriesBand(loss * 0.9, loss, loss * 1.1, loss * 0.95, loss, loss * 1.05)
    target = TargetDay(mean, mean, share, {"0.5": mean, "0.9": mean}, {})
    result = DryingForecast(
        time, 90.0, {"weight_loss_pct": series}, {"weight_loss_pct": target}, {}, (), (), 400, 1
    )
    return LotOutlook(
        lot="AL-0310",
        product="alder",
        title="Alder 65",
        asof=STUFFED + timedelta(days=age_d),
        zone="UTC",
        stuffed_at=STUFFED,
        hung_at=STUFFED,
        target_name="weight_loss_pct",
        target_value=35.0,
        weighings=(),
        air=AirRecord((), (), ()),
        result=result,
        used_entries=(),
        prior="p",
        model="m",
        key="k",
        promise=promise,
    )


def test_the_sentence_of_the_look_page_is_computed_word_for_word() -> None:
    lot = outlook(Band(41.0, 45.0, 53.0))
    judgement = LotJudgement(
        "AL-0310",
        lot.asof,
        (
            HazardStand("staphylococcus_aureus", Outcome.MET, ()),
            HazardStand("salmonella", Outcome.NOT_SHOWN, ()),
            HazardStand("listeria_monocytogenes", Outcome.NOT_SHOWN, ()),
        ),
        (),
        (),
        False,
        (),
    )
    said = sentences.lot_sentence("AL-0310", lot, judgement, "weigh 6 pieces tomorrow")
    assert said == (
        "AL-0310 is at 35 % around Fri 24 Apr (20 Apr to 2 May). "
        "Not shown yet: Salmonella, Listeria. Next: weigh 6 pieces tomorrow."
    )


def test_not_met_is_said_before_not_shown_and_a_left_out_hazard_is_not_open() -> None:
    stands = (
        HazardStand("salmonella", Outcome.NOT_SHOWN, ()),
        HazardStand("nitrite", Outcome.NOT_MET, ()),
        HazardStand("trichinella", Outcome.NOT_SHOWN, (), left_out_reason="certified herd, signed"),
    )
    judgement = LotJudgement("X", STUFFED, stands, (), (), False, ())
    assert sentences.hazards_words(judgement) == (
        "Not met: nitrite. Not shown yet: Salmonella. Left out of its plan by signature: Trichinella."
    )


def test_a_document_is_never_said_to_be_a_met_rule() -> None:
    stands = (
        HazardStand("staphylococcus_aureus", Outcome.MET, ()),
        HazardStand("salmonella", Outcome.NOT_SHOWN, (), documents=("e7",)),
    )
    judgement = LotJudgement("X", STUFFED, stands, (), (), True, ())
    assert sentences.hazards_words(judgement) == "By document, not judged: Salmonella."
    met = LotJudgement("X", STUFFED, stands[:1], (), (), True, ())
    assert sentences.hazards_words(met) == "Every hazard of its plan has a met rule."
    assert "no hazard is shown" in sentences.hazards_words(LotJudgement("X", STUFFED, (), (), (), False, ()))


def test_a_range_that_begins_before_today_begins_now() -> None:
    today = date(2026, 11, 3)
    said = sentences.when_words(date(2026, 10, 28), date(2026, 11, 7), date(2026, 11, 21), today)
    assert said == "around 7 Nov (now to 21 Nov)"
    assert sentences.ready_words(outlook(Band(18.0, 19.0, 24.0))) == (
        "AL-0310 is about at 35 % now (28 Mar to 3 Apr)."
    )
    assert "is computed to be beyond 35 %" in sentences.ready_words(outlook(Band(10.0, 12.0, 15.0)))


@pytest.mark.parametrize(
    ("late", "expected"),
    [
        (24, "around 10 Apr (6 Apr to 24 Apr)"),
        (14, "around Fri 10 Apr (6 Apr to 14 Apr)"),
    ],
)
def test_a_wider_range_loses_the_weekday(late: int, expected: str) -> None:
    said = sentences.when_words(date(2026, 4, 6), date(2026, 4, 10), date(2026, 4, late), date(2026, 4, 1))
    assert said == expected


def test_a_very_wide_range_is_said_in_thirds_of_months_with_foreign_years() -> None:
    said = sentences.when_words(date(2026, 11, 4), date(2026, 12, 15), date(2027, 1, 25), date(2026, 11, 3))
    assert said == "around mid December (early November to late January 2027)"


def test_an_open_late_end_is_said() -> None:
    said = sentences.ready_words(outlook(Band(41.0, 60.0, None), share=0.7))
    assert "late end is open" in said


def test_without_a_log_no_date_is_named() -> None:
    said = sentences.ready_words(outlook(Band(41.0, 45.0, 53.0), promise=False))
    assert "Apr" not in said
    assert "May" not in said
    assert "about 4 weeks away as a plan" in said


def test_a_target_out_of_reach_names_the_share_of_members() -> None:
    said = sentences.ready_words(outlook(Band(None, None, None), share=0.02))
    assert said.startswith("AL-0310 reaches 35 % in fewer than 1 in 20 computed cases within 90 d")


@pytest.mark.parametrize(
    ("band", "expected"),
    [
        (Band(33.0, 35.2, 37.0), "35 % (33 to 37)"),
        (Band(34.7, 35.22, 35.9), "35.2 % (34.7 to 35.9)"),
        (Band(12.0, 31.0, 48.0), "30 % (10 to 50)"),
    ],
)
def test_digits_are_never_finer_than_the_doubt(band: Band, expected: str) -> None:
    assert sentences.range_words(band, "%") == expected


def test_where_it_stands_now_is_read_off_the_lot_mean() -> None:
    lot = outlook(Band(41.0, 45.0, 53.0), age_d=30.5)
    wanted = 40.0 * (1.0 - np.exp(-30.5 / 30.0))
    band = sentences.loss_at(lot, lot.age_d)
    assert band.p50 == pytest.approx(wanted, abs=0.01)
    assert sentences.now_words(lot) == "26 % (24 to 27)"
