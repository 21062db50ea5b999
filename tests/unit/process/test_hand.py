"""The hand as data: against closed forms and reference routines, and on hands whose truth is known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from saltloft.process.hand import BOUND, LEAST_CUTS, LEAST_LOTS, PRESS, PRODUCT_SD, Cut, press_law, rim_law
from saltloft.process.hand_skill import index_skill, rank_beyond, rank_correlation, ranking_area

DAY = 86400.0


def house(lots: int, seed: int, *, scatter: float = 0.35, cuts: int = 3) -> list[Cut]:
    """Cuts of lots that dry; the hand feels 3 + 0.7 a step of loss + 0.5 a step of dryness, with scatter."""
    rng = np.random.default_rng(seed)
    found = []
    for lot in range(lots):
        for look in range(cuts):
            loss = 0.22 + 0.06 * look + 0.02 * rng.standard_normal()
            activity = 0.945 - 0.02 * look + 0.006 * rng.standard_normal()
            gap = 0.03 + 0.06 * rng.random()
            feel = 3.0 + 7.0 * (loss - 0.30) + (0.92 - activity) / 0.03 * 0.5
            press = float(np.clip(np.round(3.0 * (feel + scatter * rng.standard_normal())) / 3.0, 1, 5))
            rim = max(0.0, 0.2 + 25.0 * gap + 0.3 * rng.standard_normal())
            at = (lot * 2.0 + look * 7.0) * DAY
            index = 0.4 + 4.0 * gap + 0.05 * rng.standard_normal()
            found.append(
                Cut(
                    f"L{lot}",
                    "ab"[lot % 2],
                    at,
                    press,
                    rim,
                    loss,
                    activity,
                    True,
                    gap,
                    index,
                    f"e{lot}-{look}",
                )
            )
    return found


def test_learning_cut_by_cut_is_the_closed_form() -> None:
    """Normal-inverse-gamma conjugacy, all cuts at once (Gelman et al., Bayesian Data Analysis, chapter 14;
    from memory): precision V^-1 + X'X, mean from it, rate b + (y'y + m'V^-1 m - M'P M)/2."""
    cuts = [replace(cut, product="a", gap=None) for cut in house(12, 3)]
    law = press_law(cuts)
    rows = np.array(
        [[1.0, (c.loss - 0.30) / 0.10, (c.water_activity - 0.92) / -0.03, 0.0, 1.0] for c in cuts]
    )
    said = np.array([c.press for c in cuts], dtype=float)
    before = np.append(PRESS.mean, 0.0)
    precision = np.diag(np.append(PRESS.sd, PRODUCT_SD) ** -2.0)
    after = precision + rows.T @ rows
    mean = np.linalg.solve(after, precision @ before + rows.T @ said)
    shape = PRESS.cuts / 2 + len(cuts) / 2
    rate = PRESS.cuts / 2 * PRESS.scatter**2 + 0.5 * (
        said @ said + before @ precision @ before - mean @ after @ mean
    )
    assert law.coefficients == pytest.approx(tuple(mean[:4]), rel=1e-9)
    assert law.scatter == pytest.approx(np.sqrt(rate / shape), rel=1e-9)


def test_the_range_of_the_next_cut_is_the_student_one() -> None:
    """Before any cut: 2a degrees of freedom and scale s sqrt(1 + x V x'), by scipy's Student distribution."""
    (held,) = press_law([Cut("L", "a", 0.0, 3.6, None, 0.30, 0.92)]).held
    scale = PRESS.scatter * np.sqrt(1.0 + PRESS.sd[0] ** 2 + PRODUCT_SD**2)
    low, high = stats.t(PRESS.cuts, loc=3.0, scale=scale).interval(0.9)
    assert (held.expected, held.low, held.high) == pytest.approx((3.0, max(low, 1.0), min(high, 5.0)))
    assert held.z == pytest.approx(stats.norm.ppf(stats.t(PRESS.cuts).cdf(0.6 / scale)))
    assert not held.learned
    assert not held.disagrees


def test_the_law_is_found_and_its_ranges_hold() -> None:
    """On 80 lots of a known hand the steps come back, and 90 % ranges hold 85 to 95 % of later cuts."""
    law = press_law(house(80, 11))
    assert law.coefficients[1] == pytest.approx(0.7, abs=0.15)
    assert law.coefficients[2] == pytest.approx(0.5, abs=0.15)
    assert law.scatter == pytest.approx(0.36, abs=0.06)
    assert law.inside is not None
    assert 0.85 <= law.inside <= 0.95
    # |z| > 2 is a chance of 4.6 % under the normal distribution.
    assert np.mean([held.disagrees for held in law.held]) == pytest.approx(0.046, abs=0.035)


def test_a_soft_piece_that_has_lost_enough_is_named() -> None:
    """39 % lost and still soft: the hand says 2 where the numbers lead to expect about 4."""
    cuts = house(20, 5)
    soft = Cut("SOFT", "a", 400 * DAY, 2.0, 1.0, 0.39, 0.88, entry="e-soft")
    held = press_law([*cuts, soft]).last_of("SOFT")
    assert held is not None
    assert held.disagrees
    assert held.z < -BOUND
    assert held.expected > 3.6
    assert (held.cuts, held.lots) == (60, 20)


def test_too_few_cuts_say_nothing() -> None:
    """However far off: before 15 cuts of four lots nothing disagrees."""
    few = house(4, 7)[: LEAST_CUTS - 4]
    wild = Cut("W", "a", 400 * DAY, 1.0, None, 0.42, 0.85)
    held = press_law([*few, wild]).last_of("W")
    assert held is not None
    assert (held.learned, held.disagrees) == (False, False)
    one_lot = [replace(cut, lot="ONLY") for cut in house(10, 7)]
    assert not press_law(one_lot).learned
    assert LEAST_LOTS > 1
    assert press_law([]).inside is None


def test_a_cut_is_held_against_earlier_cuts_only() -> None:
    """What comes later changes nothing of what was said of a cut."""
    cuts = house(15, 9)
    early = sorted(cuts, key=lambda cut: (cut.at_s, cut.lot, cut.entry))[:25]
    assert press_law(early).held == press_law(cuts).held[:25]


@given(order=st.permutations(range(24)))
def test_the_order_in_which_cuts_are_handed_over_does_not_matter(order: list[int]) -> None:
    cuts = house(8, 2)
    assert rim_law([cuts[place] for place in order]) == rim_law(cuts)


def test_the_rim_follows_how_much_drier_it_is_than_the_core() -> None:
    """25 mm a unit of gap is 1.25 mm a step of 0.05."""
    law = rim_law(house(80, 4))
    assert law.coefficients[3] == pytest.approx(1.25, abs=0.15)


def test_rank_correlation_of_a_textbook_pair() -> None:
    """Ten people: IQ and hours of television, rho = -29/165 (a worked example often printed; from memory)."""
    iq = np.array([86, 97, 99, 100, 101, 103, 106, 110, 112, 113], dtype=float)
    hours = np.array([2, 20, 28, 27, 50, 29, 7, 17, 6, 12], dtype=float)
    assert rank_correlation(iq, hours) == pytest.approx(-29 / 165)
    assert rank_correlation(iq, np.ones(10)) is None


@given(seed=st.integers(0, 10_000), size=st.integers(4, 40))
def test_both_measures_agree_with_the_reference_library(seed: int, size: int) -> None:
    """scipy.stats.spearmanr and the U statistic of scipy.stats.mannwhitneyu, ties among them."""
    rng = np.random.default_rng(seed)
    one, other = np.round(rng.random(size), 1), np.round(rng.random(size), 1)
    marked = rng.random(size) > 0.5
    found = rank_correlation(one, other)
    if found is not None:
        assert found == pytest.approx(stats.spearmanr(one, other).statistic)
    area = ranking_area(one, marked)
    if area is None:
        assert marked.all() or not marked.any()
        return
    reference = stats.mannwhitneyu(one[marked], one[~marked]).statistic / (marked.sum() * (~marked).sum())
    assert area == pytest.approx(reference)


def test_an_index_that_knows_the_rim_has_skill_and_one_that_does_not_has_none() -> None:
    """Only an interval that lies above nought counts; a shuffled index must not."""
    cuts = house(30, 6)
    known = index_skill(cuts)
    assert known.shown
    assert known.rank is not None
    assert known.rank_low is not None
    assert known.rank_high is not None
    assert 0.0 < known.rank_low < known.rank < known.rank_high
    assert known.area is not None
    assert known.area > 0.7
    rng = np.random.default_rng(1)
    blind = [replace(cut, index=float(rng.random())) for cut in cuts]
    assert not index_skill(blind).shown
    flipped = [replace(cut, index=1.0 - (cut.index or 0.0)) for cut in cuts]
    assert not index_skill(flipped).shown


def test_few_cuts_have_no_skill_to_show() -> None:
    assert not index_skill(house(5, 6)).enough
    bare = [replace(cut, index=None) for cut in house(30, 6)]
    assert (index_skill(bare).cuts, index_skill(bare).rank, index_skill(bare).shown) == (0, None, False)


def test_an_index_that_knows_the_calibre_or_the_loss_only_has_no_skill() -> None:
    """Within a product and beyond the loss nothing is left, however strong the plain correlation is."""
    rng = np.random.default_rng(3)
    cuts = house(60, 6)
    thick = [
        replace(
            cut,
            rim_mm=(3.0 if cut.product == "a" else 0.5) + 0.3 * rng.random(),
            index=(0.8 if cut.product == "a" else 0.2) + 0.1 * rng.random(),
        )
        for cut in cuts
    ]
    plain = rank_correlation(np.array([cut.index for cut in thick]), np.array([cut.rim_mm for cut in thick]))
    assert plain is not None
    assert plain > 0.6
    assert not index_skill(thick).shown
    drying = [
        replace(cut, rim_mm=10.0 * cut.loss + 0.1 * rng.random(), index=2.0 * cut.loss + 0.02 * rng.random())
        for cut in cuts
    ]
    rank = index_skill(drying).rank
    assert rank is not None
    assert abs(rank) < 0.3


def test_a_partial_rank_correlation_is_that_of_the_textbook() -> None:
    """Kendall's formula for three ranks without ties: (r12 - r13 r23) / sqrt((1 - r13^2)(1 - r23^2))."""
    rng = np.random.default_rng(4)
    one, other, beside = (rng.standard_normal(40) for _ in range(3))
    other, beside = other + one, beside + one
    pairs = [(one, other), (one, beside), (other, beside)]
    r12, r13, r23 = (float(stats.spearmanr(a, b).statistic) for a, b in pairs)
    known = (r12 - r13 * r23) / np.sqrt((1.0 - r13**2) * (1.0 - r23**2))
    group = np.zeros(40, dtype=np.int64)
    assert rank_beyond(one, other, beside, group) == pytest.approx(known)
