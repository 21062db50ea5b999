"""Steps of a move add up, and the air between two forecasts is averaged as it was."""

from __future__ import annotations

import numpy as np
import pytest
from tests.drying_cases import stage

from saltloft.process.moved import mean_air, one_by_one
from saltloft.process.programme import AirTrace, Programme


def test_steps_add_up_to_the_whole_move() -> None:
    values = iter((41.0, 39.5, 44.0))
    moved = one_by_one(40.0, [lambda: next(values)] * 3)
    assert moved == [1.0, -1.5, 4.5]
    assert sum(step for step in moved if step is not None) == 44.0 - 40.0


def test_a_day_that_is_lost_has_no_size() -> None:
    values: list[float | None] = [None, 50.0, 48.0]
    assert one_by_one(40.0, [lambda value=value: value for value in values]) == [None, None, -2.0]  # type: ignore[misc]


def test_air_is_the_log_as_far_as_it_goes_and_the_plan_after_it() -> None:
    """Five days of log at 90 % and five of plan at 70 %: 80 % between."""
    time_d = np.linspace(0.0, 5.0, 121)
    trace = AirTrace(time_d, np.full(121, 20.0), np.full(121, 0.90), 0.2)
    plan = Programme((stage(2.0, 14.0, 0.70, 0.2), stage(30.0, 14.0, 0.70, 0.2)), trace)
    whole = mean_air(plan, 0.0, 10.0)
    assert whole.relative_humidity == pytest.approx(0.80, abs=0.005)
    assert whole.temperature_c == pytest.approx(17.0, abs=0.1)
    assert mean_air(plan, 6.0, 9.0).relative_humidity == pytest.approx(0.70)
    assert mean_air(plan, 1.0, 4.0).relative_humidity == pytest.approx(0.90)
