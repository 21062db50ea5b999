"""The air of single days and places that change: against plain algebra, runs of the model, and made lots."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import multivariate_normal
from tests.drying_cases import parameters, piece, standard
from tests.learning_cases import PIECES, VISITS, learned, masses, truths, weighings

from saltloft.process.draws import AIR_D, PIECE_SLOTS, Draws, air_steps, draw
from saltloft.process.learning import COLUMNS, Likelihood, LotPrior, Weighing
from saltloft.process.learning.air import air_evidence, air_weights, stories, with_air
from saltloft.process.learning.columns import AIR_SIZES, air_columns, air_variance, state_of
from saltloft.process.learning.errors import ErrorBlocks
from saltloft.process.learning.house import PastLot, pooled
from saltloft.process.learning.lanes import STEP, Lot, slopes
from saltloft.process.learning.observations import fresh_variance, observations_of
from saltloft.process.learning.places import PLACE, STRETCHES, of_piece, shares_of_time
from saltloft.process.learning.posterior import Posterior
from saltloft.process.simulate import simulate

STEPS = len(AIR_D) - 1
USUAL = np.array([weight for _, weight in AIR_SIZES])


def test_steps_add_up_to_the_time_gone() -> None:
    """A random walk: the variance of all steps so far is the days gone, whole stretches taken."""
    days = AIR_D[[1, 7, 21, 30]]
    np.testing.assert_allclose(np.sum(air_steps(days) ** 2, axis=1), days)
    assert not air_steps(np.array([0.0])).any()


def _posterior() -> Posterior:
    rng = np.random.default_rng(5)
    state = state_of(LotPrior.plain(), 1, {})
    offset = 0.004 * rng.normal(size=(30, 3))
    errors = ErrorBlocks(np.full(30, 1.0 / 0.003**2), offset, np.repeat(np.arange(5), 6))
    found = 0.004 * rng.normal(size=(30, len(state.names)))
    return Posterior(state, found, errors, 0.02 * rng.normal(size=30))


def test_the_evidence_of_a_size_is_that_of_the_dense_normal() -> None:
    """Differences of log densities of the readings between sizes, by scipy's multivariate normal."""
    found = _posterior()
    here = air_columns(found.state)
    dense = []
    for size, _ in AIR_SIZES:
        covariance = found.state.covariance.copy()
        covariance[here, here] = size**2
        whole = found.slopes @ covariance @ found.slopes.T + found.errors.dense()
        dense.append(multivariate_normal(np.zeros(30), whole).logpdf(found.residual))
    told = air_evidence(found)
    np.testing.assert_allclose(np.diff(told), np.diff(dense), rtol=1e-7)
    weights = air_weights(USUAL, told)
    assert weights.sum() == pytest.approx(1.0)
    sized = with_air(found.state, weights).covariance[here, here]
    np.testing.assert_allclose(sized, air_variance(weights))
    told_by = stories(found, USUAL, told)
    assert [one.posterior.state.covariance[here[0], here[0]] for one in told_by] == pytest.approx(
        [size**2 for size, _ in AIR_SIZES]
    )


def test_slopes_by_the_steps_are_those_of_the_model() -> None:
    """No run is needed for them: as two runs of the model half a deviation to each side say."""
    observed = observations_of([Weighing(7.0, 0.1), Weighing(20.5, 0.3)], [], parameters())
    point = np.zeros(len(COLUMNS) + 8 + STEPS)
    known = Lot(
        piece(50.0), standard(), parameters(), LotPrior.plain(),
        lambda draws, days: simulate(piece(50.0), standard(), parameters(), draws, days),
    )  # fmt: skip
    found = slopes(point, known, observed)
    for step in (0, 5, 20):
        column = len(point) - STEPS + step
        lot = np.tile(point, (2, 1))
        lot[:, column] = np.array([-0.5, 0.5]) * STEP
        run = known.run_of(Draws(lot, np.zeros((2, len(PIECE_SLOTS))), 2, pieces_each=1), observed.time_d)
        direct = np.diff(run.weight_loss, axis=1)[1:, 0] / STEP
        np.testing.assert_allclose(found.lot[:, column], direct, atol=2e-6)


def test_a_jumpy_room_is_told_from_a_calm_one() -> None:
    """Visits off together by most of a point of loss: larger sizes gain, and the next lot expects it."""
    known, calm, jumpy = truths(2, seed=31), [], []
    jump = 0.008 * np.array([1.0, -1.0, 1.0, 1.0, -1.0, 1.0, -1.0, -1.0, 1.0])
    for lot in range(2):
        mass = masses(known, lot, np.random.default_rng([31, lot]))
        calm.append(learned(weighings(mass, known.green_kg[lot]), f"lot{lot}").likelihood)
        off = mass + jump[:, None] * known.green_kg[lot]
        jumpy.append(learned(weighings(off, known.green_kg[lot]), f"lot{lot}").likelihood)
    priors = [
        pooled([PastLot(one, "p", "r") for one in told if isinstance(one, Likelihood)], "p", "r")
        for told in (calm, jumpy)
    ]
    sizes = [air_variance(np.array(prior.air)) for prior in priors]
    assert sizes[1] > 1.5 * sizes[0]
    assert all(sum(prior.air) == pytest.approx(1.0) for prior in priors)
    assert LotPrior.plain().air == tuple(USUAL)


def test_draws_without_readings_have_the_priors_size() -> None:
    """The steps come as standard normals and leave as large as the house's mixture says."""
    drawn = draw(1, "air", 400, 2)
    sized = LotPrior.plain().sized(drawn)
    np.testing.assert_allclose(sized.air, drawn.air * np.sqrt(air_variance(USUAL)))
    assert sized.lot[:, :-STEPS].tobytes() == drawn.lot[:, :-STEPS].tobytes()


def test_a_place_is_worth_less_with_age() -> None:
    """All of a place counts in the first stretch; later two days far apart share the lasting part only."""
    days = np.array([3.0, 9.0, 80.0])
    np.testing.assert_allclose(shares_of_time(days).sum(axis=1), 1.0)
    plain = np.zeros((3, len(PIECE_SLOTS)))
    plain[:, [PIECE_SLOTS.index(name) for name in PLACE]] = 0.01
    parted = of_piece(plain, days, 0.4)
    assert parted.shape == (3, len(PIECE_SLOTS) + STRETCHES)
    covariance, whole = parted @ parted.T, float(plain[0] @ plain[0])
    assert covariance[0, 0] == pytest.approx(whole)
    assert covariance[0, 1] == pytest.approx(whole)
    assert 0.6 * whole < covariance[0, 2] < 0.7 * whole
    assert covariance[2, 2] < 0.8 * whole
    np.testing.assert_allclose(of_piece(plain, days, 0.0)[:, : len(PIECE_SLOTS)], plain)


def test_two_weighings_of_a_tag_on_a_day_that_contradict_each_other_are_named() -> None:
    """A second weighing 4 % heavier an hour later: both are named, once; one 0.1 % off is not."""
    known = truths(2, seed=31)
    mass = masses(known, 0, np.random.default_rng([31, 0]))
    given = weighings(mass, known.green_kg[0])
    first = given[3 * PIECES + 2]
    heavier = replace(first, day=first.day + 0.04, weight_loss=first.weight_loss - 0.04)
    faults = learned([*given, heavier], "lot0").faults
    (fault,) = [one for one in faults if one.code != "scale_unseen"]
    assert (fault.code, fault.weighings) == ("contradictory", (3 * PIECES + 2, len(given)))
    assert fault.probability > 0.9
    assert f"day {VISITS[3]:g}" in fault.words
    assert "kg" in fault.words
    close = replace(heavier, weight_loss=first.weight_loss + 0.001)
    assert not [one for one in learned([*given, close], "lot0").faults if one.code != "scale_unseen"]


def test_a_tare_is_a_number_with_an_error() -> None:
    """6 pieces of 0.9 kg on a trolley of 40 kg: three thousandths of the tare, and its own division."""
    plain = Weighing(7.0, 0.1, pieces=6, division_kg=0.02, green_kg=5.4)
    carried = replace(plain, tare_kg=40.0)
    added = fresh_variance(carried, parameters()) - fresh_variance(plain, parameters())
    assert np.sqrt(added) == pytest.approx(np.hypot(0.12, 0.02 / np.sqrt(12.0)) / 5.4, rel=1e-6)
    assert fresh_variance(replace(plain, tare_kg=0.0), parameters()) == fresh_variance(plain, parameters())
