"""Slips of weighing with known truth: how often each is found, and how often one is named that is none."""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Callable

import numpy as np
import pytest
from tests.learning_cases import PIECES, VISITS, learned, masses, truths, weighings

LOTS = 10
Slip = Callable[[np.ndarray, np.random.Generator], set[tuple[int, int]]]


def _found(slip: Slip | None, code: str, scale: np.ndarray | str = "A") -> tuple[int, Counter[str]]:
    """Lots of ten in which the slip was named with its readings, and what else was named."""
    hits, others, known = 0, Counter[str](), truths(LOTS, seed=31)
    for lot in range(LOTS):
        rng = np.random.default_rng([31, lot])
        mass = masses(known, lot, rng)
        where = slip(mass, rng) if slip else set()
        found = learned(weighings(mass, known.green_kg[lot], scale), f"lot{lot}")
        hit = False
        for fault in found.faults:
            if fault.code == "scale_unseen":
                continue
            if fault.code == code and {divmod(place, PIECES) for place in fault.weighings} == where:
                hit = True
            else:
                others[fault.code] += 1
        hits += hit
    sys.stdout.write(f"{code or 'nothing'}: named in {hits} of {LOTS} lots; also named: {dict(others)}\n")
    return hits, others


def _decimal(mass: np.ndarray, rng: np.random.Generator) -> set[tuple[int, int]]:
    i, j = int(rng.integers(len(VISITS))), int(rng.integers(PIECES))
    mass[i, j] *= 10.0 if rng.random() < 0.5 else 0.1
    return {(i, j)}


def _exchange(mass: np.ndarray, rng: np.random.Generator) -> set[tuple[int, int]]:
    i, (a, b) = int(rng.integers(len(VISITS))), rng.choice(PIECES, 2, replace=False)
    mass[i, [a, b]] = mass[i, [b, a]]
    return {(i, int(a)), (i, int(b))}


def _exchange_on(mass: np.ndarray, rng: np.random.Generator) -> set[tuple[int, int]]:
    i, (a, b) = int(rng.integers(len(VISITS) - 1)), rng.choice(PIECES, 2, replace=False)
    mass[i:, [a, b]] = mass[i:, [b, a]]
    return {(k, int(j)) for k in range(i, len(VISITS)) for j in (a, b)}


def test_nothing_is_named_where_nothing_happened() -> None:
    """540 clean weighings of the model's own kind: two wild ones at most, no other slip."""
    _, others = _found(None, "")
    assert set(others) <= {"wild"}
    assert others["wild"] <= 2


@pytest.mark.parametrize(
    ("slip", "code", "least"),
    [(_decimal, "slipped_decimal", 9), (_exchange, "swapped_tags", 7), (_exchange_on, "swapped_tags", 8)],
)
def test_slips_are_named_with_their_readings(slip: Slip, code: str, least: int) -> None:
    """Tags of pieces that weigh within a few grams of each other cannot be told apart; most can."""
    hits, others = _found(slip, code)
    assert hits >= least
    assert sum(others.values()) <= 4


def test_a_scale_off_by_a_hundredth_between_visits_is_named() -> None:
    """Every other visit on a scale that reads 1 % too much: named; where it is right: not."""
    scale = np.where(np.arange(len(VISITS))[:, None] % 2 == 1, "B", "A")
    every = {(i, j) for i in range(1, len(VISITS), 2) for j in range(PIECES)}

    def off(mass: np.ndarray, _rng: np.random.Generator) -> set[tuple[int, int]]:
        mass[1::2] *= 1.01
        return every

    hits, _ = _found(off, "scale_off", scale)
    assert hits >= 9
    _, others = _found(None, "", scale)
    assert others["scale_off"] == 0


def test_one_scale_for_both_says_that_it_cannot_be_seen() -> None:
    """Green and later weight on one scale: its gain cancels to the last bit, and the answer says so."""
    known, rng = truths(LOTS, seed=31), np.random.default_rng(1)
    mass, green = masses(known, 0, rng), known.green_kg[0]
    found = learned(weighings(mass, green), "lot0")
    (fault,) = [fault for fault in found.faults if fault.code == "scale_unseen"]
    assert fault.probability == 0.0
    assert len(fault.weighings) == mass.size
    mixed = learned(weighings(mass, green, np.where(np.arange(PIECES) == 0, "B", "A")), "lot0")
    assert not [fault for fault in mixed.faults if fault.code == "scale_unseen"]


def test_a_slipped_weighing_does_not_move_the_lot() -> None:
    """10.4 kg after 1.05: the best point stays where it was without that weighing."""
    known, rng = truths(LOTS, seed=31), np.random.default_rng(1)
    given = weighings(masses(known, 1, rng), known.green_kg[1])
    slipped = [*given]
    slipped[20] = type(given[20])(
        **{**vars(given[20]), "weight_loss": 1.0 - 10.0 * (1.0 - given[20].weight_loss)}
    )
    without = [*given[:20], *given[21:]]
    one, two = learned(slipped, "lot1"), learned(without, "lot1")
    assert one.likelihood is not None
    assert two.likelihood is not None
    assert np.abs(one.draws.lot - two.draws.lot).max() < 0.1
    assert one.outlier_share[20] == 1.0
