"""Everything the dossier and the page of one lot lay out, gathered from records, facts and results."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Any

from saltloft.cases.batter import Batter, batter_of
from saltloft.cases.judgement import product_of
from saltloft.cases.open_house import OpenHouse, known_at
from saltloft.foundation.words import say
from saltloft.plant.answers import LotJudgement, LotOutlook
from saltloft.plant.folder import InstrumentUse, LotFolder, SourceLine
from saltloft.plant.house_record import InstrumentRecord
from saltloft.plant.lot_record import LotRecord
from saltloft.plant.rounds import floor_tasks, next_weighing_at, tagged_pieces
from saltloft.plant.sentences import day_words, moment_words
from saltloft.plant.stated import Stated
from saltloft.plant.trade_words import unit_sign

PIECES = 6


def lot_folder(
    house: OpenHouse, lot: str, at: datetime, outlook: LotOutlook | None, judgement: LotJudgement
) -> LotFolder:
    """Gather one lot's dossier.

    Args:
        house: OpenHouse.
        lot: str.
        at: datetime, aware. As it was known then.
        outlook: LotOutlook or None.
        judgement: LotJudgement.

    Raises:
        UnknownName: no such lot or product.
    """
    known = known_at(house, at)
    record = house.store.lots.get(lot, known)
    recipe = house.store.recipes.find(record.recipe, known) if record.recipe else None
    batter = batter_of(record, recipe.defined.payload, house.facts) if recipe else None
    hazards = {stand.hazard for stand in judgement.hazards}
    documents = [
        item
        for item in house.store.documents.all(known)
        if item.payload.hazard in hazards
        and (lot in item.payload.covers_lots or record.product in item.payload.covers_products)
    ]
    return LotFolder(
        house=house.face(),
        at=at,
        record=record,
        product=product_of(house, record, at),
        recipe=recipe.defined.payload if recipe else None,
        ingoing=batter.parts if batter else (),
        nitrite_mg_kg=_nitrite(batter),
        outlook=outlook,
        judgement=judgement,
        next_step=next_step(house, record, judgement, at),
        instruments=instrument_uses(house, record, at),
        people=_people(house, record),
        documents=tuple(documents),
        sources=source_lines(house, judgement, at),
    )


def _nitrite(batter: Batter | None) -> dict[str, float]:
    if batter is None or batter.nitrite is None:
        return {}
    return {
        say("meat"): batter.nitrite.per_meat_mg_kg,
        say("batter"): batter.nitrite.per_batter_mg_kg,
    }


def next_step(house: OpenHouse, record: LotRecord, judgement: LotJudgement, at: datetime) -> str:
    """What to do next with a lot, without a full stop; empty when it left the house.

    Args:
        house: OpenHouse.
        record: LotRecord.
        judgement: LotJudgement.
        at: datetime, aware.
    """
    if record.state in ("gone", "ended"):
        return ""
    if record.open_holds:
        until = record.open_holds[-1].held.payload.until
        return until.rstrip(".") or say("decide on the hold")
    room = house.store.rooms.find(record.room, known_at(house, at)) if record.room else None
    ferments = room is not None and room.defined.payload.role == "fermenting"
    tasks = floor_tasks(record, at, house.zone, ferments=ferments)
    if any(task.sort == "ph" for task in tasks):
        return say("read core pH today")
    pieces = len(tagged_pieces(record, at)) or PIECES
    if tasks:
        return say("weigh {pieces} pieces today", pieces=pieces)
    if record.hanging and record.family == "dry_sausage":
        today = at.astimezone(house.zone).date()
        day = next_weighing_at(record).astimezone(house.zone).date()
        when = say("tomorrow") if day - today == timedelta(days=1) else day_words(day, today)
        return say("weigh {pieces} pieces {when}", pieces=pieces, when=when)
    steps = (v.next for stand in judgement.hazards if stand.is_open for v in stand.verdicts if v.next)
    return next(steps, "").rstrip(".")


def instrument_uses(house: OpenHouse, record: LotRecord, at: datetime) -> tuple[InstrumentUse, ...]:
    """Every instrument the lot was measured with, and whether it was in check each time.

    Args:
        house: OpenHouse.
        record: LotRecord.
        at: datetime, aware.
    """
    readings: tuple[Stated[Any], ...] = (*record.weighings, *record.ph_sets, *record.water_activities)
    by_name: dict[str, list[datetime]] = {}
    for item in readings:
        by_name.setdefault(item.payload.instrument, []).append(item.at)
    known = {one.instrument: one for one in house.store.instruments.all(known_at(house, at))}
    return tuple(_use(house, name, known.get(name), times, at) for name, times in sorted(by_name.items()))


def _use(
    house: OpenHouse, name: str, record: InstrumentRecord | None, times: list[datetime], at: datetime
) -> InstrumentUse:
    if record is None:
        return InstrumentUse(name or "?", say("not defined"), len(times), len(times), "")
    today, zone = at.astimezone(house.zone).date(), str(house.zone)
    states = [record.check_state(moment) for moment in times]
    good = next((state.last_good for state in reversed(states) if state.last_good), None)
    failed = next((state.failed for state in reversed(states) if state.failed), None)
    return InstrumentUse(
        instrument=name,
        type=record.defined.payload.type,
        uses=len(times),
        out_of_check=sum(not state.in_check for state in states),
        last_good="" if good is None else f"{moment_words(good.at, zone, today)}: {good.payload.found}",
        failed=""
        if failed is None
        else say(
            "{when}: {found}, allowed {limit}",
            when=moment_words(failed.at, zone, today),
            found=failed.payload.found,
            limit=failed.payload.limit,
        ),
    )


def _people(house: OpenHouse, record: LotRecord) -> dict[str, str]:
    ids = {item.person for item in record.history}
    ids |= {correction.person for item in record.history for correction in item.corrections}
    found = {}
    for person in sorted(ids):
        known = house.store.people.find(person)
        found[person] = person if known is None else f"{known.name}, {known.role.replace('_', ' ')}"
    return found


def source_lines(house: OpenHouse, judgement: LotJudgement, at: datetime) -> tuple[SourceLine, ...]:
    """Every fact row the verdicts rested on, with its source, confidence and confirmation.

    Args:
        house: OpenHouse.
        judgement: LotJudgement.
        at: datetime, aware.
    """
    stands = (verdict for stand in judgement.hazards for verdict in stand.verdicts)
    keys: Iterable[str] = dict.fromkeys(
        key for verdict in (*stands, *judgement.names, *judgement.other) for key in verdict.sources
    )
    said = {item.payload.fact: item for item in house.store.confirmations.all(known_at(house, at))}
    return tuple(_source(house, key, said) for key in keys)


def _source(house: OpenHouse, key: str, said: dict[str, Stated[Any]]) -> SourceLine:
    fact, source = house.facts.get(key), house.facts.source(key)
    confirmed = say("by its source, read") if house.facts.confirmed_by_source(key) else ""
    item = said.get(key)
    if not confirmed and item is not None and item.payload.digest == house.facts.digest(key):
        mark = say(", demo: edition not read") if item.payload.demo else ""
        confirmed = say("by {person}{mark}", person=item.person, mark=mark)
    place = f", {fact.place}" if fact.place else ""
    return SourceLine(
        key,
        f"{fact.value} {unit_sign(fact.unit)}".strip(),
        source.title + place,
        str(fact.confidence),
        confirmed,
    )
