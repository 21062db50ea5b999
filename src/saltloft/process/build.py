"""From a piece, its air and the draws to what the drying engine integrates."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from saltloft.process.draws import Draws, value_of
from saltloft.process.drying.laws import DiffusivityLaw, tabulate
from saltloft.process.drying.members import Members
from saltloft.process.drying.rim import RimMemory
from saltloft.process.drying.shape import Path, excess_of_oval, excess_of_pressing, pressed, with_ends
from saltloft.process.parameters import DryingParameters
from saltloft.process.piece import Piece, closed_composition, with_errors
from saltloft.process.programme import DAY_S
from saltloft.science import moist_air
from saltloft.science.composition import Composition
from saltloft.science.water_activity import Halsey, of_mixture

Array = NDArray[np.float64]


def batter_of(piece: Piece, parameters: DryingParameters, draws: Draws) -> Composition:
    """The batter of every member with its dosing and table errors, Composition (members,)."""
    names = ("fat", "salt", "water", "protein", "sugar")
    shares = {name: np.asarray(ndtr(draws.of_lot(name))) for name in names}
    batter = closed_composition(piece, parameters, shares)
    fat_lot = parameters.fat_error_analysed if piece.fat_analysed else parameters.fat_error_lot
    fat = value_of(fat_lot, draws.of_lot("fat_error"))
    fat = fat + value_of(parameters.fat_error_piece, draws.of_piece("fat_error"))
    water = value_of(parameters.water_error, draws.of_lot("water_error"))
    salt = value_of(parameters.salt_error, draws.of_lot("salt_error"))
    return with_errors(batter, fat=fat, water=water, salt=salt)


def _solutes(
    piece: Piece, parameters: DryingParameters, draws: Draws, batter: Composition, halsey: Halsey
) -> Array:
    """Other solutes per kg of solids, (members,). [mol/kg]"""
    if piece.start_water_activity is not None:
        start = piece.start_water_activity.at(np.asarray(ndtr(draws.of_lot("start_water_activity"))))
        bare = of_mixture(batter.water_per_solids, batter.salt_per_solids, 0.0, parameters.brine, halsey)
        missing = np.maximum(bare / start - 1.0, 0.0)
        fitted: Array = missing * batter.water_per_solids / parameters.brine.water_molar_mass
        return fitted
    if piece.other_solutes_mol_kg is not None:
        stated = piece.other_solutes_mol_kg.at(np.asarray(ndtr(draws.of_lot("other_solutes_stated"))))
    else:
        stated = np.asarray(parameters.native_solutes * batter.protein + parameters.further_solutes)
    doubt = np.exp(parameters.other_solutes.log_sd * draws.of_lot("other_solutes"))
    added = batter.sugar / parameters.sugar_molar_mass if piece.sugar is not None else 0.0
    solutes: Array = (stated * doubt + added) / batter.solids
    return solutes


def _law(
    parameters: DryingParameters, draws: Draws, batter: Composition, diffusivity: Array
) -> DiffusivityLaw:
    fat_volume = np.asarray(batter.fat_per_solids) / parameters.density_fat
    salt_volume = parameters.salt_volume * np.asarray(batter.salt_per_solids)
    return DiffusivityLaw(
        reference=diffusivity,
        exponent=value_of(parameters.obstruction_exponent, draws.of_lot("obstruction_exponent")),
        fat_exponent=value_of(parameters.fat_exponent, draws.of_lot("fat_exponent")),
        crust_water=value_of(parameters.crust_water, draws.of_lot("crust_water")),
        crust_power=parameters.crust_power,
        obstruction_water=parameters.obstruction_water,
        reference_water=parameters.reference_water,
        fat_volume=fat_volume,
        fixed_volume=1.0 / parameters.density_solids + salt_volume + fat_volume,
        water_volume=1.0 / parameters.density_water,
    )


def _path(piece: Piece, parameters: DryingParameters, draws: Draws, diameter: Array) -> Path:
    """The way out at every depth, from the length and the pressing of each piece."""
    standard = parameters.default_length_diameters
    slender = np.full_like(diameter, standard)
    if piece.length_m:
        slender = piece.length_m.at(np.asarray(ndtr(draws.of_lot("length")))) / diameter
    section = pressed(np.zeros_like(diameter))
    if piece.pressed_to_m:
        in_range = np.asarray(ndtr(draws.of_piece("diameter_range")))
        share = np.minimum(piece.pressed_to_m.at(in_range) / piece.diameter_m.at(in_range), 1.0)
        section = pressed(excess_of_oval(share) if piece.oval else excess_of_pressing(share))
    # The priors were fitted with the ends left out, at the standard length: only what a piece
    # is shorter or longer than that counts here. The law of the ends holds from L = d on.
    return with_ends(section, np.maximum(slender, 1.0), standard)


def _rim(parameters: DryingParameters, draws: Draws) -> RimMemory:
    """What the rim of each piece remembers; speculative, without data."""
    return RimMemory(
        value_of(parameters.rim_reversible, draws.of_lot("rim_reversible")),
        value_of(parameters.rim_lasting, draws.of_lot("rim_lasting")),
        parameters.rim_wet,
        parameters.rim_dry,
        DAY_S * parameters.rim_harden_d,
        DAY_S * parameters.rim_soften_d,
    )


def members_of(piece: Piece, parameters: DryingParameters, draws: Draws, batter: Composition) -> Members:
    """Every piece of the ensemble.

    Args:
        piece: Piece.
        parameters: DryingParameters.
        draws: Draws.
        batter: Composition of arrays (members,), from `batter_of`.

    Returns:
        Members.
    """
    halsey = Halsey(
        value_of(parameters.halsey_scale, draws.of_lot("halsey_scale")),
        value_of(parameters.halsey_power, draws.of_lot("halsey_power")),
    )
    in_range = np.asarray(ndtr(draws.of_piece("diameter_range")))
    diameter = piece.diameter_m.at(in_range) * value_of(parameters.diameter, draws.of_piece("diameter"))
    diffusivity = value_of(parameters.water_diffusivity, draws.of_lot("water_diffusivity"))
    diffusivity = diffusivity * np.exp(
        parameters.water_diffusivity_piece * draws.of_piece("water_diffusivity")
    )
    resistance = value_of(parameters.casing[piece.casing], draws.of_lot("casing"))
    if piece.mould:
        resistance = resistance + parameters.mould_high * ndtr(draws.of_lot("mould"))
    law = _law(parameters, draws, batter, diffusivity)
    path = _path(piece, parameters, draws, diameter)
    net_heat = parameters.net_heat if piece.net_heat_j_mol is None else piece.net_heat_j_mol
    return Members(
        diameter_m=diameter,
        water=np.asarray(batter.water_per_solids),
        salt=np.asarray(batter.salt_per_solids),
        solutes=_solutes(piece, parameters, draws, batter, halsey),
        green_mass=1.0 / np.asarray(batter.solids),
        law=law,
        potential=tabulate(law),
        length_share=value_of(parameters.length_share, draws.of_lot("length_share")),
        salt_ratio=value_of(parameters.salt_ratio, draws.of_lot("salt_ratio")),
        salt_drag=value_of(parameters.salt_drag, draws.of_lot("salt_drag")),
        halsey=halsey,
        brine=parameters.brine,
        resistance_s_m=resistance,
        other_heat=value_of(parameters.other_heat, draws.at_place("other_heat", parameters.place_share)),
        activation=value_of(parameters.activation_energy, draws.of_lot("activation_energy"))
        / moist_air.GAS_CONSTANT,
        end_factor=path.surface,
        path=path,
        sorption_heat_k=np.full_like(diameter, net_heat / moist_air.GAS_CONSTANT),
        sorption_kelvin=parameters.reference_temperature_c + 273.15,
        rim=_rim(parameters, draws) if piece.rim_remembers else None,
    )
