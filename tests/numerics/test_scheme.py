"""The coefficients of a step: order, stability, and the answer of a deep piece to a jump.

Held against the exponential itself and the root-of-time law of a half space (Crank, The Mathematics
of Diffusion, section 3.2, from memory), not against the engine.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad

from saltloft.process.drying import scheme
from saltloft.process.drying.scheme import A31, A32, A43, C21, C31, C32, C41, C42, C43, GAMMA


def _one_step(z: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """What one step makes of x' = z x from 1 on, and what its last stage looks at."""
    over = 1.0 / (1.0 / GAMMA - z)
    u1 = z * over
    u2 = (z + C21 * u1) * over
    there = 1.0 + A31 * u1 + A32 * u2
    u3 = (z * there + C31 * u1 + C32 * u2) * over
    there = there + A43 * u3
    return there + (z * there + C41 * u1 + C42 * u2 + C43 * u3) * over, there


def test_orders_three_and_two() -> None:
    """One step is e^z to z^3, its embedded twin to z^2: errors fall by 16 and by 8 with z halved."""
    for which, falls in ((0, 16.0), (1, 8.0)):
        errors = [abs(float(_one_step(np.array(z))[which]) - np.exp(z)) for z in (-0.04, -0.02, -0.01)]
        assert errors[0] / errors[1] == pytest.approx(falls, rel=0.05)
        assert errors[1] / errors[2] == pytest.approx(falls, rel=0.05)


def test_stable_and_forgetting_what_is_infinitely_fast() -> None:
    """|R| under 1 on the whole left axis and the imaginary one, 0 at infinity, for both."""
    far = -np.exp(np.linspace(-6.0, 14.0, 4000))
    for values in (*_one_step(far), *_one_step(1j * far)):
        assert np.abs(values).max() <= 1.0 + 1e-12
        assert np.abs(values[-1]) < 1e-4


def test_a_jump_of_the_surface_is_answered_with_the_root_of_time() -> None:
    """Uptake of a half space in one step after a jump: within 0.1 % (with gamma 1/2 it was 3.1 %).

    A mode of rate z answers with 1 - e^z, modes of a half space are spread as |z|^-3/2 dz.
    """

    def spread(what: object) -> float:
        return quad(lambda u: what(-np.exp(u)) * np.exp(-0.5 * u), -18.0, 22.0, limit=800)[0]  # type: ignore[operator]

    exact = spread(lambda z: 1.0 - np.exp(z))
    step = spread(lambda z: 1.0 - _one_step(np.array(z))[0])
    assert exact == pytest.approx(2.0 * np.sqrt(np.pi), rel=1e-4)
    assert step == pytest.approx(exact, rel=1e-3)

    def half(z: float) -> float:
        return 1.0 - float(np.polyval(_numerator(0.5)[::-1], z)) / (1.0 - 0.5 * z) ** 4

    assert spread(half) / exact == pytest.approx(1.031, abs=1e-3)


def _numerator(gamma: float) -> np.ndarray:
    """(1 - gamma z)^4 e^z cut after z^3: what any such scheme of order 3 has above its pole."""
    rows = [1.0, -4.0 * gamma, 6.0 * gamma**2, -4.0 * gamma**3]
    series = [1.0, 1.0, 0.5, 1.0 / 6.0]
    return np.array([sum(rows[j] * series[k - j] for j in range(k + 1)) for k in range(4)])


def test_the_drift_of_the_air_is_taken_whole() -> None:
    """Stages one and two take gamma and twice gamma of the air's drift, the others stand at its end."""
    drift = (scheme.DRIFT1, scheme.DRIFT2)
    assert drift == pytest.approx((GAMMA, 2.0 * GAMMA))
