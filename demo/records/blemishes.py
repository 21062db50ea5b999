"""What goes wrong in the notebook, as it does in every house: named, dated, each once."""

from __future__ import annotations

import json
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np

from demo.clock import day_of
from demo.plan import DECIMAL_SLIP_LOT, POUND_LOT, SWAPPED_FROM, SWAPPED_LOT
from demo.records.book import Plain, mass

if TYPE_CHECKING:
    from demo.records.sausages import Writer

SWAPPED_TAGS = (14, 41)
MINCE_LOT = "RO-0515"
"""Five readings of test mince labelled core at +26 h, corrected the next day."""


def tags(lot: str, rng: np.random.Generator) -> list[int]:
    """Tags of the six weighed pieces of a lot."""
    picked = sorted(int(tag) for tag in rng.choice(np.arange(1, 61), 6, replace=False))
    return [8, 14, 23, 31, 41, 56] if lot == SWAPPED_LOT else picked


def order_on_hooks(lot: str, tags: list[int], at: datetime) -> list[int]:
    """Which piece hangs under each tag: from one Friday on two pieces of one lot hang swapped."""
    order = list(range(len(tags)))
    if lot == SWAPPED_LOT and day_of(at) >= SWAPPED_FROM:
        first, second = (tags.index(tag) for tag in SWAPPED_TAGS)
        order[first], order[second] = second, first
    return order


def weighing(writer: Writer, payload: Plain, at: datetime, tag: int) -> None:
    """Write a weighing down, with the slip that belongs to it, if any."""
    age = (day_of(at) - day_of(writer.life.plan.made_at)).days
    if writer.name == DECIMAL_SLIP_LOT and tag == 1 and age == 1:
        _decimal_slip(writer, payload, at)
        return
    if writer.name == POUND_LOT and tag == 3 and payload["green"]:
        payload = payload | {"mass": mass("2.16", "kg", writer.division_mg), "kept": 1}
    if _asked_and_kept(writer, at, tag, age):
        payload = payload | {"kept": 1}
    writer.book.write("piece.weighed", writer.name, {"lot": writer.name} | payload, at, "besnik@phone-besnik")


def _asked_and_kept(writer: Writer, at: datetime, tag: int, age: int) -> bool:
    """Weighings so far from the last that any house asks: the swapped pair, and after the pounds."""
    swapped = writer.name == SWAPPED_LOT and writer.tags[tag] in SWAPPED_TAGS and day_of(at) >= SWAPPED_FROM
    return swapped or (writer.name == POUND_LOT and tag == 3 and age == 1)


def _decimal_slip(writer: Writer, payload: Plain, at: datetime) -> None:
    right = {"lot": writer.name} | payload | {"mass": mass("1.04", "kg", writer.division_mg)}
    slip = right | {"mass": mass("10.4", "kg", writer.division_mg), "kept": 1}
    entry = writer.book.write("piece.weighed", writer.name, slip, at, "besnik@phone-besnik")
    _correct(
        writer,
        entry,
        "piece.weighed/1",
        right,
        reason="decimal slip: 1.04 typed as 10.4",
        at=at + timedelta(hours=2),
    )


def wrong_casing_found(writer: Writer) -> None:
    """Two weeks on somebody holds a calliper to the pieces of the wrongly cased lot."""
    at = writer.life.plan.made_at + timedelta(days=13, hours=1)
    payload: Plain = {
        "check": f"calliper on {writer.name}",
        "good": 0,
        "found": "43 to 46 mm when stuffed, not 50: the bundle CAS-50-19 held 43/46",
        "room": writer.life.stays[1][0],
        "due_at": "",
    }
    writer.book.write("check.done", payload["room"], payload, at, "maren@tablet-rooms")


def acid_set(writer: Writer, at: datetime, hour: float, mean: float) -> None:
    """Write one set of core readings down, or the mince that was called core."""
    if writer.name != MINCE_LOT or hour != 26:
        writer.ph_set(at, mean)
        return
    entry = writer.ph_set(at, mean - 0.17, "core")
    note = next(note for note in reversed(writer.book.notes) if note.id == entry)
    right = note.payload | {"where": "test_mince"}
    _correct(
        writer,
        entry,
        note.kind,
        right,
        reason="this was the test mince, not the core",
        at=at + timedelta(hours=17),
    )
    writer.ph_set(at + timedelta(minutes=30), mean)


def _correct(writer: Writer, entry: str, kind: str, right: Plain, *, reason: str, at: datetime) -> None:
    text = json.dumps(right, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    payload = {"entry": entry, "reason": reason, "kind": kind, "payload": text}
    writer.book.write("entry.corrected", writer.name, payload, at, "ilo@office")
