"""Water and salt in many drying cylinders at once: finite volumes in the dry-solids coordinate.

`s` in 0..1 is the share of dry solids inside a shell, X and S are kg of water and salt per kg of
fat-free salt-free solids. Volumes add, the length stays. Unknowns sit on nodes graded towards the
rim, the last on the surface; steps are implicit with the coefficients of the step's beginning.
Water may be split in two: a share that flows and one that only gives to it (two compartments).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tests.truth.materials import (
    FAT_KG_M3,
    LATENT_J_KG,
    SALT_M3_KG,
    SOLIDS_KG_M3,
    WATER_KG_M3,
    film_m_s,
    film_w_m2k,
    vapour_kg_m3,
    water_activity,
)

Array = NDArray[np.float64]
Law = Callable[[Array, Array], Array]
DAY_S = 86400.0


@dataclass(frozen=True)
class Body:
    """The pieces of a batch; every array is (pieces,) unless said.

    Args:
        diameter_m: Stuffed diameter. [m]
        water, salt, fat: Per kg of fat-free salt-free solids. [kg/kg]
        solutes: Other solutes per kg of those solids. [mol/kg]
        law: callable (water, fat volume fraction) -> diffusivity at 14 degC, each (faces, pieces). [m2/s]
        activation_j_mol: Of that diffusivity. [J/mol]
        salt_ratio: Salt's diffusivity over water's.
        drag: Share of the moving water that takes its salt along, 0..1.
        film_factor: On heat and mass film alike, dimensionless.
        casing_s_m: Resistance of the casing. [s/m]
        radiation_w_m2k: Heat that comes other than by the film. [W/(m2 K)]
        slow_share: Share of the water, at equilibrium, that does not flow itself, 0..1.
        slow_per_s: Rate at which that share gives to the flowing one. [1/s]
    """

    diameter_m: Array
    water: Array
    salt: Array
    fat: Array
    solutes: Array
    law: Law
    activation_j_mol: Array
    salt_ratio: Array
    drag: Array
    film_factor: Array
    casing_s_m: Array
    radiation_w_m2k: Array
    slow_share: Array
    slow_per_s: Array

    def volume(self, water: Array, salt: Array) -> Array:
        """Volume per kg of solids. [m3/kg]"""
        return 1.0 / SOLIDS_KG_M3 + self.fat / FAT_KG_M3 + water / WATER_KG_M3 + SALT_M3_KG * salt

    @property
    def solids_kg_m(self) -> Array:
        """Fat-free salt-free solids per metre of length. [kg/m]"""
        return np.pi * self.diameter_m**2 / 4.0 / self.volume(self.water, self.salt)


@dataclass(frozen=True)
class PieceAir:
    """The air at each piece, step by step.

    Args:
        edge_d: array (steps + 1,). Whole days are among them. [d]
        temperature_c: array (steps, pieces). [degC]
        relative_humidity: array (steps, pieces). 0..1.
        air_m_s: array (steps, pieces). [m/s]
        exchange: array (steps, pieces). Share of the driving difference that stands at the piece;
            under 1 where still air clings to it, 0..1.
    """

    edge_d: Array
    temperature_c: Array
    relative_humidity: Array
    air_m_s: Array
    exchange: Array


@dataclass(frozen=True)
class Course:
    """Means per kg of solids on each whole day, arrays (days, pieces): water, salt, evaporated. [kg/kg]"""

    water: Array
    salt: Array
    evaporated: Array


def solve_tridiagonal(lower: Array, diagonal: Array, upper: Array, right: Array) -> Array:
    """Solve many tridiagonal systems at once.

    Args:
        lower, diagonal, upper, right: arrays (nodes, systems). lower[0] and upper[-1] are not looked at.

    Returns:
        Array (nodes, systems).
    """
    nodes = len(diagonal)
    ratio, answer = np.empty_like(diagonal), np.empty_like(diagonal)
    pivot = diagonal[0]
    answer[0] = right[0] / pivot
    for i in range(1, nodes):
        ratio[i] = upper[i - 1] / pivot
        pivot = diagonal[i] - lower[i] * ratio[i]
        answer[i] = (right[i] - lower[i] * answer[i - 1]) / pivot
    for i in range(nodes - 2, -1, -1):
        answer[i] -= ratio[i + 1] * answer[i + 1]
    return answer


class Drying:
    """One batch under way: node values, and what has left so far."""

    def __init__(self, body: Body, nodes: int) -> None:
        grid = 1.0 - (1.0 - np.linspace(0.0, 1.0, nodes)) ** 2
        middle = np.concatenate([[0.0], 0.5 * (grid[1:] + grid[:-1]), [1.0]])
        self.body = body
        self.gap = np.diff(grid)[:, None]
        self.width = np.diff(middle)[:, None]
        self.inside = np.cumsum(np.diff(middle))[:-1, None]
        shape = (nodes, len(body.water))
        self.flowing = np.broadcast_to(body.water, shape).copy()
        self.slow = self.flowing.copy()
        self.salt = np.broadcast_to(body.salt, shape).copy()
        self.evaporated = np.zeros(shape[1])

    @property
    def water(self) -> Array:
        """Water on the nodes, both compartments. [kg/kg]"""
        share = self.body.slow_share
        return (1.0 - share) * self.flowing + share * self.slow

    def mean(self, values: Array) -> Array:
        """Mean of a nodal quantity over the solids, (pieces,)."""
        return np.asarray((self.width * values).sum(axis=0))

    def surface_loss(
        self, air: tuple[Array, Array, Array, Array], radius_m: Array
    ) -> tuple[Array, Array, Array]:
        """Water leaving, per kg of solids and second, its slope with rim water, and the rim's cooling.

        Evaporative cooling in closed form: the rim is colder by what evaporation takes over what
        film and radiation bring, which lowers its vapour pressure by 6.5 % a kelvin.
        """
        temperature, humidity, speed, exchange = air
        body, rim, rim_salt = self.body, self.flowing[-1], self.salt[-1]
        heat = film_w_m2k(2.0 * radius_m, speed) * body.film_factor
        conductance = exchange / (1.0 / film_m_s(heat) + body.casing_s_m)
        saturated = vapour_kg_m3(temperature)
        heat_in = heat * exchange + body.radiation_w_m2k

        def flux(water: Array) -> Array:
            activity = water_activity(water, rim_salt / water, body.solutes)
            cooling = 1.0 + conductance * saturated * LATENT_J_KG * 0.065 * activity / heat_in
            return conductance * saturated * (activity - humidity) / cooling

        here, nudge = flux(rim), 1e-4 * rim
        slope = (flux(rim + nudge) - here) / nudge
        per_solids = 2.0 * np.pi * radius_m / body.solids_kg_m
        return per_solids * here, per_solids * slope, LATENT_J_KG * here / heat_in

    def step(self, seconds: float, air: tuple[Array, Array, Array, Array]) -> None:
        """Go on by one step in this air (temperature, humidity, speed, exchange)."""
        body = self.body
        volume = body.volume(self.water, self.salt)
        total = np.cumsum(self.width * volume, axis=0)
        radius = np.sqrt(body.solids_kg_m * total[-1] / np.pi)
        loss, slope, cooling = self.surface_loss(air, radius)
        kelvin = air[0] - cooling + 273.15
        warm = np.exp(-body.activation_j_mol / 8.314 * (1.0 / kelvin - 1.0 / 287.15))
        between = 0.5 * (volume[1:] + volume[:-1])
        law = body.law(0.5 * (self.flowing[1:] + self.flowing[:-1]), body.fat / FAT_KG_M3 / between)
        conduct = 4.0 * np.pi / body.solids_kg_m * total[:-1] * law * warm / between**2 / self.gap
        outward = self._water_step(seconds, conduct, loss, slope)
        self._salt_step(seconds, conduct, outward)

    def _water_step(self, seconds: float, conduct: Array, loss: Array, slope: Array) -> Array:
        """New water; returns what flowed outward between the nodes, per kg of solids and second."""
        body = self.body
        given = seconds * body.slow_per_s / (1.0 + seconds * body.slow_per_s)
        store = self.width * ((1.0 - body.slow_share) + body.slow_share * given)
        right = self.width * ((1.0 - body.slow_share) * self.flowing + body.slow_share * given * self.slow)
        diagonal, lower, upper = _diffusion_rows(store, seconds * conduct)
        diagonal[-1] += seconds * slope
        right[-1] -= seconds * (loss - slope * self.flowing[-1])
        fresh = solve_tridiagonal(lower, diagonal, upper, right)
        self.evaporated += seconds * (loss + slope * (fresh[-1] - self.flowing[-1]))
        self.slow += given * (fresh - self.slow)
        self.flowing = fresh
        return conduct * (fresh[:-1] - fresh[1:])

    def _salt_step(self, seconds: float, conduct: Array, outward: Array) -> None:
        """New salt: it diffuses on brine concentration and goes with part of the moving water."""
        body = self.body
        even = seconds * body.salt_ratio * conduct * 0.5 * (self.flowing[1:] + self.flowing[:-1])
        drag = seconds * body.drag * outward
        out, back = np.maximum(drag, 0.0), np.minimum(drag, 0.0)
        diagonal, lower, upper = _diffusion_rows(self.width * self.flowing, even)
        diagonal[:-1] += out
        diagonal[1:] -= back
        lower[1:] -= out
        upper[:-1] += back
        brine = solve_tridiagonal(lower, diagonal, upper, self.width * self.salt)
        self.salt = brine * self.flowing


def _diffusion_rows(store: Array, conduct: Array) -> tuple[Array, Array, Array]:
    """Diagonal, lower and upper rows of an implicit diffusion step."""
    diagonal = store.copy()
    lower, upper = np.zeros_like(diagonal), np.zeros_like(diagonal)
    diagonal[:-1] += conduct
    diagonal[1:] += conduct
    upper[:-1] = -conduct
    lower[1:] = -conduct
    return diagonal, lower, upper


def dry(body: Body, air: PieceAir, nodes: int = 20) -> Course:
    """Dry a batch through its air.

    Args:
        body: Body.
        air: PieceAir.
        nodes: int. From axis to rim.

    Returns:
        Course on every whole day from 0 to the end of the air.
    """
    drying = Drying(body, nodes)
    days = [(drying.mean(drying.water), drying.mean(drying.salt), drying.evaporated.copy())]
    columns = (air.temperature_c, air.relative_humidity, air.air_m_s, air.exchange)
    for step, seconds in enumerate(np.diff(air.edge_d) * DAY_S):
        drying.step(float(seconds), tuple(column[step] for column in columns))
        if abs(air.edge_d[step + 1] - len(days)) < 1e-9:
            days.append((drying.mean(drying.water), drying.mean(drying.salt), drying.evaporated.copy()))
    water, salt, evaporated = (np.array(part) for part in zip(*days, strict=True))
    return Course(water, salt, evaporated)
