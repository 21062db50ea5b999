"""An independent fine finite-volume drying code on graded cells, nothing in it from saltloft.

Written from the equations of docs/models/drying.md by their printed form, with its own
diffusivity, sorption, film, saturation pressure and latent heat. Water and salt stand at
nodes s = 1 - (1 - i/N)^2 of the share of solids, the last node is the rim itself; fluxes
cross midway. Time by scipy's VODE (BDF, banded Jacobian), begun anew at every jump of the
air and never longer than an hour, so that no reading of a log is stepped over. Slow beside
the engine and plain: the yardstick.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy.integrate import ode

Array = NDArray[np.float64]
DAY_S = 86400.0
# A change within so short a time is a jump: the solver begins anew there. [d]
JUMP_D = 5.0 / 1440.0


class Case(NamedTuple):
    """One piece and how it stands in its room; plain numbers in SI."""

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
    draught: float = 1.0  # air at the piece over that of the log
    warmer: float = 0.0  # at the piece over the log, K
    wetter: float = 0.0  # at the piece over the log, of the saturated
    ends: float = 1.0  # surface over that of the long round piece
    # Width of the way out at the inner share y of the volume: constant + linear y + square y^2.
    path: tuple[float, float, float] = (0.0, 1.0, 0.0)
    sorption_heat: float = 0.0  # net, over the gas constant, per unit of the protein term, K
    rim_reversible: float = 0.0  # s/m
    rim_lasting: float = 0.0  # s/m
    rim_wet: float = 0.9
    rim_dry: float = 0.75
    harden_s: float = 86400.0
    soften_s: float = 86400.0


@dataclass(frozen=True)
class Log:
    """The air: readings at rising times; T and RH straight between them, speeds held to the next."""

    time_d: Array
    celsius: Array
    humidity: Array
    speed: Array

    @staticmethod
    def of_stages(*stages: tuple[float, float, float, float]) -> Log:
        """Constant stretches (end day, degC, RH, m/s), a second apart."""
        rows, start = [], 0.0
        for end, celsius, humidity, speed in stages:
            rows += [(start, celsius, humidity, speed), (end, celsius, humidity, speed)]
            start = end + 1.0 / DAY_S
        return Log(*np.array(rows).T)

    def jumps(self) -> NDArray[np.int64]:
        """Readings at which the solver begins anew: a new speed, both ends of a fast change."""
        fast = np.diff(self.time_d) < JUMP_D
        at = np.diff(self.speed) != 0.0
        ends = np.concatenate([[False], fast | at]) | np.concatenate([fast, [False]])
        return np.flatnonzero(ends)


@njit(cache=True)
def brine_activity(m: float) -> float:
    """a_w of a sodium chloride brine, capped at 6.144 mol/kg (Pitzer, constants recalled)."""
    m = min(max(m, 0.0), 6.144)
    i = math.sqrt(m)
    phi = 1 - 0.3915 * i / (1 + 1.2 * i) + m * (0.0765 + 0.2664 * math.exp(-2 * i)) + m * m * 0.00127
    return math.exp(-2 * 0.0180153 * m * phi)


@njit(cache=True)
def activity(case: Case, x: float, s: float, celsius: float) -> float:
    """a_w of a place by the product rule; the protein term warms by Clausius and Clapeyron."""
    x = max(x, 1e-4)
    solutes = 1 / (1 + 0.0180153 * case.solutes / x)
    warmth = max(1 + case.sorption_heat * (1 / (celsius + 273.15) - 1 / 287.15), 0.1)
    protein = math.exp(-((case.halsey_a / x) ** case.halsey_r) * warmth)
    return brine_activity(s / x / 0.058443) * solutes * protein


@njit(cache=True)
def hardening(case: Case, memory: tuple[float, float], aw: float) -> tuple[float, float]:
    """How fast a rim that remembers hardens, both ways and for good; 1/s."""
    part = min(max((case.rim_wet - aw) / (case.rim_wet - case.rim_dry), 0.0), 1.0)
    goal = part * part * (3 - 2 * part)
    pace = case.harden_s if goal > memory[0] else case.soften_s
    return (goal - memory[0]) / pace, max(goal - memory[1], 0.0) / case.harden_s


@njit(cache=True)
def volume(case: Case, x: float) -> float:
    """m3 per kg of solids; salt's share at its start."""
    return 1 / 1330 + x / 999 + case.fat / 920 + 0.33e-3 * case.salt


@njit(cache=True)
def mobility(case: Case, x: float) -> float:
    """D/v2 at 14 degC, kg2/(m4 s)."""
    x = max(x, 1e-6)
    p = (1 / 1330) / (1 / 1330 + x / 999)  # solids in solids and water, by volume
    f, f2 = (1 - p) / (1 + p), 2 / (2 + 2 * 999 / 1330)
    v = volume(case, x)
    phi = case.fat / 920 / v
    d = case.d0 * (f / f2) ** case.k * (1 - phi) ** case.nu / (1 + phi / 2) / (1 + (case.crust / x) ** 4)
    return d / (v * v)


@njit(cache=True)
def saturated_kg_m3(celsius: float) -> float:
    """Saturated vapour over water with the enhancement of moist air (Buck 1981)."""
    pressure = (1.0007 + 3.46e-8 * 101325) * 611.21 * math.exp(17.502 * celsius / (240.97 + celsius))
    return pressure * 0.0180153 / 8.314462618 / (celsius + 273.15)


@njit(cache=True)
def film(d: float, speed: float, celsius: float) -> tuple[float, float]:
    """Heat transfer coefficient and mass over heat: Churchill-Bernstein, Churchill-Chu, cube blend."""
    t = celsius + 273.15
    rho = 101325 / 287.05 / t
    mu = 1.458e-6 * t**1.5 / (t + 110.4)
    nu, pr = mu / rho, 0.71
    re = speed * d / nu
    forced = 0.62 * math.sqrt(re) * pr ** (1 / 3) / (1 + (0.4 / pr) ** (2 / 3)) ** 0.25
    forced = 0.3 + forced * (1 + (re / 282000) ** 0.625) ** 0.8
    ra = 9.80665 / t * d**3 / nu**2 * pr
    natural = (0.6 + 0.387 * ra ** (1 / 6) / (1 + (0.559 / pr) ** (9 / 16)) ** (8 / 27)) ** 2
    h = (forced**3 + natural**3) ** (1 / 3) * mu * 1006 / pr / d
    return h, 1 / (rho * 1006 * 0.86 ** (2 / 3))


@njit(cache=True)
def surface(
    case: Case, relative: float, aw: float, memory: tuple[float, float], air: tuple[float, float, float]
) -> tuple[float, float]:
    """Water leaving per kg of solids and second, and how much colder the piece is (K)."""
    celsius, speed = air[0] + case.warmer, air[2] * case.draught
    humidity = min(max(air[1] + case.wetter, 0.0), 0.995)
    length = relative**case.length_share
    d = case.diameter_m * math.sqrt(relative / length)
    h, over = film(d, speed, celsius)
    h *= case.film
    skin = case.casing + case.rim_reversible * memory[0] + case.rim_lasting * memory[1]
    conductance = 1 / (1 / (h * over) + skin)
    exchange = h + case.other_heat
    c = saturated_kg_m3(celsius)
    slope = math.log(saturated_kg_m3(celsius + 0.01) / saturated_kg_m3(celsius - 0.01)) / 0.02
    latent = 2.501e6 - 2361 * celsius
    flux = conductance * c * (aw - humidity) / (1 + conductance * c * latent * slope * aw / exchange)
    area = 4 / case.diameter_m * volume(case, case.water) * math.sqrt(relative * length)
    return case.ends * area * flux, latent * flux / exchange


@njit(cache=True)
def rates(case: Case, y: Array, share: Array, air: tuple[float, float, float]) -> Array:
    """Time derivative of water and salt (in turn) at the nodes, then of the rim's memory."""
    n = len(share)
    out = np.zeros(2 * n + 2)
    faces, cell = 0.5 * (share[1:] + share[:-1]), np.empty(n)
    cell[0], cell[n - 1] = faces[0], 1 - faces[n - 2]
    cell[1 : n - 1] = faces[1:] - faces[:-1]
    v0, whole = volume(case, case.water), 0.0
    for i in range(n):
        whole += cell[i] * volume(case, y[2 * i])
    relative = whole / v0
    aw = activity(case, y[2 * n - 2], y[2 * n - 1], air[0] + case.warmer)
    memory = (y[2 * n], y[2 * n + 1])
    loss, colder = surface(case, relative, aw, memory, air)
    kelvin = air[0] + case.warmer - colder + 273.15
    theta = math.exp(-case.activation / 8.314462618 * (1 / kelvin - 1 / 287.15))
    # 4 pi l / M of the printed form, M = pi d0^2 / (4 v0).
    factor = 16 * v0 / case.diameter_m**2 * relative**case.length_share * theta
    enclosed = 0.0
    for i in range(n - 1):
        enclosed += cell[i] * volume(case, y[2 * i])
        x0, s0, x1, s1 = y[2 * i], y[2 * i + 1], y[2 * i + 2], y[2 * i + 3]
        c0, c1 = min(s0 / x0, 6.144 * 0.058443), min(s1 / x1, 6.144 * 0.058443)
        gap, x, c = share[i + 1] - share[i], 0.5 * (x0 + x1), 0.5 * (c0 + c1)
        g = mobility(case, x)
        mean = (mobility(case, x0) + 4 * g + mobility(case, x1)) / 6
        inside = enclosed / whole
        push = factor * whole * (case.path[0] + inside * (case.path[1] + inside * case.path[2])) / gap
        water = push * mean * (x1 - x0)
        salt = push * case.salt_ratio * g * x * (c1 - c0) + case.drag * c * water
        out[2 * i] += water / cell[i]
        out[2 * i + 1] += salt / cell[i]
        out[2 * i + 2] -= water / cell[i + 1]
        out[2 * i + 3] -= salt / cell[i + 1]
    out[2 * n - 2] -= loss / cell[n - 1]
    out[2 * n], out[2 * n + 1] = hardening(case, memory, aw)
    return out


@njit(cache=True)
def rates_in(  # noqa: PLR0917 - the solver hands its parameters by place
    t: float,
    y: Array,
    case: Case,
    share: Array,
    log: tuple[Array, Array, Array, Array],
    first: int,
    last: int,
) -> Array:
    """`rates` at second t in the air between two readings of a log, the ends held beyond them."""
    time = log[0]
    i = min(max(np.searchsorted(time, t) - 1, first), last - 1)
    part = min(max((t - time[i]) / (time[i + 1] - time[i]), 0.0), 1.0)
    now = (
        log[1][i] + part * (log[1][i + 1] - log[1][i]),
        log[2][i] + part * (log[2][i + 1] - log[2][i]),
        log[3][i],
    )
    return rates(case, y, share, now)


@dataclass(frozen=True)
class Dried:
    """What came out, at the wanted days: loss of weight, a_w of the rim; nodes and profiles (days, nodes)."""

    loss: Array
    rim_activity: Array
    share: Array
    water: Array
    salt: Array


def _solver(right: Callable[..., Array], tolerance: float, parts: tuple[object, ...]) -> ode:
    solver = ode(right)
    solver.set_integrator(
        "vode", method="bdf", lband=3, uband=3, rtol=tolerance, atol=1e-3 * tolerance,
        nsteps=200_000, max_step=3600.0, first_step=0.1,
    )  # fmt: skip
    solver.set_f_params(*parts)
    return solver


def dry(case: Case, log: Log, days: Array, cells: int = 40, tolerance: float = 1e-6) -> Dried:
    """Dry a piece to the wanted days (rising, from 0)."""
    share = 1 - (1 - np.linspace(0, 1, cells + 1)) ** 2
    y = np.append(np.tile([case.water, case.salt], cells + 1), [0.0, 0.0])
    kept = [y.copy()] * int(np.sum(days <= 0.0))
    air = (log.time_d * DAY_S, log.celsius, log.humidity, log.speed)
    last = len(log.time_d) - 1
    borders = np.unique(np.concatenate([[0], log.jumps(), [last]]))
    for first, end in itertools.pairwise(borders):
        from_d, until_d = float(log.time_d[first]), float(log.time_d[end])
        until_d = float(max(until_d, days[-1])) if end == last else until_d
        solver = _solver(rates_in, tolerance, (case, share, air, first, end))
        solver.set_initial_value(y, from_d * DAY_S)
        for day in days[(days > from_d) & (days <= until_d)]:
            kept.append(solver.integrate(day * DAY_S).copy())
        if len(kept) == len(days):
            break
        y = solver.integrate(until_d * DAY_S) if solver.t < until_d * DAY_S else kept[-1]
        if not solver.successful():
            raise RuntimeError(f"the finite volume stopped at day {solver.t / DAY_S:g} for {case}")
    at = np.array(kept)
    water, salt = at[:, 0:-2:2], at[:, 1:-2:2]
    celsius = np.interp(days, log.time_d, log.celsius) + case.warmer
    cell = np.diff(np.concatenate([[0.0], 0.5 * (share[1:] + share[:-1]), [1.0]]))
    rim = [activity(case, *row) for row in zip(water[:, -1], salt[:, -1], celsius, strict=True)]
    return Dried((case.water - water @ cell) / case.green_mass, np.array(rim), share, water, salt)
