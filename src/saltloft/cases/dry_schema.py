"""The JSON Schema of the answer `dry/1`; docs/schemas/dry-1.json is this, written out.

python -m saltloft.cases.dry_schema > docs/schemas/dry-1.json
"""

from __future__ import annotations

import json
import sys
from collections.abc import Mapping

from saltloft.process.result import QUANTITIES
from saltloft.process.targets import TARGETS
from saltloft.science.growth import ORGANISMS

Json = dict[str, object]

NUMBER_OR_NULL: Json = {"type": ["number", "null"]}
BAND_NAMES = ("p05", "p50", "p95", "mean_p05", "mean_p50", "mean_p95")

MEANING = {
    "weight_loss_pct": "Loss of green weight. [%]",
    "moisture_pct": "Water per weight. [%]",
    "moisture_protein": "Moisture:protein ratio. [kg/kg]",
    "water_activity_mean": "Water activity of the homogenised piece, 0..1.",
    "water_activity_core": "Water activity on the axis, 0..1.",
    "water_activity_rim": "Water activity at the rim, 0..1.",
    "diameter_mm": "Diameter; of a pressed piece, of the round section with its area. [mm]",
    "loss_rate_pct_d": "Loss of green weight per day. [%/d]",
    "case_hardening": "1 - D(outer)/D(inner): 0 open, 1 shut; information, not calibrated.",
    "ph": "pH at the ends of stages that state one; null otherwise.",
}


def _object(properties: Mapping[str, object], title: str = "") -> Json:
    made: Json = {
        "type": "object",
        "properties": dict(properties),
        "required": list(properties),
        "additionalProperties": False,
    }
    return {"description": title, **made} if title else made


def _list(title: str) -> Json:
    return {"type": "array", "items": NUMBER_OR_NULL, "description": title}


def _days() -> Json:
    return dict.fromkeys(("p05", "p50", "p95"), NUMBER_OR_NULL)


def _target() -> Json:
    kill: Json = {"mean": NUMBER_OR_NULL, "conservative": NUMBER_OR_NULL}
    return _object(
        {
            **_days(),
            **{f"mean_{name}": NUMBER_OR_NULL for name in ("p05", "p50", "p95")},
            "share_reached": {"type": "number", "minimum": 0, "maximum": 1},
            "share_of_pieces": _object({"0.5": _object(_days()), "0.9": _object(_days())}),
            "composition": {
                "type": "object",
                "additionalProperties": {"type": "number"},
                "description": "Median composition on the median day. [% of weight]",
            },
            "kill_log10": _object(dict.fromkeys(ORGANISMS, _object(kill))),
        },
        "Days from stuffing; a member that never gets there is later than every day, and a quantile "
        "is null when share_reached is below it. mean_: the mean of the lot. [d]",
    )


def _outlook() -> Json:
    window = _object({"hours": _object(_days()), "share": {"type": "number", "minimum": 0, "maximum": 1}})
    bands = _object({name: _list("") for name in BAND_NAMES})
    made = _object(
        {
            "time_d": {"type": "array", "items": {"type": "number"}, "description": "From stuffing. [d]"},
            "pace_pct_d": {
                **bands,
                "description": "Even loss that leaves the rim above a chosen water activity. [%/d]",
            },
            "core_minus_rim": {**bands, "description": "Water activity of the core less the rim's. [1]"},
            "faster_than_core": _list("Share of members that lose faster than that while the core is wet."),
            "shut_days": _object(_days(), "Integral of the case-hardening index above one half. [d]"),
            "mould_wanted": {**window, "description": "Hours in which a mould put on can grow. [h]"},
            "mould_unwanted": {**window, "description": "Hours in which moulds nobody put on can grow. [h]"},
        },
        "What the state says of the rim: information, not calibrated.",
    )
    return {**made, "type": ["object", "null"]}


def _flag() -> Json:
    return _object(
        {
            "code": {"type": "string"},
            "at_d": NUMBER_OR_NULL,
            "share": {"type": "number", "minimum": 0, "maximum": 1},
            "words": {"type": "string"},
        },
        "at_d: median first day among the members that show it. share: of members.",
    )


def _fact() -> Json:
    return _object(
        {
            "key": {"type": "string"},
            "value": {"type": ["number", "string", "null"]},
            "unit": {"type": "string"},
            "confidence": {"enum": ["read", "second-hand", "memory", "computed", "practice", "own"]},
            "confirmed": {"type": "boolean"},
            "source": {"type": "string"},
        }
    )


def dry_schema() -> Json:
    """The schema of one answered case."""
    bands = {
        quantity: _object({name: _list("") for name in BAND_NAMES}, MEANING[quantity])
        for quantity in QUANTITIES
    }
    kill = {name: _object({"mean": _list(""), "conservative": _list("")}) for name in ORGANISMS}
    properties: Json = {
        "schema": {"const": "dry/1"},
        "title": {"type": "string"},
        "time_d": {"type": "array", "items": {"type": "number"}, "description": "From stuffing. [d]"},
        "horizon_d": {"type": "number", "description": "Last day computed. [d]"},
        **bands,
        "targets": {
            "type": "object",
            "properties": {name: _target() for name in TARGETS},
            "additionalProperties": False,
        },
        "kill_log10": _object(kill, "Credited death over time_d; null where no equation exists. [log10]"),
        "outlook": _outlook(),
        "flags": {"type": "array", "items": _flag()},
        "facts": {"type": "array", "items": _fact()},
        "run": _object(
            {
                "members": {"type": "integer"},
                "seed": {"type": "integer"},
                "version": {"type": "string"},
                "wall_s": {"type": "number"},
            }
        ),
    }
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": "dry/1",
        "title": "Answer of saltloft dry",
        **_object(properties, "p05, p50, p95: a piece picked at random; mean_: the mean of the lot."),
    }


def written() -> str:
    """The schema as it stands in docs/schemas/dry-1.json."""
    return json.dumps(dry_schema(), indent=2, ensure_ascii=False) + "\n"


if __name__ == "__main__":
    sys.stdout.write(written())
