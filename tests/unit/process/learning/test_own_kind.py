"""Lots drawn from the model itself: the 90 % bands after learning hold what comes, without a lean."""

from __future__ import annotations

import sys

import numpy as np
from tests.drying_cases import parameters, piece, standard
from tests.learning_cases import TIME_D, VISITS, learned, masses, truths, weighings

from saltloft.process.simulate import first_day, lot_mean, simulate

LOTS, ASOF_D = 24, 14.0


def test_bands_hold_and_do_not_lean() -> None:
    """24 lots weighed to day 14: loss on day 35 and the day of 33 % lie in the bands, rank mean near a half.

    24 lots of 90 % hold 19 to 24 of them in 97 of 100 draws (binomial).
    """
    known = truths(LOTS)
    later, ranks, inside = int(np.searchsorted(TIME_D, 35.0)), [], []
    for lot in range(LOTS):
        rng = np.random.default_rng([11, lot])
        seen = VISITS <= ASOF_D
        given = weighings(masses(known, lot, rng)[seen], known.green_kg[lot])
        draws = learned(given, f"lot{lot}", 160, correct=True).draws
        run = simulate(piece(50.0), standard(90.0), parameters(), draws, TIME_D[: later + 30])
        mean = lot_mean(run.weight_loss, draws.lots)
        day = first_day(run.time_d, mean, 0.33, falling=False)
        answers = ((mean[later], known.mean[later, lot]), (day, known.ready_d[lot]))
        ranks.append([float(np.mean(told < true)) for told, true in answers])
        inside.append([0.05 <= rank <= 0.95 for rank in ranks[-1]])
    held, lean = np.sum(inside, axis=0), np.mean(ranks, axis=0)
    sys.stdout.write(f"held of {LOTS}: {held.tolist()}, mean rank {lean.round(2).tolist()}\n")
    assert held.min() >= 19
    # A mean rank of 24 even draws has a standard deviation of 0.06.
    assert np.abs(lean - 0.5).max() < 0.16
