"""What worries me: rules near their limit, holds, rooms off their setting, checks, lots off their band."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta
from typing import Any

import numpy as np

from saltloft.cases.house_day import HouseDay
from saltloft.foundation.words import say, say_many
from saltloft.plant.answers import DayItem, LotOutlook
from saltloft.plant.checks.verdict import Outcome
from saltloft.plant.hand import press_words, rim_words
from saltloft.plant.house_record import InstrumentRecord
from saltloft.plant.lot_record import LotRecord
from saltloft.plant.sentences import day_words, list_words, loss_at, moment_words, number_words, share_words
from saltloft.plant.stated import Stated

# A count of degree-hours worth a look while the core is not acid yet: common practice, no source.
USED_SHARE = 0.6
# A lot whose members fall short of the target this often is worth a look: our choice.
SHORT_SHARE = 0.3
# A hole in a log that is worth a look in a room where nothing ferments. [min] Our choice.
GAP_MIN = 120.0
# A press or cut that does not fit is spoken of for a week: our choice.
HAND_SEEN = timedelta(days=7)


def worries(day: HouseDay) -> list[DayItem]:
    """Every worry, most pressing first."""
    return [
        *_rules(day),
        *_holds(day),
        *_rooms(day),
        *_instruments(day),
        *_kept_numbers(day),
        *_off_band(day),
        *_hands(day),
        *_short_of_target(day),
        *_over_dried(day),
    ]


def _rules(day: HouseDay) -> Iterator[DayItem]:
    """Rules that are not met, and degree-hours that run up while the core is not acid."""
    for lot in day.hanging:
        judgement = day.judgements.get(lot.lot)
        for stand in judgement.hazards if judgement else ():
            for verdict in stand.verdicts:
                running = (
                    verdict.outcome is Outcome.NOT_SHOWN
                    and verdict.unit.endswith(".h")
                    and verdict.used is not None
                    and bool(verdict.limit)
                    and verdict.used >= USED_SHARE * (verdict.limit or 1.0)
                )
                if verdict.outcome is Outcome.NOT_MET or running:
                    yield DayItem(
                        "worry",
                        lot.lot,
                        None if verdict.used is None else round(verdict.used, 3),
                        verdict.unit,
                        " ".join(
                            part for part in (_sentence(verdict.words), _sentence(verdict.next)) if part
                        ),
                        (*verdict.readings, *verdict.sources),
                    )


def _sentence(words: str) -> str:
    return words if not words or words.endswith(".") else words[0].upper() + words[1:] + "."


def _holds(day: HouseDay) -> Iterator[DayItem]:
    for lot in day.lots:
        for hold in lot.open_holds:
            held = hold.held
            until = (
                say(" Until: {until}.", until=held.payload.until.rstrip(".")) if held.payload.until else ""
            )
            yield DayItem(
                "worry",
                lot.lot,
                float((day.day - day.local(held.at)).days),
                say("d held"),
                say(
                    "Held since {when} by {person}: {reason}.{until}",
                    when=moment_words(held.at, str(day.zone), day.day),
                    person=held.person,
                    reason=held.payload.reason.rstrip("."),
                    until=until,
                ),
                held.entry_ids,
            )


def _rooms(day: HouseDay) -> Iterator[DayItem]:
    for room in day.rooms:
        there = _lots_words(room.lots)
        if room.state == "look" and (room.lots or room.read_at is not None):
            yield DayItem(
                "worry",
                room.room,
                room.away,
                room.away_unit,
                say("{room}: {words}.{lots}", room=room.room, words=room.expected, lots=there),
                room.sources,
            )
        longest = _plan_gap_min(day, room.lots) if room.role == "fermenting" else GAP_MIN
        if room.lots and room.read_at is not None and room.longest_gap_min > longest:
            yield DayItem(
                "worry",
                room.room,
                float(round(room.longest_gap_min)),
                "min",
                say(
                    "{room} has no reading for {minutes} min in the last 24 h, longer than {allowed}; "
                    "import another logger's file or write what you know.{lots}",
                    room=room.room,
                    minutes=round(room.longest_gap_min),
                    allowed=round(longest),
                    lots=there,
                ),
                room.sources,
            )


def _lots_words(lots: tuple[str, ...]) -> str:
    if not lots:
        return ""
    more = len(lots) - 4
    names = list_words(lots[:4]) + (say(" and {count} more", count=more) if more > 0 else "")
    return say(" There: {names}.", names=names)


def _plan_gap_min(day: HouseDay, lots: tuple[str, ...]) -> float:
    """The shortest of the longest gaps that the plans of the lots in a room allow. [min]"""
    products = {lot.product for lot in day.lots if lot.lot in lots}
    plans = [day.products[name].plan.longest_gap_minutes for name in products if name in day.products]
    return float(min(plans, default=15))


def _instruments(day: HouseDay) -> Iterator[DayItem]:
    for record in day.instruments:
        if not record.checks or record.checks[-1].payload.good:
            continue
        failed = record.checks[-1]
        lots = _lots_in_doubt(day, record)
        sources = [entry for check in record.checks[-2:] for entry in check.entry_ids]
        doubt = (
            say_many(
                "; {count} lot is in doubt: {names}",
                "; {count} lots are in doubt: {names}",
                len(lots),
                names=list_words(lots),
            )
            if lots
            else ""
        )
        yield DayItem(
            "worry",
            record.instrument,
            float(len(lots)),
            say("lots"),
            say(
                "{instrument} failed its check {when}: {found}, allowed {limit}{doubt}.",
                instrument=record.instrument,
                when=moment_words(failed.at, str(day.zone), day.day),
                found=failed.payload.found,
                limit=failed.payload.limit,
                doubt=doubt,
            ),
            tuple(sources),
        )


def _lots_in_doubt(day: HouseDay, record: InstrumentRecord) -> list[str]:
    """Lots read with an instrument since its last good check that are still in the house."""
    good = [check.at for check in record.checks if check.payload.good]
    since = good[-1] if good else None
    found = []
    for lot in day.lots:
        readings: tuple[Stated[Any], ...] = (*lot.weighings, *lot.ph_sets, *lot.water_activities)
        used = (item for item in readings if item.payload.instrument == record.instrument)
        if lot.state != "gone" and any(since is None or item.at > since for item in used):
            found.append(lot.lot)
    return found


def _kept_numbers(day: HouseDay) -> Iterator[DayItem]:
    """Unexpected numbers that a person kept in the last day."""
    for lot in day.hanging:
        for item in lot.weighings:
            if item.payload.kept and day.at - item.at <= timedelta(days=1) and not item.corrected:
                yield DayItem(
                    "worry",
                    lot.lot,
                    round(item.payload.mass.kg, 3),
                    "kg",
                    say(
                        "{person} kept {number} {unit} for piece {tag}; look whether it is a slip.",
                        person=item.person,
                        number=item.payload.mass.number,
                        unit=item.payload.mass.unit,
                        tag=item.payload.tag or "?",
                    ),
                    item.entry_ids,
                )


def _off_band(day: HouseDay) -> Iterator[DayItem]:
    """Lots whose last weighing lies outside what was computed for a piece at random."""
    for lot, outlook in _outlooks(day):
        if not outlook.weighings:
            continue
        last = outlook.weighings[-1]
        if outlook.age_d - last.day > 7.0:
            continue
        expected = loss_at(outlook, last.day)
        if expected.p05 is None or expected.p95 is None:
            continue
        slack = (last.high - last.low) / 2.0
        if expected.p05 - slack <= last.value <= expected.p95 + slack:
            continue
        side = say("less") if last.value < expected.p05 else say("more")
        yield DayItem(
            "worry",
            lot.lot,
            round(last.value, 1),
            say("% lost"),
            say(
                "Weighed {value} % lost, {side} than computed ({low} to {high}); weigh again.",
                value=number_words(last.value, 1),
                side=side,
                low=number_words(expected.p05, 0),
                high=number_words(expected.p95, 0),
            ),
            (*last.entries, *outlook.used_entries),
        )


def _hands(day: HouseDay) -> Iterator[DayItem]:
    """Lots whose last press or cut does not fit their numbers."""
    if day.hand is None:
        return
    for lot in day.hanging:
        cuts = {item.entry_id: item for item in lot.pressed_and_cut if day.at - item.at <= HAND_SEEN}
        for law, words in ((day.hand.press, press_words), (day.hand.rim, rim_words)):
            held = law.last_of(lot.lot)
            if held is not None and held.disagrees and held.entry in cuts:
                outlook = day.outlooks.get(lot.lot)
                yield DayItem(
                    "worry",
                    lot.lot,
                    round(held.said, 1),
                    say("pressed") if law is day.hand.press else say("mm rim"),
                    words(law, lot.lot),
                    (*cuts[held.entry].entry_ids, *(outlook.used_entries if outlook else ())),
                )


def _outlooks(day: HouseDay) -> Iterator[tuple[LotRecord, LotOutlook]]:
    for lot in day.hanging:
        if lot.lot in day.outlooks:
            yield lot, day.outlooks[lot.lot]


def _short_of_target(day: HouseDay) -> Iterator[DayItem]:
    for lot, outlook in _outlooks(day):
        target = outlook.result.targets[outlook.target_name]
        missing = 1.0 - target.share_reached
        if missing < SHORT_SHARE:
            continue
        yield DayItem(
            "worry",
            lot.lot,
            float(round(100.0 * missing)),
            say("% of computed cases"),
            say(
                "In this air {share} computed cases do not get to {target:g} % in {days} d: look at the RH.",
                share=share_words(missing),
                target=outlook.target_value,
                days=round(outlook.result.horizon_d),
            ),
            (*outlook.used_entries, *outlook.air.batches),
        )


def _over_dried(day: HouseDay) -> Iterator[DayItem]:
    """Lots computed to be past their target for sure, still on the rack: it costs weight every day."""
    for lot, outlook in _outlooks(day):
        late = outlook.result.targets[outlook.target_name].mean.p95
        if late is None or outlook.age_d <= late or lot.open_holds:
            continue
        rate = outlook.result.bands["loss_rate_pct_d"]
        points = float(np.interp(outlook.age_d, outlook.result.time_d, rate.mean_p50))
        left_kg = lot.green_mass.kg - lot.out_mg / 1e6
        since = day.local(outlook.stuffed_at + timedelta(days=late))
        yield DayItem(
            "worry",
            lot.lot,
            round(max(points, 0.0) * left_kg / 100.0, 1),
            say("kg a day"),
            say(
                "Computed past {target:g} % since {since} at the latest and still hanging: it loses about "
                "{points} points a day.",
                target=outlook.target_value,
                since=day_words(since, day.day),
                points=number_words(points, 1),
            ),
            (*outlook.used_entries, *lot.made.entry_ids),
        )
