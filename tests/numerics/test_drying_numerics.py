"""Conservation, order, end state and the compiled twin of the drying engine."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tests.drying_cases import central_draws, engine_case, noisy_log, piece, stage, standard

from saltloft.process.draws import draw
from saltloft.process.drying.compiled import integrate_compiled
from saltloft.process.drying.integrate import Control, air_in_block, integrate
from saltloft.process.drying.nodes import radau_nodes
from saltloft.process.drying.outputs import states_of
from saltloft.process.drying.rates import jacobian, rates, surface
from saltloft.process.drying.step import step
from saltloft.process.programme import DAY_S, Programme
from saltloft.science.water_activity import equilibrium_water, of_mixture

NODES = radau_nodes(8)


def _mean(profile: np.ndarray, count: int = 8) -> np.ndarray:
    return np.asarray(np.einsum("n,tnm->tm", radau_nodes(count).weight, profile))


def test_nodes_integrate_and_differentiate_polynomials_exactly() -> None:
    """Eight Radau nodes: quadrature exact to degree 14, derivative and integral to degree 7."""
    s = NODES.share
    assert NODES.weight @ s**14 == pytest.approx(1.0 / 15.0, abs=1e-14)
    assert NODES.derivative @ s**7 == pytest.approx(7.0 * s**6, abs=1e-11)
    assert NODES.integral @ s**7 == pytest.approx(s**8 / 8.0, abs=1e-14)
    assert NODES.axis @ (1.0 + s**5) == pytest.approx(1.0, abs=1e-12)
    assert NODES.outer @ s == pytest.approx((1.0 - 0.85**2) / 2.0 / 0.15, abs=1e-12)
    assert NODES.inner @ s**3 == pytest.approx(0.85**3 / 4.0, abs=1e-12)


def test_jacobian_is_the_derivative_of_the_rates() -> None:
    """Every entry against central differences, on a steep profile, with cooling and salt in."""
    members, blocks = engine_case(piece(50), standard(), central_draws(2))
    air = air_in_block(blocks, np.array([1, 1]))
    water = np.linspace(2.98, 0.507, 8)[:, None] * np.ones((1, 2))
    salt = 0.16 + 0.01 * np.sin(np.arange(8.0))[:, None] * np.ones((1, 2))
    exact = jacobian(members, NODES, air, water, salt)
    for j in range(8):
        bump = np.zeros((8, 2))
        bump[j] = 1e-6
        for which in ("water", "salt"):
            up = (water + bump, salt) if which == "water" else (water, salt + bump)
            down = (water - bump, salt) if which == "water" else (water, salt - bump)
            plus, minus = rates(members, NODES, air, *up), rates(members, NODES, air, *down)
            slope_x, slope_s = ((a - b) / 2e-6 for a, b in zip(plus, minus, strict=True))
            if which == "water":
                expected_x, expected_s = exact.xx[:, j], exact.sx[:, j]
            else:
                expected_x = exact.column_x if j == 7 else 0.0 * exact.column_x
                expected_s = exact.ss[:, j]
            assert slope_x == pytest.approx(expected_x, abs=1e-8 * np.abs(exact.xx).max())
            assert slope_s == pytest.approx(expected_s, abs=1e-8 * np.abs(exact.ss).max())


def test_salt_is_conserved() -> None:
    """Salt moves but none leaves: its total keeps to 1e-10 through 60 d and a jump of the air."""
    members, blocks = engine_case(piece(50), standard(), draw(1, "salt", 20, 2))
    profiles = integrate(members, NODES, blocks, DAY_S * np.linspace(0.0, 60.0, 13))
    drift = _mean(profiles.salt) / members.salt - 1.0
    assert np.abs(drift).max() < 1e-10
    spread = profiles.salt[6].max(axis=0) - profiles.salt[6].min(axis=0)
    assert spread.min() > 1e-3, "salt has moved, so the check above is about something"


def test_water_is_conserved() -> None:
    """The water that is gone is the water that crossed the rim: the weak form adds nothing."""
    members, blocks = engine_case(piece(50), standard(), draw(1, "water", 20, 2))
    air = air_in_block(blocks, np.ones(20, dtype=np.int64))
    rng = np.random.default_rng(3)
    water = np.sort(rng.uniform(0.3, 3.0, size=(8, 20)), axis=0)[::-1]
    salt = np.full((8, 20), 0.16)
    rate, _ = rates(members, NODES, air, water, salt)
    sealed, _ = rates(members, NODES, replace(air, open=np.zeros(20)), water, salt)
    assert np.abs(NODES.weight @ sealed).max() < 1e-10 * np.abs(sealed).max()
    volume = NODES.weight @ (members.law.fixed_volume + water * members.law.water_volume)
    loss = surface(members, air, volume, water[-1], salt[-1]).loss
    assert -(NODES.weight @ rate) == pytest.approx(loss, rel=1e-10)


def test_a_sealed_piece_evens_out_and_loses_nothing() -> None:
    """Packed after ten days: total water constant to 1e-10, brine and water even at the end."""
    programme = Programme((stage(10.0, 14.0, 0.75, 0.2), stage(400.0, 14.0, 0.75, 0.2, packed=True)))
    members, blocks = engine_case(piece(40), programme, central_draws(2), horizon_d=410.0)
    profiles = integrate(members, NODES, blocks, DAY_S * np.array([0.0, 10.0, 60.0, 410.0]))
    mean = _mean(profiles.water)
    assert (mean[1] < 0.9 * mean[0]).all()
    assert mean[2:] == pytest.approx(np.broadcast_to(mean[1], mean[2:].shape), rel=1e-10)
    end = profiles.water[3]
    assert (end.max(axis=0) - end.min(axis=0)).max() < 2e-3


def test_order_in_time() -> None:
    """Steps halved from a smooth profile on: third order is observed.

    From the very start the order is lower: a fresh piece in dry air is not smooth at the rim.
    """
    members, blocks = engine_case(piece(50), Programme((stage(30.0, 14.0, 0.78, 0.15),)), central_draws(1))
    smooth = integrate(members, NODES, blocks, DAY_S * np.array([0.0, 6.0]), Control(1e-6))
    air = air_in_block(blocks, np.zeros(2, dtype=np.int64))

    def after(steps: int) -> float:
        profile = (smooth.water[1], smooth.salt[1])
        for _ in range(steps):
            rate = rates(members, NODES, air, *profile)
            done = step(members, NODES, air, profile, rate, np.full(2, 8.0 * DAY_S / steps))
            profile = (done.water, done.salt)
        return float((NODES.weight @ profile[0])[0])

    fine = after(1024)
    errors = np.array([abs(after(steps) - fine) for steps in (8, 16, 32, 64)])
    order = np.log2(errors[:-1] / errors[1:])
    assert order.min() > 2.6, (errors, order)


def test_error_falls_exponentially_with_the_nodes() -> None:
    """6, 8, 10, 12 nodes: each two more cut the error of the weight loss at least threefold."""
    members, blocks = engine_case(piece(50), standard(), central_draws(2))
    times = DAY_S * np.array([0.0, 1.0, 3.0, 7.0, 14.0, 30.0, 60.0])

    def loss(count: int) -> np.ndarray:
        profiles = integrate(members, radau_nodes(count), blocks, times, Control(1e-6))
        return (members.water - _mean(profiles.water, count)) / members.green_mass

    fine = loss(18)
    errors = np.array([np.abs(loss(count) - fine).max() for count in (6, 8, 10, 12)])
    assert (errors[:-1] / errors[1:]).min() > 3.0, errors
    assert errors[1] < 2e-5, "the default of eight nodes is within 0.002 points of loss"


def test_error_control_keeps_its_word() -> None:
    """The engine's own tolerance against one 500 times finer, with a log that jumps."""
    programme = Programme((stage(10.0, 14.0, 0.78, 0.15),), noisy_log(25.0))
    members, blocks = engine_case(piece(50), programme, draw(1, "control", 16, 1), horizon_d=30.0)
    times = DAY_S * np.arange(0.0, 31.0)
    coarse = integrate_compiled(members, NODES, blocks, times, Control(5e-4))
    fine = integrate_compiled(members, NODES, blocks, times, Control(1e-6))
    loss = np.abs(_mean(coarse.water) - _mean(fine.water)) / members.green_mass
    assert loss.max() < 2e-4
    rim = [states_of(members, NODES, blocks, times, p).water_activity_rim for p in (coarse, fine)]
    assert np.abs(rim[0] - rim[1]).max() < 4e-3


def test_the_compiled_twin_is_equal() -> None:
    """Same steps, same rejections, profiles within 1e-9: programme with a drop of RH, and a log."""
    drop = Programme((stage(5.0, 18.0, 0.88, 0.3), stage(40.0, 14.0, 0.60, 0.5)))
    logged = Programme((stage(5.0, 14.0, 0.78, 0.15),), noisy_log(8.0))
    for programme, horizon in ((drop, 45.0), (logged, 13.0)):
        draws = draw(3, "twin", 37, len(programme.stages))
        members, blocks = engine_case(piece(60), programme, draws, horizon_d=horizon)
        times = DAY_S * np.linspace(0.0, horizon, 40)
        one = integrate(members, NODES, blocks, times, Control(5e-4))
        two = integrate_compiled(members, NODES, blocks, times, Control(5e-4))
        assert two.water == pytest.approx(one.water, abs=1e-9)
        assert two.salt == pytest.approx(one.salt, abs=1e-9)
        assert (two.steps == one.steps).all()
        assert (two.rejected == one.rejected).all()


def test_a_lot_gives_the_same_bytes_alone_and_among_others() -> None:
    """A member's numbers do not hang on who is computed beside it."""
    programme = Programme((stage(5.0, 14.0, 0.78, 0.15),), noisy_log(6.0))
    members, blocks = engine_case(piece(60), programme, draw(3, "bytes", 40, 1), horizon_d=11.0)
    times = DAY_S * np.linspace(0.0, 11.0, 12)
    together = integrate_compiled(members, NODES, blocks, times, Control(5e-4))
    half, half_air = engine_case(piece(60), programme, draw(3, "bytes", 20, 1), horizon_d=11.0)
    alone = integrate_compiled(half, NODES, half_air, times, Control(5e-4))
    assert together.water[:, :, :20].tobytes() == alone.water.tobytes()


def test_end_state_is_the_air() -> None:
    """After 400 d every place has the room's humidity as its a_w, and salt is even in the water."""
    programme = Programme((stage(400.0, 14.0, 0.80, 0.3),))
    members, blocks = engine_case(piece(32), programme, central_draws(1), horizon_d=400.0)
    profiles = integrate(members, NODES, blocks, DAY_S * np.array([0.0, 400.0]), Control(1e-5))
    water, salt = profiles.water[1], profiles.salt[1]
    local = of_mixture(water, salt, members.solutes, members.brine, members.halsey)
    humidity = (blocks.vapour[-1] / blocks.saturated[-1])[0]
    assert local == pytest.approx(np.full(local.shape, humidity), abs=1e-3)
    brine = salt / water
    assert (brine.max(axis=0) - brine.min(axis=0)).max() < 2e-3


def test_loss_at_infinite_time_is_the_composition_with_that_activity() -> None:
    """Within 1 point of the loss at which the whole piece has a_w = RH (issue 2)."""
    for rh in (0.75, 0.80, 0.85):
        programme = Programme((stage(400.0, 14.0, rh, 0.3),))
        members, blocks = engine_case(piece(40), programme, central_draws(1), horizon_d=400.0)
        profiles = integrate(members, NODES, blocks, DAY_S * np.array([0.0, 400.0]))
        loss = 100.0 * ((members.water - _mean(profiles.water)[1]) / members.green_mass)[0]
        rest = equilibrium_water(rh, members.salt, members.solutes, members.brine, members.halsey)
        expected = 100.0 * ((members.water - rest) / members.green_mass)[0]
        assert loss == pytest.approx(expected, abs=1.0)


def test_a_dry_rim_crystallises_and_keeps_its_salt() -> None:
    """At 60 %RH the rim passes saturation: salt lies undissolved, its total keeps, a_w stays right."""
    programme = Programme((stage(60.0, 14.0, 0.60, 0.5),))
    members, blocks = engine_case(piece(50, salt=0.05), programme, central_draws(1))
    times = DAY_S * np.array([0.0, 30.0, 60.0])
    profiles = integrate(members, NODES, blocks, times)
    states = states_of(members, NODES, blocks, times, profiles)
    assert states.undissolved[1].max() > 0.05
    assert np.abs(_mean(profiles.salt) / members.salt - 1.0).max() < 1e-10
    assert states.water_activity_rim[2] == pytest.approx(np.full(2, 0.60), abs=0.02)


@pytest.mark.parametrize(("rh", "air", "diameter"), [(0.50, 1.0, 25), (0.985, 0.0, 60), (0.65, 0.5, 150)])
def test_hard_cases_stay_finite(rh: float, air: float, diameter: float) -> None:
    """Dry wind on a thin piece, wet still air, a thick piece: finite, water never negative."""
    programme = Programme((stage(2.0, 24.0, 0.95, 0.3), stage(200.0, 14.0, rh, air)))
    members, blocks = engine_case(piece(diameter), programme, draw(5, "hard", 40, 2), horizon_d=202.0)
    profiles = integrate(members, NODES, blocks, DAY_S * np.linspace(0.0, 200.0, 21))
    assert np.isfinite(profiles.water).all()
    assert profiles.water.min() > 0.0
    assert profiles.salt.min() > -1e-6
