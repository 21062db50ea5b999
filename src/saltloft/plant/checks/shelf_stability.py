"""May the product be called shelf-stable? One verdict a way; each column of a way must hold.

It closes no hazard: it says how a product may be kept and named.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from saltloft.foundation.words import say
from saltloft.plant.checks.verdict import Outcome, Verdict

HEADING = "keeping without cold"
# A rim or a slice may be drier than the piece; only these samples stand for it.
SAMPLES_THAT_SHOW = ("ground", "core")


@dataclass(frozen=True)
class ShelfWay:
    """One way to be shelf-stable; a column that is None is not asked for.

    Args:
        key: str. Name of the way, such as 'us_dry'.
        moisture_protein: float or None. At most. [1]
        ph: float or None. Of the finished piece, at most. [pH]
        fermented_ph: float or None. At the end of fermentation, at most. [pH]
        water_activity: float or None. At most, 0..1. [1]
        nitrite_mg_kg: float or None. Ingoing nitrite or nitrate, at least. [mg/kg]
        salt_pct: float or None. At least. [%]
        closed_package: bool. Packed without air and kept closed.
        degree_hours: bool. Degree-hours of the same market must be met.
        sources: tuple of str. Fact keys.
    """

    key: str
    moisture_protein: float | None = None
    ph: float | None = None
    fermented_ph: float | None = None
    water_activity: float | None = None
    nitrite_mg_kg: float | None = None
    salt_pct: float | None = None
    closed_package: bool = False
    degree_hours: bool = False
    sources: tuple[str, ...] = ()


@dataclass(frozen=True)
class Finished:
    """What was measured on a finished lot, by instruments in check, and weighed into it.

    Args:
        water_activity: float or None. Highest measured, 0..1. [1]
        water_activity_sample: str. 'ground', 'core', 'rim' or 'slice'.
        ph: float or None. Highest core value of the last set. [pH]
        fermented_ph: float or None. Highest core value of the set that ended the count. [pH]
        moisture_protein: float or None. By analysis, rounded to two decimals. [1]
        nitrite_mg_kg: float or None. Ingoing, from weighed amounts. [mg/kg]
        salt_pct: float or None. From weighed amounts. [%]
        closed_package: bool or None. None: not packed yet.
        degree_hours: Outcome or None. Of the same market.
        readings: tuple of str. Entry ids.
    """

    water_activity: float | None = None
    water_activity_sample: str = ""
    ph: float | None = None
    fermented_ph: float | None = None
    moisture_protein: float | None = None
    nitrite_mg_kg: float | None = None
    salt_pct: float | None = None
    closed_package: bool | None = None
    degree_hours: Outcome | None = None
    readings: tuple[str, ...] = ()


@dataclass(frozen=True)
class _Column:
    """One thing a way asks for: True holds, False does not, None was not measured."""

    words: str
    holds: bool | None
    got: float | None = None
    limit: float | None = None


def judge_shelf(way: ShelfWay, finished: Finished, confirmed: Collection[str] = ()) -> Verdict:
    """Hold a finished lot against one way.

    Args:
        way: ShelfWay.
        finished: Finished.
        confirmed: collection of str. Confirmed fact keys.

    Returns:
        Verdict: met when every column holds, not met when one does not, else not shown.
    """
    columns = _columns(way, finished)
    broken = [column for column in columns if column.holds is False]
    missing = [column for column in columns if column.holds is None]
    if broken:
        outcome, why = Outcome.NOT_MET, "; ".join(column.words for column in broken)
    elif missing:
        outcome = Outcome.NOT_SHOWN
        why = say("not measured: {columns}", columns="; ".join(column.words for column in missing))
    else:
        outcome, why = Outcome.MET, ""
    first = next((column for column in columns if column.limit is not None), None)
    measured = first is not None and first.got is not None and first.limit is not None
    return Verdict(
        hazard=HEADING,
        rule=f"shelf_stability.{way.key}",
        outcome=outcome,
        words="; ".join(column.words for column in columns),
        used=first.got if first else None,
        limit=first.limit if first else None,
        unit="1",
        margin=round(first.limit - first.got, 4)
        if measured and first and first.limit is not None and first.got is not None
        else None,
        readings=finished.readings,
        sources=way.sources,
        confidence="confirmed" if all(key in confirmed for key in way.sources) else "unconfirmed",
        why=why,
        next=say("measure what is missing") if outcome is Outcome.NOT_SHOWN else "",
    )


def _at_most(name: str, got: float | None, limit: float | None, decimals: int) -> list[_Column]:
    if limit is None:
        return []
    shown = say("not measured") if got is None else f"{got:.{decimals}f}"
    words = say("{name} {got}, at most {limit}", name=name, got=shown, limit=f"{limit:.{decimals}f}")
    return [_Column(words, None if got is None else round(got, 6) <= limit, got, limit)]


def _at_least(name: str, got: float | None, limit: float | None, unit: str) -> list[_Column]:
    if limit is None:
        return []
    shown = say("not known") if got is None else f"{got:.1f}"
    words = say("{name} {got} {unit}, at least {limit}", name=name, got=shown, unit=unit, limit=f"{limit:g}")
    return [_Column(words, None if got is None else got >= limit)]


def _columns(way: ShelfWay, finished: Finished) -> list[_Column]:
    sampled = finished.water_activity_sample in SAMPLES_THAT_SHOW
    water_activity = finished.water_activity if sampled else None
    columns = [
        *_at_most(say("water activity"), water_activity, way.water_activity, 3),
        *_at_most(say("moisture:protein"), finished.moisture_protein, way.moisture_protein, 2),
        *_at_most(say("pH"), finished.ph, way.ph, 2),
        *_at_most(say("pH at the end of fermentation"), finished.fermented_ph, way.fermented_ph, 2),
        *_at_least(say("ingoing nitrite"), finished.nitrite_mg_kg, way.nitrite_mg_kg, "mg/kg"),
        *_at_least(say("salt"), finished.salt_pct, way.salt_pct, "%"),
    ]
    if way.closed_package:
        columns.append(_Column(say("packed without air and kept closed"), finished.closed_package))
    if way.degree_hours:
        known = {Outcome.MET: True, Outcome.NOT_MET: False}
        met = known.get(finished.degree_hours) if finished.degree_hours is not None else None
        columns.append(_Column(say("degree-hours met"), met))
    return columns
