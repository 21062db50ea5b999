"""The hand learned from a house's own records: what is measured goes before what is computed, and is kept."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest
from tests.living_house import DAY, MADE_AT, TODAY, at_the_time, begin, lived
from tests.small_house import lot_made

from saltloft.cases.hand import from_bytes, hand_case, kept_hand, to_bytes
from saltloft.foundation.units import mass
from saltloft.house import House
from saltloft.jobs import forecast, hand
from saltloft.plant import lots, readings
from saltloft.plant.hand import learned_words, press_words, rim_words, skill_words
from saltloft.plant.instruments import InstrumentChecked

ADDED = 5


def look(house: House, lot: str, day: float, *, loss: float, activity: float, press: tuple[int, ...]) -> None:
    """Two pieces weighed, a ground sample read, three places pressed and one piece cut, in one hour."""
    at = MADE_AT + day * DAY
    pieces = [
        readings.PieceWeighed(lot, mass(f"{0.98 * (1 - loss):.3f}", "kg"), "S1", tag, kept=1)
        for tag in ("1", "2")
    ]
    sample = readings.WaterActivityRead(lot, Decimal(f"{activity:.3f}"), "ground", "AW-1", kept=1)
    cut = readings.PressedAndCut(
        lot, press, Decimal(f"{0.5 + 20 * (0.96 - activity):.1f}"), 0, 0, 0, ring=0, colour="even"
    )
    at_the_time(house, *pieces, sample, cut, at=at, person="maren")


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> House:
    """Five lots of a known hand, one point harder for eight points of loss; and AL-0310 itself."""
    made = lived(tmp_path_factory.mktemp("hand") / "house")
    for day in (-1, 5, 11, 17):
        checked = InstrumentChecked("AW-1", 1, "0.753", "0.750 to 0.756")
        at_the_time(made, checked, at=MADE_AT + day * DAY)
    rng = np.random.default_rng(8)
    for number in range(ADDED):
        lot = f"AL-A{number}"
        at_the_time(
            made,
            replace(lot_made(lot), consumed=()),
            lots.LotHung(lot, "D2"),
            at=MADE_AT + timedelta(hours=1 + number),
        )
        for day, loss in ((6.0, 0.12), (9.0, 0.18), (12.0, 0.25), (15.0, 0.31), (18.0, 0.36)):
            own = loss + 0.01 * rng.standard_normal()
            press = tuple(int(np.clip(round(1.0 + own / 0.08 * 0.9 + 0.3 * z), 1, 5)) for z in
                          rng.standard_normal(3))  # fmt: skip
            look(made, lot, day + 0.1 * number, loss=own, activity=0.97 - 0.25 * own, press=press)
    return made


def test_the_cuts_carry_the_numbers_measured_beside_them(house: House) -> None:
    case = hand_case(house, TODAY)
    assert len(case.cuts) == 25
    assert all(cut.measured for cut in case.cuts)
    last = case.cuts[-1]
    assert last.loss == pytest.approx(0.36, abs=0.03)
    assert last.water_activity == pytest.approx(0.97 - 0.25 * last.loss, abs=0.002)
    assert house.store.entry(last.entry) is not None
    assert last.index is None, "nothing was forecast for it yet"


def test_the_hand_is_learned_and_kept(house: House) -> None:
    """Harder with loss; the answer is kept under what it rests on and read back the same."""
    found = hand.learn(house, TODAY)
    assert found.press.learned
    assert found.press.coefficients[1] > 0.0
    assert learned_words(found.press).startswith("Learned from 25 cuts of 5 lots.")
    assert from_bytes(to_bytes(found)) == found == kept_hand(house) == hand.learn(house, TODAY)
    assert found.skill.cuts == 0
    assert skill_words(found.skill).startswith("The case-hardening index is information only:")


def test_a_hand_that_fits_is_said_so_and_one_that_does_not_is_named(tmp_path: Path, house: House) -> None:
    """AL-0310 is computed near 20 % lost on day 19: a 2 fits that, a 5 does not. Its a_w was never read, so
    the computed one stands in."""
    outlook = forecast.forecast(house, "AL-0310")
    assert outlook.promise
    fits = readings.PressedAndCut("AL-0310", (3, 3, 2), Decimal("1.2"), 0, 0, 0)
    at_the_time(house, fits, at=TODAY - timedelta(hours=4), person="maren")
    first = hand.learn(house, TODAY)
    assert first.left_out == 0
    assert press_words(first.press, "AL-0310").startswith(
        "Pressed 2.7; loss and water activity lead to expect"
    )
    hard = readings.PressedAndCut("AL-0310", (5, 5, 5), Decimal("6.0"), 0, 0, 0)
    at_the_time(house, hard, at=TODAY - timedelta(hours=2), person="maren")
    found = hand.learn(house, TODAY)
    own = [cut for cut in hand_case(house, TODAY).cuts if cut.lot == "AL-0310"]
    assert [cut.measured for cut in own] == [False, False]
    assert own[0].index is not None
    assert own[0].gap is not None
    assert (own[0].hollow, own[0].ring, own[0].smear, own[0].colour) == (0, -1, 0, "")
    assert own[0].rim_activity == pytest.approx(0.9, abs=0.06)
    assert 0.2 < (own[0].early_rate or 0.0) < 3.0
    assert 0.0 <= (own[0].hollow_share or 0.0) <= 1.0
    held = found.press.last_of("AL-0310")
    assert held is not None
    assert held.disagrees
    assert press_words(found.press, "AL-0310").startswith(
        "Hand and number disagree: pressed 5.0, harder than"
    )
    assert rim_words(found.rim, "AL-0310").startswith(
        "Knife and number disagree: a rim of 6.0 mm, thicker than"
    )
    fields = hand.hand_fields(found, "AL-0310")
    assert fields["press"]["last"]["disagrees"] is True
    assert fields["press"]["cuts"] == 27
    assert fields["grades"]["hollow"]["last"]["grade"] == 0
    assert fields["grades"]["hollow"]["cuts"] == 2
    assert fields["grades"]["ring"]["last"] is None
    assert not fields["grades"]["hollow"]["skill_shown"]
    assert from_bytes(to_bytes(found)) == found


def test_a_cut_without_any_number_is_counted_and_left_out(tmp_path: Path) -> None:
    """Neither weighed nor forecast: it teaches nothing."""
    made = begin(tmp_path / "house", now=MADE_AT + 9 * DAY)
    at_the_time(made, readings.PressedAndCut("AL-0310", (2, 2, 2)), at=MADE_AT + 8 * DAY, person="maren")
    found = hand.learn(made)
    assert (found.press.cuts, found.left_out) == (0, 1)
    assert press_words(found.press, "AL-0310") == ""
    assert learned_words(found.press) == "Not learned yet: 0 of 15 cuts, 0 of 4 lots."


def test_a_lot_of_the_past_that_was_cut_gets_its_forecast_for_the_hand_to_learn_from(tmp_path: Path) -> None:
    """It came down before anything was forecast: its cut has no computed numbers until a round caught up."""
    made = lived(tmp_path / "house")
    at_the_time(
        made,
        readings.PressedAndCut("AL-0310", (4, 4, 4), Decimal("1.0"), 0, 0, 0),
        at=TODAY - DAY,
        person="maren",
    )
    at_the_time(made, lots.LotYielded("AL-0310", mass("824.5", "kg"), "pack"), at=TODAY - DAY / 2)
    assert not made.store.lots.get("AL-0310").hanging
    assert (hand_case(made, TODAY).cuts, hand_case(made, TODAY).left_out) == ((), 1)
    assert forecast.catch_up(made, 5) == ("AL-0310",)
    assert hand_case(made, TODAY).cuts[0].index is not None
    assert forecast.catch_up(made, 5) == ()
