"""What the drying model must be told: the median and the doubt of each of its numbers."""

from __future__ import annotations

from dataclasses import dataclass

from saltloft.science.composition import MeatRow
from saltloft.science.water_activity import SodiumChloride


@dataclass(frozen=True)
class Prior:
    """One number of the model with its doubt, before any weighing.

    Args:
        key: str. The fact row it was taken from.
        median: float. In the unit of the row's name below.
        log_sd: float. Spread of its logarithm; 0 when the doubt is not logarithmic.
        sd: float. Spread in its own unit; 0 when logarithmic or known.
        low: float. It is never below this.
        high: float. It is never above this.
    """

    key: str
    median: float
    log_sd: float = 0.0
    sd: float = 0.0
    low: float = float("-inf")
    high: float = float("inf")


@dataclass(frozen=True)
class DryingParameters:
    """Everything `forecast` takes from the literature, as numbers with their fact keys.

    Args:
        water_diffusivity: Prior. Fat-free, X = 2, 14 degC; log_sd is the lot's share. [m2/s]
        water_diffusivity_piece: float. The piece's share of the log spread. [1]
        obstruction_exponent, fat_exponent, crust_water, salt_ratio, salt_drag: Prior.
            As in DiffusivityLaw and Members. [1] [1] [kg/kg] [1] [1]
        activation_energy: Prior. [J/mol]
        halsey_scale, halsey_power: Prior. Protein term. [kg/kg] [1]
        other_solutes: Prior. Median unused; its log spread. [1]
        native_solutes: float. Per kg of protein. [mol/kg]
        further_solutes: float. Lactate and the rest, per kg of batter. [mol/kg]
        casing: mapping of str to Prior. Resistance by kind of casing. [s/m]
        mould_high: float. Mould adds a resistance evenly drawn from 0 to this. [s/m]
        film, local_air: Prior. Multipliers of the film and of the air speed. [1]
        set_point_log_sd: float. Spread of both where only set-points are known. [1]
        other_heat: Prior. [W/m2.K]
        length_share: Prior. [1]
        humidity_offset, humidity_offset_set_point: Prior. At the piece minus logged or set. [1]
        temperature_offset: Prior. [K]
        diameter: Prior. Multiplier, piece. [1]
        fat_error_lot, fat_error_piece, fat_error_analysed: Prior. [kg/kg]
        water_error, salt_error: Prior. [kg/kg]
        activity_error, activity_error_dry: Prior. Composition to water activity. [1]
        place_share: float. Share of the room-position variance that differs piece by piece. [1]
        place_drift: float. Share of a piece's own part of the place that changes unwritten. [1]
        discrepancy: Prior. Slow error of the model in weight loss. [fraction of green weight]
        discrepancy_share: float. A further slow error, as a share of the loss. [1]
        discrepancy_log_time: float. Correlation length of both in ln time. [1]
        discrepancy_days: float. Age at which the first has half its size. [d]
        air_walk: float. Days of drying the air of a day gains or loses, a random walk. [d^0.5]
        scale_error: Prior. One weighing. [fraction of green weight]
        outlier_share, outlier_spread: float. Share of wild weighings, their spread. [1] [fraction]
        obstruction_water, reference_water, crust_power: float. Constants of the law.
        density_solids, density_water, density_fat: float. [kg/m3]
        salt_volume: float. [m3/kg]
        reference_temperature_c: float. [degC]
        sugar_molar_mass: float. [kg/mol]
        lean, fat_trim: MeatRow. Rows that close a composition.
        brine: SodiumChloride.
        default_fat, default_salt, default_other: float. Batter when a case names none. [kg/kg]
        default_air_m_s: float. [m/s]
        default_length_diameters: float. [1]
        flag_index, flag_rim, flag_core: float. Case-hardening flag. [1]
        hollow_index, hollow_days, mould_rim, mould_days: float. Flags hollow_centre and
            mould_unwanted. [1] [d] [1] [d]
        rim_reversible, rim_lasting: Prior. A rim that remembers; speculative. [s/m]
        rim_wet, rim_dry: float. Rim water activity at which it hardens not at all, fully. [1]
        rim_harden_d, rim_soften_d: float. [d]
        net_heat: float. Of sorption, per unit of the protein term. [J/mol]
        dose_index: float. Index above which the days of a shut rim add up. [1]
        pace_rim, pace_days, pace_from_day: float. The pace the core can follow, and the
            early warning. [1] [d] [d]
        mould_wanted_rim, mould_wanted_c, mould_unwanted_c: float. Windows of moulds. [1] [degC]
        fat_outside: float. Above this fat of the batter the law was not fitted. [kg/kg]
        facts: tuple of str. All fact keys behind these numbers.
    """

    water_diffusivity: Prior
    water_diffusivity_piece: float
    obstruction_exponent: Prior
    fat_exponent: Prior
    crust_water: Prior
    salt_ratio: Prior
    salt_drag: Prior
    activation_energy: Prior
    halsey_scale: Prior
    halsey_power: Prior
    other_solutes: Prior
    native_solutes: float
    further_solutes: float
    casing: dict[str, Prior]
    mould_high: float
    film: Prior
    local_air: Prior
    set_point_log_sd: float
    other_heat: Prior
    length_share: Prior
    humidity_offset: Prior
    humidity_offset_set_point: Prior
    temperature_offset: Prior
    diameter: Prior
    fat_error_lot: Prior
    fat_error_piece: Prior
    fat_error_analysed: Prior
    water_error: Prior
    salt_error: Prior
    activity_error: Prior
    activity_error_dry: Prior
    place_share: float
    place_drift: float
    discrepancy: Prior
    discrepancy_share: float
    discrepancy_log_time: float
    discrepancy_days: float
    air_walk: float
    scale_error: Prior
    outlier_share: float
    outlier_spread: float
    obstruction_water: float
    reference_water: float
    crust_power: float
    density_solids: float
    density_water: float
    density_fat: float
    salt_volume: float
    reference_temperature_c: float
    sugar_molar_mass: float
    lean: MeatRow
    fat_trim: MeatRow
    brine: SodiumChloride
    default_fat: float
    default_salt: float
    default_other: float
    default_air_m_s: float
    default_length_diameters: float
    flag_index: float
    flag_rim: float
    flag_core: float
    hollow_index: float
    hollow_days: float
    mould_rim: float
    mould_days: float
    rim_reversible: Prior
    rim_lasting: Prior
    rim_wet: float
    rim_dry: float
    rim_harden_d: float
    rim_soften_d: float
    net_heat: float
    dose_index: float
    pace_rim: float
    pace_days: float
    pace_from_day: float
    mould_wanted_rim: float
    mould_wanted_c: float
    mould_unwanted_c: float
    fat_outside: float
    facts: tuple[str, ...] = ()
