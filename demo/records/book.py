"""The notebook every part writes into: one record a statement, put in order at the end."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from demo.clock import TODAY, text_of

Plain = dict[str, Any]
_MG = {"kg": Decimal(1_000_000), "g": Decimal(1000), "lb": Decimal("453592.37")}
_ROUNDS = ("piece.weighed/1", "ph.read/1", "water_activity.read/1", "check.done/1", "lot.pressed_and_cut/2")
"""Written on a round and sent together when it ends; everything else is sent at once."""
_VERSIONS = {"lot.pressed_and_cut": 2, "ham.salted": 2}
"""Kinds that are written in a later version than their first."""
_PAUSE, _LONGEST = timedelta(minutes=20), timedelta(minutes=100)


def mass(number: str, unit: str = "kg", division_mg: int = 0) -> Plain:
    """A booked mass in plain form: whole milligrams beside what was typed."""
    milligrams = (Decimal(number) * _MG[unit]).to_integral_value()
    return {"mg": int(milligrams), "number": number, "unit": unit, "division_mg": division_mg}


def kilograms(value: float, places: int = 1, division_mg: int = 0) -> Plain:
    """A booked mass from a number in kilograms."""
    return mass(f"{value:.{places}f}", "kg", division_mg)


@dataclass
class Note:
    """One record before it is ordered.

    Args:
        id, kind, subject: str.
        payload: dict. Plain form.
        at: datetime. When it happened, UTC.
        person, device: str.
        rank: int. Order of writing within one moment.
        recorded_at: datetime or None. None until the round ends.
    """

    id: str
    kind: str
    subject: str
    payload: Plain
    at: datetime
    person: str
    device: str
    rank: int
    recorded_at: datetime | None = None


@dataclass
class Book:
    """All records of the house.

    Args:
        seed: int. Part of every id.
    """

    seed: int
    notes: list[Note] = field(default_factory=list)

    def write(self, kind: str, subject: str, payload: Plain, at: datetime, by: str) -> str:
        """Write one record down, by 'person@device' (the office's when left out); returns its id.

        What would happen after today is left out.
        """
        rank = len(self.notes)
        person, _, device = by.partition("@")
        versioned = f"{kind}/{_VERSIONS.get(kind, 1)}"
        note = Note(self._id(at, rank), versioned, subject, payload, at, person, device or "office", rank)
        if at < TODAY:
            self.notes.append(note)
        return note.id

    def _id(self, at: datetime, rank: int) -> str:
        """A time-ordered id after RFC 9562 version 7, its random bits drawn from the seed."""
        digest = int.from_bytes(hashlib.sha256(f"{self.seed}/id/{rank}/{at}".encode()).digest()[:10], "big")
        bits = (int(at.timestamp() * 1000) << 80) | digest
        bits = bits & ~(0xF << 76) | (0x7 << 76)
        bits = bits & ~(0x3 << 62) | (0x2 << 62)
        text = f"{bits:032x}"
        return "-".join((text[:8], text[8:12], text[12:16], text[16:20], text[20:]))

    def records(self) -> list[Plain]:
        """Every record in the order it reached the house, with the time it did."""
        self._end_rounds()
        ordered = sorted(self.notes, key=lambda note: (note.recorded_at or note.at, note.at, note.rank))
        return [
            {
                "id": note.id,
                "kind": note.kind,
                "subject": note.subject,
                "happened_at": text_of(note.at),
                "recorded_at": text_of(note.recorded_at or note.at),
                "person": note.person,
                "device": note.device,
                "payload": note.payload,
            }
            for note in ordered
        ]

    def _end_rounds(self) -> None:
        rounds: dict[tuple[str, str], list[Note]] = {}
        for note in sorted(self.notes, key=lambda note: (note.at, note.rank)):
            if note.recorded_at is not None:
                continue
            if note.kind not in _ROUNDS:
                note.recorded_at = note.at + timedelta(seconds=20)
                continue
            running = rounds.setdefault((note.person, note.device), [])
            if running and (note.at - running[-1].at > _PAUSE or note.at - running[0].at > _LONGEST):
                _send(running)
                running.clear()
            running.append(note)
        for running in rounds.values():
            _send(running)


def _send(running: list[Note]) -> None:
    sent = min(running[-1].at + timedelta(seconds=45), TODAY - timedelta(seconds=1)) if running else None
    for note in running:
        note.recorded_at = sent
