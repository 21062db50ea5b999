"""Instruments, their checks, and which readings a failed check throws into doubt."""

from __future__ import annotations

from dataclasses import dataclass

from saltloft.foundation.units import Mass

INSTRUMENT_TYPES = ("scale", "ph_meter", "water_activity_meter", "thermometer", "logger")


@dataclass(frozen=True)
class InstrumentDefined:
    """An instrument exists.

    Args:
        instrument: str. Its tag, such as 'pH-A'.
        type: str. One of INSTRUMENT_TYPES.
        division: str. Smallest step with unit, such as '5 g' or '0.01'.
        room: str. Where it lives; empty when it is carried about.
        check_every_days: int. Days between checks. [d]
    """

    instrument: str
    type: str
    division: str
    room: str = ""
    check_every_days: int = 7


CARRIER_SORTS = ("rack", "trolley", "hook", "crate")


@dataclass(frozen=True)
class TareWeighed:
    """A rack, trolley or hook was weighed empty; its last weighing is its tare.

    Args:
        carrier: str. Its tag, such as 'T4'.
        sort: str. One of CARRIER_SORTS.
        mass: Mass. As read.
        instrument: str. The scale.
    """

    carrier: str
    sort: str
    mass: Mass
    instrument: str


@dataclass(frozen=True)
class InstrumentChecked:
    """An instrument was checked against a standard.

    Args:
        instrument: str.
        good: int. 1 when it was within its limit, 0 when it failed.
        found: str. What was read, such as 'slope 148 mV'.
        limit: str. What was allowed, such as '150 to 177 mV'.
        note: str. May be empty.
    """

    instrument: str
    good: int
    found: str
    limit: str
    note: str = ""
