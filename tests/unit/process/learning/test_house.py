"""The pooling of a house's lots: known effects come back, nobody is counted twice, time matters."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from saltloft.process.learning import COLUMNS, Likelihood, LotPrior
from saltloft.process.learning.house import KNOTS, PastLot, Shares, pooled, usual_shares

Array = NDArray[np.float64]
COUNT = len(COLUMNS)
HUMIDITY = COLUMNS.index("humidity_offset")


def _told(truth: Array, error_sd: float, rng: np.random.Generator) -> Likelihood:
    """The likelihood of a lot of which every column was read with this error."""
    weight = 1.0 / error_sd**2
    return Likelihood(weight * np.eye(COUNT), weight * (truth + error_sd * rng.normal(size=COUNT)))


def _house(lots: int, error_sd: float, seed: int) -> tuple[list[PastLot], dict[str, Array]]:
    """Lots of two products drawn from the usual shares, and what is common to each product."""
    rng, shares = np.random.default_rng(seed), usual_shares()

    def part(variance: Array) -> Array:
        drawn: Array = rng.normal(size=COUNT) * np.sqrt(variance)
        return drawn

    shared = part(shares.house) + part(shares.room)
    common = {product: shared + part(shares.product) for product in ("thin", "thick")}
    past = []
    for number in range(lots):
        product = ("thin", "thick")[number % 2]
        past.append(PastLot(_told(common[product] + part(shares.own), error_sd, rng), product, "room 1"))
    return past, common


def test_the_shares_of_every_column_add_up_to_the_literature() -> None:
    """House, product, room and own: variances of one together, none below nothing."""
    shares = usual_shares()
    total = shares.house + shares.product + shares.room + shares.own
    np.testing.assert_allclose(total, 1.0, atol=1e-12)
    assert min(part.min() for part in (shares.house, shares.product, shares.room, shares.own)) >= 0.0


def test_without_lots_the_prior_is_the_literatures() -> None:
    """Mean 0, variance 1, no correlation: the first lot stands alone."""
    prior = pooled([], "thin", "room 1")
    assert np.array_equal(prior.mean, LotPrior.plain().mean)
    assert np.array_equal(prior.covariance, LotPrior.plain().covariance)


def test_a_lot_that_says_nothing_changes_nothing() -> None:
    """A likelihood of no precision is no lot at all (but for the mixture's rounding)."""
    silent = PastLot(Likelihood(np.zeros((COUNT, COUNT)), np.zeros(COUNT)), "thin", "room 1")
    prior = pooled([silent], "thin", "room 1")
    np.testing.assert_allclose(prior.mean, 0.0, atol=1e-12)
    # The sizes keep their prior weights, so the model's error and the room are a mixture's; all else is 1.
    rest = np.setdiff1d(np.arange(COUNT), [*KNOTS, HUMIDITY])
    np.testing.assert_allclose(np.diag(prior.covariance)[rest], 1.0, atol=1e-9)


def test_known_effects_come_back_with_honest_doubt() -> None:
    """60 lots of two products: what is common is found, as far off as the covariance says."""
    past, common = _house(60, 0.3, 1)
    own = usual_shares().own
    for product, truth in common.items():
        prior = pooled(past, product, "room 1")
        doubt = np.sqrt(np.maximum(np.diag(prior.covariance) - own, 1e-6))
        wrong = (prior.mean - truth) / np.maximum(doubt, 0.05)
        assert 0.6 < wrong.std() < 1.5
        assert np.corrcoef(prior.mean, truth)[0, 1] > 0.95


def test_another_product_of_the_house_teaches_less_and_another_room_not_the_room() -> None:
    """Only what is the house's carries over to a product or room never seen."""
    past, _ = _house(20, 0.3, 2)
    same, product, room = (
        pooled(past, *names) for names in (("thin", "room 1"), ("new", "room 1"), ("thin", "r 2"))
    )
    width = [float(np.diag(prior.covariance).sum()) for prior in (same, product, room)]
    assert width[0] < width[1] < COUNT
    assert np.diag(room.covariance)[HUMIDITY] > np.diag(same.covariance)[HUMIDITY] + 0.3


def test_old_lots_say_less_of_a_probe_that_drifts() -> None:
    """The same reading a year ago leaves more doubt of today's offset than one of last week."""
    past, _ = _house(10, 0.2, 3)
    lately = pooled(past, "thin", "room 1")
    long_ago = pooled(
        [PastLot(one.likelihood, one.product, one.room, 365.0) for one in past], "thin", "room 1"
    )
    assert np.diag(long_ago.covariance)[HUMIDITY] > np.diag(lately.covariance)[HUMIDITY]
    other = COLUMNS.index("obstruction_exponent")
    assert np.diag(long_ago.covariance)[other] == pytest.approx(np.diag(lately.covariance)[other], rel=0.02)


@pytest.mark.parametrize(("factor", "wider"), [(3.0, True), (0.4, False)])
def test_a_house_in_which_the_model_errs_more_gets_wider_bands(factor: float, wider: bool) -> None:
    """The slow error's size is learned: three times as large widens its columns, smaller narrows them."""
    rng, shares = np.random.default_rng(4), usual_shares()
    past = []
    for _ in range(16):
        truth = rng.normal(size=COUNT) * np.sqrt(shares.own)
        truth[KNOTS] *= factor
        past.append(PastLot(_told(truth, 0.2, rng), "thin", "room 1"))
    own = float(np.diag(pooled(past, "thin", "room 1").covariance)[KNOTS].mean())
    assert (own > 1.2 * shares.own[KNOTS].mean()) == wider


def test_two_lots_in_closed_form() -> None:
    """One column, one effect: the posterior of a normal mean by hand (precision adds up)."""
    half, none = np.full(COUNT, 0.5), np.zeros(COUNT)
    shares = Shares(half, none, none, half)
    told = [1.0, 2.0]
    past = [PastLot(Likelihood(4.0 * np.eye(COUNT), np.full(COUNT, 4.0 * value)), "p", "r") for value in told]
    prior = pooled(past, "p", "r", shares=shares)
    each = 1.0 / (0.25 + 0.5)  # reading's error and own part
    precision = 2.0 * each + 1.0 / 0.5
    rest = np.setdiff1d(np.arange(COUNT), [*KNOTS, HUMIDITY])
    np.testing.assert_allclose(prior.mean[rest], each * 3.0 / precision, rtol=1e-9)
    np.testing.assert_allclose(np.diag(prior.covariance)[rest], 1.0 / precision + 0.5, rtol=1e-9)
