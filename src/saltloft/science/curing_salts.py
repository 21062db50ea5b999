"""Ingoing nitrite and nitrate: arithmetic on weighed amounts, on both bases.

Rules count per green weight of the meat block (United States) or per kilogram
of the whole batter (European Union); both are given, named, and never mixed.
"""

from __future__ import annotations

from dataclasses import dataclass

from saltloft.foundation.errors import InputError

MOLAR_MASS = {  # kg/mol, IUPAC standard atomic weights (iupac_weights)
    "sodium_nitrite": 0.0689953,
    "potassium_nitrite": 0.0851038,
    "sodium_nitrate": 0.0849947,
    "potassium_nitrate": 0.1011032,
    "nitrite": 0.0460055,
    "nitrate": 0.0620049,
}
_FAMILY = {name: "nitrite" if "nitrite" in name else "nitrate" for name in MOLAR_MASS}


@dataclass(frozen=True)
class Ingoing:
    """An ingoing amount on the two bases that rules use.

    Args:
        per_meat_mg_kg: float. Per green weight of the meat block. [mg/kg]
        per_batter_mg_kg: float. Per weight of the whole batter. [mg/kg]
    """

    per_meat_mg_kg: float
    per_batter_mg_kg: float


def _fraction(value: float, what: str) -> float:
    if not 0.0 <= value <= 1.0:
        raise InputError(
            f"{what} is not a fraction",
            got=f"{value:g}",
            allowed="0 to 1 (6.25 % is 0.0625)",
            do="a per cent entered as a fraction makes the answer 100 times too big",
            key=what,
        )
    return value


def _above_zero(value: float, what: str) -> float:
    if not value > 0.0:
        raise InputError(f"{what} must be above zero", got=f"{value:g}", key=what)
    return value


def ingoing_mg_kg(agent_kg: float, meat_kg: float, batter_kg: float) -> Ingoing:
    """Pure agent per meat and per batter.

    Args:
        agent_kg: float, 0 or more. Pure nitrite or nitrate salt. [kg]
        meat_kg: float, above 0. Green weight of the meat block. [kg]
        batter_kg: float, at least meat_kg. Everything in the mixer. [kg]

    Returns:
        Ingoing.

    Raises:
        InputError: a negative agent, no meat, or a batter lighter than its meat.
    """
    _above_zero(meat_kg, "meat_kg")
    if agent_kg < 0.0:
        raise InputError("agent_kg is below zero", got=f"{agent_kg:g}", key="agent_kg")
    if batter_kg < meat_kg:
        raise InputError(
            "the batter is lighter than its meat",
            got=f"{batter_kg:g} kg batter, {meat_kg:g} kg meat",
            key="batter_kg",
        )
    return Ingoing(1e6 * agent_kg / meat_kg, 1e6 * agent_kg / batter_kg)


def pure_agent_kg(cure_kg: float, agent_fraction: float) -> float:
    """Pure agent in a weighed curing salt.

    Args:
        cure_kg: float. Weighed curing salt. [kg]
        agent_fraction: float. Nitrite or nitrate in it, 0..1: 6.25 % is 0.0625.

    Returns:
        float. [kg]

    Raises:
        InputError: a fraction above 1 (a per cent).
    """
    return cure_kg * _fraction(agent_fraction, "agent_fraction")


def pumped_mg_kg(agent_kg: float, pickle_kg: float, pump_fraction: float) -> float:
    """Ingoing per green weight of pumped meat.

    Args:
        agent_kg: float. Pure agent in the pickle. [kg]
        pickle_kg: float, above 0. Pickle it is dissolved in. [kg]
        pump_fraction: float. Pickle taken up per green weight, 0..1.

    Returns:
        float. [mg/kg]
    """
    return 1e6 * agent_kg * _fraction(pump_fraction, "pump_fraction") / _above_zero(pickle_kg, "pickle_kg")


def immersed_mg_kg(agent_kg: float, meat_kg: float, pickle_kg: float) -> float:
    """Ingoing of meat lying in a cover pickle until even.

    Args:
        agent_kg: float. Pure agent in the pickle. [kg]
        meat_kg: float. Green weight. [kg]
        pickle_kg: float. [kg]

    Returns:
        float. [mg/kg]
    """
    return 1e6 * agent_kg / _above_zero(meat_kg + pickle_kg, "meat_kg + pickle_kg")


def cure_needed_kg(
    wanted_mg_kg: float, meat_kg: float, agent_fraction: float, *, skin_on: bool = False
) -> float:
    """Curing salt to weigh for a wanted ingoing amount per green weight.

    Args:
        wanted_mg_kg: float. Per green weight. [mg/kg]
        meat_kg: float. Green weight. [kg]
        agent_fraction: float. Agent in the curing salt, a fraction above 0, at most 1.
        skin_on: bool. Takes 10 % off the meat weight for the skin (belly).

    Returns:
        float. [kg]
    """
    fraction = _above_zero(_fraction(agent_fraction, "agent_fraction"), "agent_fraction")
    counted = 0.9 * meat_kg if skin_on else meat_kg
    return 1e-6 * wanted_mg_kg * counted / fraction


def mg_kg_of_ounces_per_100_lb(ounces: float) -> float:
    """The older dose unit: an ounce in 100 lb is 625 mg/kg, exactly.

    Args:
        ounces: float. Avoirdupois ounces of agent per 100 lb of meat. [oz]

    Returns:
        float. [mg/kg]
    """
    return 625.0 * ounces


def equal_amount_factor(source: str, target: str) -> float:
    """Mass of one salt or ion that carries as much nitrite (or nitrate) as another.

    Args:
        source: str. A name of MOLAR_MASS, such as 'sodium_nitrite'.
        target: str. Another of the same family.

    Returns:
        float. Mass of target per mass of source. [kg/kg]

    Raises:
        InputError: an unknown name, or nitrite asked for as nitrate.
    """
    for name in (source, target):
        if name not in MOLAR_MASS:
            raise InputError("the salt is not known", got=name, allowed=", ".join(MOLAR_MASS), key=name)
    if _FAMILY[source] != _FAMILY[target]:
        raise InputError("nitrite and nitrate do not convert by weight", got=f"{source} to {target}")
    return MOLAR_MASS[target] / MOLAR_MASS[source]
