"""The drying engine held against the truth families, its lots learning from each other in time order.

The small form asks for the answers' shapes and for coverage within wide bounds on a tuning seed.
The full form scores 200 lots of each family on the scoring seeds, prints the tables, and compares
what the demands are not met in with the list kept in docs: a demand that is newly missed fails,
and so does one that is newly met, so that the page is corrected.
"""

from __future__ import annotations

import os
import re
import sys
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path

import numpy as np
import pytest
from tests.integration.truth_engine import Engine
from tests.truth.families import FAMILIES, make_lots
from tests.truth.report import Report, shortfalls
from tests.truth.runner import score

SCORING_SEEDS = dict(zip(FAMILIES, range(5101, 5106), strict=True))
LOTS, MEMBERS = 200, 200
PAGE = Path(__file__).parents[2] / "docs" / "models" / "house-learning.md"


def full_score(family: str) -> Report:
    """Score 200 lots of a family on its scoring seed."""
    return score(Engine(members=MEMBERS), family, LOTS, seed=SCORING_SEEDS[family])


def missed(report: Report) -> list[str]:
    """The demands a report does not meet, without their figures: 'ready: CRPS' and so on."""
    return sorted({re.sub(r"[-\d.]+ ?%?", "#", words) for words in shortfalls(report)})


def recorded() -> dict[str, list[str]]:
    """The shortfalls as the page records them, by family."""
    listed: dict[str, list[str]] = {family: [] for family in FAMILIES}
    for family, words in re.findall(r"^- `(\w+)`: (.+)$", PAGE.read_text(encoding="utf-8"), re.MULTILINE):
        listed[family].append(re.sub(r"[-\d.]+ ?%?", "#", words))
    return {family: sorted(set(words)) for family, words in listed.items()}


def test_the_engine_answers_every_question_of_a_house() -> None:
    """Eight lots of a house on tuning seed 4: finite losses and dates, sane coverage."""
    report = score(Engine(members=60), "two_compartments", 8, seed=4)
    held = report.parts["weighed"]["all"].coverage
    assert held.lots == 8
    assert 0.6 < held.inside <= 1.0
    assert report.parts["weighed"]["all"].error < 0.015
    assert report.parts["weighed"]["all"].crps_skill > 0.0


def test_the_same_lot_is_answered_with_the_same_bytes_and_knows_only_its_house() -> None:
    """A lot alone, and the same lot after another house's lots: the same forecast."""
    lots = make_lots("moving_racks", 22, 4)
    known, days = lots[0].known.as_of(7.0), 7.0 + np.array([1.0, 7.0])
    other = Engine(members=40)
    other(lots[20].known.as_of(7.0), 7.0, days)
    alone, among = Engine(members=40)(known, 7.0, days), other(known, 7.0, days)
    assert alone.loss.tobytes() == among.loss.tobytes()
    assert alone.target_day.tobytes() == among.target_day.tobytes()
    assert (np.diff(alone.loss.mean(axis=0)) > 0.0).all()


def test_a_later_lot_starts_wiser() -> None:
    """What is doubtful of a lot's diffusivity, casing and room is less after six lots of its house."""
    engine = Engine(members=40)
    lots = make_lots("moving_racks", 6, 4)
    assert engine.prior_of(lots[0].known, 0.0) is None
    for lot in lots:
        engine.finished(lot.known)
    prior = engine.prior_of(make_lots("moving_racks", 7, 4)[6].known, 60.0)
    assert prior is not None
    doubt = np.sqrt(np.diag(prior.covariance))
    assert doubt.min() < 0.85
    assert np.linalg.slogdet(prior.covariance)[1] < -1.0


def test_exact_lines_are_followed_and_nothing_else_is() -> None:
    """Lots of tuning seed 4: by day 14 the line's share is 1 where it is exact, 0 where pieces dry."""
    shares = {}
    for family in ("square_root", "two_compartments"):
        engine = Engine(members=40)
        score(engine, family, 8, seed=4, asof_days=(14.0,))
        shares[family] = [share.rival for share in engine.shares.values()]
    assert min(shares["square_root"]) > 0.8
    assert max(shares["two_compartments"]) == 0.0


@pytest.mark.long
def test_five_families_of_two_hundred_lots_on_the_scoring_seeds(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Both cores, one process a family; what is not met must be exactly what the page says is not met."""
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # in the new processes: the matrices are small
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        reports = dict(zip(FAMILIES, pool.map(full_score, FAMILIES), strict=True))
    with capsys.disabled():
        for report in reports.values():
            sys.stdout.write("\n".join(["", report.table(), *shortfalls(report), ""]))
    assert {family: missed(report) for family, report in reports.items()} == recorded()
