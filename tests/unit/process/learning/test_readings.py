"""What is read, its error, and how the model's readings change with each draw."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tests.drying_cases import parameters, piece, standard

from saltloft.foundation.errors import InputError
from saltloft.process.draws import LOT_SLOTS, PIECE_SLOTS, Draws, draw
from saltloft.process.learning import COLUMNS, LotPrior, Measured, Weighing, learn
from saltloft.process.learning.lanes import STEP, Lot, predicted, slopes
from saltloft.process.learning.observations import QUANTITIES, fresh_variance, observations_of
from saltloft.process.learning.places import PLACE
from saltloft.process.simulate import Run, simulate


def _lot() -> Lot:
    def run_of(draws: Draws, time_d: np.ndarray) -> Run:
        return simulate(piece(50.0), standard(), parameters(), draws, time_d)

    return Lot(piece(50.0), standard(), parameters(), LotPrior.plain(), run_of)


def test_fresh_error_by_hand() -> None:
    """Scale 0.2 points and a 5 g division on 4 kg, its rounding twice; a stated spread caps the scale."""
    rounding = 0.005 / np.sqrt(6.0) / 4.0
    plain = Weighing(3.0, 0.05, pieces=4, division_kg=0.005, green_kg=4.0)
    assert fresh_variance(plain, parameters()) == pytest.approx(0.002**2 + rounding**2)
    assert fresh_variance(replace(plain, spread=0.001), parameters()) == pytest.approx(1e-6 + rounding**2)


def test_groups_are_tags_racks_or_counts() -> None:
    """A tag keeps its piece, a rack its pieces, six untagged pieces stay six pieces."""
    given = [Weighing(3.0, 0.05, pieces=6), Weighing(5.0, 0.1, tag="9"), Weighing(7.0, 0.1, pieces=6)]
    observed = observations_of([*given, Weighing(7.0, 0.1, pieces=12, rack="R1")], [], parameters())
    assert observed.groups == ("6 pieces", "9", "rack R1")
    assert observed.unsorted(observed.group.astype(float)).tolist() == [0.0, 1.0, 0.0, 2.0]
    assert observed.unsorted(observed.day).tolist() == [3.0, 5.0, 7.0, 7.0]


@pytest.mark.parametrize(
    ("given", "word"),
    [
        ([Weighing(-1.0, 0.1)], "weighing"),
        ([Weighing(3.0, 1.2)], "weighing"),
        ([Measured(3.0, "colour", 0.5, 0.1)], "reading"),
        ([Measured(3.0, "moisture", 40.0, 0.01)], "reading"),
    ],
)
def test_readings_that_cannot_be_are_refused(given: list[Weighing | Measured], word: str) -> None:
    weighed = [one for one in given if isinstance(one, Weighing)]
    measured = [one for one in given if isinstance(one, Measured)]
    with pytest.raises(InputError, match=word):
        observations_of(weighed, measured, parameters())


def test_slopes_are_what_the_model_does() -> None:
    """Knots without a run, places from the lot's slope: both as two runs of the model say."""
    measured = [Measured(20.0, name, 0.5, 0.01) for name in QUANTITIES[1:]]
    observed = observations_of([Weighing(7.0, 0.1), Weighing(20.0, 0.3)], measured, parameters())
    width = len(COLUMNS) + 8
    point = np.zeros(width)
    point[[0, 1, LOT_SLOTS.index("film")]] = 0.3, -0.4, 0.5
    known = _lot()
    found = slopes(point, known, observed)

    def at(column: int | None, own: int | None = None) -> np.ndarray:
        lot, pieces = np.tile(point, (2, 1)), np.zeros((2, len(PIECE_SLOTS)))
        if column is not None:
            lot[:, column] += np.array([-1.0, 1.0]) * 0.5 * STEP
        if own is not None:
            pieces[:, own] = np.array([-1.0, 1.0]) * 0.5 * STEP
        run = known.run_of(Draws(lot, pieces, 2, pieces_each=1), observed.time_d)
        table = observed.pick(predicted(run, observed))
        return (table[:, 1] - table[:, 0]) / STEP

    for knot in (len(LOT_SLOTS) + 2, len(LOT_SLOTS) + 4):
        np.testing.assert_allclose(found.lot[:, knot], at(knot), atol=2e-5)
    for name in PLACE:
        own = at(None, PIECE_SLOTS.index(name))
        np.testing.assert_allclose(found.piece[:, PIECE_SLOTS.index(name)], own, atol=6e-4)
    direct = at(LOT_SLOTS.index("water_diffusivity"))
    np.testing.assert_allclose(found.lot[:, LOT_SLOTS.index("water_diffusivity")], direct, atol=2e-3)


def _learn(members: int = 60, **given: object) -> np.ndarray:
    drawn = draw(1, "case", members, 2)
    return learn(piece(50.0), standard(), parameters(), drawn, seed=1, lot="case", **given).draws.lot  # type: ignore[arg-type]


def test_draws_that_nothing_was_read_of_stay() -> None:
    """Activation energy and later stages keep each member's prior draw, bit for bit; diffusivity moves."""
    prior, after = draw(1, "case", 60, 2).lot, _learn(weighings=[Weighing(14.0, 0.2, pieces=6)])
    for name in ("activation_energy", "halsey_power", "length", "activity_error"):
        column = LOT_SLOTS.index(name)
        assert after[:, column].tobytes() == prior[:, column].tobytes()
    assert np.abs(after[:, 0] - prior[:, 0]).max() > 0.1


def test_the_same_members_whatever_their_number() -> None:
    """Member 7 of 60 is member 7 of 200: the best point does not hang on the ensemble."""
    given = [Weighing(14.0, 0.2, pieces=6), Weighing(20.0, 0.27, pieces=6)]
    few, many = _learn(60, weighings=given, correct=False), _learn(200, weighings=given, correct=False)
    np.testing.assert_allclose(few, many[:30], atol=1e-12)
    assert few.tobytes() == _learn(60, weighings=given, correct=False).tobytes()


@pytest.mark.parametrize(
    ("measured", "name", "narrower"),
    [
        (Measured(45.0, "water_activity_mean", 0.82, 0.005), "activity_error", 0.9),
        (Measured(45.0, "moisture", 0.23, 0.005, 6), "fat_error", 0.8),
        (Measured(30.0, "diameter_m", 0.042, 0.0005, 4), "length_share", 0.95),
    ],
)
def test_other_readings_teach_what_weighings_cannot(measured: Measured, name: str, narrower: float) -> None:
    """Beside five weighings a water activity, a moisture, a diameter each narrow what they hang on."""
    losses = ((7.0, 0.15), (14.0, 0.26), (21.0, 0.32), (30.0, 0.36), (45.0, 0.40))
    given, column = [Weighing(day, loss, pieces=6) for day, loss in losses], LOT_SLOTS.index(name)
    before = _learn(400, weighings=given)[:, column]
    after = _learn(400, weighings=given, measured=[measured])[:, column]
    assert after.std() < narrower * before.std()


def test_a_moisture_that_contradicts_the_weighings_is_named() -> None:
    """36 % moisture at 40 % loss cannot be with this batter: hardly believed, and named by its day."""
    given = [Weighing(21.0, 0.32, pieces=6), Weighing(45.0, 0.40, pieces=6)]
    found = learn(
        piece(50.0), standard(), parameters(), draw(1, "case", 40, 2),
        weighings=given, measured=[Measured(45.0, "moisture", 0.36, 0.005, 6)], seed=1, lot="case",
    )  # fmt: skip
    (fault,) = found.faults
    assert (fault.code, fault.weighings) == ("wild", ())
    assert "day 45" in fault.words


def test_a_prior_of_the_house_is_where_learning_starts() -> None:
    """Under a narrow prior the same weighing moves the lot less; the plain prior changes no bit."""
    given = [Weighing(14.0, 0.24, pieces=6)]
    covariance = np.eye(len(COLUMNS))
    covariance[0, 0] = 0.05
    narrow = LotPrior(np.zeros(len(COLUMNS)), covariance, "narrow")
    free, held = _learn(200, weighings=given), _learn(200, weighings=given, prior=narrow)
    assert abs(held[:, 0].mean()) < 0.5 * abs(free[:, 0].mean())
    drawn = draw(1, "case", 60, 2)
    assert LotPrior.plain().moved(drawn).lot.tobytes() == drawn.lot.tobytes()


def test_pieces_of_one_rack_share_its_air() -> None:
    """Six tags on one rack tell less of the lot than six on six racks."""
    spread = {}
    for racks in (["R"] * 6, [f"R{i}" for i in range(6)]):
        given = [
            Weighing(day, loss, tag=f"t{i}", rack=racks[i])
            for day, loss in ((3.0, 0.045), (7.0, 0.15), (14.0, 0.26))
            for i in range(6)
        ]
        found = learn(
            piece(50.0), standard(), parameters(), draw(1, "case", 40, 2),
            weighings=given, seed=1, lot="case", correct=False,
        )  # fmt: skip
        assert found.likelihood is not None
        said = found.likelihood.precision
        place = [LOT_SLOTS.index(name) for name in ("film", "humidity_offset")]
        spread[len(set(racks))] = np.linalg.inv(said + np.eye(len(said)))[place, place].sum()
    assert spread[6] < spread[1]
