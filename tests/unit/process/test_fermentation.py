"""What the fermentation forecast must do whatever its constants."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from saltloft.cases.fermentation_parameters import (
    competition,
    fermentation_parameters,
    heat_bases,
    organisms,
)
from saltloft.facts.loader import load_facts
from saltloft.foundation.errors import InputError
from saltloft.process.fermentation.forecast import (
    Fermentation,
    FermentationForecast,
    Room,
    WetPath,
    first_hour,
    forecast,
)
from saltloft.process.fermentation.learning import PhReading, highest_of
from saltloft.process.fermentation.members import Batch, Place
from saltloft.process.fermentation.stages import with_ends
from saltloft.process.programme import Span

FACTS = load_facts()
BATCH = Batch(
    Span.of(0.055), Span.of(0.72), Span.of(0.58), Span.of(4.0), Span.of(4.0), Span.of(100.0), Span.of(5.8)
)


def question(
    temperature_c: float = 22.0, hours: float = 72.0, batch: Batch = BATCH, water_activity: float = 0.965
) -> Fermentation:
    """One stage at one temperature."""
    both = np.full(2, water_activity)
    return Fermentation(
        batch=batch,
        room=Room((Place(Span.of(hours), Span.of(temperature_c)),)),
        wet=WetPath(np.array([0.0, 1000.0]), both, both),
        parameters=fermentation_parameters(FACTS),
        organisms=organisms(FACTS),
        competition=competition(FACTS),
        end_ph=5.3,
        heat=heat_bases(FACTS),
    )


def ask(case: Fermentation, *readings: PhReading, members: int = 200, seed: int = 3) -> FermentationForecast:
    """The forecast of one case."""
    return forecast(case, readings=readings, members=members, seed=seed)


PRIOR = ask(question())


def test_without_readings_the_prior_comes_back() -> None:
    """Equal weights, all effective, and the same numbers every time."""
    again = ask(question())
    assert again.share_effective == 1.0
    assert np.array_equal(again.core.p50, PRIOR.core.p50)
    assert again.time_to_end_ph_h == PRIOR.time_to_end_ph_h


def test_more_members_keep_the_first_ones() -> None:
    """A member's draws depend on its number alone: twice as many members hardly move the median."""
    twice = ask(question(), members=400)
    assert twice.time_to_end_ph_h.p50 == pytest.approx(PRIOR.time_to_end_ph_h.p50, abs=2.5)


@pytest.mark.parametrize(("shift", "later"), [(0.12, True), (-0.15, False)])
def test_readings_move_the_hour_the_right_way_and_narrow_it(shift: float, later: bool) -> None:
    """A core read sweeter than foreseen makes 5.3 later, one read sourer earlier; both narrow the band."""
    hours = (18.0, 24.0)
    seen = [
        PhReading(hour, float(np.interp(hour, PRIOR.time_h, PRIOR.core.p50)) + shift, "core", 5)
        for hour in hours
    ]
    after = ask(question(), *seen)
    assert after.readings_used == 2
    before_h, after_h = PRIOR.time_to_end_ph_h, after.time_to_end_ph_h
    assert before_h.p50 is not None
    assert after_h.p50 is not None
    assert (after_h.p50 > before_h.p50) is later
    assert after_h.width is not None
    assert before_h.width is not None
    assert after_h.width < before_h.width


def test_a_poor_reading_moves_less_than_a_good_one() -> None:
    """The same value with an error of 0.3 moves the forecast less than with 0.02."""
    ph = float(np.interp(24.0, PRIOR.time_h, PRIOR.core.p50)) + 0.15
    good = ask(question(), PhReading(24.0, ph, "core", 1, 0.02))
    poor = ask(question(), PhReading(24.0, ph, "core", 1, 0.3))
    start = PRIOR.time_to_end_ph_h.p50
    assert start is not None
    assert good.time_to_end_ph_h.p50 is not None
    assert poor.time_to_end_ph_h.p50 is not None
    assert abs(poor.time_to_end_ph_h.p50 - start) < abs(good.time_to_end_ph_h.p50 - start)


@pytest.mark.parametrize("where", ["test_mince", "offcut", "strip"])
def test_mince_offcuts_and_strips_teach_nothing(where: str) -> None:
    """They are counted as left out, and the forecast is the prior's."""
    after = ask(question(), PhReading(24.0, 4.9, where))
    assert after.readings_left_out == 1
    assert np.array_equal(after.core.p50, PRIOR.core.p50)


def test_held_out_readings_of_another_law_lie_in_the_band() -> None:
    """A lot with a slow starter: after two readings the 90 % band holds the third, three of four."""
    slow = replace(BATCH, starter_log10=Span.of(6.0))
    inside = 0
    for seed in range(4):
        truth = ask(question(batch=slow), members=2, seed=100 + seed).core.p50
        read = {
            hour: float(np.interp(hour, PRIOR.time_h, truth)) + 0.01 * ((seed * 7 + int(hour)) % 5 - 2)
            for hour in (18.0, 24.0, 36.0)
        }
        after = ask(
            question(), *(PhReading(hour, read[hour]) for hour in (18.0, 24.0)), members=80, seed=seed
        )
        low, high = (float(np.interp(36.0, after.time_h, band)) for band in (after.core.p05, after.core.p95))
        inside += low - 0.05 <= read[36.0] <= high + 0.05
    assert inside >= 3


def test_warmth_sugar_and_starter_speed_it_up() -> None:
    """Warmer rooms, more starter: earlier; more sugar: lower end."""
    assert _hour(question(26.0)) < _hour(question(22.0)) < _hour(question(18.0, 120.0))
    assert _hour(question(batch=replace(BATCH, starter_log10=Span.of(7.5)))) < _hour(
        question(batch=replace(BATCH, starter_log10=Span.of(6.0)), hours=120.0)
    )
    sweet = ask(question(batch=replace(BATCH, dextrose_g_kg=Span.of(8.0))))
    assert (sweet.final_ph.p50 or 9.0) < (PRIOR.final_ph.p50 or 0.0) - 0.1


def _hour(case: Fermentation) -> float:
    hour = ask(case, members=100).time_to_end_ph_h.p50
    assert hour is not None
    return hour


def test_thicker_pieces_lag_at_the_core() -> None:
    """A 95 mm core is colder than a 32 mm one in the first hours, and its pH falls later."""
    thin, thick = (
        ask(question(batch=replace(BATCH, diameter_m=Span.of(size))), members=100) for size in (0.032, 0.095)
    )
    assert thick.core_c[4] < thin.core_c[4] - 3.0
    assert (thick.time_to_end_ph_h.p50 or 0.0) > (thin.time_to_end_ph_h.p50 or 0.0)


def test_a_dry_core_stalls() -> None:
    """Water activity under the starter's limit: 5.3 is never reached, and the share is told."""
    stuck = ask(question(water_activity=0.925), members=60)
    assert stuck.time_to_end_ph_h.p50 is None
    assert stuck.share_reached == 0.0
    assert stuck.stalled_share == pytest.approx(1.0)


def test_degree_hours_of_the_forecast_end_at_the_members_own_hour() -> None:
    """At a flat 22 degC each member's total is 11.6 F.h an hour until its own 5.3."""
    heat = PRIOR.heat
    hours = heat.used["us"] / (1.8 * 22.0 + 32.0 - 60.0)
    assert np.all(hours <= 72.0 + 1e-9)
    assert float(np.median(hours)) == pytest.approx(PRIOR.time_to_end_ph_h.p50, abs=0.6)
    assert np.allclose(heat.used["ca"], hours * (22.0 - 15.6))


def test_growth_never_falls_with_warmth_time_and_a_weaker_starter() -> None:
    """S. aureus: more hours of a failed fermentation never give less growth; a starter keeps it down."""
    weak = replace(BATCH, starter_log10=Span.of(4.5))
    short, long = (
        ask(question(hours=hours, batch=weak), members=100).organisms["staphylococcus_aureus"]
        for hours in (24, 72)
    )
    strong = PRIOR.organisms["staphylococcus_aureus"]
    assert (long.growth_log10.p50 or 0.0) >= (short.growth_log10.p50 or 0.0)
    assert (strong.growth_log10.p50 or 0.0) < (long.growth_log10.p50 or 0.0)


def test_growth_of_staphylococci_with_a_starter_is_of_the_published_size() -> None:
    """Real salami gains 1.2 to 3.2 log10 (Metaxopoulos 1981, read): the median lies in or under it."""
    median = PRIOR.organisms["staphylococcus_aureus"].growth_log10.p50
    assert median is not None
    assert 0.3 < median < 3.5


def test_a_stage_that_ends_by_ph_lasts_until_the_median_core_is_there() -> None:
    """Ends near the median's own hour, and never after its latest end."""
    case = question(hours=72.0)
    (ended,) = with_ends(case, (5.3,))
    median = PRIOR.time_to_end_ph_h.p50
    assert median is not None
    assert ended.duration_h.high == pytest.approx(median, abs=4.0)
    (latest,) = with_ends(question(10.0, 30.0), (5.3,))
    assert latest.duration_h.high == 30.0


def test_the_rooms_log_goes_before_the_plan() -> None:
    """Where the log reaches, its temperature counts; the plan only after it."""
    case = question(22.0)
    log = replace(case.room, log_h=np.array([0.0, 40.0]), log_c=np.array([12.0, 12.0]))
    cold = ask(replace(case, room=log), members=60)
    assert cold.core_c[30] == pytest.approx(12.0, abs=0.5)
    assert cold.core_c[60] == pytest.approx(22.0, abs=0.5)


def test_first_hour_is_straight_between_steps() -> None:
    """Falling from 5.4 to 5.2 in an hour: 5.3 at half past; never reached is infinity."""
    ph = np.array([[5.4, 5.5, 5.2], [5.2, 5.4, 5.1]])
    assert list(first_hour(np.array([0.0, 1.0]), ph, 5.3)) == [pytest.approx(0.5), np.inf, 0.0]


def test_highest_of_n_pieces() -> None:
    """Expected largest of n normals (Harter 1961, from memory): 1.163 for five, 0.564 for two."""
    assert highest_of(1) == 0.0
    assert highest_of(2) == pytest.approx(0.564, abs=0.03)
    assert highest_of(5) == pytest.approx(1.163, abs=0.03)


def test_no_stage_and_no_member_are_refused() -> None:
    """Nothing to compute is said, not guessed."""
    with pytest.raises(InputError, match="members"):
        forecast(question(), members=1)
    with pytest.raises(InputError, match="stages"):
        forecast(replace(question(), room=Room(())))
