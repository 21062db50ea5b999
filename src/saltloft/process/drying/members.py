"""What one run of the drying equations is given: the pieces, and the air around them."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from saltloft.process.drying.laws import DiffusivityLaw, Potential
from saltloft.process.drying.rim import RimMemory
from saltloft.process.drying.shape import Path
from saltloft.science.water_activity import Halsey, SodiumChloride

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Members:
    """The pieces of an ensemble; arrays are (members,) and in SI.

    Args:
        diameter_m: array. Stuffed diameter. [m]
        water: array. Water per kg of fat-free salt-free solids at stuffing. [kg/kg]
        salt: array. Salt on the same basis. [kg/kg]
        solutes: array. Other solutes on the same basis. [mol/kg]
        green_mass: array. Green weight per kg of solids. [kg/kg]
        law: DiffusivityLaw.
        potential: Potential. Tabulated from the law.
        length_share: array. Length goes with volume to this power. [1]
        salt_ratio: array. Salt diffusivity over water diffusivity. [1]
        salt_drag: array. Share of the moving water that drags its salt. [1]
        halsey: Halsey. Protein term, arrays.
        brine: SodiumChloride.
        resistance_s_m: array. Casing and mould. [s/m]
        other_heat: array. Radiation and neighbours. [W/m2.K]
        activation: array. Activation energy over the gas constant. [K]
        end_factor: array. Surface over that of the long round piece, 1 for the standard. [1]
        linear_sorption: float. Above 0: water activity is this times X (checks only).
        path: Path. How wide the way out is at every depth; round and long by default.
        sorption_heat_k: array. Net heat of sorption per unit of the protein term (A/X)^r,
            over the gas constant; 0 leaves the sorption without temperature. [K]
        sorption_kelvin: float. Temperature at which the protein term holds as it is. [K]
        rim: RimMemory or None. None: the rim remembers nothing.
    """

    diameter_m: Array
    water: Array
    salt: Array
    solutes: Array
    green_mass: Array
    law: DiffusivityLaw
    potential: Potential
    length_share: Array
    salt_ratio: Array
    salt_drag: Array
    halsey: Halsey
    brine: SodiumChloride
    resistance_s_m: Array
    other_heat: Array
    activation: Array
    end_factor: Array
    linear_sorption: float = 0.0
    path: Path = field(default_factory=Path)
    sorption_heat_k: Array = field(default_factory=lambda: np.zeros(1))
    sorption_kelvin: float = 287.15
    rim: RimMemory | None = None

    @property
    def count(self) -> int:
        """Number of members."""
        return len(self.diameter_m)

    @property
    def volume(self) -> Array:
        """Volume per kg of solids at stuffing. [m3/kg]"""
        return self.law.fixed_volume + self.water * self.law.water_volume

    @property
    def solids_per_m(self) -> Array:
        """Fat-free salt-free solids per metre of piece at stuffing. [kg/m]"""
        solids: Array = 0.25 * np.pi * self.diameter_m**2 / self.volume
        return solids


@dataclass(frozen=True)
class Blocks:
    """The air in blocks: constant, but for its vapour, which may run straight through each.

    Arrays are (blocks, members) unless said.

    Args:
        end_s: array. End of each block, rising, from the start of the run. [s]
        speed_up: array. Mean of the diffusivity's temperature factor, 1 at 14 degC. [1]
        kelvin: array. Mean absolute temperature. [K]
        saturated: array. Mean saturated vapour concentration. [kg/m3]
        vapour: array. Mean vapour concentration of the air. [kg/m3]
        log_slope: array. d ln(saturated)/dT. [1/K]
        latent: array. Latent heat of vaporisation; 0 leaves the cooling out. [J/kg]
        film_heat: array. Film coefficient at the stuffed diameter. [W/m2.K]
        film_power: array. Exponent of that film in the diameter. [1]
        film_ratio: array. Mass over heat transfer coefficient. [m3.K/J]
        open: array of bool (blocks,). False: packed, no water leaves.
        drift: array or None. Rise of the vapour within the block; its mean is at mid-block. [kg/m3.s]
    """

    end_s: Array
    speed_up: Array
    kelvin: Array
    saturated: Array
    vapour: Array
    log_slope: Array
    latent: Array
    film_heat: Array
    film_power: Array
    film_ratio: Array
    open: NDArray[np.bool_]
    drift: Array | None = None

    def vapour_at(self, block: NDArray[np.int64], member: NDArray[np.int64], now_s: Array) -> Array:
        """Vapour concentration at a moment of a block.

        Args:
            block, member: arrays of int of one shape. Numbers, from 0. [1]
            now_s: array of that shape. [s]

        Returns:
            Array of that shape. [kg/m3]
        """
        mean: Array = self.vapour[block, member]
        if self.drift is None:
            return mean
        begin = np.where(block > 0, self.end_s[np.maximum(block - 1, 0), member], 0.0)
        middle = 0.5 * (begin + self.end_s[block, member])
        return np.asarray(mean + self.drift[block, member] * (now_s - middle))
