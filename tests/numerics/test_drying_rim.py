"""A rim that remembers: exact relaxation, order of the split, comparison of drier air, compiled twin."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tests.drying_cases import central_draws, engine_case, noisy_log, piece, stage

from saltloft.process.draws import draw
from saltloft.process.drying.compiled import integrate_compiled
from saltloft.process.drying.integrate import Control, Profiles, integrate
from saltloft.process.drying.members import Blocks, Members
from saltloft.process.drying.nodes import radau_nodes
from saltloft.process.drying.outputs import States, states_of
from saltloft.process.drying.rim import RimMemory
from saltloft.process.programme import DAY_S, Programme

NODES = radau_nodes(8)


def memory_of(members: Members, reversible: float, lasting: float) -> RimMemory:
    """A rim of these resistances that hardens in two days and softens in one."""
    ones = np.ones(members.count)
    return RimMemory(reversible * ones, lasting * ones, 0.85, 0.72, 2.0 * DAY_S, DAY_S)


def with_memory(
    programme: Programme, reversible: float, lasting: float, *, horizon: float = 60.0, members: int = 16
) -> tuple[Members, Blocks]:
    """Pieces of 50 mm, central where two."""
    draws = central_draws(len(programme.stages))
    if members > 2:
        draws = draw(1, "rim", members, len(programme.stages))
    made, blocks = engine_case(piece(50), programme, draws, horizon_d=horizon)
    return replace(made, rim=memory_of(made, reversible, lasting)), blocks


def dried(members: Members, blocks: Blocks, days: np.ndarray) -> tuple[States, Profiles]:
    """The run with fine steps."""
    profiles = integrate(members, NODES, blocks, DAY_S * days, Control(1e-3, 2e-5))
    return states_of(members, NODES, blocks, DAY_S * days, profiles), profiles


def test_the_memory_relaxes_exactly() -> None:
    """Dry for two days: 1 - 1/e of both; wet again for a day: the first falls to 1/e, the second stays."""
    rim = RimMemory(np.array([20.0]), np.array([10.0]), 0.85, 0.72, 2.0 * DAY_S, DAY_S)
    dry = rim.after(RimMemory.fresh(1), np.array([0.6]), np.array([2.0 * DAY_S]))
    assert dry[:, 0] == pytest.approx(1.0 - np.exp(-1.0))
    twice = rim.after(
        rim.after(RimMemory.fresh(1), np.array([0.6]), np.array([DAY_S])), np.array([0.6]), np.array([DAY_S])
    )
    assert twice == pytest.approx(dry, rel=1e-14)
    rested = rim.after(dry, np.array([0.95]), np.array([DAY_S]))
    assert rested[0, 0] == pytest.approx(dry[0, 0] * np.exp(-1.0))
    assert rested[1, 0] == dry[1, 0]
    assert rim.resistance(rested)[0] == pytest.approx(20.0 * rested[0, 0] + 10.0 * dry[1, 0])


def test_the_split_is_of_second_order() -> None:
    """Memory before and after the profile's step, half each: order 1.5 with daily steps, 1.8 below.

    2000 and 1000 s/m, a hundred times the prior, so that there is something to see: the rim then answers to
    its own resistance faster than a day, which costs order until the steps resolve it.
    """
    programme = Programme((stage(6.0, 14.0, 0.70, 0.15), stage(20.0, 14.0, 0.70, 0.15)))
    members, blocks = with_memory(programme, 2000.0, 1000.0, horizon=26.0, members=2)
    days = np.array([0.0, 6.0, 10.0])
    start = integrate(members, NODES, blocks, DAY_S * days[:2], Control(1e-5, 1e-7)).start(
        DAY_S * days[:2], 1
    )

    def after(steps: int) -> np.ndarray:
        length = 4.0 * DAY_S / steps
        begin = replace(start, length_s=np.full(2, length))
        done = integrate(members, NODES, blocks, DAY_S * days[2:], Control(fixed_step_s=length), begin)
        assert done.memory is not None
        return np.concatenate([NODES.weight @ done.water[0], done.memory[0].ravel()])

    fine = after(1024)
    errors = np.array([np.abs(after(steps) - fine).max() for steps in (16, 64, 128)])
    assert errors[0] < 1e-3
    assert np.log2(errors[1] / errors[2]) > 1.7, errors


@pytest.mark.parametrize("reversible", [20.0, 1000.0])
def test_drier_air_is_never_later_while_the_memory_goes_back(reversible: float) -> None:
    """Comparison: 60, 70, 78, 85 %RH; on every day the drier room has lost at least as much.

    Member by member, at the prior's 20 s/m and at fifty times that.
    """
    days = np.arange(0.0, 61.0, 2.0)
    before = None
    for rh in (0.85, 0.78, 0.70, 0.60):
        programme = Programme((stage(2.5, 22.0, 0.92, 0.3), stage(60.0, 14.0, rh, 0.15)))
        loss = dried(*with_memory(programme, reversible, 0.0), days)[0].weight_loss
        if before is not None:
            assert (loss - before).min() > -1e-4
        before = loss


def test_what_lasts_can_make_drier_air_later() -> None:
    """With a part that never goes back the comparison may fail: a hard first week ends behind a gentle one.

    2000 s/m, two hundred times the prior: at the prior's 10 s/m the difference stays positive.
    """
    days = np.arange(0.0, 61.0, 2.0)

    def lead(lasting: float) -> float:
        hard, gentle = (
            dried(
                *with_memory(
                    Programme((stage(5.0, 14.0, rh, 0.5), stage(60.0, 14.0, 0.80, 0.15))), 0.0, lasting
                ),
                days,
            )
            for rh in (0.60, 0.75)
        )
        return float((hard[0].weight_loss - gentle[0].weight_loss).min())

    assert lead(2000.0) < -0.005
    assert lead(10.0) > -1e-4


def test_a_rest_takes_the_reversible_part_back() -> None:
    """Dry for ten days, sealed for five: the first part falls under a third, the second keeps."""
    programme = Programme((stage(10.0, 14.0, 0.68, 0.3), stage(5.0, 14.0, 0.68, 0.3, packed=True)))
    members, blocks = with_memory(programme, 20.0, 10.0, horizon=15.0, members=2)
    states, profiles = dried(members, blocks, np.array([0.0, 10.0, 15.0]))
    assert profiles.memory is not None
    hard, rested = profiles.memory[1], profiles.memory[2]
    assert (hard > 0.3).all()
    assert (rested[0] < hard[0] / 3.0).all()
    assert (rested[1] >= hard[1]).all()
    assert states.weight_loss[2] == pytest.approx(states.weight_loss[1], abs=1e-9)


def test_the_compiled_twin_remembers() -> None:
    """Programme with a rest, and a log: profiles and memory within 1e-9; also from a kept state on."""
    rest = Programme((stage(6.0, 18.0, 0.70, 0.4), stage(3.0, 14.0, 0.90, 0.0), stage(20.0, 14.0, 0.65, 0.3)))
    logged = Programme((stage(5.0, 14.0, 0.70, 0.15),), noisy_log(8.0))
    for programme, horizon in ((rest, 29.0), (logged, 13.0)):
        members, blocks = with_memory(programme, 300.0, 150.0, horizon=horizon, members=13)
        times = DAY_S * np.linspace(0.0, horizon, 30)
        one = integrate(members, NODES, blocks, times, Control())
        two = integrate_compiled(members, NODES, blocks, times, Control())
        assert one.memory is not None
        assert one.memory.max() > 0.2
        assert two.water == pytest.approx(one.water, abs=1e-9)
        assert two.salt == pytest.approx(one.salt, abs=1e-9)
        assert two.memory == pytest.approx(one.memory, abs=1e-9)
        assert (two.steps == one.steps).all()
    border = np.array([0.0, 6.0 * DAY_S, 9.0 * DAY_S])
    members, blocks = with_memory(rest, 300.0, 150.0, horizon=29.0, members=13)
    kept = integrate_compiled(members, NODES, blocks, border, Control())
    went_on = integrate_compiled(
        members, NODES, blocks, DAY_S * np.array([12.0, 29.0]), Control(), kept.start(border, 1)
    )
    whole = integrate_compiled(members, NODES, blocks, DAY_S * np.array([0.0, 12.0, 29.0]), Control())
    assert whole.memory is not None
    assert went_on.memory == pytest.approx(whole.memory[1:], abs=1e-12)
    assert went_on.water == pytest.approx(whole.water[1:], abs=1e-12)
