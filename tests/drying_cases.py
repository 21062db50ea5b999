"""Pieces, air and parameters that several drying tests share."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np

from saltloft.cases.drying_parameters import drying_parameters, kill_models
from saltloft.facts.loader import load_facts
from saltloft.process.build import batter_of, members_of
from saltloft.process.draws import Draws, draw
from saltloft.process.drying.laws import DiffusivityLaw, tabulate
from saltloft.process.drying.members import Blocks, Members
from saltloft.process.ensemble import forecast
from saltloft.process.parameters import DryingParameters
from saltloft.process.piece import Piece
from saltloft.process.programme import AirTrace, Programme, Span, Stage
from saltloft.process.result import DryingForecast
from saltloft.process.room_air import blocks_of, stage_ends_d
from saltloft.science.water_activity import Halsey


@lru_cache(maxsize=1)
def parameters() -> DryingParameters:
    """The shipped priors."""
    return drying_parameters(load_facts())


@lru_cache(maxsize=1)
def trial_parameters() -> DryingParameters:
    """The doubt of our own earlier trial: no error of the model, humidity at the piece to 0.015.

    Both were widened since, on invented truths of other laws; what the equations give is compared
    with the trial's tables at the trial's own doubt.
    """
    shipped = parameters()
    return replace(
        shipped,
        discrepancy=replace(shipped.discrepancy, sd=0.0),
        discrepancy_share=0.0,
        air_walk=0.0,
        humidity_offset=replace(shipped.humidity_offset, sd=0.015),
    )


def stage(
    days: float, celsius: float, rh: float, air: float, *, measured: bool = True, packed: bool = False
) -> Stage:
    """A stage of plain numbers."""
    spans = (Span.of(days), Span.of(celsius), Span.of(rh), Span.of(air))
    return Stage("", *spans, measured=measured, packed=packed)


def standard(days: float = 60.0, rh: float = 0.78, *, measured: bool = True) -> Programme:
    """2.5 d at 22 degC 92 % 0.3 m/s, then 14 degC 78 % 0.15 m/s."""
    return Programme(
        (stage(2.5, 22.0, 0.92, 0.3, measured=measured), stage(days, 14.0, rh, 0.15, measured=measured))
    )


def piece(diameter_mm: float, fat: float = 0.28, salt: float = 0.027, **more: object) -> Piece:
    """A piece of the standard batter."""
    made = Piece(Span.of(diameter_mm / 1000.0), fat=Span.of(fat), salt=Span.of(salt))
    return replace(made, **more)  # type: ignore[arg-type]


@lru_cache(maxsize=32)
def standard_forecast(
    diameter_mm: float, *, measured: bool = True, members: int = 400, trial: bool = False
) -> DryingForecast:
    """The standard programme to 35 % loss and M:P 1.9, computed once for all tests."""
    return forecast(
        piece(diameter_mm),
        standard(measured=measured),
        trial_parameters() if trial else parameters(),
        targets={"weight_loss_pct": 35.0, "moisture_protein": 1.9},
        members=members,
        kill=kill_models(load_facts()),
    )


def central_draws(stages: int) -> Draws:
    """Two members at the median of every prior."""
    drawn = draw(1, "central", 2, stages)
    return replace(drawn, lot=0.0 * drawn.lot, piece=0.0 * drawn.piece)


def engine_case(
    what: Piece, programme: Programme, draws: Draws, horizon_d: float = 60.0
) -> tuple[Members, Blocks]:
    """Members and air as the engine gets them."""
    batter = batter_of(what, parameters(), draws)
    members = members_of(what, parameters(), draws, batter)
    ends = stage_ends_d(programme, draws)
    return members, blocks_of(programme, parameters(), members, draws, ends_d=ends, horizon_d=horizon_d)


def linear_members(count: int = 1, diffusivity: float = 5e-11, diameter_m: float = 0.05) -> Members:
    """A body that does not shrink, holds no salt, and whose a_w is X/3: the classical cylinder."""
    ones = np.ones(count)
    law = DiffusivityLaw(
        reference=diffusivity * ones,
        exponent=0.0 * ones,
        fat_exponent=0.0 * ones,
        crust_water=0.0 * ones,
        crust_power=4.0,
        obstruction_water=0.751,
        reference_water=2.0,
        fat_volume=0.0 * ones,
        fixed_volume=1e-3 * ones,
        water_volume=0.0,
    )
    return Members(
        diameter_m=diameter_m * ones,
        water=2.0 * ones,
        salt=0.0 * ones,
        solutes=0.0 * ones,
        green_mass=3.0 * ones,
        law=law,
        potential=tabulate(law),
        length_share=0.0 * ones,
        salt_ratio=3.0 * ones,
        salt_drag=0.0 * ones,
        halsey=Halsey(0.08 * ones, 2.3 * ones),
        brine=parameters().brine,
        resistance_s_m=0.0 * ones,
        other_heat=1.0 * ones,
        activation=0.0 * ones,
        end_factor=ones,
        linear_sorption=1.0 / 3.0,
    )


def linear_air(members: Members, biot: np.ndarray, end_s: np.ndarray) -> Blocks:
    """Dry air whose film gives each member its Biot number; no cooling."""
    count = members.count
    d = members.law.reference
    radius = 0.5 * members.diameter_m
    saturated = 0.01
    # Biot = K c_sat (a_w per X) R v / D.
    conductance = biot * d / (saturated * members.linear_sorption * radius * members.law.fixed_volume)
    row = np.ones((1, count))
    return Blocks(
        end_s=end_s[None, :],
        speed_up=row,
        kelvin=287.15 * row,
        saturated=saturated * row,
        vapour=0.5 * saturated * row * members.linear_sorption,  # at rest at X = 0.5
        log_slope=0.06 * row,
        latent=0.0 * row,
        film_heat=conductance[None, :],
        film_power=0.0 * row,
        film_ratio=row,
        open=np.array([True]),
    )


def noisy_log(days: float, seed: int = 0) -> AirTrace:
    """An hourly log: fermentation, then drying, with daily swing, noise and defrost jumps."""
    time_d = np.arange(0.0, 24.0 * days + 1.0) / 24.0
    noise = np.random.default_rng(seed)
    fermenting = time_d < 2.5
    celsius = np.where(fermenting, 22.0, 14.0) + 0.5 * np.sin(2 * np.pi * time_d)
    celsius += 0.2 * noise.normal(size=len(time_d))
    rh = np.where(fermenting, 0.92, 0.78) + 0.025 * np.sin(2 * np.pi * time_d + 1.0)
    rh += 0.01 * noise.normal(size=len(time_d)) + np.where(time_d % 1.0 < 0.04, 0.06, 0.0)
    return AirTrace(time_d, celsius, np.clip(rh, 0.0, 1.0), 0.15)
