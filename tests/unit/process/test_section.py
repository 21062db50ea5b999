"""The slice through the middle member: what it shows is what the engine holds."""

from __future__ import annotations

import numpy as np
import pytest
from tests.drying_cases import parameters, piece, standard

from saltloft.process.draws import draw
from saltloft.process.section import RINGS, middle_member, section_of
from saltloft.process.series import output_days
from saltloft.process.simulate import Run, simulate


@pytest.fixture(scope="module")
def run() -> Run:
    """A small ensemble through a plain programme."""
    plan = standard()
    return simulate(
        piece(65.0), plan, parameters(), draw(3, "slice", 24, len(plan.stages)), output_days(45.0)
    )


def test_rim_core_and_calibre_are_those_of_the_engine(run: Run) -> None:
    """The outermost ring is the rim, the innermost the axis, and twice the radius the calibre."""
    section, member = section_of(run, 40.0), middle_member(run)
    at = np.searchsorted(run.time_d, section.time_d)
    states = run.states
    z = run.draws.of_lot("activity_error")[member]
    assert section.water_activity[:, -1] == pytest.approx(states.water_activity_rim[at, member], abs=2e-6)
    doubt = states.water_activity_core[at, member] - section.water_activity[:, 0]
    assert np.all(np.abs(doubt) <= abs(z) * 0.03)
    assert 2.0 * section.radius_mm[1:, -1] == pytest.approx(
        1000.0 * states.diameter_m[at[1:], member], rel=2e-4
    )


def test_water_of_the_rings_adds_up_to_what_is_left(run: Run) -> None:
    """Shells weighed ring by ring give the water the engine says is left: within 1 %."""
    section, member = section_of(run, 40.0), middle_member(run)
    law = run.members.law
    rest = (run.members.green_mass - run.members.water)[member]
    at = np.searchsorted(run.time_d, section.time_d)
    for row, number in enumerate(at):
        share = section.water[row]
        x = share / (1.0 - share) * rest  # salt moves little: taken as the mean
        area = np.square(section.radius_mm[row] / section.radius_mm[row, -1])
        density = 1.0 / (law.fixed_volume[member] + x * law.water_volume)
        solids, water = np.trapezoid(density, area), np.trapezoid(density * x, area)
        left = run.nodes.weight @ run.profiles.water[number, :, member]
        assert water / solids == pytest.approx(left, rel=0.01)


def test_the_middle_member_carried_alone_gives_the_same_slice(run: Run) -> None:
    """A run gone on from a kept state holds no early profiles: the one member is carried again."""
    again = section_of(
        run, 40.0, lambda one, days: simulate(piece(65.0), standard(), parameters(), one, days)
    )
    assert again.water_activity == pytest.approx(section_of(run, 40.0).water_activity, abs=2e-4)


def test_a_slice_is_small_rises_in_radius_and_dries_from_outside(run: Run) -> None:
    """At most 40 days of 11 rings; radii rise; on the last day the rim is the driest."""
    section = section_of(run, 40.0)
    assert section.water.shape == (len(section.time_d), RINGS)
    assert len(section.time_d) <= 40
    assert section.time_d[0] == 0.0
    assert section.time_d[-1] == pytest.approx(40.0, abs=1.0)
    assert (np.diff(section.radius_mm, axis=1) > 0.0).all()
    assert (np.diff(section.radius_mm[:, -1]) <= 1e-9).all()
    assert section.water_activity[-1, 0] > section.water_activity[-1, -1] + 0.01
