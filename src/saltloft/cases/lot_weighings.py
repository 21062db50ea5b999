"""A lot's weighings as losses: by tag against the piece's own green weight, sets against the mean."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from saltloft.plant.answers import MeasuredPoint
from saltloft.plant.lot_record import LotRecord
from saltloft.plant.readings import PieceWeighed
from saltloft.plant.stated import Stated

# Weighings this close together are one visit to the rack and one dot on the chart.
VISIT = timedelta(hours=3)
# Chosen, no source: repeat weighing of a wet piece on a hook, one standard deviation of the mass.
HANDLING_SHARE = 0.002


@dataclass(frozen=True)
class LossReading:
    """One weighing as a loss.

    Args:
        at: datetime, aware.
        day: float. From stuffing. [d]
        loss: float. Share of the green weight, 0..1; below 0 when it reads heavier.
        pieces: int.
        tag: str. Empty for an untagged set.
        division_g: float. Scale division; 0 when not known. [g]
        green_g: float. Green weight of what was weighed. [g]
        entries: tuple of str. The weighing and its green weight.
        scale, green_scale: str. What it and its green weight stood on; empty when not known.
        rack: str. Where it hangs; empty when not said.
        own_green: bool. It was compared with its own green weight, not the lot's mean.
        tare_g: float. Hook or trolley taken off the reading; 0 for none. [g]
    """

    at: datetime
    day: float
    loss: float
    pieces: int
    tag: str
    division_g: float
    green_g: float
    entries: tuple[str, ...]
    scale: str = ""
    green_scale: str = ""
    rack: str = ""
    own_green: bool = True
    tare_g: float = 0.0


def net_kg(weighed: PieceWeighed) -> float:
    """Mass without hook or trolley. [kg]"""
    return weighed.mass.kg - (weighed.tare.kg if weighed.tare is not None else 0.0)


def losses(record: LotRecord) -> tuple[LossReading, ...]:
    """Every weighing after the green one that can be read as a loss, by time.

    Args:
        record: LotRecord. A dry sausage lot.

    Returns:
        tuple of LossReading. A tagged piece, or so many pieces of one rack, without a green
        weight of their own are compared with the lot's mean green weight a piece.
    """
    green = {
        _same(item.payload): item
        for item in record.weighings
        if item.payload.green and (item.payload.tag or item.payload.rack)
    }
    found = [
        reading
        for item in record.weighings
        if not item.payload.green
        and (reading := _loss(item, green.get(_same(item.payload)), record)) is not None
    ]
    return tuple(sorted(found, key=lambda reading: (reading.at, reading.tag)))


def _same(weighed: PieceWeighed) -> tuple[str, str, int]:
    """What makes two weighings ones of the same pieces: the tag, else rack and number."""
    return (weighed.tag, "", 1) if weighed.tag else ("", weighed.rack, weighed.pieces)


def _loss(
    item: Stated[PieceWeighed], green: Stated[PieceWeighed] | None, record: LotRecord
) -> LossReading | None:
    weighed = item.payload
    if green is not None:
        start_kg, entries = net_kg(green.payload), (*item.entry_ids, *green.entry_ids)
    elif record.pieces > 0:
        start_kg = record.green_mass.kg / record.pieces * weighed.pieces
        entries = (*item.entry_ids, *record.made.entry_ids)
    else:
        return None
    if start_kg <= 0.0:
        return None
    return LossReading(
        at=item.at,
        day=(item.at - record.made_at).total_seconds() / 86400.0,
        loss=1.0 - net_kg(weighed) / start_kg,
        pieces=weighed.pieces,
        tag=weighed.tag,
        division_g=weighed.mass.division_mg / 1000.0,
        green_g=start_kg * 1000.0,
        entries=entries,
        scale=weighed.instrument,
        green_scale=green.payload.instrument if green is not None else "",
        rack=weighed.rack,
        own_green=green is not None,
        tare_g=weighed.tare.mg / 1000.0 if weighed.tare is not None else 0.0,
    )


def measured_points(readings: Sequence[LossReading]) -> tuple[MeasuredPoint, ...]:
    """One point a visit: the median loss over its pieces, with twice its standard error.

    Args:
        readings: sequence of LossReading, by time.

    Notes:
        The error is the spread between the pieces over the root of their number, never
        less than the scale and the handling allow. The median keeps one slip of the
        decimal mark from moving the dot.
    """
    return tuple(_point(visit) for visit in _visits(readings))


def _visits(readings: Sequence[LossReading]) -> Iterable[list[LossReading]]:
    visit: list[LossReading] = []
    for reading in readings:
        if visit and reading.at - visit[0].at > VISIT:
            yield visit
            visit = []
        visit.append(reading)
    if visit:
        yield visit


def _point(visit: Sequence[LossReading]) -> MeasuredPoint:
    values = np.array([reading.loss for reading in visit])
    middle = float(np.median(values))
    pieces = sum(reading.pieces for reading in visit)
    floor = max(
        np.hypot(HANDLING_SHARE, reading.division_g / np.sqrt(12.0) / reading.green_g) for reading in visit
    )
    # 1.4826 turns a median deviation into a standard one for normal spread.
    spread = 1.4826 * float(np.median(np.abs(values - middle)))
    error = 2.0 * max(float(floor), spread) / np.sqrt(len(visit))
    return MeasuredPoint(
        day=float(np.mean([reading.day for reading in visit])),
        value=100.0 * middle,
        low=100.0 * (middle - error),
        high=100.0 * (middle + error),
        pieces=pieces,
        entries=tuple(dict.fromkeys(entry for reading in visit for entry in reading.entries)),
    )
