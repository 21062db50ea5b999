"""What is known of a forecast beyond its numbers, as a kept result."""

from __future__ import annotations

import json
import zlib
from collections.abc import Mapping
from dataclasses import asdict
from datetime import datetime
from typing import Any

from saltloft.cases.open_house import OpenHouse
from saltloft.plant.insight import AirTaken, ForecastPoint, Insight, Move
from saltloft.process.learning.advice import Option, Taught, Teaching
from saltloft.store.kept import KeptResult

SORT = "insight"


def to_bytes(insight: Insight) -> bytes:
    """Compressed JSON; the same insight gives the same bytes."""
    plain = asdict(insight)
    plain["points"] = [{**asdict(point), "at": point.at.isoformat()} for point in insight.points]
    return zlib.compress(json.dumps(plain, sort_keys=True, separators=(",", ":")).encode(), 6)


def from_bytes(body: bytes) -> Insight:
    """The insight behind `to_bytes`."""
    plain = json.loads(zlib.decompress(body))
    points = tuple(
        ForecastPoint(**{**point, "at": datetime.fromisoformat(point["at"])}) for point in plain["points"]
    )
    return Insight(
        **{
            **plain,
            "points": points,
            "moves": tuple(_move(move) for move in plain["moves"]),
            "teaching": _teaching(plain["teaching"]),
        }
    )


def _move(plain: Mapping[str, Any]) -> Move:
    return Move(**{**plain, "air": AirTaken(**plain["air"]) if plain["air"] else None})


def _teaching(plain: Mapping[str, Any] | None) -> Teaching | None:
    if plain is None:
        return None
    taught = tuple(Taught(**one) for one in plain["taught"])
    return Teaching(
        **{**plain, "taught": taught, "options": tuple(Option(**one) for one in plain["options"])}
    )


def kept_insight(house: OpenHouse, lot: str) -> Insight | None:
    """The last one kept for a lot; None when there is none or it is of another version.

    Args:
        house: OpenHouse.
        lot: str.
    """
    found = house.store.kept.latest(SORT, lot)
    if found is None:
        return None
    try:
        return from_bytes(found.body)
    except (TypeError, KeyError, ValueError):
        return None


def keep(house: OpenHouse, insight: Insight, now: datetime) -> None:
    """Keep one; the lot's earlier one goes.

    Args:
        house: OpenHouse.
        insight: Insight.
        now: datetime, aware.
    """
    house.store.kept.put(KeptResult(f"insight:{insight.lot}", SORT, insight.lot, now, to_bytes(insight)))
