"""Houses, their products and what differs from lot to lot: the draws behind every truth.

Magnitudes come from practice (days by calibre, room set-points, batch-to-batch doubt), not from
the engine's priors. A lot's draws hang on (seed, house, lot) only, so the first lots are the same
however many are asked for.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.random import Generator, Philox, SeedSequence
from numpy.typing import NDArray

from tests.truth.known import Stage
from tests.truth.materials import batter

Array = NDArray[np.float64]

LOTS_PER_HOUSE = 20
PIECES, TAGS = 24, 6
PLACES = ("top near", "top far", "middle near", "middle far", "bottom near", "bottom far")
# One product of each row to a house; common practice, no source.
CALIBRES_MM = ((32, 34, 38, 42), (45, 48, 50, 52, 55), (58, 60, 65, 70), (75, 80, 85, 90, 95))


@dataclass(frozen=True)
class Product:
    """What a house makes again and again.

    Args:
        name: str.
        calibre_m, length_m: float. [m]
        fat, salt: float. By the recipe, fractions of the batter.
        target_loss: float. 0..1.
        casing: str.
        casing_s_m: float. Resistance of that casing. [s/m]
        stages: tuple of Stage.
    """

    name: str
    calibre_m: float
    length_m: float
    fat: float
    salt: float
    target_loss: float
    casing: str
    casing_s_m: float
    stages: tuple[Stage, ...]


@dataclass(frozen=True)
class House:
    """What stays the same over all lots of a house.

    Args:
        name: str.
        products: tuple of Product, one of each size class.
        log_diffusivity: float. Natural logarithm of this house's meat against the middle.
        law_shape: float. Standard normal draw that shapes the diffusivity law.
        law_fat: float. Standard normal draw for the fat's obstruction.
        humidity_offset: float. True room minus set-point. 0..1 scale.
        place_humidity: array (places,). Air at the place minus room. 0..1 scale.
        place_air: array (places,). Air speed at the place over the stated, dimensionless.
        probe_humidity: float. The probe's constant bias. 0..1 scale.
        probe_temperature_k: float. [K]
        probe_drift_per_d: float. Drift of a probe that drifts. [1/d]
        fan_off_nights: bool. Where fans are stopped unlogged, they also are at night.
        division_kg: float. Of the scale. [kg]
        log_minutes: int. Step of the logger. [min]
        weighing_days: tuple of int. The habit of the first three weeks, then weekly.
    """

    name: str
    products: tuple[Product, ...]
    log_diffusivity: float
    law_shape: float
    law_fat: float
    humidity_offset: float
    place_humidity: Array
    place_air: Array
    probe_humidity: float
    probe_temperature_k: float
    probe_drift_per_d: float
    fan_off_nights: bool
    division_kg: float
    log_minutes: int
    weighing_days: tuple[int, ...]


@dataclass(frozen=True)
class LotDraw:
    """What is this lot's own; piece arrays are (pieces,).

    Args:
        number: int. Counted over all houses from 0.
        house: House.
        product: Product.
        start_day: float. In the house's calendar. [d]
        fat, salt, water, protein: float. What is really in the batter, fractions.
        solutes_mol_kg: float. Other solutes per kg of batter. [mol/kg]
        log_diffusivity: float. Lot's own, on top of the house's.
        piece_log_diffusivity: array.
        diameter_m, length_m: arrays. [m]
        rack: array of int. 0..2, which rack each piece hangs on.
        tagged: array of int (tags,).
        rng: Generator. For what follows: air, moves, scale.
    """

    number: int
    house: House
    product: Product
    start_day: float
    fat: float
    salt: float
    water: float
    protein: float
    solutes_mol_kg: float
    log_diffusivity: float
    piece_log_diffusivity: Array
    diameter_m: Array
    length_m: Array
    rack: NDArray[np.int64]
    tagged: NDArray[np.int64]
    rng: Generator


def generator(*words: int) -> Generator:
    """Counter-based random numbers that hang on these words alone."""
    return Generator(Philox(SeedSequence(words)))


def practice_days(calibre_m: Array) -> Array:
    """Days to about 35 % by calibre in practice: 30 d at 50 mm, 65 at 80 (memory, computed). [d]"""
    return 30.0 * (np.asarray(calibre_m) / 0.050) ** 1.65


def _programme(rng: Generator, style: int) -> tuple[Stage, ...]:
    """One of four programmes of practice with the product's own last stage."""
    air = float(rng.uniform(0.1, 0.3))
    last_c, last_rh = float(rng.integers(12, 16)), float(rng.integers(73, 80)) / 100.0
    hot, damp = float(rng.integers(22, 25)), float(rng.integers(88, 93)) / 100.0
    first: tuple[tuple[tuple[str, int, float, float], ...], ...] = (
        (("fermentation", 3, hot, damp), ("drying 1", 2, 18.0, 0.75), ("drying 2", 3, 16.0, 0.80)),
        (("fermentation", 2, 20.0, 0.92), ("drying 1", 7, 17.0, 0.88), ("drying 2", 7, 15.0, 0.84)),
        (("fermentation", 2, 22.0, 0.90), ("drying 1", 1, 19.0, 0.88), ("drying 2", 2, 15.0, 0.86)),
        (("fermentation", 2, 28.0, 0.90), ("drying 1", 3, 18.0, 0.80)),
    )
    stages = [Stage(name, float(days), float(c), rh, 2.0 * air) for name, days, c, rh in first[style]]
    return (*stages, Stage("ripening", 400.0, last_c, last_rh, air))


def _product(rng: Generator, house: int, row: int) -> Product:
    calibre = float(rng.choice(CALIBRES_MM[row])) / 1000.0
    fat = round(float(np.clip(rng.normal(0.27, 0.045), 0.18, 0.35)), 3)
    target = round(float(np.clip(0.35 - 0.45 * (fat - 0.27) + rng.normal(0.0, 0.01), 0.28, 0.40)), 2)
    casing = str(rng.choice(["natural", "collagen", "fibrous"]))
    return Product(
        name=f"{'ABCDEFGHIJ'[house % 10]}{row + 1}",
        calibre_m=calibre,
        length_m=round(calibre * float(rng.uniform(6.0, 9.0)), 2),
        fat=fat,
        salt=round(float(rng.uniform(0.024, 0.030)), 4),
        target_loss=target,
        casing=casing,
        casing_s_m={"natural": 35.0, "collagen": 50.0, "fibrous": 75.0}[casing]
        * float(np.exp(rng.normal(0.0, 0.4))),
        stages=_programme(rng, int(rng.integers(0, 4))),
    )


@lru_cache(maxsize=64)
def house(seed: int, family: int, number: int) -> House:
    """The house of this number in this family and seed."""
    rng = generator(seed, family, number, 0)
    height = np.repeat([-0.010, 0.0, 0.012], 2) + np.tile([-0.006, 0.006], 3)
    return House(
        name=f"house {number + 1}",
        products=tuple(_product(rng, number, row) for row in range(len(CALIBRES_MM))),
        log_diffusivity=float(rng.normal(0.0, 0.15)),
        law_shape=float(rng.normal()),
        law_fat=float(rng.normal()),
        humidity_offset=float(rng.normal(0.010, 0.012)),
        place_humidity=0.6 * height + rng.normal(0.006, 0.006, len(PLACES)),
        place_air=np.exp(rng.normal(-0.1, 0.2, len(PLACES))),
        probe_humidity=float(rng.normal(0.0, 0.012)),
        probe_temperature_k=float(rng.normal(0.0, 0.2)),
        probe_drift_per_d=float(rng.choice([-1.0, 1.0]) * rng.uniform(1.5e-4, 4.0e-4)),
        fan_off_nights=bool(rng.random() < 0.5),
        division_kg=float(rng.choice([0.001, 0.002, 0.005])),
        log_minutes=int(rng.choice([15, 60])),
        weighing_days=tuple(
            [(1, 3, 5, 7, 10, 14, 18, 21), (1, 2, 3, 5, 7, 9, 11, 14, 21), (2, 3, 7, 10, 14, 21)][
                rng.integers(0, 3)
            ]
        ),
    )


def draw_lot(seed: int, family: int, number: int, per_house: int = LOTS_PER_HOUSE) -> LotDraw:
    """Everything random about one lot but its air, its moves and its weighings.

    Args:
        seed: int.
        family: int. Place in the list of families.
        number: int. From 0 over all houses.
        per_house: int. How many lots in a row belong to one house.

    Returns:
        LotDraw. Doubt of practice: fat 1.5 points, water 0.7, salt 0.1, diameter 2 % a lot and
        3 % a piece, diffusivity 13 % a lot and 8 % a piece.
    """
    home = house(seed, family, number // per_house)
    place_in_house = number % per_house
    rng = generator(seed, family, number // per_house, 1 + place_in_house)
    product = home.products[place_in_house % len(home.products)]
    fat = float(np.clip(product.fat + rng.normal(0.0, 0.015), 0.15, 0.40))
    salt = product.salt + float(rng.normal(0.0, 0.001))
    water, protein = batter(np.array(fat), np.array(salt))
    error = float(rng.normal(0.0, 0.007))
    diameter = product.calibre_m * (1.0 + rng.normal(0.0, 0.02) + rng.normal(0.0, 0.03, PIECES))
    rack = np.arange(PIECES) % 3
    return LotDraw(
        number=number,
        house=home,
        product=product,
        start_day=9.0 * place_in_house + float(rng.integers(0, 5)),
        fat=fat,
        salt=salt,
        water=float(water) + error,
        protein=float(protein) - error,
        solutes_mol_kg=float(rng.normal(0.31, 0.04)),
        log_diffusivity=float(rng.normal(0.0, 0.13)),
        piece_log_diffusivity=rng.normal(0.0, 0.08, PIECES),
        diameter_m=diameter,
        length_m=product.length_m * (1.0 + rng.normal(0.0, 0.05, PIECES)),
        rack=rack,
        tagged=np.concatenate(
            [rng.choice(np.flatnonzero(rack == r), TAGS // 3, replace=False) for r in range(3)]
        ),
        rng=rng,
    )
