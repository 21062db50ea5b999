"""The year's lots: which is stuffed when, where it ferments and dries, and its named oddities."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from demo.clock import END, FIRST_DAY, day_of, local
from demo.house import LINES, Line

CLOSED_WEEKS = (date(2025, 12, 22), date(2025, 12, 29), date(2026, 8, 3), date(2026, 8, 10))
WRONG_CASING_LOT = "RO-0422"
"""Its casing bundle said 50 and held 43/46."""
SWAPPED_LOT, SWAPPED_FROM = "RO-0911", date(2026, 9, 18)
"""From that day on the pieces of tags 14 and 41 hang under each other's tag."""
DECIMAL_SLIP_LOT = "AL-0526"
"""Its second piece: 1.04 kg typed as 10.4 a day after stuffing, kept, corrected the same morning."""
POUND_LOT = "AL-0505"
"""The green weight of its fourth piece: 2.16 lb typed as kilograms, never noticed."""
OWN_GREEN_KG = {
    SWAPPED_LOT: {1: 0.585, 4: 0.655},
    DECIMAL_SLIP_LOT: {1: 1.050},
    POUND_LOT: {3: 2.16 * 0.45359237},
}
"""Pieces whose green weight the stories need. [kg]"""


@dataclass(frozen=True)
class LotPlan:
    """One lot as planned.

    Args:
        name: str. Line and stuffing day.
        line: Line.
        made_at: datetime. End of stuffing, UTC.
        green_kg: float. [kg]
        pieces: int.
        ferment_room: str.
        drying_room: str.
        ageing_after_days: float or None. Drying days before it goes to A1. [d]
    """

    name: str
    line: Line
    made_at: datetime
    green_kg: float
    pieces: int
    ferment_room: str
    drying_room: str
    ageing_after_days: float | None


def _stuffing_day(line: Line, day: date) -> date:
    """Two weeks of the year differ: the stuck Alder's March week and a June week."""
    if line.code == "RO" and day == date(2026, 3, 11):
        return date(2026, 3, 12)  # postponed: the stuck Alder keeps its fermenting room a day longer
    if line.code == "AL" and day == date(2026, 6, 9):
        return date(2026, 6, 12)
    return day


def _drying_room(line: Line, day: date, week: int) -> str:
    if line.code == "RO":
        return "D2" if day.weekday() == 4 else "D1"
    # Shared out by week; the phases put HA-0713, AL-0612 and YE-0528 into D2.
    cycle, phase = {"HA": (2, 0), "AL": (4, 3), "YE": (4, 1)}[line.code]
    return "D2" if week % cycle == phase else "D1"


def _green(name: str, line: Line) -> tuple[float, int]:
    if name == "AL-0310":
        return 1280.0, 1306
    pieces = round(line.batch_kg / line.piece_kg)
    # A batch is never to the kilogram; the last digit of the day varies it.
    wobble = (int(name[3:]) * 7919) % 41 - 20
    pieces += round(pieces * wobble / 1000)
    return round(pieces * line.piece_kg, 0), pieces


def lot_plans() -> list[LotPlan]:
    """Every lot of the truth's span, in order of stuffing."""
    plans = []
    monday = FIRST_DAY - timedelta(days=FIRST_DAY.weekday())
    week = 0
    while local(monday, "00:00") < END:
        for line in LINES.values():
            for weekday in line.weekdays:
                day = _stuffing_day(line, monday + timedelta(days=weekday))
                if monday in CLOSED_WEEKS or day < FIRST_DAY or local(day, "13:30") >= END:
                    continue
                plans.append(_plan(line, day, week))
        monday += timedelta(days=7)
        week += 1
    return sorted(plans, key=lambda plan: (plan.made_at, plan.name))


def _plan(line: Line, day: date, week: int) -> LotPlan:
    name = f"{line.code}-{day:%m%d}"
    if day >= date(2026, 11, 3):
        name += f"-{day:%Y}"  # past today: part of the truth only, never recorded
    green, pieces = _green(name[:7], line)
    ageing = {"HA": None, "RO": None, "AL": 21.0, "YE": 16.0}[line.code]
    if name in ("AL-0612", "YE-0528"):
        ageing = None
    second = line.code == "AL" or (line.code == "RO" and day.weekday() == 4)
    return LotPlan(
        name,
        line,
        local(day, "13:30"),
        green,
        pieces,
        "F2" if second else "F1",
        _drying_room(line, day, week),
        ageing,
    )


def working_day(day: date) -> bool:
    """Whether people carry and pack on this day."""
    return day.weekday() < 5 and not any(monday <= day < monday + timedelta(7) for monday in CLOSED_WEEKS[:2])


def next_working_moment(moment: datetime, clock: str) -> datetime:
    """First wall-clock time `clock` on a working day at or after a UTC moment."""
    day = day_of(moment)
    while not working_day(day) or local(day, clock) < moment:
        day += timedelta(days=1)
    return local(day, clock)
