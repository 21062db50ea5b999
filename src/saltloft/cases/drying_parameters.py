"""The drying model's numbers and doubts, built from the fact rows."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from saltloft.cases.constants import SODIUM_CHLORIDE_KEYS, meat_row, meat_row_keys, sodium_chloride
from saltloft.facts.loader import Facts
from saltloft.process.kill import KillModel
from saltloft.process.parameters import DryingParameters, Prior
from saltloft.science.growth import GrowthGate, KillCredit

LEAN, FAT_TRIM = "10072", "10004"  # pork shoulder, separable lean; pork backfat
CASINGS = ("natural", "collagen", "fibrous")

# Field of DryingParameters: fact key, and the factor from the row's unit to the field's.
_PRIORS = {
    "obstruction_exponent": ("drying.obstruction_exponent", 1.0),
    "fat_exponent": ("drying.fat_exponent", 1.0),
    "crust_water": ("drying.crust_water", 1.0),
    "salt_ratio": ("drying.salt_diffusivity_ratio", 1.0),
    "salt_drag": ("drying.salt_drag", 1.0),
    "activation_energy": ("drying.activation_energy", 1000.0),
    "halsey_scale": ("sorption.halsey_scale", 1.0),
    "halsey_power": ("sorption.halsey_power", 1.0),
    "other_solutes": ("sorption.other_solutes", 1.0),
    "film": ("drying.film_multiplier", 1.0),
    "local_air": ("drying.local_air_multiplier", 1.0),
    "other_heat": ("drying.other_heat_exchange", 1.0),
    "length_share": ("drying.length_share", 1.0),
    "humidity_offset": ("drying.piece_humidity_offset", 1.0),
    "humidity_offset_set_point": ("drying.piece_humidity_offset_set_point", 1.0),
    "temperature_offset": ("drying.piece_temperature_offset", 1.0),
    "diameter": ("drying.diameter_multiplier", 1.0),
    "fat_error_lot": ("drying.batter_fat_error_lot", 1.0),
    "fat_error_piece": ("drying.batter_fat_error_piece", 1.0),
    "fat_error_analysed": ("drying.batter_fat_error_analysed", 1.0),
    "water_error": ("drying.batter_water_error", 1.0),
    "salt_error": ("drying.batter_salt_error", 1.0),
    "activity_error": ("sorption.water_activity_model_error", 1.0),
    "activity_error_dry": ("sorption.water_activity_model_error_dry", 1.0),
    "discrepancy": ("drying.model_discrepancy", 0.01),
    "rim_reversible": ("drying.rim_hardening_reversible", 1.0),
    "rim_lasting": ("drying.rim_hardening_lasting", 1.0),
    "scale_error": ("drying.weighing_error", 0.01),
}
_NUMBERS = {
    "water_diffusivity_piece": ("drying.water_diffusivity_piece_log_sd", 1.0),
    "native_solutes": ("sorption.native_solutes_per_protein", 1.0),
    "further_solutes": ("sorption.lactate_and_rest", 1.0),
    "set_point_log_sd": ("drying.set_point_log_sd", 1.0),
    "place_share": ("drying.place_share", 1.0),
    "place_drift": ("drying.place_drift", 1.0),
    "discrepancy_share": ("drying.model_discrepancy_share", 1.0),
    "discrepancy_log_time": ("drying.model_discrepancy_log_time", 1.0),
    "air_walk": ("drying.air_walk", 1.0),
    "discrepancy_days": ("drying.model_discrepancy_days", 1.0),
    "outlier_share": ("drying.wild_weighing_share", 1.0),
    "outlier_spread": ("drying.wild_weighing_spread", 0.01),
    "obstruction_water": ("drying.obstruction_water", 1.0),
    "reference_water": ("drying.diffusivity_reference_water", 1.0),
    "crust_power": ("drying.crust_power", 1.0),
    "density_solids": ("drying.density_dry_solids", 1.0),
    "density_water": ("drying.density_water", 1.0),
    "density_fat": ("drying.density_fat", 1.0),
    "salt_volume": ("drying.salt_volume", 1.0),
    "reference_temperature_c": ("drying.diffusivity_reference_temperature", 1.0),
    "sugar_molar_mass": ("sorption.sugar_molar_mass", 1.0),
    "default_fat": ("drying.default_fat", 0.01),
    "default_salt": ("drying.default_salt", 0.01),
    "default_other": ("drying.default_other", 0.01),
    "default_air_m_s": ("drying.default_air_speed", 1.0),
    "default_length_diameters": ("drying.default_length_diameters", 1.0),
    "flag_index": ("drying.case_hardening_index_flag", 1.0),
    "flag_rim": ("drying.case_hardening_rim_flag", 1.0),
    "flag_core": ("drying.case_hardening_core_flag", 1.0),
    "hollow_index": ("drying.hollow_centre_index", 1.0),
    "hollow_days": ("drying.hollow_centre_days", 1.0),
    "mould_rim": ("drying.unwanted_mould_rim", 1.0),
    "mould_days": ("drying.unwanted_mould_days", 1.0),
    "rim_wet": ("drying.rim_hardening_wet", 1.0),
    "rim_dry": ("drying.rim_hardening_dry", 1.0),
    "rim_harden_d": ("drying.rim_hardening_time", 1.0),
    "rim_soften_d": ("drying.rim_softening_time", 1.0),
    "net_heat": ("sorption.net_heat", 1.0),
    "dose_index": ("drying.dose_index", 1.0),
    "pace_rim": ("drying.pace_rim", 1.0),
    "pace_days": ("drying.pace_days", 1.0),
    "pace_from_day": ("drying.pace_from_day", 1.0),
    "mould_wanted_rim": ("drying.mould_wanted_rim", 1.0),
    "mould_wanted_c": ("drying.mould_wanted_coldest", 1.0),
    "mould_unwanted_c": ("drying.mould_unwanted_coldest", 1.0),
    "fat_outside": ("drying.fat_outside_range", 0.01),
}
# Only these rows print a hard bound; the low and high of the others are a published range.
_BOUNDED_BELOW = ("fat_exponent", "salt_drag", "length_share")
_BOUNDED_ABOVE = ("salt_drag", "length_share")


def _prior(facts: Facts, key: str, scale: float, *, below: bool = False, above: bool = False) -> Prior:
    fact = facts.get(key)
    return Prior(
        key,
        scale * fact.number,
        log_sd=float(fact.log_sd or 0),
        sd=scale * float(fact.sd or 0),
        low=scale * float(fact.low) if below and fact.low is not None else float("-inf"),
        high=scale * float(fact.high) if above and fact.high is not None else float("inf"),
    )


def drying_parameters(facts: Facts) -> DryingParameters:
    """Everything `process.ensemble.forecast` takes from the literature.

    Args:
        facts: Facts.

    Returns:
        DryingParameters; its `facts` lists the keys used.

    Raises:
        UnknownName: a row is missing.
    """
    values: dict[str, Any] = {
        name: _prior(facts, key, scale, below=name in _BOUNDED_BELOW, above=name in _BOUNDED_ABOVE)
        for name, (key, scale) in _PRIORS.items()
    }
    values |= {name: scale * facts.number(key) for name, (key, scale) in _NUMBERS.items()}
    lot_share = facts.number("drying.water_diffusivity_lot_log_sd")
    casings = {kind: f"drying.casing_resistance_{kind}" for kind in CASINGS}
    mould = facts.get("drying.mould_resistance")
    keys = (
        "drying.water_diffusivity",
        "drying.water_diffusivity_lot_log_sd",
        *(key for key, _ in (*_PRIORS.values(), *_NUMBERS.values())),
        *casings.values(),
        mould.key,
        *SODIUM_CHLORIDE_KEYS,
        *meat_row_keys(LEAN),
        *meat_row_keys(FAT_TRIM),
    )
    return DryingParameters(
        water_diffusivity=replace(_prior(facts, "drying.water_diffusivity", 1.0), log_sd=lot_share),
        casing={kind: _prior(facts, key, 1.0) for kind, key in casings.items()},
        mould_high=float(mould.high or 0),
        lean=meat_row(facts, LEAN),
        fat_trim=meat_row(facts, FAT_TRIM),
        brine=sodium_chloride(facts),
        facts=tuple(dict.fromkeys(keys)),
        **values,
    )


_KILL_KEYS = {
    "intercept": "growth.escherichia_coli.kill_intercept",
    "slope_k": "growth.escherichia_coli.kill_slope",
    "conservative": "growth.kill.conservative_factor",
    "none_from_ph": "growth.kill.none_from_ph",
    "none_above_water_activity": "growth.kill.none_above_water_activity",
    "none_below_c": "growth.kill.none_below_temperature",
}
_GATE_KEYS = {
    "temperature_c": "growth.escherichia_coli.gate_temperature",
    "ph": "growth.escherichia_coli.gate_ph",
    "water_activity": "growth.escherichia_coli.gate_water_activity",
}
KILL_KEYS = (*_KILL_KEYS.values(), *_GATE_KEYS.values())


def kill_models(facts: Facts) -> tuple[KillModel, ...]:
    """The organisms whose death may be credited: E. coli alone has an equation here."""
    gate = GrowthGate(**{name: facts.number(key) for name, key in _GATE_KEYS.items()})
    credit = KillCredit(**{name: facts.number(key) for name, key in _KILL_KEYS.items()})
    return (KillModel("escherichia_coli", gate, credit),)
