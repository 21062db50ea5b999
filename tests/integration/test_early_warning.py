"""The early warning against the rims of an invented truth: what the page says of it is what is found."""

from __future__ import annotations

import sys
from collections import Counter

import numpy as np
import pytest
from benchmarks.early_warning import Warned, count, counts, scored, table

from saltloft.plant.warning_trial import TRIAL, trial_words


def _lot(number: int, rim_mm: float, share: float) -> Warned:
    shares = {"hardening_ahead": share, "case_hardening": 0.0, "hollow_centre": 0.0}
    return Warned(f"RO-{number}", "RO", rim_mm, shares, share, 0.85, 12.0, 30.0)


def test_hits_and_false_alarms_are_counted_as_they_are_named() -> None:
    """Four lots, one of each sort; of the four pairs of thick and thin three are put in order."""
    found = [_lot(1, 2.5, 0.9), _lot(2, 2.0, 0.2), _lot(3, 1.9, 0.6), _lot(4, 0.5, 0.1)]
    one = count(found, np.array([lot.shares["hardening_ahead"] for lot in found]), "test")
    assert (one.hits, one.missed, one.false, one.silent) == (1, 1, 1, 1)
    assert one.area == pytest.approx(0.75)
    assert "RO hardening_ahead" in table(found)


def test_the_page_says_every_figure_of_the_trial() -> None:
    words = trial_words()
    assert "it warned of 22 of 167 thick rims and of 0 of 116 thin ones" in words
    assert "59 times in 100 (50 to 69), where chance gives 50" in words


@pytest.mark.long
def test_the_trial_is_what_the_benchmark_finds() -> None:
    """Prints hits and false alarms; the figures on the page stay within what one engine change may move."""
    found = scored(TRIAL.seed, TRIAL.day)
    sys.stdout.write(table(found) + "\n")
    told = counts(found)
    every, within = told["all hardening_ahead"], told["RO hardening_ahead"]
    thick = Counter(one.rim_mm >= 2.0 for one in found)
    assert (len(found), thick[True]) == (TRIAL.lots, TRIAL.hits + TRIAL.missed)
    assert abs(every.hits - TRIAL.hits) <= 3
    assert abs(every.false - TRIAL.false) <= 2
    assert within.area == pytest.approx(TRIAL.area, abs=0.03)
    assert within.area_low == pytest.approx(TRIAL.area_low, abs=0.04)
