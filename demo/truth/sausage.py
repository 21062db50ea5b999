"""Water in the pieces of the truth: rim, mantle and core, and a rim that stiffens for good.

Every piece has three lumped compartments of water per dry matter; salt follows
its own differences in brine strength. The surface gives vapour by a Penman-like
combination of air film, wet skin and radiation. Nothing here is a diffusion
equation.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from demo.draws import stream
from demo.plan import WRONG_CASING_LOT, LotPlan
from demo.truth.sorption import Array, saturation_pressure_pa, water_activity

Picked = NDArray[np.int64]
PIECES = 24
"""Pieces of a lot that the truth follows; the first six bear tags."""
SHARES = (0.20, 0.36, 0.44)
"""Dry matter in rim, mantle and core."""


@dataclass
class Pieces:
    """State and constants of some pieces, one array entry a piece.

    Args:
        water, salt: arrays (3, n). Per fat-free salt-free dry matter. [kg/kg]
        stiff: array (n,). Stiffening of the rim; never falls. [-]
        dry: array (n,). Fat-free salt-free dry matter per green mass. [kg/kg]
        other_mol: array (n,). Other dissolved matter per dry matter. [mol/kg]
        diameter_m: array (n,). Filled. [m]
        inner, skin, crusting: arrays (n,). Factors of the lot and piece on mixing, surface, stiffening.
        place_air: array (n,). Factor of the hanging place on the air speed.
        place_rh: array (n,). What the place's RH differs from the room's. [0..1]
        start: array (n,). Water per dry matter at stuffing. [kg/kg]
    """

    water: Array
    salt: Array
    stiff: Array
    dry: Array
    other_mol: Array
    diameter_m: Array
    inner: Array
    skin: Array
    crusting: Array
    place_air: Array
    place_rh: Array
    start: Array

    def take(self, picked: Picked) -> Pieces:
        """The picked pieces, copied."""
        return Pieces(*(getattr(self, item.name)[..., picked] for item in fields(self)))

    def put(self, picked: Picked, other: Pieces) -> None:
        """Write state of picked pieces back."""
        for name in ("water", "salt", "stiff"):
            getattr(self, name)[..., picked] = getattr(other, name)

    @property
    def loss(self) -> Array:
        """Weight lost since stuffing. [0..1]"""
        mean = sum(share * self.water[index] for index, share in enumerate(SHARES))
        lost: Array = self.dry * (self.start - mean)
        return lost


def composition(seed: int, plan: LotPlan) -> tuple[float, float, float]:
    """Water, fat and dry matter of a lot's batter as it really is. [0..1]"""
    rng = stream(seed, "batter", plan.name)
    fat = (plan.line.fat_pct + 1.3 * rng.standard_normal()) / 100
    lean = 1.0 - fat - plan.line.salt_pct / 100 - 0.014
    water = lean * (0.772 + 0.006 * rng.standard_normal())
    return water, fat, 1.0 - water - fat - plan.line.salt_pct / 100


def pieces_of(seed: int, plan: LotPlan) -> Pieces:
    """The followed pieces of one lot at stuffing."""
    rng = stream(seed, "pieces", plan.name)
    water, _, dry = composition(seed, plan)
    lot_inner, lot_skin = np.exp(0.15 * rng.standard_normal()), np.exp(0.13 * rng.standard_normal())
    lot_crust = np.exp(0.3 * rng.standard_normal())
    calibre = (
        44.5 if plan.name == WRONG_CASING_LOT else plan.line.calibre_mm * (1 + 0.012 * rng.standard_normal())
    )
    own = rng.standard_normal((5, PIECES))
    dry_each = dry * (1 + 0.012 * own[0])
    start = np.full(PIECES, water / dry) * (1 - 0.010 * own[0])
    return Pieces(
        water=np.tile(start, (3, 1)),
        salt=np.tile(plan.line.salt_pct / 100 / dry_each, (3, 1)),
        stiff=np.zeros(PIECES),
        dry=dry_each,
        other_mol=0.30 / dry_each,
        diameter_m=calibre / 1000 * (1 + 0.022 * own[1]),
        inner=lot_inner * np.exp(0.05 * own[2]),
        skin=lot_skin * np.exp(0.06 * own[3]),
        crusting=np.full(PIECES, lot_crust),
        place_air=np.exp(0.22 * own[4]),
        place_rh=0.008 * rng.standard_normal(PIECES),
        start=start,
    )


def gather(parts: list[Pieces]) -> Pieces:
    """Many lots' pieces side by side."""
    return Pieces(
        *(np.concatenate([getattr(part, item.name) for part in parts], axis=-1) for item in fields(Pieces))
    )


def surface_loss(pieces: Pieces, temperature_c: Array, rh: Array, air_m_s: Array) -> Array:
    """Water given to the air per dry matter. [kg/kg/s]"""
    rim = water_activity(pieces.water[0], pieces.salt[0], pieces.other_mol)
    diameter = pieces.diameter_m * np.sqrt(np.maximum(1.0 - 0.95 * pieces.loss, 0.4))
    # Dry film, kg/m2/s per unit of water activity at 14 degC, with a floor of still air.
    film = 1.02e-4 * np.sqrt((air_m_s * pieces.place_air + 0.03) / 0.5 * 0.055 / diameter)
    pressure = saturation_pressure_pa(temperature_c)
    film = film * pressure / 1598.0
    slope = pressure * 4284.0 / (243.12 + temperature_c) ** 2
    convection = film / film.mean() * 5.2
    wet = 1.0 + slope * rim / (66.0 * (1.0 + 4.6 / convection))
    conductance = pieces.skin / (wet / film + 1.8e4 * (1.0 + pieces.stiff))
    area = 4.0 / (1050.0 * diameter) / pieces.dry * np.sqrt(np.maximum(1.0 - 0.95 * pieces.loss, 0.4))
    given: Array = conductance * area * (rim - np.minimum(rh + pieces.place_rh, 0.985))
    return given


MIXING = 9.8e-10
"""Scale of mixing between compartments at 14 degC. [m2/s]"""


def advance(pieces: Pieces, temperature_c: Array, rh: Array, air_m_s: Array, seconds: float) -> Array:
    """Advance all pieces by some seconds; returns the water lost per dry matter. [kg/kg]"""
    given = surface_loss(pieces, temperature_c, rh, air_m_s) * seconds
    warm = np.exp(0.045 * (temperature_c - 14.0))
    base = MIXING * pieces.inner * warm / pieces.diameter_m**2 * seconds
    water, salt = pieces.water, pieces.salt
    relative = water / pieces.start
    outer = 7.5 * base * np.exp(1.35 * (0.5 * (relative[0] + relative[1]) - 1.0)) / (1.0 + pieces.stiff)
    inner = 4.2 * base * np.exp(1.35 * (0.5 * (relative[1] + relative[2]) - 1.0))
    to_rim, to_mantle = outer * (water[1] - water[0]), inner * (water[2] - water[1])
    brine = salt / water
    salt_out, salt_in = 3.0 * outer * (brine[1] - brine[0]), 3.0 * inner * (brine[2] - brine[1])
    mean = 0.5 * (water[0] + water[2])
    water[0] += (to_rim - given) / SHARES[0]
    water[1] += (to_mantle - to_rim) / SHARES[1]
    water[2] -= to_mantle / SHARES[2]
    salt[0] += salt_out * mean / SHARES[0]
    salt[1] += (salt_in - salt_out) * mean / SHARES[1]
    salt[2] -= salt_in * mean / SHARES[2]
    # Below a third of its first water the rim sets, up to a limit; what has set stays set.
    over = np.maximum(0.33 - water[0] / pieces.start, 0.0)
    pieces.stiff += pieces.crusting * over * (1.0 - pieces.stiff / 1.5) * seconds / 86400.0 * 1.2
    return given
