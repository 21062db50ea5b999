"""Everything a fermentation forecast takes from the literature, put together from fact rows."""

from __future__ import annotations

from saltloft.facts.loader import Facts
from saltloft.process.fermentation.forecast import HeatBase
from saltloft.process.fermentation.members import Doubt, FermentationParameters
from saltloft.process.fermentation.model import AcidModel
from saltloft.process.fermentation.organisms import Competition, Organism
from saltloft.science.acids import MeatBuffer
from saltloft.science.growth import (
    ORGANISMS,
    Cardinal,
    CardinalGrowth,
    GrowthGate,
    KillCredit,
    SquareRootGrowth,
)

_F = "fermentation."
_G = "growth."


def _doubt(facts: Facts, name: str, *, bounded: bool = False) -> Doubt:
    fact = facts.get(_F + name)
    return Doubt(
        fact.number,
        log_sd=float(fact.log_sd or 0),
        sd=float(fact.sd or 0),
        low=float(fact.low) if bounded and fact.low is not None else float("-inf"),
        high=float(fact.high) if bounded and fact.high is not None else float("inf"),
    )


_BUFFER = (
    "imidazole_sites",
    "imidazole_pka",
    "carboxyl_sites",
    "carboxyl_pka",
    "native_lactate",
    "lactic_pka",
)


def _acid_model(facts: Facts, *, cap_temperature: bool) -> AcidModel:
    n, flora = facts.number, _F + "lactobacillus."
    starter = SquareRootGrowth(
        rate_25c_h=n(flora + "rate_25c"),
        temperature_root_c=n(flora + "temperature_min"),
        temperature_cap_c=n(flora + "temperature_cap") if cap_temperature else float("inf"),
        water_activity_root=n(flora + "water_activity_min"),
        ph_root=n(flora + "ph_min"),
        undissociated_lactic_mol_m3=n(flora + "undissociated_lactic_max"),
        nitrite_mg_kg=n(flora + "nitrite_max"),
    )
    return AcidModel(
        buffer=MeatBuffer(*(n(_F + name) for name in _BUFFER)),
        starter=starter,
        density_max_log10=n(flora + "density_max_log10"),
        per_hour_over_growth=n(_F + "acid_per_hour") / n(_F + "acid_per_growth"),
        saturation_mmol_kg=n(_F + "acid_saturation"),
        ph_stop=n(_F + "acid_ph_stop"),
        ph_full=n(_F + "acid_ph_full"),
        diffusivity_m2_s=n(_F + "thermal_diffusivity"),
        conductivity_w_mk=n(_F + "thermal_conductivity"),
    )


def fermentation_parameters(facts: Facts, *, cap_temperature: bool = True) -> FermentationParameters:
    """What `process.fermentation.forecast` takes from the literature.

    Args:
        facts: Facts.
        cap_temperature: bool. Hold the starter's rate above the temperature to which it was fitted;
            False only for a check against figures computed without the cap.
    """
    n = facts.number
    rate = facts.get(_F + "lactobacillus.rate_25c")
    return FermentationParameters(
        model=_acid_model(facts, cap_temperature=cap_temperature),
        buffer_scale=_doubt(facts, "buffer_scale"),
        acid_yield=_doubt(facts, "yield", bounded=True),
        rate_scale=Doubt(1.0, log_sd=float(rate.log_sd or 0)),
        lag_h=_doubt(facts, "lactobacillus.lag"),
        acid_per_growth=_doubt(facts, "acid_per_growth"),
        film_heat=_doubt(facts, "film_heat"),
        start_ph=_doubt(facts, "start_ph"),
        starter=_doubt(facts, "starter_log10"),
        lactate_per_dextrose=n(_F + "lactate_per_dextrose"),
        meter_ph_sd=n(_F + "meter_ph_sd"),
        model_ph_sd=n(_F + "model_ph_sd"),
        piece_ph_sd=n(_F + "piece_ph_sd"),
        facts=tuple(key for key in facts.keys("fermentation") if key not in _ONLY_DEFAULTS),
    )


# Used only when a case leaves them out; the case adds them then.
_ONLY_DEFAULTS = tuple(_F + name for name in ("dextrose", "nitrite", "batter_temperature"))


def organisms(facts: Facts) -> tuple[Organism, ...]:
    """The five organisms with their growth, gates and, for E. coli alone, credited death.

    Args:
        facts: Facts.
    """
    return tuple(_organism(facts, name) for name in ORGANISMS)


def organism_keys(facts: Facts) -> tuple[str, ...]:
    """The fact keys that `organisms` and `competition` rest on."""
    return facts.keys("growth")


def _organism(facts: Facts, name: str) -> Organism:
    n, own = facts.number, f"{_G}{name}."
    lactic = own + "undissociated_lactic_max"
    stops = n(lactic) if name == "escherichia_coli" else float("inf")
    gate = GrowthGate(n(own + "gate_temperature"), n(own + "gate_ph"), n(own + "gate_water_activity"), stops)
    growth: CardinalGrowth | SquareRootGrowth
    if name == "listeria_monocytogenes":
        rate_key = own + "rate_25c"
        growth = SquareRootGrowth(
            rate_25c_h=n(rate_key),
            temperature_root_c=n(own + "temperature_root"),
            temperature_cap_c=float("inf"),
            water_activity_root=n(own + "water_activity_root"),
            ph_root=n(own + "ph_root"),
            undissociated_lactic_mol_m3=n(lactic),
            nitrite_mg_kg=n(own + "nitrite_max"),
            nitrite_power=2.0,
        )
    else:
        rate_key = own + "rate_optimum"
        conditions = (
            Cardinal(*(n(f"{own}{condition}_{end}") for end in ("min", "optimum", "max")))
            for condition in ("temperature", "ph", "water_activity")
        )
        growth = CardinalGrowth(n(rate_key), *conditions)
    kill = _kill(facts) if name == "escherichia_coli" else None
    return Organism(name, growth, float(facts.get(rate_key).log_sd or 0), gate, kill)


def _kill(facts: Facts) -> KillCredit:
    n = facts.number
    return KillCredit(
        intercept=n(_G + "escherichia_coli.kill_intercept"),
        slope_k=n(_G + "escherichia_coli.kill_slope"),
        conservative=n(_G + "kill.conservative_factor"),
        none_from_ph=n(_G + "kill.none_from_ph"),
        none_above_water_activity=n(_G + "kill.none_above_water_activity"),
        none_below_c=n(_G + "kill.none_below_temperature"),
    )


def competition(facts: Facts) -> Competition:
    """What slows all organisms alike.

    Args:
        facts: Facts.
    """
    n = facts.number
    return Competition(
        lag_work=n(_G + "lag_work"),
        flora_min_log10=n(_G + "competition_density_min_log10"),
        flora_max_log10=n(_G + "competition_density_max_log10"),
        highest_log10=n(_G + "pathogen_density_max_log10"),
        start_log10=n(_G + "start_log10"),
    )


def heat_bases(facts: Facts) -> tuple[HeatBase, ...]:
    """How each market counts degree-hours.

    Args:
        facts: Facts.
    """
    found = []
    for market in ("us", "ca"):
        base = facts.get(f"degree_hours.{market}.base")
        if base.unit == "degF":
            found.append(HeatBase(market, (base.number - 32.0) / 1.8, 1.8))
        else:
            found.append(HeatBase(market, base.number, 1.0))
    return tuple(found)
