"""What cutting a log and stepping through it costs: against the same equations hour by hour.

The logs: noise of 2 %RH with a daily cycle; a fan that stops and starts; jumps of RH and
temperature that are held; doors opened for an hour. The independent code is in `tests/reference`.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tests.drying_cases import engine_case, noisy_log, parameters, piece, stage, standard

from saltloft.process.build import batter_of, members_of
from saltloft.process.draws import draw
from saltloft.process.drying.compiled import Lot, integrate_compiled, integrate_lots, workspace
from saltloft.process.drying.integrate import Control, Profiles, integrate
from saltloft.process.drying.members import Blocks, Members
from saltloft.process.drying.nodes import radau_nodes
from saltloft.process.drying.outputs import states_of
from saltloft.process.log_air import cut_log
from saltloft.process.programme import DAY_S, AirTrace, Programme
from saltloft.process.room_air import blocks_of, stage_ends_d

DAYS = np.arange(0.0, 46.0)
TIGHT = Control(tolerance=1e-3, loss_tolerance=1e-6)


def _stops() -> AirTrace:
    """Fans off for five hours of every day and for two whole days; else 0.4 m/s."""
    log = noisy_log(45.0)
    hour = (24.0 * log.time_d) % 24.0
    off = ((hour >= 9.5) & (hour < 14.5)) | ((log.time_d >= 12.0) & (log.time_d < 14.0))
    return replace(log, air_m_s=np.where(off, 0.0, 0.4))


def _jumps() -> AirTrace:
    """Held jumps: 90 % for 34 h, 62 % for 41 h, 18 degC for 14 h."""
    log = noisy_log(45.0)
    time, humidity, celsius = log.time_d, log.relative_humidity.copy(), log.temperature_c.copy()
    humidity[(time > 6.0) & (time < 7.4)] = 0.90
    humidity[(time > 8.3) & (time < 10.0)] = 0.62
    celsius[(time > 30.0) & (time < 30.6)] = 18.0
    return replace(log, relative_humidity=humidity, temperature_c=celsius)


def _doors() -> AirTrace:
    """An hour at 60 % every noon: jumps that are not held."""
    log = noisy_log(45.0)
    noon = np.abs(log.time_d % 1.0 - 0.5) < 0.01
    return replace(log, relative_humidity=np.where(noon, 0.60, log.relative_humidity))


LOGS = {"noise": noisy_log(45.0), "fan stops": _stops(), "jumps": _jumps(), "doors": _doors()}


def _until(trace: AirTrace, day: float) -> AirTrace:
    """The log as far as a day."""
    kept = trace.time_d <= day + 1e-9
    return AirTrace(trace.time_d[kept], trace.temperature_c[kept], trace.relative_humidity[kept], 0.15)


def _case(trace: AirTrace, calibre: float, count: int, *, resolve: bool) -> tuple[Members, Blocks]:
    programme, draws = Programme((), trace), draw(7, "logs", count, 0)
    what, prior = piece(calibre), parameters()
    members = members_of(what, prior, draws, batter_of(what, prior, draws))
    ends = stage_ends_d(programme, draws)
    horizon = trace.end_d
    return members, blocks_of(
        programme, prior, members, draws, ends_d=ends, horizon_d=horizon, resolve=resolve
    )


def _loss(members: Members, profiles: Profiles, nodes: int = 8) -> np.ndarray:
    mean = np.einsum("n,tnm->tm", radau_nodes(nodes).weight, profiles.water)
    return np.asarray((members.water - mean) / members.green_mass)


@pytest.mark.parametrize("calibre", [32, 60])
@pytest.mark.parametrize("name", list(LOGS))
def test_a_cut_log_against_every_hour(name: str, calibre: float) -> None:
    """Blocks of the shipped mode against hourly blocks with tight steps: loss 1e-3, day 0.1 d.

    The day is that of three quarters of the last loss, 24 members drawn from the priors.
    """
    times, nodes = DAY_S * DAYS, radau_nodes(8)
    members, coarse = _case(LOGS[name], calibre, 24, resolve=False)
    _, fine = _case(LOGS[name], calibre, 24, resolve=True)
    assert len(coarse.end_s) < 0.25 * len(fine.end_s)
    shipped = _loss(members, integrate_compiled(members, nodes, coarse, times, Control()))
    hourly = _loss(members, integrate_compiled(members, nodes, fine, times, TIGHT))
    assert np.abs(shipped - hourly).max() < 8e-4
    for own, true in zip(shipped.T, hourly.T, strict=True):
        days = [np.interp(0.75 * true[-1], curve, DAYS) for curve in (own, true)]
        assert days[0] == pytest.approx(days[1], abs=0.1)


def test_the_rim_hour_by_hour() -> None:
    """Resolved with 16 nodes, one step an hour, against 22 nodes and tight steps: a_w within 1e-3.

    Every sixth hour of twelve days with two held jumps, in the readable form. The shipped mode
    knows the rim in the straight air of its blocks only.
    """
    trace = _until(_jumps(), 12.0)
    times = DAY_S * np.arange(0.25, 12.01, 0.25)

    def rim(nodes: int, control: Control, *, resolve: bool) -> tuple[np.ndarray, np.ndarray]:
        members, blocks = _case(trace, 50, 4, resolve=resolve)
        profiles = integrate(members, radau_nodes(nodes), blocks, times, control)
        states = states_of(members, radau_nodes(nodes), blocks, times, profiles)
        return states.water_activity_rim, states.weight_loss

    true, gone = rim(22, Control(1e-4, 1e-6), resolve=True)
    own, own_gone = rim(16, Control(), resolve=True)
    assert np.abs(own - true).max() < 1e-3
    assert np.abs(own_gone - gone).max() < 5e-5
    shipped, _ = rim(8, Control(), resolve=False)
    miss = shipped - true
    assert 1e-3 < np.sqrt(np.mean(miss**2)) < 1.2e-2
    assert np.abs(miss).max() < 0.05


def test_the_error_told_covers_the_error_made() -> None:
    """The sum of the embedded errors is a bound on what the steps cost, member by member."""
    members, blocks = _case(LOGS["jumps"], 50, 40, resolve=False)
    times, nodes = DAY_S * DAYS, radau_nodes(8)
    shipped = integrate_compiled(members, nodes, blocks, times, Control())
    tight = integrate_compiled(members, nodes, blocks, times, TIGHT)
    made = np.abs(_loss(members, shipped) - _loss(members, tight)).max(axis=0)
    assert (made < shipped.error).all()
    assert shipped.error.max() < 2e-2
    assert (tight.error < 0.2 * shipped.error).all()


def test_a_kept_state_goes_on_to_the_same_bytes() -> None:
    """Stopped at the end of day 20 and gone on from there: nothing tells it from one run."""
    members, blocks = _case(LOGS["jumps"], 50, 20, resolve=False)
    times, nodes = DAY_S * DAYS, radau_nodes(8)
    whole = integrate_compiled(members, nodes, blocks, times, Control())
    start = whole.start(times, 20)
    rest = integrate_compiled(members, nodes, blocks, times[20:], Control(), start)
    assert rest.water.tobytes() == whole.water[20:].tobytes()
    assert rest.salt.tobytes() == whole.salt[20:].tobytes()
    readable = integrate(members, nodes, blocks, times[20:23], Control(), start)
    assert readable.water == pytest.approx(whole.water[20:23], abs=1e-9)


def test_the_same_bytes_alone_among_fifty_lots_and_on_two_threads() -> None:
    """Fifty lots of 12 members in one call, by one and by two threads, and one lot alone."""
    nodes, times = radau_nodes(8), DAY_S * np.arange(0.0, 13.0)
    lots = []
    for number in range(50):
        programme = Programme((stage(5.0, 14.0, 0.78, 0.15),), noisy_log(8.0, number))
        draws = draw(1, f"lot-{number}", 12, 1)
        members, blocks = engine_case(piece(30.0 + number), programme, draws, horizon_d=13.0)
        lots.append(Lot(members, nodes, blocks, times, Control()))
    one, two = integrate_lots(lots, threads=1), integrate_lots(lots, threads=2)
    for number, (first, second) in enumerate(zip(one, two, strict=True)):
        assert first.water.tobytes() == second.water.tobytes()
        assert first.salt.tobytes() == second.salt.tobytes()
        if number % 7 == 0:
            (alone,) = integrate_lots([lots[number]])
            assert alone.water.tobytes() == first.water.tobytes()
            assert alone.error.tobytes() == first.error.tobytes()


def test_what_an_earlier_lot_left_behind_changes_nothing() -> None:
    """The scratch of the kernel full of what is no number: the same bytes."""
    members, blocks = engine_case(piece(50), standard(), draw(1, "scratch", 12, 2))
    times, nodes = DAY_S * np.arange(0.0, 61.0, 3.0), radau_nodes(8)
    clean = integrate_compiled(members, nodes, blocks, times, Control())
    workspace(8)[:] = np.nan
    soiled = integrate_compiled(members, nodes, blocks, times, Control())
    assert soiled.water.tobytes() == clean.water.tobytes()
    assert soiled.salt.tobytes() == clean.salt.tobytes()


def test_a_smooth_programme_needs_few_steps() -> None:
    """Two stages over 60 d: under 50 steps, loss within 2e-4 of tight steps at every day."""
    members, blocks = engine_case(piece(50), standard(), draw(1, "smooth", 24, 2))
    times, nodes = DAY_S * np.arange(0.0, 61.0), radau_nodes(8)
    shipped = integrate_compiled(members, nodes, blocks, times, Control())
    tight = integrate_compiled(members, nodes, blocks, times, TIGHT)
    assert np.abs(_loss(members, shipped) - _loss(members, tight)).max() < 2e-4
    assert shipped.steps.mean() < 50


def test_held_jumps_are_cut_and_passing_ones_are_not() -> None:
    """A step of 8 %RH begins a block within the hour; an hour with the door open does not."""
    time_d = np.arange(0.0, 24.0 * 10.0 + 1.0) / 24.0
    held = np.where(time_d > 6.3, 0.70, 0.78)
    door = np.where(np.abs(time_d - 6.3) < 0.02, 0.72, 0.78)
    even = np.full(len(time_d), 14.0)
    stepped = cut_log(AirTrace(time_d, even, held, 0.2)).border_d
    assert np.abs(stepped - 6.3).min() < 1.01 / 24.0
    opened = cut_log(AirTrace(time_d, even, door, 0.2)).border_d
    assert len(opened) == len(cut_log(AirTrace(time_d, even, np.full(len(time_d), 0.78), 0.2)).border_d)


def test_a_straight_humidity_is_kept_as_it_is() -> None:
    """RH that falls by 0.4 points a day: that slope in every block, no cut beside the grid."""
    time_d = np.arange(0.0, 24.0 * 20.0 + 1.0) / 24.0
    cut = cut_log(AirTrace(time_d, np.full(len(time_d), 14.0), 0.85 - 0.004 * time_d, 0.2))
    assert cut.humidity_slope_d == pytest.approx(np.full(len(cut.border_d) - 1, -0.004), rel=1e-6)
    assert len(cut.border_d) == 20 + 30 + 1


def test_blocks_of_past_days_are_final() -> None:
    """The cuts of the first 18 days are the same when the log has gone on to day 45."""
    trace = _jumps()
    past = _until(trace, 18.0)
    early, late = cut_log(past), cut_log(trace)
    count = len(early.border_d)
    assert early.border_d == pytest.approx(late.border_d[:count], abs=1e-12)
    assert early.humidity_slope_d == pytest.approx(late.humidity_slope_d[: count - 1], abs=1e-12)


def test_resolved_every_reading_ends_a_block() -> None:
    """Asked to resolve, the log is cut at each of its readings."""
    trace = noisy_log(3.0)
    assert cut_log(trace, resolve=True).border_d == pytest.approx(trace.time_d)
