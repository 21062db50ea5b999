"""The air ahead: the rest of the plan as the room's log keeps to it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from saltloft.process.ahead import ANY_ROOM, Habit, habit_of, stages_ahead, wetter_than_set
from saltloft.process.programme import AirTrace, Span, Stage


def _stage(name: str, days: float, celsius: float, humidity: float) -> Stage:
    return Stage(name, Span.of(days), Span.of(celsius), Span.of(humidity), Span.of(0.2))


PLAN = (_stage("fermentation", 2.0, 22.0, 0.90), _stage("ripening", 60.0, 14.0, 0.78))


def _log(until_d: float, wetter: float, warmer: float = 0.0) -> AirTrace:
    time_d = np.linspace(0.0, until_d, int(24 * until_d) + 1)
    first = time_d < 2.0
    humidity = np.where(first, 0.90, 0.78) + wetter
    return AirTrace(time_d, np.where(first, 22.0, 14.0) + warmer, humidity, 0.2)


def test_a_long_log_is_believed_and_a_short_one_half() -> None:
    """Four points wetter than set: after 40 d nearly all of it is expected, after 1 d less."""
    late, early = (stages_ahead(PLAN, _log(days, 0.04))[-1].relative_humidity for days in (40.0, 1.0))
    assert late.mean == pytest.approx(0.82, abs=0.002)
    assert 0.78 + ANY_ROOM.wetter < early.mean < 0.82
    assert early.high - early.low > late.high - late.low


def test_what_is_behind_is_gone_and_the_rest_is_as_long_as_planned() -> None:
    """After 10 d of log 52 d of ripening are left; after 1 d both stages."""
    (rest,) = stages_ahead(PLAN, _log(10.0, 0.0, warmer=0.5))
    assert rest.duration_d.mean == pytest.approx(52.0)
    assert rest.measured
    assert 14.2 < rest.temperature_c.mean < 14.5
    assert [stage.duration_d.mean for stage in stages_ahead(PLAN, _log(1.0, 0.0))] == pytest.approx(
        [1.0, 60.0]
    )


def test_other_lots_tell_of_the_room() -> None:
    """Four logs three points too dry: a new lot with a log of an hour expects about that."""
    habit = habit_of([(-0.03, 30.0)] * 4)
    assert habit.wetter == pytest.approx(-0.03, abs=0.002)
    assert habit.sd < ANY_ROOM.sd
    assert habit_of([]).wetter == pytest.approx(ANY_ROOM.wetter)
    assert habit_of([]).sd == pytest.approx(ANY_ROOM.sd)
    ahead = stages_ahead(PLAN, _log(0.5, -0.03), habit)[-1].relative_humidity
    assert ahead.mean == pytest.approx(0.75, abs=0.003)


def test_the_offset_is_the_logs_mean_over_the_set_points() -> None:
    """By the stage of each reading, not by the last stage's set-point."""
    assert wetter_than_set(PLAN, _log(10.0, 0.02)) == pytest.approx(0.02, abs=1e-9)
    assert stages_ahead(PLAN, _log(10.0, 0.02), Habit(0.02, 0.01))[0].relative_humidity.mean == pytest.approx(
        0.80
    )


def test_only_the_log_of_the_present_room_and_only_what_was_read_counts() -> None:
    """The fermenting room's ten wet days say nothing of the drying room; filled-in values neither."""
    log = _log(10.0, 0.0)
    wet = AirTrace(log.time_d, log.temperature_c, np.where(log.time_d < 6.0, 0.95, 0.80), 0.2)
    (here,) = stages_ahead(PLAN, wet, since_d=6.0)
    (all_of_it,) = stages_ahead(PLAN, wet)
    assert 0.78 < here.relative_humidity.mean < 0.80
    assert all_of_it.relative_humidity.mean > here.relative_humidity.mean + 0.03
    nothing_read = replace(wet, measured=np.zeros(wet.time_d.size, dtype=bool))
    (habit_alone,) = stages_ahead(PLAN, nothing_read, Habit(-0.02, 0.01))
    assert habit_alone.relative_humidity.mean == pytest.approx(0.76)
    (none_here,) = stages_ahead(PLAN, wet, Habit(-0.02, 0.01), since_d=11.0)
    assert none_here.relative_humidity.mean == pytest.approx(0.76)
