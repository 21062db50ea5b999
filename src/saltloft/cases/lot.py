"""One lot as a drying case: the piece, its air, its targets and weighings, from records and facts."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from saltloft.cases.batter import Batter, batter_of
from saltloft.cases.dry import DryCase
from saltloft.cases.lot_ahead import RoomHabit, ahead, room_habit
from saltloft.cases.lot_air import BIN_S, LoggedAir, logged_air
from saltloft.cases.lot_samples import meter_error, samples
from saltloft.cases.lot_weighings import LossReading, losses
from saltloft.cases.open_house import OpenHouse, known_at
from saltloft.cases.ready_plans import ready_ground
from saltloft.foundation.errors import InputError
from saltloft.plant.answers import AirGap, AirRecord
from saltloft.plant.lot_record import LotRecord
from saltloft.plant.lots import LotMade
from saltloft.plant.recipes import ProductDefined, StageTarget
from saltloft.process.learning import Weighing
from saltloft.process.piece import Piece
from saltloft.process.programme import DAY_S, AirTrace, Programme, Span, Stage
from saltloft.process.pulses import Pulse, fans_run

MEMBERS, SEED = 400, 1
# What the weighings of one piece may show; a slip of the decimal mark falls outside, and no chart shows it.
LOSSES = (-0.05, 0.75)
# How unevenly pieces of one lot are stuffed: standard deviation of their green weight (chosen, no source).
GREEN_SPREAD = 0.04
# A log that covers less of the time than this is no log: the stages speak, with the room's doubt.
LEAST_MEASURED = 0.5
# After the planned stages the last one is carried on this much longer. [h]
CARRY_ON_H = 24.0 * 30.0


@dataclass(frozen=True)
class LotCase:
    """Everything a forecast of one lot needs, gathered once.

    Args:
        record: LotRecord.
        product: ProductDefined. The version in force when it was made.
        drying: DryCase. The same as a case file makes.
        readings: tuple of LossReading. Those a piece can have, as charts show them.
        weighed: tuple of LossReading. All that the model is handed, in the order of
            `drying.weighings`; it names those that cannot be.
        air: LoggedAir.
        batter: Batter or None.
        promise: bool. False when nothing of the air was measured and nothing was weighed.
        asof: datetime, aware.
        used_entries: tuple of str.
        told: RoomHabit. How the room kept to the plan before; the air ahead rests on it.
    """

    record: LotRecord
    product: ProductDefined
    drying: DryCase
    readings: tuple[LossReading, ...]
    weighed: tuple[LossReading, ...]
    air: LoggedAir
    batter: Batter | None
    promise: bool
    asof: datetime
    used_entries: tuple[str, ...]
    told: RoomHabit


def lot_case(
    house: OpenHouse,
    lot: str,
    asof: datetime,
    *,
    weighed_until_d: float | None = None,
    as_recorded: bool = True,
) -> LotCase:
    """Gather one hanging lot of dry sausage.

    Args:
        house: OpenHouse.
        lot: str.
        asof: datetime, aware. Only what was recorded by then counts.
        weighed_until_d: float or None. Hold back every later weighing (to try the forecast). [d]
        as_recorded: bool. False: what was entered later counts too, where it happened before.

    Raises:
        UnknownName: no such lot or product.
        InputError: not a dry sausage lot, or not hung yet.
    """
    known = known_at(house, asof) if as_recorded else None
    record = house.store.lots.get(lot, known)
    made = _made_of(record)
    asof = min(asof, off_racks_at(record) or asof)
    defined = house.store.products.get(record.product, known).defined
    recipe = house.store.recipes.find(record.recipe, known)
    batter = None if recipe is None else batter_of(record, recipe.defined.payload, house.facts)
    ready = ready_ground(house, defined.payload, asof)
    air = logged_air(house, record, asof, known)
    told = room_habit(house, record, defined.payload, plan_of(defined.payload, 0.0), asof=asof, known=known)
    until_d = float("inf") if weighed_until_d is None else weighed_until_d
    weighed = tuple(reading for reading in losses(record) if 0.0 < reading.day <= until_d)
    good = tuple(reading for reading in weighed if LOSSES[0] <= reading.loss <= LOSSES[1])
    measured, sampled = samples(record, meter_error(house.facts))
    measured = tuple(reading for reading in measured if reading.day <= until_d)
    entries = [
        *record.made.entry_ids,
        *defined.entry_ids,
        *ready.entries,
        *(stay.entry_id for stay in record.rooms),
    ]
    entries += [*(recipe.defined.entry_ids if recipe else ()), *air.sets]
    entries += [*(entry for reading in weighed for entry in reading.entries), *sampled]
    return LotCase(
        record=record,
        product=defined.payload,
        drying=DryCase(
            title=f"{lot} {defined.payload.title}",
            piece=piece_of(defined.payload, made, batter),
            programme=programme_of(record, defined.payload, air, told),
            targets=ready.targets,
            weighings=tuple(_weighing(reading) for reading in weighed),
            measured=measured,
            members=MEMBERS,
            seed=SEED,
        ),
        readings=good,
        weighed=weighed,
        air=air,
        batter=batter,
        promise=air.measured_share >= LEAST_MEASURED or bool(good),
        asof=asof,
        used_entries=tuple(dict.fromkeys(entries)),
        told=told,
    )


def _made_of(record: LotRecord) -> LotMade:
    """How a lot that hangs or hung was made; raises InputError for one without a forecast."""
    if not isinstance(record.made.payload, LotMade):
        raise InputError(
            f"{record.lot} has no forecast in this version",
            got=record.family,
            allowed="lots of dry sausage",
            key="lot",
        )
    if record.hung_at is None:
        raise InputError(f"{record.lot} does not hang yet", do="hang it first", key="lot")
    return record.made.payload


def off_racks_at(record: LotRecord) -> datetime | None:
    """When the last of a lot left its room; None while a part hangs."""
    ends = [stay.end for stay in record.rooms]
    return None if record.hanging or not ends else max(end for end in ends if end is not None)


def piece_of(product: ProductDefined, made: LotMade, batter: Batter | None) -> Piece:
    """The piece of a lot: the product's calibre and casing, the batter's fat, salt and sugar.

    Args:
        product: ProductDefined.
        made: LotMade. Its analysed fat counts before the recipe's.
        batter: Batter or None. None: the defaults of the model.
    """
    analysed = None if made.fat_pct is None else float(made.fat_pct) / 100.0
    fat = analysed if analysed is not None else (batter.fat if batter else None)
    length = float(product.length_mm) / 1000.0
    return Piece(
        diameter_m=Span.of(float(product.round_mm) / 1000.0),
        length_m=Span.of(length) if length > 0.0 else None,
        fat=None if fat is None else Span.of(fat),
        salt=None if batter is None else Span.of(batter.salt),
        sugar=None if batter is None else Span.of(batter.sugar),
        casing=product.casing or "natural",
        mould=bool(product.mould),
        fat_analysed=analysed is not None,
        pressed_to_m=None if product.shape == "round" else Span.of(float(product.thickness_mm) / 1000.0),
        oval=product.shape == "oval",
        net_heat_j_mol=1000.0 * float(product.sorption_heat_kj_mol) or None,
        rim_remembers=bool(product.rim_remembers),
    )


def programme_of(record: LotRecord, product: ProductDefined, air: LoggedAir, told: RoomHabit) -> Programme:
    """The room's log as far as it goes, then what is left of the product's stages.

    Args:
        record: LotRecord.
        product: ProductDefined.
        air: LoggedAir.
        told: RoomHabit. How the room kept to the plan before.

    Returns:
        Programme. After a log the air ahead is the plan as the room keeps to it; without one it
        is the plan as it stands, with the doubt of set-points.

    Raises:
        InputError: neither a log nor a stage.
    """
    trace = trace_of(record, product, air)
    if trace is None:
        return Programme(plan_of(product, 0.0), None)
    plan = plan_of(product, trace.end_d * 24.0)
    return Programme(ahead(plan, trace, told) if plan else (), trace)


def plan_of(product: ProductDefined, start_h: float) -> tuple[Stage, ...]:
    """The planned stages from stuffing on; the last one is carried on.

    Args:
        product: ProductDefined.
        start_h: float. Hours from stuffing that are behind; some of the last stage lies beyond. [h]
    """
    plan = [_stage(stage, float(stage.hours) / 24.0) for stage in product.stages]
    if plan:
        before = sum(float(stage.hours) for stage in product.stages[:-1])
        end = max(before + float(product.stages[-1].hours), start_h + 24.0) + CARRY_ON_H
        plan[-1] = replace(plan[-1], duration_d=Span.of((end - before) / 24.0))
    return tuple(plan)


def _stage(stage: StageTarget, days: float) -> Stage:
    return Stage(
        name=stage.name,
        duration_d=Span.of(days),
        temperature_c=Span.of(float(stage.temperature_c)),
        relative_humidity=Span.of(float(stage.rh_pct) / 100.0),
        air_m_s=Span.of(float(stage.air_m_s)),
        pulse=_pulse(stage),
    )


def _pulse(stage: StageTarget) -> Pulse | None:
    if not (stage.fans_on_h and stage.fans_off_h):
        return None
    rest = float(stage.rest_rh_pct) / 100.0
    return Pulse(float(stage.fans_on_h), float(stage.fans_off_h), rest or None)


def trace_of(record: LotRecord, product: ProductDefined, air: LoggedAir) -> AirTrace | None:
    """The log as a drying run takes it; None where less than half of the time was read.

    Args:
        record: LotRecord.
        product: ProductDefined. Its planned air speeds: no logger reads them.
        air: LoggedAir.
    """
    if air.measured_share < LEAST_MEASURED or air.at_s.size < 2:
        return None
    made_s = record.made_at.timestamp()
    time_d = np.asarray((air.at_s + BIN_S / 2.0 - made_s) / DAY_S, dtype=np.float64)
    keep = np.append(np.diff(time_d) > 0.0, True) & np.isfinite(air.temperature_c) & np.isfinite(air.rh)
    time_d, temperature, rh = time_d[keep], air.temperature_c[keep], air.rh[keep]
    read = air.measured[keep]
    if time_d.size < 2:
        return None
    if time_d[0] > 0.0:
        # Between stuffing and the first reading the piece already stands in that air.
        time_d = np.concatenate(([0.0], time_d))
        temperature, rh = np.concatenate(([temperature[0]], temperature)), np.concatenate(([rh[0]], rh))
        read = np.concatenate(([read[0]], read))
    return AirTrace(time_d, temperature, rh, _air_speeds(product, time_d), read)


def _air_speeds(product: ProductDefined, time_d: NDArray[np.float64]) -> NDArray[np.float64]:
    """Planned air speed at each moment, stage by stage, fans that rest included; no logger reads it. [m/s]"""
    if not product.stages:
        return np.full(len(time_d), 0.15)
    ends_d = np.cumsum([float(stage.hours) / 24.0 for stage in product.stages])
    at = np.minimum(np.searchsorted(ends_d, time_d, side="right"), len(product.stages) - 1)
    speeds = np.array([float(stage.air_m_s) for stage in product.stages])[at]
    for number, stage in enumerate(product.stages):
        pulse = _pulse(stage)
        if pulse is not None:
            begin_d = ends_d[number] - float(stage.hours) / 24.0
            speeds[(at == number) & ~fans_run(24.0 * (time_d - begin_d), pulse)] = 0.0
    return np.asarray(speeds)


def _weighing(reading: LossReading) -> Weighing:
    return Weighing(
        day=reading.day,
        weight_loss=reading.loss,
        pieces=reading.pieces,
        tag=reading.tag,
        division_kg=reading.division_g / 1000.0,
        green_kg=reading.green_g / 1000.0,
        scale=reading.scale,
        green_scale=reading.green_scale,
        rack=reading.rack,
        green_spread=0.0 if reading.own_green else GREEN_SPREAD,
        tare_kg=reading.tare_g / 1000.0,
    )


def air_record(case: LotCase) -> AirRecord:
    """The air as charts and papers show it, thinned nowhere yet.

    Args:
        case: LotCase.
    """
    made_s = case.record.made_at.timestamp()
    air = case.air
    known = air.measured & np.isfinite(air.temperature_c) & np.isfinite(air.rh)
    return AirRecord(
        time_d=tuple(((air.at_s[known] - made_s) / DAY_S).round(4).tolist()),
        temperature_c=tuple(air.temperature_c[known].round(2).tolist()),
        rh_pct=tuple((100.0 * air.rh[known]).round(1).tolist()),
        gaps=tuple(
            AirGap((hole.start_s - made_s) / DAY_S, (hole.end_s - made_s) / DAY_S, hole.words)
            for hole in air.holes
        ),
        batches=air.batches,
    )


def _ends_of(stage: Stage) -> tuple[float, ...]:
    warm, wet = stage.temperature_c, stage.relative_humidity
    return stage.duration_d.mean, warm.low, warm.high, wet.low, wet.high


def key_of(case: LotCase, seals: Mapping[str, str], *, prior: str, model: str) -> str:
    """Digest of everything a forecast of this case rests on.

    Args:
        case: LotCase.
        seals: mapping of batch to its digest.
        prior: str. Name and version of the prior.
        model: str. Version of the model.
    """
    rests_on = {
        "lot": case.record.lot,
        "entries": sorted(case.used_entries),
        "seals": dict(sorted(seals.items())),
        # The log is used up to its last half hour before `asof`.
        "until": int(case.air.at_s[-1]) if case.air.at_s.size else 0,
        # How the room kept to the plan for other lots moves the air ahead of this one.
        "ahead": [
            [stage.name, *(f"{end:.6g}" for end in _ends_of(stage))] for stage in case.drying.programme.stages
        ],
        # A limit among the targets may come from a fact row.
        "targets": case.drying.targets,
        "prior": prior,
        "model": model,
        "seed": case.drying.seed,
        "members": case.drying.members,
    }
    return hashlib.sha256(json.dumps(rests_on, sort_keys=True).encode()).hexdigest()
