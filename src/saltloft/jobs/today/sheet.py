"""The day sheet put together, and the table of kilograms in and out."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping
from datetime import date, datetime, time, timedelta

from saltloft.cases.house_day import HouseDay, house_day
from saltloft.cases.lot_weighings import losses, measured_points
from saltloft.cases.open_house import OpenHouse
from saltloft.foundation.bands import Band
from saltloft.foundation.units import in_system
from saltloft.foundation.words import say
from saltloft.jobs.today.due import due
from saltloft.jobs.today.ready import make, ready
from saltloft.jobs.today.worries import worries
from saltloft.plant.answers import (
    DaySheet,
    FreshLine,
    HamLine,
    LotJudgement,
    LotOutlook,
    YieldRow,
)
from saltloft.plant.hams import HamGroupSalted
from saltloft.plant.lot_record import LotRecord
from saltloft.plant.sentences import day_words, loss_at

SHEET_HOUR = 6
# Lots that came off the racks in this time stay in the table.
RECENT = timedelta(days=30)


def moment_of(house: OpenHouse, day: date | None) -> datetime:
    """The moment a day sheet speaks of: now, or 06:00 of a named day in the house's zone."""
    if day is None:
        return house.now()
    return datetime.combine(day, time(SHEET_HOUR), tzinfo=house.zone)


def day_sheet(
    house: OpenHouse,
    at: datetime,
    outlooks: Mapping[str, LotOutlook],
    judgements: Mapping[str, LotJudgement],
) -> DaySheet:
    """Everything the morning sheet says.

    Args:
        house: OpenHouse.
        at: datetime, aware. From `moment_of`.
        outlooks: mapping of lot to LotOutlook. Kept forecasts of the hanging lots.
        judgements: mapping of lot to LotJudgement. Of the hanging lots.
    """
    day = house_day(house, at, outlooks, judgements)
    return DaySheet(
        house=day.face,
        day=day.day,
        at=at,
        items=(*worries(day), *due(day), *ready(day), *make(day)),
        rooms=day.rooms,
        lots=_by_ready_day(day),
        yields=yield_rows(day),
        hams=tuple(_ham(day, lot) for lot in day.family("ham") if lot.state != "gone"),
        fresh=tuple(_fresh(day, lot) for lot in day.family("fresh_sausage") if _still_here(lot)),
    )


def _by_ready_day(day: HouseDay) -> tuple[LotOutlook, ...]:
    def days_left(outlook: LotOutlook) -> float:
        middle = outlook.result.targets[outlook.target_name].mean.p50
        return (outlook.result.horizon_d if middle is None else middle) - outlook.age_d

    hanging = [day.outlooks[lot.lot] for lot in day.hanging if lot.lot in day.outlooks]
    return tuple(sorted(hanging, key=days_left))


def _ham(day: HouseDay, lot: LotRecord) -> HamLine:
    made = lot.made.payload
    planned = made.planned_days if isinstance(made, HamGroupSalted) else 0
    out = day.local(lot.made_at) + timedelta(days=planned)
    if lot.salted_out:
        state = say("out of salt since {day}", day=day_words(day.local(lot.salted_out[-1].at), day.day))
    else:
        state = say("in salt, out {day} as planned", day=day_words(out, day.day))
    last = lot.group_weighings[-1] if lot.group_weighings else None
    loss, sources = None, list(lot.made.entry_ids)
    if last is not None and lot.pieces and last.payload.legs:
        per_leg = last.payload.mass.kg / last.payload.legs
        loss = round(100.0 * (1.0 - per_leg * lot.pieces / lot.green_mass.kg), 1)
        sources += last.entry_ids
    sources += [entry for item in lot.salted_out for entry in item.entry_ids]
    age = (day.day - day.local(lot.made_at)).days
    return HamLine(lot.lot, day.title(lot), lot.pieces, lot.room, age, state, loss, tuple(sources))


def _still_here(lot: LotRecord) -> bool:
    packed = sum(item.payload.mass.mg for item in lot.packed)
    return lot.state != "gone" and not (packed and lot.dispatched_mg >= packed)


def _fresh(day: HouseDay, lot: LotRecord) -> FreshLine:
    packed = sum(item.payload.mass.mg for item in lot.packed)
    core = float(lot.chilled[-1].payload.core_temperature_c) if lot.chilled else None
    statements = (lot.made, *lot.chilled, *lot.packed, *lot.dispatches)
    return FreshLine(
        lot=lot.lot,
        title=day.title(lot),
        mass_kg=lot.green_mass.kg,
        core_temperature_c=core,
        use_by=lot.packed[-1].payload.use_by if lot.packed else "",
        left_kg=((packed or lot.green_mass.mg) - lot.dispatched_mg) / 1e6,
        sources=tuple(entry for item in statements for entry in item.entry_ids),
    )


def yield_rows(day: HouseDay) -> tuple[YieldRow, ...]:
    """Kilograms in and out of every dry lot that hangs or came off the racks lately, with its loss."""
    chosen = [
        lot
        for lot in day.family("dry_sausage")
        if lot.hanging or any(day.at - item.at < RECENT for item in lot.yields)
    ]
    return tuple(row for lot in chosen if (row := _yield(day, lot)) is not None)


def _yield(day: HouseDay, lot: LotRecord) -> YieldRow | None:
    points = measured_points(losses(lot))
    outlook = day.outlooks.get(lot.lot)
    out_kg = lot.out_mg / 1e6 if lot.yields else None
    if not points and out_kg is None:
        return None
    sources = list(lot.made.entry_ids)
    loss, basis, at_d = None, "", 0.0
    if out_kg is not None and not lot.hanging:
        loss, basis = 100.0 * (1.0 - out_kg / lot.green_mass.kg), say("out")
        at_d = (lot.yields[-1].at - lot.made_at).total_seconds() / 86400.0
        sources += [entry for item in lot.yields for entry in item.entry_ids]
    elif points:
        loss, basis, at_d = points[-1].value, say("weighings"), points[-1].day
        sources += points[-1].entries
    expected = _expected(day, lot, outlook, at_d)
    return YieldRow(
        lot=lot.lot,
        title=day.title(lot),
        in_kg=lot.green_mass.kg,
        out_kg=out_kg,
        loss_pct=None if loss is None else round(loss, 1),
        expected_low_pct=expected.p05,
        expected_pct=expected.p50,
        expected_high_pct=expected.p95,
        basis=basis,
        sources=tuple(dict.fromkeys(sources)),
    )


def _expected(day: HouseDay, lot: LotRecord, outlook: LotOutlook | None, at_d: float) -> Band:
    """The loss computed for the day it was weighed; off the racks, the product's usual loss."""
    if outlook is not None:
        return loss_at(outlook, at_d)
    product = day.products.get(lot.product)
    usual = float(product.target_weight_loss_pct) if product is not None else 0.0
    return Band(None, usual if usual > 0.0 and not lot.hanging else None, None)


def yield_csv(rows: Iterable[YieldRow], system: str = "metric") -> str:
    """The yield table as CSV with a heading; an unknown number is empty, no cell starts a formula.

    Args:
        rows: iterable of YieldRow.
        system: str. 'metric' (kg) or 'us' (lb); the heading names the unit.
    """
    out, (_, unit) = io.StringIO(), in_system(0.0, "kg", system)
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(
        ["lot", "product", f"in_{unit}", f"out_{unit}", "loss_pct", "basis", "expected_pct",
         "expected_low_pct", "expected_high_pct", "sources"]
    )  # fmt: skip
    for row in rows:
        numbers = (row.expected_pct, row.expected_low_pct, row.expected_high_pct)
        writer.writerow(
            [
                _cell(row.lot),
                _cell(row.title),
                _mass(row.in_kg, system),
                _mass(row.out_kg, system),
                "" if row.loss_pct is None else f"{row.loss_pct:.1f}",
                _cell(row.basis),
                *("" if number is None else f"{number:.1f}" for number in numbers),
                " ".join(row.sources),
            ]
        )
    return out.getvalue()


def _mass(kg: float | None, system: str) -> str:
    return "" if kg is None else f"{in_system(kg, 'kg', system)[0]:.3f}"


def _cell(text: str) -> str:
    """Text that a spreadsheet would take for a formula gets an apostrophe before it."""
    return "'" + text if text[:1] in "=+-@\t\r" else text
