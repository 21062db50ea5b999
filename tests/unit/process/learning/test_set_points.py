"""A lot of which only set-points are known stays wider after the same weighings, and marked."""

from __future__ import annotations

from tests.drying_cases import parameters, piece, standard

from saltloft.process.ensemble import forecast
from saltloft.process.learning import Weighing
from saltloft.process.result import DryingForecast


def _weighed(*, measured: bool) -> DryingForecast:
    given = [Weighing(day, loss, pieces=6) for day, loss in ((3.0, 0.045), (7.0, 0.14), (10.0, 0.20))]
    return forecast(
        piece(50.0), standard(measured=measured), parameters(),
        targets={"weight_loss_pct": 35.0}, weighings=given, members=200,
    )  # fmt: skip


def test_set_points_stay_wider_and_marked_after_weighing() -> None:
    """Three weighings to day 10 tell much of an unknown room: still wider then by a fifth, and marked."""
    width = {}
    for measured in (True, False):
        found = _weighed(measured=measured)
        band, days = found.bands["weight_loss_pct"], found.time_d.searchsorted([10.0, 30.0])
        width[measured] = (band.mean_p95 - band.mean_p05)[days]
        assert any(flag.code == "set_points_only" for flag in found.flags) is not measured
    assert width[False][0] > 1.2 * width[True][0]
    assert width[False][1] > width[True][1]
