"""The benchmark measures what it says: its parts are the ensemble's, its references the same equations."""

from __future__ import annotations

import numpy as np
from benchmarks.drying.__main__ import NAMES
from benchmarks.drying.case import DAYS, OUTPUT_S, ensemble, jumping_log, loss_of
from benchmarks.drying.references import by_lsoda, python_slope

from saltloft.process.drying.compiled import integrate_compiled
from saltloft.process.drying.nodes import radau_nodes
from saltloft.process.programme import DAY_S, Programme
from saltloft.process.simulate import CONTROL, NODES

PROGRAMME = Programme((), jumping_log())


def test_the_log_jumps_at_every_midnight_and_is_hourly() -> None:
    """New levels each day; what the engine cuts has more blocks than days."""
    log = jumping_log()
    assert len(log.time_d) == 24 * DAYS + 1
    days = [log.relative_humidity[24 * day + 4 : 24 * day + 24].mean() for day in range(3, DAYS)]
    assert np.abs(np.diff(days)).mean() > 0.01
    assert len(ensemble(PROGRAMME, 2).blocks.end_s) > DAYS


def test_a_part_of_the_ensemble_is_carried_as_among_all() -> None:
    """Some members alone: the same profiles to the last bit."""
    whole = ensemble(PROGRAMME, 20)
    part = whole.part(slice(5, 9))
    nodes = radau_nodes(NODES)
    all_water = integrate_compiled(whole.members, nodes, whole.blocks, OUTPUT_S, CONTROL).water
    water = integrate_compiled(part.members, nodes, part.blocks, OUTPUT_S, CONTROL).water
    np.testing.assert_array_equal(water, all_water[:, :, 5:9])


def test_lsoda_from_the_readable_rates_agrees_with_the_engine() -> None:
    """The first five days of one member, restarted at every change of the air: within 3e-4 of the loss."""
    one = ensemble(PROGRAMME, 2).part(slice(0, 1))
    engine = loss_of(
        one.members, integrate_compiled(one.members, radau_nodes(NODES), one.blocks, OUTPUT_S, CONTROL)
    )
    water = by_lsoda(one, *python_slope(one, radau_nodes(NODES)), 1e-5, until_s=5.0 * DAY_S)
    loss = (one.members.water - radau_nodes(NODES).weight @ water) / one.members.green_mass
    assert len(loss) == 6
    assert np.abs(loss - engine[:6]).max() < 3e-4


def test_the_names_it_prints() -> None:
    """What others read from its JSON keeps its names."""
    assert len(set(NAMES)) == 10
    assert {"us_per_member", "error", "morning_s", "memory_mb"} <= set(NAMES)
