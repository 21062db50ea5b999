"""July: D2's compressor trips on a hot night; every lot in it is held until it is measured."""

from __future__ import annotations

from datetime import date, timedelta

from demo.clock import local
from demo.records.book import Book
from demo.records.sausages import Writer
from demo.truth.rooms import TRIP_FROM
from demo.truth.year import LotLife

NAMED = ("HA-0713", "RO-0703", "AL-0612", "YE-0528")
MEASURED_PH = {"HA-0713": 5.02, "YE-0528": 5.18}
"""Core pH of the scenario; the others follow their own lots."""


def in_d2(lives: list[LotLife]) -> list[LotLife]:
    """The lots that hang in D2 when the compressor trips."""
    return [
        life
        for life in lives
        if life.plan.made_at < TRIP_FROM < life.ended_at
        and [room for room, start in life.stays if start <= TRIP_FROM][-1] == "D2"
    ]


def heat_week(book: Book, writers: dict[str, Writer]) -> None:
    """Holds, measurements and what lifted each hold."""
    held_at = local(date(2026, 7, 18), "07:30")
    measured_at = local(date(2026, 7, 20), "10:30")
    for number, life in enumerate(in_d2([writer.life for writer in writers.values()])):
        name = life.plan.name
        minute = timedelta(minutes=number)
        hold = book.write(
            "lot.held",
            name,
            {
                "lot": name,
                "reason": "D2 compressor off from 23:40 to 07:10, room up to 24.6 degC and 97 %RH",
                "until": "core pH and water activity measured, and the plan's answer to a room excursion",
            },
            held_at + minute,
            "ilo",
        )
        at = measured_at + timedelta(minutes=9 * number)
        hours = (at - life.plan.made_at).total_seconds() / 3600
        writers[name].ph_set(at, MEASURED_PH.get(name, life.acid.core(hours)))
        writers[name].water_activity(at + timedelta(minutes=4))
        lifted = local(date(2026, 7, 21), "14:00")
        reason = "core pH and water activity measured on 20 July; racks wiped; ripens on"
        if name == "AL-0612":
            lifted = local(date(2026, 7, 23), "11:00")
            reason = (
                "measured on 20 July; answer of the process authority filed (demo document, not evidence)"
            )
        payload = {"lot": name, "hold": hold, "reason": reason}
        book.write("hold.lifted", name, payload, lifted + minute, "ilo")
    cause = {
        "check": "engineer's visit D2",
        "good": 0,
        "room": "D2",
        "due_at": "",
        "found": "contactor burnt; compressor hours 22 % up since 2 July, RH in a saw-tooth since then",
    }
    book.write("check.done", "D2", cause, local(date(2026, 7, 18), "08:10"), "maren@tablet-rooms")
