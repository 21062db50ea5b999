"""The runner tells a calibrated forecaster from an over-confident one and leaks nothing."""

from __future__ import annotations

import json
from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest
from numpy.typing import NDArray
from tests.truth.baselines import THREE, baselines, weighed
from tests.truth.families import FAMILIES, make_lots
from tests.truth.known import KnownLot, Lot
from tests.truth.report import Report, shortfalls
from tests.truth.runner import Forecast, score
from tests.truth.scores import coverage
from tests.truth.weighing import ASOF_D, LEADS_D

Array = NDArray[np.float64]
LEADS = np.array(LEADS_D)


class Seer:
    """Knows the truth up to an error it draws, and states a spread of `confidence` times that error."""

    def __init__(self, lots: list[Lot], stated: float, pieces: bool = False) -> None:
        self.lots = {lot.known.lot: lot for lot in lots}
        self.stated, self.pieces = stated, pieces
        self.rng = np.random.default_rng(5)

    def __call__(self, lot: KnownLot, asof_day: float, days: Array) -> Forecast:
        """Truth + error, 500 members around it; one error for the loss, one for the day."""
        truth = self.lots[lot.lot]
        error, spread = self.rng.normal(size=2), self.rng.normal(size=(500, 2)) * self.stated
        seen = np.nan_to_num(weighed(truth, days), nan=0.4)
        loss = seen + 0.01 * (error[0] + spread[:, :1])
        target_day = truth.truth.target_day + 0.5 * (error[1] + spread[:, 1])
        return Forecast(loss, target_day, loss[:, :, None].repeat(6, 2) if self.pieces else None)


@lru_cache(maxsize=2)
def _lots(count: int) -> list[Lot]:
    return make_lots("square_root", count, 7)


@lru_cache(maxsize=3)
def _report(stated: float) -> Report:
    return score(Seer(_lots(120), stated), "square_root", 120, seed=7)


def test_a_calibrated_forecaster_is_found_calibrated() -> None:
    """Its 90 % lies in the printed interval, and tails, ranks and skill are as demanded."""
    for quantity in ("ready", "weighed"):
        part = _report(1.0).parts[quantity]["all"]
        assert part.coverage.house_low - 0.02 < 0.90 < part.coverage.house_high + 0.02
        assert part.ranks.p_flat > 0.05
    assert shortfalls(_report(1.0)) == []


def test_an_over_confident_forecaster_fails() -> None:
    """A third of its error as spread: bands hold about 41 % (normal, 1.645/3), and the words say so."""
    part = _report(1.0 / 3.0).parts["ready"]["all"]
    assert part.coverage.inside == pytest.approx(0.416, abs=0.07)
    assert part.coverage.high < 0.85
    said = " ".join(shortfalls(_report(1.0 / 3.0)))
    assert "90 % bands hold" in said
    assert "not flat" in said


def test_an_over_modest_forecaster_fails_too() -> None:
    """Three times its error as spread holds nearly always, and that is not 90 %."""
    assert any("bands hold 100" in line or "bands hold 99" in line for line in shortfalls(_report(3.0)))


def test_error_and_score_of_the_seer_are_those_of_its_normal() -> None:
    """Median |N(0, 0.5)| is 0.3372 d; CRPS of N(x+e, s) against x is s/sqrt(pi) on average."""
    part = _report(1.0).parts["ready"]["all"]
    assert part.error == pytest.approx(0.5 * 0.6745, rel=0.15)
    assert part.crps == pytest.approx(0.5 / np.sqrt(np.pi), rel=0.15)


def test_report_has_every_slice_and_prints() -> None:
    """As-of days, calibres, leads; JSON and table."""
    report = score(Seer(_lots(120), 1.0, pieces=True), "square_root", 16, seed=7)
    names = set(report.parts["weighed"])
    assert {"all", "day 3", "day 7", "day 14", "0-44 mm", "73-999 mm", "lead 1", "lead 28"} <= names
    assert "piece" in report.parts
    plain = json.loads(json.dumps(report.as_dict()))
    assert plain["ready"]["all"]["coverage"]["lots"] == report.parts["ready"]["all"].coverage.lots
    assert len(report.table().splitlines()) == 2 + sum(len(slices) for slices in report.parts.values())


class Recorder:
    """Notes what it is asked and told."""

    def __init__(self) -> None:
        self.told: list[KnownLot] = []
        self.now = -np.inf
        self.asked: list[tuple[str, float]] = []

    def finished(self, lot: KnownLot) -> None:
        """Called in calendar order."""
        self._tick(lot.start_day + lot.weighings.time_d[-1])
        self.told.append(lot)

    def _tick(self, moment: float) -> None:
        assert moment >= self.now, "time runs backwards"
        self.now = moment

    def __call__(self, lot: KnownLot, asof_day: float, days: Array) -> Forecast:
        """Asserts that nothing later is to be seen."""
        self._tick(lot.start_day + asof_day)
        assert lot.weighings.time_d[-1] <= asof_day
        assert lot.log.time_d[-1] <= asof_day
        assert all(done.start_day + done.weighings.time_d[-1] <= self.now for done in self.told)
        np.testing.assert_allclose(days, asof_day + LEADS)
        self.asked.append((lot.lot, asof_day))
        return Forecast(np.linspace(0.1, 0.4, 10)[:, None].repeat(len(days), 1), np.linspace(10.0, 60.0, 10))


def test_questions_come_in_time_order_and_finished_lots_before_them() -> None:
    """Every lot is asked at each as-of day and told once."""
    recorder = Recorder()
    score(recorder, "square_root", 12, seed=7)
    assert len(set(recorder.asked)) == 12 * len(ASOF_D)
    assert len({lot.lot for lot in recorder.told}) == 12


@pytest.mark.parametrize(
    "answer",
    [
        Forecast(np.zeros((5, 2)), np.ones(5)),
        Forecast(np.zeros((5, len(LEADS_D))), np.ones((5, 1))),
        Forecast(np.full((5, len(LEADS_D)), np.nan), np.ones(5)),
    ],
)
def test_an_answer_that_cannot_be_scored_is_refused(answer: Forecast) -> None:
    """Wrong shape or no number."""
    with pytest.raises(ValueError, match=r"must be|no number"):
        score(lambda lot, asof_day, days: answer, "square_root", 8, seed=7)


def test_too_few_lots_are_refused() -> None:
    """Baselines need other lots to learn their errors from."""
    with pytest.raises(ValueError, match="too few"):
        score(Seer(_lots(120), 1.0), "square_root", 4, seed=7)


def test_no_baseline_sees_the_lot_it_forecasts() -> None:
    """Another truth for one lot leaves that lot's own dressed forecasts as they were, and moves others'."""
    lots = _lots(120)[:24]
    days = 7.0 + LEADS
    changed = replace(
        lots[5].truth, target_day=lots[5].truth.target_day * 1.2, asked_loss=lots[5].truth.asked_loss + 0.05
    )
    other = [*lots[:5], Lot(lots[5].known, changed), *lots[6:]]
    before, after = baselines(lots, 7.0, days), baselines(other, 7.0, days)
    for name in ("square root", "Page"):
        np.testing.assert_array_equal(before[name][5].ready_d, after[name][5].ready_d)
        for one, two in zip(before[name][5].loss, after[name][5].loss, strict=True):
            np.testing.assert_array_equal(one, two)
        assert not np.array_equal(before[name][9].ready_d, after[name][9].ready_d)
    for name in ("day count", "own count"):
        # Their points leave the lot out; of their errors on the others one part in the other lots is its own.
        moved = abs(np.median(before[name][5].ready_d) / np.median(after[name][5].ready_d) - 1.0)
        assert moved < 0.2 / 10


def test_the_line_wins_where_the_line_is_true_and_no_baseline_beats_itself() -> None:
    """In its own family the line is best by far; a forecaster that *is* that baseline has no skill."""
    lots = _lots(120)
    asof = {day: baselines(lots, day, day + LEADS) for day in ASOF_D}
    number = {lot.known.lot: i for i, lot in enumerate(lots)}

    def line(lot: KnownLot, asof_day: float, days: Array) -> Forecast:
        dressed = asof[asof_day]["square root"][number[lot.lot]]
        shortest = min(len(column) for column in dressed.loss)
        filled = [column[:shortest] if shortest > 1 else np.array([0.3, 0.4]) for column in dressed.loss]
        return Forecast(np.array(filled).T, dressed.ready_d)

    part = score(line, "square_root", 120, seed=7).parts["ready"]["all"]
    assert part.other_crps["square root"] < 0.5 * min(part.other_crps[name] for name in THREE[1:])
    assert part.crps_skill == pytest.approx(0.0, abs=1e-9)
    assert part.error_skill == pytest.approx(0.0, abs=1e-9)


def _dressed_coverage(name: str, lots: list[Lot]) -> dict[str, float]:
    """How often the dressed baselines' own 90 % bands hold the ready day."""
    found = {}
    for baseline, dressed in baselines(lots, 7.0, 7.0 + LEADS).items():
        asked = [i for i, lot in enumerate(lots) if 7.0 < lot.truth.target_day < np.inf]
        bands = np.array([np.quantile(dressed[i].ready_d, [0.05, 0.95]) for i in asked])
        observed = np.array([lots[i].truth.target_day for i in asked])
        found[baseline] = coverage(bands, observed, np.array(asked)).inside
    return found


def test_dressing_gives_baselines_honest_bands() -> None:
    """Residuals from other lots make 90 % bands that hold: the baselines are beaten at their best."""
    for baseline, inside in _dressed_coverage("square_root", _lots(120)).items():
        assert 0.82 < inside < 0.97, baseline


@pytest.mark.long
@pytest.mark.parametrize("name", FAMILIES)
def test_dressed_baselines_hold_in_every_family_at_full_size(name: str) -> None:
    """200 lots a family."""
    for baseline, inside in _dressed_coverage(name, make_lots(name, 200, 101)).items():
        assert 0.82 < inside < 0.97, (name, baseline)
