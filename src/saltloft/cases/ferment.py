"""One fermentation question from a CASE.toml: the piece, its rooms, sugar, start and readings."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from saltloft.cases.case_file import Table, read_case
from saltloft.cases.dry import check_batter, piece_of
from saltloft.cases.keys import Number, Range, Schema, Section, Span, Text
from saltloft.cases.piece_keys import PIECE, STAGE, check_count, hours_of
from saltloft.facts.loader import Facts
from saltloft.foundation.words import say
from saltloft.process import programme
from saltloft.process.fermentation.learning import PhReading
from saltloft.process.fermentation.members import Batch, Place
from saltloft.process.parameters import DryingParameters
from saltloft.process.piece import Piece, closed_composition
from saltloft.process.programme import Programme, Stage

MOST_READINGS = 500
LONGEST_H = 400.0 * 24.0


def _ph_hint() -> str:
    return say("pH as the meter shows it, such as 5.31")


SCHEMA: Schema = {
    "piece": PIECE,
    "stage": STAGE,
    "sugar": Section({"dextrose_g_kg": Span(0, 60)}),
    "start": Section(
        {
            "ph": Span(4.5, 7.2, hint=_ph_hint),
            "starter_log10_cfu_g": Span(0, 8.5),
            "temperature_c": Span(-3, 30),
            "nitrite_mg_kg": Span(0, 500),
        }
    ),
    "reading": Section(
        {
            "hour": Number(0, LONGEST_H, required=True),
            "ph": Number(3.5, 7.5, required=True, hint=_ph_hint),
            "where": Text(("core", "rim", "test_mince", "offcut", "strip")),
            "pieces": Number(1, 1000, whole=True),
        },
        many=True,
    ),
    "ensemble": Section({"members": Number(2, 5000, whole=True), "seed": Number(0, 2**31, whole=True)}),
}


@dataclass(frozen=True)
class FermentCase:
    """What `saltloft ferment` was asked.

    Args:
        title: str.
        piece: Piece.
        batch: Batch.
        places: tuple of Place. The stages' rooms.
        until_ph: tuple of float or None, one a stage. Ends the stage when the core is there. [pH]
        programme: Programme. The same stages for the drying model.
        readings: tuple of PhReading. As given.
        stated_ends: tuple of PhReading. Stated pH at the end of a stage, as a soft reading.
        members: int.
        seed: int.
        defaults: tuple of str. Fact keys of what was left out.
        notes: tuple of str. What of the case this computation does not use.
    """

    title: str
    piece: Piece
    batch: Batch
    places: tuple[Place, ...]
    until_ph: tuple[float | None, ...]
    programme: Programme
    readings: tuple[PhReading, ...]
    stated_ends: tuple[PhReading, ...]
    members: int
    seed: int
    defaults: tuple[str, ...]
    notes: tuple[str, ...]


def read_ferment(path: Path, facts: Facts, drying: DryingParameters) -> FermentCase:
    """Read a fermentation case.

    Args:
        path: Path. The TOML file.
        facts: Facts. Where defaults come from.
        drying: DryingParameters. Closes the composition.

    Returns:
        FermentCase.

    Raises:
        InputError, UnknownName: with key, line, what came and what is allowed.
    """
    file = read_case(path, SCHEMA)
    piece = piece_of(file.section("piece"))
    check_batter(file.section("piece"), piece, drying)
    stages = file.sections("stage")
    check_count(stages)
    places = tuple(_place(table) for table in stages)
    last_h = sum(place.duration_h.high for place in places)
    if last_h > LONGEST_H:
        raise stages[-1].refusal(
            "", say("the stages are too long"), got=f"{last_h / 24:.0f} d", allowed=say("at most 400 d")
        )
    batch, defaults = _batch(file, piece, facts, drying)
    ensemble = file.section("ensemble")
    seed = ensemble.whole("seed")
    return FermentCase(
        title=file.text("title") or "",
        piece=piece,
        batch=batch,
        places=places,
        until_ph=tuple(table.number("until_ph") for table in stages),
        programme=Programme(tuple(_drying_stage(table, drying) for table in stages)),
        readings=_readings(file.sections("reading"), last_h),
        stated_ends=_stated_ends(stages, places),
        members=ensemble.whole("members") or 400,
        seed=1 if seed is None else seed,
        defaults=defaults,
        notes=_notes(stages),
    )


def _span(given: Range | None, scale: float = 1.0) -> programme.Span | None:
    return None if given is None else programme.Span(scale * given.low, scale * given.high)


def _place(table: Table) -> Place:
    hours, celsius = hours_of(table), _span(table.span("temperature_c"))
    assert celsius is not None  # the schema requires it
    return Place(programme.Span(hours.low, hours.high), celsius)


def _batch(
    file: Table, piece: Piece, facts: Facts, drying: DryingParameters
) -> tuple[Batch, tuple[str, ...]]:
    """The batch, and the fact keys of its defaults."""
    start, sugar = file.section("start"), file.section("sugar")
    own_sugar = None if piece.sugar is None else programme.Span(1e3 * piece.sugar.low, 1e3 * piece.sugar.high)
    given = {
        "dextrose": _span(sugar.span("dextrose_g_kg")) or own_sugar,
        "batter_temperature": _span(start.span("temperature_c")),
        "nitrite": _span(start.span("nitrite_mg_kg")),
    }
    keys = {name: f"fermentation.{name}" for name, span in given.items() if span is None}
    filled = {
        name: span or programme.Span.of(facts.number(f"fermentation.{name}")) for name, span in given.items()
    }
    half = {name: np.full(1, 0.5) for name in ("fat", "salt", "water", "protein", "sugar")}
    batter = closed_composition(piece, drying, half)
    water, protein = float(np.asarray(batter.water)[0]), float(np.asarray(batter.protein)[0])
    batch = Batch(
        diameter_m=piece.diameter_m,
        lean=programme.Span.of(min(water + protein, 0.98)),
        water=programme.Span.of(water),
        dextrose_g_kg=filled["dextrose"],
        start_c=filled["batter_temperature"],
        nitrite_mg_kg=filled["nitrite"],
        start_ph=_span(start.span("ph")),
        starter_log10=_span(start.span("starter_log10_cfu_g")),
    )
    return batch, tuple(keys.values())


def _drying_stage(table: Table, drying: DryingParameters) -> Stage:
    """The stage for the drying model; without a humidity nothing dries in it."""
    hours, celsius = hours_of(table), _span(table.span("temperature_c"))
    humidity = _span(table.span("rh_pct"), 0.01)
    assert celsius is not None
    return Stage(
        name=table.text("name") or "",
        duration_d=programme.Span(hours.low / 24.0, hours.high / 24.0),
        temperature_c=celsius,
        relative_humidity=humidity or programme.Span.of(0.75),
        air_m_s=_span(table.span("air_m_s")) or programme.Span.of(drying.default_air_m_s),
        packed=bool(table.flag("packed")) or humidity is None,
    )


def _readings(tables: tuple[Table, ...], last_h: float) -> tuple[PhReading, ...]:
    if len(tables) > MOST_READINGS:
        raise tables[MOST_READINGS].refusal(
            "hour",
            say("too many readings in one case"),
            got=str(len(tables)),
            allowed=say("at most {count}", count=MOST_READINGS),
        )
    found = []
    for table in tables:
        hour, ph = table.number("hour"), table.number("ph")
        assert hour is not None  # the schema requires both
        assert ph is not None
        if hour > last_h:
            raise table.refusal(
                "hour",
                say("the reading is later than the stages"),
                got=f"{hour:g} h",
                allowed=say("at most {hours:g} h", hours=last_h),
                do=say("give the stages up to this reading"),
            )
        found.append(PhReading(hour, ph, table.text("where") or "core", table.whole("pieces") or 1))
    return tuple(found)


def _stated_ends(stages: tuple[Table, ...], places: tuple[Place, ...]) -> tuple[PhReading, ...]:
    """`ph_end` of a stage as a soft reading of the core at its end."""
    found, hour = [], 0.0
    for table, place in zip(stages, places, strict=True):
        hour += place.duration_h.mean
        stated = table.span("ph_end")
        if stated is not None:
            sd = float(np.hypot(0.05, (stated.high - stated.low) / np.sqrt(12.0)))
            found.append(PhReading(hour, stated.mean, "core", 1, sd))
    return tuple(found)


def _notes(stages: tuple[Table, ...]) -> tuple[str, ...]:
    notes = []
    if any("until_weight_loss_pct" in table or "until_moisture_protein" in table for table in stages):
        notes.append(say("stages that end by weight loss or moisture:protein were taken to their latest end"))
    if any("rh_pct" not in table and not table.flag("packed") for table in stages):
        notes.append(say("a stage without rh_pct: drying in it is not computed, water activity stays"))
    return tuple(notes)
