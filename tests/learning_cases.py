"""Lots of the model's own kind with six tagged pieces, whose truth is known."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from saltloft.process.draws import PIECE_SLOTS, Draws, draw
from saltloft.process.learning import Learned, Weighing, learn
from saltloft.process.simulate import first_day, lot_mean, simulate
from tests.drying_cases import parameters, piece, standard

PIECES = 6
VISITS = np.array([1.0, 3.0, 5.0, 7.0, 10.0, 14.0, 18.0, 21.0, 28.0])
TIME_D = np.union1d(np.arange(0.0, 93.0), VISITS)


@dataclass(frozen=True)
class Truths:
    """Some lots drawn from the priors themselves.

    Args:
        loss: array (visits, lots, pieces). Of the tagged pieces, before the scale.
        mean: array (times, lots). Of the whole lot, at TIME_D.
        ready_d: array (lots,). Day the lot's mean is at 33 %.
        green_kg: array (lots, pieces).
    """

    loss: np.ndarray
    mean: np.ndarray
    ready_d: np.ndarray
    green_kg: np.ndarray


@lru_cache(maxsize=4)
def truths(lots: int, seed: int = 11, diameter_mm: float = 50.0) -> Truths:
    """Lots of one product in the standard programme."""
    rng = np.random.default_rng(seed)
    drawn = draw(seed, "truth", 2 * lots, 2)
    own = rng.normal(size=(lots * PIECES, len(PIECE_SLOTS)))
    tagged = Draws(np.repeat(drawn.lot, PIECES, axis=0), own, 2, pieces_each=1)
    what, programme = piece(diameter_mm), standard(90.0)
    run = simulate(what, programme, parameters(), tagged, np.concatenate([[0.0], VISITS]))
    whole = simulate(what, programme, parameters(), drawn, TIME_D)
    mean = lot_mean(whole.states.weight_loss, lots)
    return Truths(
        loss=run.states.weight_loss[1:].reshape(len(VISITS), lots, PIECES),
        mean=mean,
        ready_d=first_day(TIME_D, mean, 0.33, falling=False),
        green_kg=rng.normal(0.9, 0.06, (lots, PIECES)),
    )


def masses(found: Truths, lot: int, rng: np.random.Generator) -> np.ndarray:
    """What a scale shows of a lot's pieces, (visits, pieces): noise of 0.2 % of green. [kg]"""
    green = found.green_kg[lot]
    noise = 0.002 * rng.normal(size=found.loss[:, lot].shape)
    return np.asarray(green * (1.0 - found.loss[:, lot] + noise))


def weighings(mass: np.ndarray, green: np.ndarray, scale: np.ndarray | str = "A") -> list[Weighing]:
    """One weighing a piece and visit; the green weight was taken on scale A."""
    names = np.broadcast_to(scale, mass.shape)
    return [
        Weighing(
            float(day),
            float(1.0 - round(mass[i, j], 3) / green[j]),
            tag=f"t{j}",
            green_kg=float(green[j]),
            division_kg=0.001,
            scale=str(names[i, j]),
            green_scale="A",
        )
        for i, day in enumerate(VISITS[: len(mass)])
        for j in range(len(green))
    ]


def learned(given: list[Weighing], lot: str, members: int = 20, *, correct: bool = False) -> Learned:
    """Learn a lot of the standard product."""
    drawn = draw(1, lot, members, 2)
    return learn(
        piece(50.0),
        standard(90.0),
        parameters(),
        drawn,
        weighings=given,
        seed=1,
        lot=lot,
        correct=correct,
    )
