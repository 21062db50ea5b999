"""What was read on samples of a lot besides weight, as the learning takes it."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

from saltloft.facts.loader import Facts
from saltloft.plant.lot_record import LotRecord
from saltloft.plant.stated import Stated
from saltloft.process.learning import Measured

# What a sample stands for; a slice goes from rim to rim.
QUANTITY = {
    "ground": "water_activity_mean",
    "slice": "water_activity_mean",
    "core": "water_activity_core",
    "rim": "water_activity_rim",
}
# How well a place is hit, on top of the meter; chosen, no source: a rim sample is some millimetres thick.
PLACE_ERROR = {"ground": 0.0, "slice": 0.005, "core": 0.005, "rim": 0.02}
# Chosen, no source: taking and drying a sample, and two calipers across a piece that is not round.
MOISTURE_ERROR, DIAMETER_ERROR_M = 0.010, 0.0007


def meter_error(facts: Facts) -> float:
    """Standard deviation of a usual water activity meter. [1]

    Args:
        facts: Facts.
    """
    return float(facts.get("sorption.water_activity_meter_error").sd or 0.0)


def activity_error(sample: str, meter: float) -> float:
    """Standard deviation of a water activity read on a kind of sample, meter and place together. [1]

    Args:
        sample: str. A name in QUANTITY.
        meter: float. Standard deviation of the meter. [1]
    """
    return float((meter**2 + PLACE_ERROR[sample] ** 2) ** 0.5)


def samples(record: LotRecord, meter: float) -> tuple[tuple[Measured, ...], tuple[str, ...]]:
    """Water activities, moistures and diameters of a lot after stuffing.

    Args:
        record: LotRecord.
        meter: float. Standard deviation of the water activity meter. [1]

    Returns:
        tuple of Measured by kind and time, and the ids of the entries they came from.
    """

    def days(item: Stated[Any]) -> float:
        return (item.at - record.made_at).total_seconds() / 86400.0

    def taken(
        items: Iterable[Stated[Any]], make: Callable[[Any, float], Measured | None]
    ) -> list[tuple[Measured, tuple[str, ...]]]:
        pairs = ((make(item.payload, days(item)), item.entry_ids) for item in items if days(item) > 0.0)
        return [(one, entries) for one, entries in pairs if one is not None]

    def activity(read: Any, day: float) -> Measured:
        return Measured(day, QUANTITY[read.sample], float(read.value), activity_error(read.sample, meter))

    def moisture(read: Any, day: float) -> Measured | None:
        if QUANTITY.get(read.sample) != "water_activity_mean":
            return None
        return Measured(day, "moisture", 0.01 * float(read.moisture_pct), MOISTURE_ERROR, read.pieces)

    def diameter(read: Any, day: float) -> Measured:
        return Measured(day, "diameter_m", 1e-3 * read.mean_mm, DIAMETER_ERROR_M, 1, read.tag)

    found = [
        *taken(record.water_activities, activity),
        *taken(record.analyses, moisture),
        *taken(record.diameters, diameter),
    ]
    return tuple(one for one, _ in found), tuple(entry for _, entries in found for entry in entries)
