"""The straight line as a probability model: closed forms against dense normals, and what it forecasts."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from saltloft.process.learning.level import Level, PastLine, level_of, usual_level
from saltloft.process.learning.rival import NODES, line_of, node_prior, past_line, roots_of
from saltloft.process.learning.weighed import Seen


def _seen(slope: float, days: tuple[float, ...], *, noise: float = 0.0, seed: int = 1) -> Seen:
    """Six tagged pieces, slopes 4 % apart, weighed on some days."""
    random = np.random.Generator(np.random.Philox(seed))
    own = slope * (1.0 + 0.04 * random.normal(size=6))
    day = np.repeat(np.array(days), 6)
    loss = np.tile(own, len(days)) * np.sqrt(day) + noise * random.normal(size=len(day))
    tags = tuple(f"T{i}" for i in range(6)) * len(days)
    return Seen(day, loss, np.full(len(day), 0.001**2), np.ones(len(day)), tags)


def test_mean_and_evidence_are_those_of_the_dense_normal() -> None:
    """scipy's multivariate normal as the reference, at every tenth node."""
    seen = _seen(0.06, (1.0, 3.0, 7.0), noise=0.002)
    level = Level(float(np.log(0.06)), 0.3)
    line = line_of(seen, level)
    one, root = roots_of(seen.day)
    rough = float(root @ seen.loss) / float(root @ root)
    same_tag = np.array(seen.tag)[:, None] == np.array(seen.tag)
    same_visit = seen.day[:, None] == seen.day
    for node in range(0, len(NODES), 10):
        visit_sd, start_sd, piece_sd = NODES[node]
        covariance = (
            np.diag(seen.variance)
            + same_visit * visit_sd**2
            + start_sd**2 * np.outer(one, one)
            + ((0.3 * 0.06) ** 2 + same_tag * (piece_sd * rough) ** 2) * np.outer(root, root)
        )
        told = multivariate_normal(0.06 * root, covariance).logpdf(seen.loss)
        assert line.evidence[node] == pytest.approx(told, abs=0.02)
        pull = np.linalg.solve(covariance, seen.loss - 0.06 * root)
        assert line.mean[node, 1] == pytest.approx(0.06 + (0.3 * 0.06) ** 2 * float(root @ pull), rel=1e-4)


def test_without_a_weighing_the_house_s_level_comes_back() -> None:
    """Nothing read: the evidence is 1 at every node, the slope is the level's."""
    nothing = Seen(np.zeros(0), np.zeros(0), np.zeros(0), np.zeros(0), ())
    line = line_of(nothing, usual_level(0.05))
    assert line.log_evidence == pytest.approx(0.0, abs=1e-12)
    np.testing.assert_allclose(line.mean[:, 1], 0.35 / np.sqrt(30.0))


def test_the_bands_of_exact_lines_hold_what_they_promise() -> None:
    """90 % bands of the mean of 24 pieces' day, of 200 lots: 84 to 96 % (three deviations of 200 draws)."""
    random = np.random.Generator(np.random.Philox(8))
    inside = 0
    for number in range(200):
        slope = 0.064 * np.exp(0.2 * random.normal())
        own = slope * (1.0 + 0.045 * random.normal(size=24))
        day = np.repeat([1.0, 2.0, 3.0, 5.0, 7.0], 6)
        loss = np.tile(own[:6], 5) * np.sqrt(day) + 0.002 * random.normal(size=30)
        seen = Seen(day, loss, np.full(30, 4e-6), np.ones(30), tuple("abcdef") * 5)
        line = line_of(seen, usual_level(0.05))
        drawn = line.draws(100, seed=1, lot=f"lot {number}")
        mean = drawn.slope + drawn.of_whole(tuple("abcdef"), 24)
        low, high = np.quantile(((0.35 - drawn.start) / mean) ** 2, [0.05, 0.95])
        inside += bool(low <= (0.35 / own.mean()) ** 2 <= high)
    assert 168 <= inside <= 192


def test_draws_repeat_themselves_mirror_and_never_fall() -> None:
    """The same lot, the same bytes; pairs lie to both sides of the middle; loss never falls."""
    line = line_of(_seen(0.06, (1.0, 3.0)), usual_level(0.05))
    drawn, again = line.draws(50, seed=1, lot="a"), line.draws(50, seed=1, lot="a")
    assert drawn.slope.tobytes() == again.slope.tobytes()
    assert drawn.slope.tobytes() != line.draws(50, seed=1, lot="b").slope.tobytes()
    assert drawn.rest.sum() == pytest.approx(0.0, abs=1e-9)
    loss = drawn.loss(np.linspace(0.0, 60.0, 61))
    assert (np.diff(loss, axis=0) >= 0.0).all()
    assert (loss[0] == 0.0).all()


def test_lots_of_the_product_tell_the_level_and_their_spread() -> None:
    """Six lots alike: the next is expected there, nearer than of a house that knows nothing."""
    usual = usual_level(0.05)

    def past(number: int, off: float, product: str = "p") -> PastLine:
        return PastLine(f"lot {number}", product, 0.05, usual.log_slope + off, 0.02, np.zeros(len(NODES)))

    alike = [past(i, 0.3 + 0.01 * (-1) ** i) for i in range(6)]
    known = level_of(alike, "p", 0.05)
    assert known.log_slope == pytest.approx(usual.log_slope + 0.3, abs=0.03)
    assert known.sd < 0.6 * usual.sd
    other = level_of(alike, "q", 0.05)
    assert known.sd < other.sd < usual.sd
    uneven = [past(i, 0.3 + 0.4 * (-1) ** i) for i in range(6)]
    assert level_of(uneven, "p", 0.05).sd > known.sd
    assert level_of([], "p", 0.05) == usual


def test_a_house_learns_how_straight_its_lines_are() -> None:
    """Twelve exact lots put the weight on small errors of a visit; no lot counts for more than its cap."""
    lots = [past_line(_seen(0.06, (1.0, 3.0, 7.0, 14.0), seed=i), f"{i}", "p", 0.05) for i in range(12)]
    weights = np.exp(node_prior(lots) - node_prior(lots).max())
    assert NODES[int(np.argmax(weights)), 0] <= 0.001
    assert node_prior(lots[:1]).min() >= -8.0


def test_ten_thousand_weighings_are_no_hang() -> None:
    """Every so-manyth reading is read; the slope is still right."""
    day = np.linspace(0.5, 60.0, 10_000)
    seen = Seen(day, 0.05 * np.sqrt(day), np.full(10_000, 4e-6), np.ones(10_000), ("",) * 10_000)
    line = line_of(seen, usual_level(0.05))
    assert float(np.sum(line.weights * line.mean[:, 1])) == pytest.approx(0.05, rel=0.02)
