"""One drying question from a CASE.toml: the piece, its air, the targets and the weighings."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from saltloft.cases.case_file import Table, read_case
from saltloft.cases.keys import Flag, Number, Range, Schema, Section, Text
from saltloft.cases.lot_samples import meter_error
from saltloft.cases.measured_keys import MEASURED, measured_of
from saltloft.cases.piece_keys import PIECE, STAGE, check_count, check_parts, check_shape, hours_of, pulse_of
from saltloft.facts.loader import load_facts
from saltloft.foundation.errors import InputError
from saltloft.foundation.words import say
from saltloft.process.ensemble import LONGEST_D
from saltloft.process.learning import Measured, Weighing
from saltloft.process.parameters import DryingParameters
from saltloft.process.piece import Piece, closed_composition
from saltloft.process.programme import Programme, Span, Stage
from saltloft.science.water_activity import Halsey, of_mixture

MOST_WEIGHINGS = 500
# Fewer members tell no covariance between what was weighed and what is to be learned.
LEAST_LEARNING = 20
# Other solutes per kg of batter that no sausage holds: six times the usual (own). [mol/kg]
MOST_SOLUTES = 2.0
START_SLACK = 0.012  # a meter and the rounding of a recipe

SCHEMA: Schema = {
    "piece": PIECE,
    "stage": Section({**STAGE.keys, "measured": Flag()}, many=True, required=True),
    "target": Section(
        {
            "weight_loss_pct": Number(0.1, 80, fraction_below=0.81),
            "moisture_protein": Number(0.1, 6),
            "water_activity": Number(0.5, 0.99),
            "water_activity_core": Number(0.5, 0.99),
        }
    ),
    "ensemble": Section({"members": Number(2, 5000, whole=True), "seed": Number(0, 2**31, whole=True)}),
    "weighing": Section(
        {
            "day": Number(0.05, LONGEST_D, required=True),
            "weight_loss_pct": Number(-20, 80, required=True),
            "pieces": Number(1, 100_000, whole=True),
            "tag": Text(),
            "spread_pct": Number(0.01, 30),
            "division_g": Number(0.01, 5000),
        },
        many=True,
    ),
    "measured": MEASURED,
}


@dataclass(frozen=True)
class DryCase:
    """What `saltloft dry` was asked.

    Args:
        title: str.
        piece: Piece.
        programme: Programme.
        targets: mapping of target name to its level, in the unit of the name.
        weighings: tuple of Weighing.
        members: int.
        seed: int.
        measured: tuple of Measured. Water activity, moisture and diameters of samples.
    """

    title: str
    piece: Piece
    programme: Programme
    targets: dict[str, float]
    weighings: tuple[Weighing, ...]
    members: int
    seed: int
    measured: tuple[Measured, ...] = ()


def read_dry(path: Path, parameters: DryingParameters) -> DryCase:
    """Read a drying case.

    Args:
        path: Path. The TOML file.
        parameters: DryingParameters. Where a default comes from.

    Returns:
        DryCase.

    Raises:
        InputError, UnknownName: with key, line, what came and what is allowed.
    """
    file = read_case(path, SCHEMA)
    piece = piece_of(file.section("piece"))
    check_batter(file.section("piece"), piece, parameters)
    check_start_activity(file.section("piece"), piece, parameters)
    check_count(file.sections("stage"))
    stages = tuple(_stage(table, parameters) for table in file.sections("stage"))
    weighings = file.sections("weighing")
    if len(weighings) > MOST_WEIGHINGS:
        raise weighings[MOST_WEIGHINGS].refusal(
            "day",
            say("too many weighings in one case"),
            got=str(len(weighings)),
            allowed=say("at most {count}", count=MOST_WEIGHINGS),
        )
    target, ensemble = file.section("target"), file.section("ensemble")
    members = ensemble.whole("members") or 400
    if weighings and members < LEAST_LEARNING:
        raise ensemble.refusal(
            "members",
            say("too few members to learn from weighings"),
            got=str(members),
            allowed=say("{least} to 5000 with weighings", least=LEAST_LEARNING),
        )
    return DryCase(
        title=file.text("title") or "",
        piece=piece,
        programme=Programme(stages),
        targets={name: value for name in target.values if (value := target.number(name)) is not None},
        weighings=tuple(_weighing(table, piece) for table in weighings),
        members=members,
        seed=1 if (seed := ensemble.whole("seed")) is None else seed,
        measured=measured_of(file.sections("measured"), meter_error(load_facts())),
    )


def check_batter(table: Table, piece: Piece, parameters: DryingParameters) -> None:
    """Refuse a batter that no meat makes, at both ends and the middle of its ranges.

    Args:
        table: Table. `[piece]`.
        piece: Piece. Read from it.
        parameters: DryingParameters.

    Raises:
        InputError: with the line of the part concerned.
    """
    places = np.array([0.0, 0.5, 1.0])
    shares = dict.fromkeys(("fat", "salt", "water", "protein", "sugar"), places)
    try:
        closed_composition(piece, parameters, shares)
    except InputError as error:
        known = [error.key, *(name for name in ("fat_pct", "water_pct", "protein_pct") if name in table)]
        key = next((name for name in known if name in table), "")
        raise table.refusal(key, error.what, got=error.got, allowed=error.allowed, do=error.do) from error


def check_start_activity(table: Table, piece: Piece, parameters: DryingParameters) -> None:
    """Refuse a water activity at stuffing that the stated batter cannot have.

    Args:
        table: Table. `[piece]`.
        piece: Piece. Read from it.
        parameters: DryingParameters.

    Raises:
        InputError: wetter than its salt alone allows, or so dry that it would need MOST_SOLUTES
            per kg of batter beside the salt.
    """
    if piece.start_water_activity is None:
        return
    middle = dict.fromkeys(("fat", "salt", "water", "protein", "sugar"), np.array([0.5]))
    batter = closed_composition(piece, parameters, middle)
    water, salt = batter.water_per_solids, batter.salt_per_solids
    halsey = Halsey(parameters.halsey_scale.median, parameters.halsey_power.median)
    most = MOST_SOLUTES / batter.solids
    ends = [float(of_mixture(water, salt, n, parameters.brine, halsey)[0]) for n in (most, 0.0)]
    low, high = ends[0] - START_SLACK, min(ends[1] + START_SLACK, 1.0)
    if not low <= piece.start_water_activity.mean <= high:
        raise table.refusal(
            "start_water_activity",
            say("this batter cannot have this water activity at stuffing"),
            got=f"{piece.start_water_activity.mean:.3f}",
            allowed=say(
                "{low:.3f} to {high:.3f} for its water and salt (to {most:g} mol/kg of other solutes)",
                low=low,
                high=high,
                most=MOST_SOLUTES,
            ),
            do=say("look at salt_pct and water_pct, or leave the key out"),
        )


def _span(given: Range | None, scale: float = 1.0) -> Span | None:
    return None if given is None else Span(scale * given.low, scale * given.high)


def piece_of(table: Table) -> Piece:
    """The piece of a `[piece]` table.

    Args:
        table: Table.

    Raises:
        InputError: parts that are more than the whole.
    """
    check_parts(table)
    diameter = _span(table.span("diameter_mm"), 1e-3)
    assert diameter is not None  # the schema requires it
    check_shape(table)
    heat = table.number("sorption_heat_kj_mol")
    return Piece(
        diameter_m=diameter,
        length_m=_span(table.span("length_mm"), 1e-3),
        fat=_span(table.span("fat_pct"), 0.01),
        salt=_span(table.span("salt_pct"), 0.01),
        water=_span(table.span("water_pct"), 0.01),
        protein=_span(table.span("protein_pct"), 0.01),
        sugar=_span(table.span("sugar_g_kg"), 1e-3),
        other_solutes_mol_kg=_span(table.span("other_solutes_mol_kg")),
        start_water_activity=_span(table.span("start_water_activity")),
        casing=table.text("casing") or "natural",
        mould=bool(table.flag("mould")),
        pressed_to_m=_span(table.span("pressed_to_mm"), 1e-3),
        oval=bool(table.flag("oval")),
        net_heat_j_mol=None if heat is None else 1000.0 * heat,
        rim_remembers=bool(table.flag("rim_remembers")),
    )


def _stage(table: Table, parameters: DryingParameters) -> Stage:
    hours, celsius = hours_of(table), _span(table.span("temperature_c"))
    humidity = _span(table.span("rh_pct"), 0.01)
    packed = bool(table.flag("packed"))
    if humidity is None:
        if not packed:
            raise table.refusal("rh_pct", say("the stage lacks its humidity"), allowed=say("20 to 100, in %"))
        humidity = Span.of(0.75)  # of no effect in a sealed pack
    assert celsius is not None  # the schema requires it
    loss = table.number("until_weight_loss_pct")
    return Stage(
        name=table.text("name") or "",
        duration_d=Span(hours.low / 24.0, hours.high / 24.0),
        temperature_c=celsius,
        relative_humidity=humidity,
        air_m_s=_span(table.span("air_m_s")) or Span.of(parameters.default_air_m_s),
        packed=packed,
        measured=bool(table.flag("measured")),
        until_weight_loss=None if loss is None else 0.01 * loss,
        until_moisture_protein=table.number("until_moisture_protein"),
        until_ph=table.number("until_ph"),
        ph_end=_span(table.span("ph_end")),
        pulse=pulse_of(table),
    )


def _weighing(table: Table, piece: Piece) -> Weighing:
    day, loss = table.number("day"), table.number("weight_loss_pct")
    assert day is not None  # the schema requires both
    assert loss is not None
    spread, pieces = table.number("spread_pct"), table.whole("pieces") or 1
    diameter = piece.diameter_m.mean
    length = piece.length_m.mean if piece.length_m else 7.0 * diameter
    # 1050 kg/m3: near any batter; it only turns a scale's division into per cent.
    green_kg = 1050.0 * 0.7854 * diameter**2 * length * pieces
    return Weighing(
        day=day,
        weight_loss=0.01 * loss,
        pieces=pieces,
        tag=table.text("tag") or "",
        spread=None if spread is None else 0.01 * spread,
        division_kg=1e-3 * (table.number("division_g") or 0.0),
        green_kg=green_kg,
    )
