"""From a piece, its air and the draws to what the drying engine integrates."""

from __future__ import annotations

from dataclasses import fields

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from saltloft.process.draws import Draws, value_of
from saltloft.process.drying.laws import DiffusivityLaw, tabulate
from saltloft.process.drying.members import Blocks, Members
from saltloft.process.drying.rim import RimMemory
from saltloft.process.drying.shape import Path, excess_of_oval, excess_of_pressing, pressed, with_ends
from saltloft.process.parameters import DryingParameters
from saltloft.process.piece import Piece, closed_composition, with_errors
from saltloft.process.programme import (
    DAY_S,
    AirTrace,
    Programme,
    Span,
    block_borders,
    block_means,
    held_means,
)
from saltloft.science import moist_air, transfer
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


def stage_ends_d(programme: Programme, draws: Draws) -> Array:
    """Where each stage ends if only the clock ends it, array (stages, lots). [d]"""
    lengths = [stage.duration_d.at(draws.of_stage(i, "duration")) for i, stage in enumerate(programme.stages)]
    ends: Array = programme.start_d + np.cumsum(np.array(lengths).reshape(len(lengths), draws.lots), axis=0)
    return ends


class _AirRows:
    """Collects blocks of air, each given for all members."""

    def __init__(self, members: Members, parameters: DryingParameters, draws: Draws) -> None:
        self.members, self.parameters, self.draws = members, parameters, draws
        self.rows: list[tuple[Array, ...]] = []
        self.open: list[bool] = []
        share = parameters.place_share
        self.warmer = value_of(parameters.temperature_offset, draws.at_place("temperature_offset", share))
        self.wetter = draws.at_place("humidity_offset", share)
        self.film, self.air = draws.at_place("film", share), draws.at_place("local_air", share)

    def film_at(self, speed: Array, temperature_c: Array, *, measured: bool) -> tuple[Array, Array, Array]:
        """Film coefficient at the stuffed diameter, its power of the diameter, mass ratio."""
        p = self.parameters
        spread = (p.film.log_sd, p.local_air.log_sd) if measured else (p.set_point_log_sd, p.set_point_log_sd)
        local = speed * p.local_air.median * np.exp(spread[1] * self.air)
        air = transfer.air_properties(temperature_c)
        wide = transfer.film_heat_w_m2k(self.members.diameter_m, local, air)
        thin = transfer.film_heat_w_m2k(0.8 * self.members.diameter_m, local, air)
        ratio = transfer.film_mass_m_s(np.ones_like(wide), air)
        multiplier = p.film.median * np.exp(spread[0] * self.film)
        return multiplier * wide, np.log(thin / wide) / np.log(0.8), ratio

    def add(
        self,
        end_s: Array,
        temperature_c: Array,
        humidity: tuple[Array, Array],
        film: tuple[Array, Array, Array],
        *,
        speed_up: Array | None = None,
        is_open: bool = True,
        measured: bool,
    ) -> None:
        """One block; humidity is (saturated, vapour) concentration before the member's offset."""
        offset = self.parameters.humidity_offset if measured else self.parameters.humidity_offset_set_point
        warm = temperature_c + self.warmer
        saturated, vapour = humidity
        log_slope = moist_air.concentration_log_slope_k(warm)
        here = saturated * np.exp(log_slope * self.warmer)
        most = 0.995 * here
        kelvin = warm + 273.15
        if speed_up is None:
            speed_up = self.temperature_factor(kelvin)
        self.rows.append(
            (
                end_s,
                speed_up,
                kelvin,
                here,
                np.clip(vapour / saturated * here + value_of(offset, self.wetter) * here, 0.0, most),
                log_slope,
                moist_air.latent_heat_j_kg(warm),
                *film,
            )
        )
        self.open.append(is_open)

    def temperature_factor(self, kelvin: Array) -> Array:
        """How much faster water moves than at the reference temperature."""
        reference = self.parameters.reference_temperature_c + 273.15
        factor: Array = np.exp(-self.members.activation * (1.0 / kelvin - 1.0 / reference))
        return factor

    def blocks(self) -> Blocks:
        columns = [np.ascontiguousarray(np.array(column)) for column in zip(*self.rows, strict=True)]
        names = [entry.name for entry in fields(Blocks) if entry.name not in ("open", "drift")]
        return Blocks(**dict(zip(names, columns, strict=True)), open=np.array(self.open))


def _films(
    rows: _AirRows, trace: AirTrace, borders: Array, was_read: NDArray[np.bool_], mean_c: Array
) -> list[tuple[Array, Array, Array]]:
    """The film of every block: the mean of the film over its readings, not the film of their mean."""
    root = np.sqrt(trace.speed)
    levels = np.unique(root) if len(np.unique(root)) <= 12 else np.linspace(root.min(), root.max(), 12)
    # The share of each level in each block; a reading between two levels counts for both.
    hats = np.array([np.interp(root, levels, unit) for unit in np.eye(len(levels))])
    shares = np.array([held_means(trace, borders, hat) for hat in hats])
    ones = np.ones(rows.members.count)
    # Round ends, so that the film of a day does not hang on how warm later days are.
    ends_c = 4.0 * np.array([np.floor(np.min(mean_c) / 4.0), np.floor(np.max(mean_c) / 4.0) + 1.0])
    warm = (mean_c - ends_c[0]) / (ends_c[1] - ends_c[0])
    table = {
        measured: np.array(
            [[rows.film_at(level**2 * ones, c * ones, measured=measured) for c in ends_c] for level in levels]
        )
        for measured in np.unique(was_read)
    }
    found = []
    for i, measured in enumerate(was_read):
        by_level = np.einsum("l,ltfm->tfm", shares[:, i], table[measured])
        film, power, ratio = (1.0 - warm[i]) * by_level[0] + warm[i] * by_level[1]
        found.append((film, power, ratio))
    return found


def _add_log(rows: _AirRows, trace: AirTrace) -> None:
    borders = block_borders(trace)
    saturated = moist_air.vapour_concentration_kg_m3(trace.temperature_c)
    mean_c = block_means(trace, borders, trace.temperature_c)
    mean_saturated = block_means(trace, borders, saturated)
    mean_vapour = block_means(trace, borders, saturated * trace.relative_humidity)
    # Both are straight between readings, so their product bends: exactly a sixth of its ends.
    bend = np.append(np.diff(saturated) * np.diff(trace.relative_humidity), 0.0) / 6.0
    mean_vapour = mean_vapour - held_means(trace, borders, bend)
    # The mean of the temperature factor at a typical activation energy; a member's own
    # energy enters as a power of it, exact to second order in the swing.
    typical = rows.parameters.activation_energy.median / moist_air.GAS_CONSTANT
    reference = rows.parameters.reference_temperature_c + 273.15
    factor = np.exp(-typical * (1.0 / (trace.temperature_c + 273.15) - 1.0 / reference))
    mean_factor = block_means(trace, borders, factor)
    ones = np.ones(rows.members.count)
    read = np.ones(len(trace.time_d)) if trace.measured is None else trace.measured.astype(np.float64)
    was_read = block_means(trace, borders, read) >= 0.5
    films = _films(rows, trace, borders, was_read, mean_c)
    warmer = np.exp(rows.members.activation * rows.warmer / reference**2)
    for i in range(len(mean_c)):
        rows.add(
            DAY_S * borders[i + 1] * ones,
            mean_c[i] * ones,
            (mean_saturated[i] * ones, mean_vapour[i] * ones),
            films[i],
            speed_up=mean_factor[i] ** (rows.members.activation / typical) * warmer,
            measured=bool(was_read[i]),
        )


def blocks_of(
    programme: Programme,
    parameters: DryingParameters,
    members: Members,
    draws: Draws,
    *,
    ends_d: Array,
    horizon_d: float,
) -> Blocks:
    """The air of every member from stuffing to the horizon.

    Args:
        programme: Programme.
        parameters: DryingParameters.
        members: Members.
        draws: Draws.
        ends_d: array (stages, lots). From `stage_ends_d`, or earlier by an `until`. [d]
        horizon_d: float. The last stage is carried on to here. [d]

    Returns:
        Blocks.
    """
    rows = _AirRows(members, parameters, draws)
    if programme.trace is not None:
        _add_log(rows, programme.trace)
    for i, stage in enumerate(programme.stages):

        def drawn(span: Span, name: str, stage_number: int = i) -> Array:
            return draws.per_member(span.at(draws.of_stage(stage_number, name)))

        celsius = drawn(stage.temperature_c, "temperature")
        saturated = moist_air.vapour_concentration_kg_m3(celsius)
        vapour = saturated * drawn(stage.relative_humidity, "humidity")
        measured = stage.measured
        film = rows.film_at(drawn(stage.air_m_s, "air"), celsius, measured=measured)
        end_s = DAY_S * draws.per_member(ends_d[i])
        rows.add(end_s, celsius, (saturated, vapour), film, is_open=not stage.packed, measured=measured)
    last = rows.rows[-1]
    rows.rows[-1] = (np.maximum(last[0], DAY_S * (horizon_d + 1.0)), *last[1:])
    return rows.blocks()
