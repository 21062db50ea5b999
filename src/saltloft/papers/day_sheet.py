"""The day sheet: what worries me, what is due, what is ready, what to make, and the rooms to walk."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from saltloft.foundation.units import beside_metric, in_system
from saltloft.foundation.words import say, say_many
from saltloft.papers.page import Block, Grid, Lead, Mark, Marks, Notes, Sheet
from saltloft.plant.answer_json import today_json
from saltloft.plant.answers import DayItem, DaySheet, FreshLine, HamLine, LotOutlook, RoomNow, YieldRow
from saltloft.plant.sentences import (
    day_words,
    list_words,
    moment_words,
    now_words,
    number_words,
    ready_words,
)

MARK_OF_KIND = {"worry": "look", "due": "due", "ready": "ready", "make": "waiting"}


def day_sheet(day: DaySheet, *, paper: str = "a4", system: str = "metric") -> Sheet:
    """Lay the day out as a sheet.

    Args:
        day: DaySheet.
        paper: str. 'a4' or 'us-letter'.
        system: str. 'metric' or 'us': lb and °F.
    """
    blocks: tuple[Block, ...] = (
        Lead(beside_metric(day_sentence(day), system)),
        _items(
            day, system, "worry", say("What worries me"), say("Nothing stands out from what was recorded.")
        ),
        _items(day, system, "due", say("What is due"), say("Nothing is due today.")),
        _items(day, system, "ready", say("What is ready"), say("No lot is near its target.")),
        _items(day, system, "make", say("What to make"), say("Nothing is planned.")),
        rooms_grid(day.rooms, day, system),
        lots_grid(day.lots),
        hams_grid(day.hams),
        fresh_grid(day.fresh, day, system),
        yield_grid(day.yields, system),
        Notes("", (say("Every number's entries and fact rows: saltloft today --json, also attached here."),)),
    )
    return Sheet(
        title=say("Day sheet"),
        subject=day_words(day.day, day.day),
        house=day.house,
        at=day.at,
        blocks=blocks,
        evidence=today_json(day),
        evidence_name=f"today-{day.day.isoformat()}.json",
        paper=paper,
    )


def day_sentence(day: DaySheet) -> str:
    """The sentence the sheet begins with: how many things, and the most pressing one."""
    counts = {kind: len(day.of_kind(kind)) for kind in MARK_OF_KIND}
    parts = [
        say_many("{count} worry", "{count} worries", counts["worry"]),
        say_many("{count} is due", "{count} are due", counts["due"]),
        say_many("{count} lot is ready or nearly", "{count} lots are ready or nearly", counts["ready"]),
    ]
    sentence = say("{day}: {parts}.", day=day_words(day.day, day.day), parts=", ".join(parts))
    first = next(iter((*day.of_kind("worry"), *day.of_kind("due"))), None)
    if first is None:
        return sentence
    if first.because.startswith(first.subject):
        return say("{sentence} First: {because}", sentence=sentence, because=first.because)
    return say(
        "{sentence} First {subject}: {because}",
        sentence=sentence,
        subject=first.subject,
        because=first.because,
    )


def _items(day: DaySheet, system: str, kind: str, title: str, empty: str) -> Marks:
    rows = [
        Mark(
            MARK_OF_KIND[kind],
            _amount(item, system),
            item.subject,
            beside_metric(item.because, system),
            _sources_words(item.sources),
        )
        for item in day.of_kind(kind)
    ]
    return Marks(title, tuple(rows), empty)


def _amount(item: DayItem, system: str) -> str:
    if item.number is None:
        return ""
    decimals = 0 if float(item.number).is_integer() else 1 if abs(item.number) >= 1 else 2
    value, unit = in_system(item.number, item.unit, system)
    return f"{number_words(value, decimals)} {unit}".rstrip()


def _sources_words(sources: Sequence[str]) -> str:
    facts = sum("." in source for source in sources)
    parts = []
    if len(sources) > facts:
        parts.append(say_many("{count} record", "{count} records", len(sources) - facts))
    if facts:
        parts.append(say_many("{count} fact row", "{count} fact rows", facts))
    return say("rests on {parts}", parts=", ".join(parts)) if parts else ""


def rooms_grid(rooms: Sequence[RoomNow], day: DaySheet, system: str = "metric") -> Grid:
    """The rooms with a blank to write what the walk found."""
    rows = []
    for room in rooms:
        air = _pair(room.temperature_c, room.rh_pct, 1, system)
        when = "" if room.read_at is None else moment_words(room.read_at, day.house.zone, day.day)
        carried, capacity = _mass(room.load_kg, 0, system), _mass(room.capacity_kg, 0, system)
        load = say("{load} of {capacity}", load=carried, capacity=capacity)
        rows.append(
            (
                room.room,
                air,
                _pair(room.set_temperature_c, room.set_rh_pct, 0, system),
                when,
                load if room.capacity_kg else carried,
                list_words(room.lots, most=5),
                beside_metric(room.expected, system),
                "______",
            )
        )
    degrees, masses = _units(system)
    columns = (
        say("room"),
        say("air {unit} / %RH", unit=degrees),
        say("set {unit} / %RH", unit=degrees),
        say("read"),
        say("load {unit}", unit=masses),
        say("lots"),
        say("as set?"),
        say("by hand"),
    )
    return Grid(say("Rooms"), columns, tuple(rows), empty=say("No room is defined yet."))


def _units(system: str) -> tuple[str, str]:
    """The signs of a temperature and a mass in that system."""
    return in_system(0.0, "°C", system)[1], in_system(0.0, "kg", system)[1]


def _mass(mass_kg: float, decimals: int, system: str) -> str:
    return f"{in_system(mass_kg, 'kg', system)[0]:,.{decimals}f}"


def _degrees(temperature_c: float | None, system: str) -> float | None:
    return None if temperature_c is None else in_system(temperature_c, "°C", system)[0]


def _pair(temperature_c: float | None, rh_pct: float | None, decimals: int, system: str) -> str:
    values = (_degrees(temperature_c, system), rh_pct)
    shown = ["–" if value is None else number_words(value, decimals) for value in values]
    return " / ".join(shown)


def lots_grid(lots: Sequence[LotOutlook]) -> Grid:
    """The hanging lots: age, where they stand, when they are at their target."""
    rows = tuple(
        (
            lot.lot,
            lot.title,
            str(round(lot.age_d - lot.hang_offset_d)),
            now_words(lot),
            ready_words(lot).removeprefix(lot.lot).lstrip(" :"),
        )
        for lot in lots
    )
    columns = (say("lot"), say("product"), say("day"), say("loss now, computed"), say("target"))
    return Grid(say("Hanging lots"), columns, rows, right=(2,), empty=say("No lot hangs."))


def hams_grid(rows: Sequence[HamLine]) -> Grid:
    """Ham groups: where they are and what was weighed; when they are ripe is not computed yet."""
    columns = (
        say("group"),
        say("product"),
        say("legs"),
        say("room"),
        say("day"),
        say("state"),
        say("loss %"),
    )
    cells = tuple(
        (
            row.lot,
            row.title,
            str(row.legs),
            row.room,
            str(row.days),
            row.state,
            "–" if row.loss_pct is None else f"{row.loss_pct:.1f}",
        )
        for row in rows
    )
    note = say("When a ham is ripe: not computed yet.")
    return Grid(say("Hams"), columns, cells, right=(2, 4, 6), note=note, empty=say("No ham group is here."))


def fresh_grid(rows: Sequence[FreshLine], day: DaySheet, system: str = "metric") -> Grid:
    """Fresh batches of the last days with the use-by a person entered."""
    shown = [row for row in rows if not row.use_by or date.fromisoformat(row.use_by) >= day.day]
    cells = tuple(
        (
            row.lot,
            row.title,
            _mass(row.left_kg, 0, system),
            "–" if (core := _degrees(row.core_temperature_c, system)) is None else number_words(core, 1),
            day_words(date.fromisoformat(row.use_by), day.day) if row.use_by else say("not packed"),
        )
        for row in shown
    )
    degrees, masses = _units(system)
    columns = (
        say("batch"),
        say("product"),
        say("here {unit}", unit=masses),
        say("core {unit}", unit=degrees),
        say("use by, as entered"),
    )
    note = say("How long it keeps: not computed yet.")
    return Grid(say("Fresh"), columns, cells, right=(2, 3), note=note, empty=say("No fresh batch is here."))


def yield_grid(rows: Sequence[YieldRow], system: str = "metric") -> Grid:
    """Kilograms (or pounds) in and out and the loss by lot, against what was expected."""
    masses = _units(system)[1]
    columns = (
        say("lot"),
        say("in {unit}", unit=masses),
        say("out {unit}", unit=masses),
        say("loss %, measured"),
        say("from"),
        say("expected %"),
        say("difference"),
    )
    return Grid(
        say("Kilograms in, kilograms out"),
        columns,
        tuple(_yield_row(row, system) for row in rows),
        right=(1, 2, 3, 5, 6),
        empty=say("No lot was weighed or came off the racks yet."),
    )


def _yield_row(row: YieldRow, system: str) -> tuple[str, ...]:
    expected = "–"
    if row.expected_pct is not None:
        expected = say("{usual} usual", usual=f"{row.expected_pct:.1f}")
        if row.expected_low_pct is not None:
            expected = f"{row.expected_pct:.1f} ({row.expected_low_pct:.1f} – {row.expected_high_pct:.1f})"
    away = "–"
    if row.loss_pct is not None and row.expected_pct is not None:
        away = number_words(row.loss_pct - row.expected_pct, 1)
    return (
        row.lot,
        _mass(row.in_kg, 0, system),
        "–" if row.out_kg is None else _mass(row.out_kg, 1, system),
        "–" if row.loss_pct is None else f"{row.loss_pct:.1f}",
        row.basis,
        expected,
        away,
    )
