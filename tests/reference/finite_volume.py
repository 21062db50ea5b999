"""An independent fine finite-volume drying code: scipy's BDF on graded cells, nothing from saltloft.

Written from the equations of docs/models/drying.md by their printed form, with its own
diffusivity, sorption, film and surface balance (solved by root finding on the surface
temperature's linear balance, not by the engine's code). Slow and plain: the yardstick.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.integrate import solve_ivp


@dataclass
class Case:
    """One piece and its air, plain numbers in SI."""

    diameter_m: float = 0.05
    water: float = 3.278  # kg/kg solids
    salt: float = 0.1667
    fat: float = 1.728
    solutes: float = 2.04  # mol/kg solids
    green_mass: float = 6.17  # kg batter per kg solids
    d0: float = 9e-11
    k: float = 2.0
    nu: float = 0.2
    crust: float = 0.25
    length_share: float = 0.1
    salt_ratio: float = 3.0
    drag: float = 0.6
    halsey_a: float = 0.08
    halsey_r: float = 2.3
    casing: float = 40.0
    other_heat: float = 2.5
    activation: float = 31000.0
    film: float = 1.0
    # (end day, deg C, RH, air m/s)
    air: tuple[tuple[float, float, float, float], ...] = ((2.5, 22.0, 0.92, 0.3), (60.0, 14.0, 0.78, 0.15))


def pitzer(m: float | np.ndarray) -> np.ndarray:
    """a_w of a sodium chloride brine, capped at 6.144 mol/kg (Pitzer, constants recalled)."""
    m = np.minimum(m, 6.144)
    i = np.sqrt(m)
    phi = 1 - 0.3915 * i / (1 + 1.2 * i) + m * (0.0765 + 0.2664 * np.exp(-2 * i)) + m * m * 0.00127
    return np.exp(-2 * 0.0180153 * m * phi)


def activity(case: Case, x: np.ndarray, s: np.ndarray) -> np.ndarray:
    """a_w by the product rule."""
    m = s / x / 0.058443
    return pitzer(m) / (1 + 0.0180153 * case.solutes / x) * np.exp(-((case.halsey_a / x) ** case.halsey_r))


def volume(case: Case, x: np.ndarray) -> np.ndarray:
    """m3 per kg of solids; salt's share at its start."""
    return 1 / 1330 + x / 999 + case.fat / 920 + 0.33e-3 * case.salt


def diffusivity(case: Case, x: np.ndarray) -> np.ndarray:
    """m2/s at 14 degC."""
    p = (1 / 1330) / (1 / 1330 + x / 999)  # solids in solids and water, by volume
    f, f2 = (1 - p) / (1 + p), 2 / (2 + 2 * 999 / 1330)
    phi = case.fat / 920 / volume(case, x)
    return case.d0 * (f / f2) ** case.k * (1 - phi) ** case.nu / (1 + phi / 2) / (1 + (case.crust / x) ** 4)


def saturated_kg_m3(celsius: float) -> float:
    """Saturated vapour over water with the enhancement of moist air (Buck 1981)."""
    pressure = (1.0007 + 3.46e-8 * 101325) * 611.21 * math.exp(17.502 * celsius / (240.97 + celsius))
    return pressure * 0.0180153 / 8.314462618 / (celsius + 273.15)


def film(case: Case, d: float, speed: float, celsius: float) -> tuple[float, float]:
    """Heat and mass transfer coefficients: Churchill-Bernstein and Churchill-Chu, cube blend."""
    t = celsius + 273.15
    rho = 101325 / 287.05 / t
    mu = 1.458e-6 * t**1.5 / (t + 110.4)
    nu, pr = mu / rho, 0.71
    lam = mu * 1006 / pr
    re = speed * d / nu
    forced = (
        0.3
        + 0.62
        * re**0.5
        * pr ** (1 / 3)
        / (1 + (0.4 / pr) ** (2 / 3)) ** 0.25
        * (1 + (re / 282000) ** 0.625) ** 0.8
    )
    ra = 9.80665 / t * d**3 / nu**2 * pr
    natural = (0.6 + 0.387 * ra ** (1 / 6) / (1 + (0.559 / pr) ** (9 / 16)) ** (8 / 27)) ** 2
    h = (forced**3 + natural**3) ** (1 / 3) * lam / d * case.film
    return h, h / (rho * 1006 * 0.86 ** (2 / 3))


def rates(case: Case, y: np.ndarray, borders: np.ndarray, air: tuple[float, float, float]) -> np.ndarray:
    """Time derivative of water and salt in the cells and of the water lost."""
    celsius, rh, speed = air
    n = len(borders) - 1
    x, s = np.maximum(y[:n], 1e-4), y[n : 2 * n]
    ds = np.diff(borders)
    middle = 0.5 * (borders[1:] + borders[:-1])
    v = volume(case, x)
    enclosed = np.concatenate([[0], np.cumsum(v * ds)])
    v0 = volume(case, case.water)
    solids = 0.25 * math.pi * case.diameter_m**2 / v0
    length = (enclosed[-1] / v0) ** case.length_share
    d = 2 * math.sqrt(solids * enclosed[-1] / math.pi / length)
    h, k_air = film(case, d, speed, celsius)
    conductance = 1 / (1 / k_air + case.casing)
    exchange = h + case.other_heat
    c = saturated_kg_m3(celsius)
    slope = (math.log(saturated_kg_m3(celsius + 0.01)) - math.log(saturated_kg_m3(celsius - 0.01))) / 0.02
    latent = 2.501e6 - 2361 * celsius
    brine = np.minimum(s / x, 6.144 * 0.058443)

    def loss(rim: float) -> tuple[float, float]:
        aw = float(activity(case, np.array(rim), np.array(min(brine[-1], 0.359) * rim)))
        flux = conductance * c * (aw - rh) / (1 + conductance * c * latent * slope * aw / exchange)
        return 2 * math.sqrt(math.pi * length * enclosed[-1] / solids) * flux, latent * flux / exchange

    # The rim: half a cell of diffusion in series with the surface, found by bisection.
    def inner(rim: float, colder: float) -> float:
        theta = math.exp(-case.activation / 8.314462618 * (1 / (celsius - colder + 273.15) - 1 / 287.15))
        grid = x[-1] + (rim - x[-1]) * np.array([0.06943, 0.33001, 0.66999, 0.93057])
        u = (rim - x[-1]) * np.dot(
            [0.17393, 0.32607, 0.32607, 0.17393], diffusivity(case, grid) / volume(case, grid) ** 2
        )
        return -4 * math.pi * length * theta / solids * enclosed[-1] * u / (1 - middle[-1])

    low, high = 1e-3, max(x[-1] * 1.5, 8.0)
    for _ in range(60):
        rim = 0.5 * (low + high)
        out, colder = loss(rim)
        if inner(rim, colder) > out:
            low = rim
        else:
            high = rim
    out, colder = loss(rim)
    theta = math.exp(-case.activation / 8.314462618 * (1 / (celsius - colder + 273.15) - 1 / 287.15))
    factor = 4 * math.pi * length * theta / solids
    face = 0.5 * (x[1:] + x[:-1])
    g = diffusivity(case, face) / volume(case, face) ** 2
    gap = middle[1:] - middle[:-1]
    q = factor * enclosed[1:-1] * g * (x[1:] - x[:-1]) / gap
    c_face = 0.5 * (brine[1:] + brine[:-1])
    p = (
        case.salt_ratio * factor * enclosed[1:-1] * g * face * (brine[1:] - brine[:-1]) / gap
        + case.drag * c_face * q
    )
    q = np.concatenate([[0], q, [-out]])
    p = np.concatenate([[0], p, [0]])
    return np.concatenate([np.diff(q) / ds, np.diff(p) / ds, [out]])


def dry(case: Case, days: np.ndarray, cells: int = 40) -> dict[str, np.ndarray]:
    """Weight loss, rim cell and totals at the given days."""
    xi = np.linspace(0, 1, cells + 1)
    borders = 1 - (1 - xi) ** 2
    y = np.concatenate([np.full(cells, case.water), np.full(cells, case.salt), [0.0]])
    lost, start = [np.zeros(1)] if days[0] == 0 else [], 0.0
    n = cells
    for end, celsius, rh, speed in case.air:
        wanted = days[(days > start) & (days <= end)] * 86400
        stop = min(end, days[-1]) * 86400
        answer = solve_ivp(
            lambda _t, state, now=(celsius, rh, speed): rates(case, state, borders, now),
            (start * 86400, stop),
            y,
            method="BDF",
            rtol=1e-6,
            atol=1e-9,
            t_eval=np.unique(np.append(wanted, stop)),
        )
        lost.append(answer.y[-1][: len(wanted)])
        y, start = answer.y[:, -1], end
        if start >= days[-1]:
            break
    return {
        "loss": np.concatenate(lost) / case.green_mass,
        "water": y[:n],
        "salt": y[n : 2 * n],
        "share": borders,
    }
