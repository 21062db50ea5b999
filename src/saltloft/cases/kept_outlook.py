"""A lot's outlook as a kept result: written down small, read back the same."""

from __future__ import annotations

import json
import math
import zlib
from collections.abc import Mapping
from dataclasses import asdict
from datetime import datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray

from saltloft.foundation.bands import Band
from saltloft.plant.answers import AirGap, AirRecord, LotOutlook, MeasuredPoint
from saltloft.process.learning import ErrorBlocks, Fault, Likelihood, LinearModel
from saltloft.process.result import CrossSection, DryingForecast, Flag, Outlook, SeriesBand, TargetDay, Window

SORT = "forecast"
# Six figures: a band is never read finer than a thousandth.
FIGURES = 6


def to_bytes(outlook: LotOutlook) -> bytes:
    """The outlook as compressed JSON; the same outlook gives the same bytes."""
    plain = {
        **asdict(outlook),
        "asof": outlook.asof.isoformat(),
        "stuffed_at": outlook.stuffed_at.isoformat(),
        "hung_at": outlook.hung_at.isoformat(),
    }
    text = json.dumps(_plain(plain), ensure_ascii=False, sort_keys=True, separators=(",", ":"))
    return zlib.compress(text.encode(), 6)


def from_bytes(body: bytes) -> LotOutlook:
    """The outlook behind `to_bytes`."""
    plain = json.loads(zlib.decompress(body))
    air = plain["air"]
    return LotOutlook(
        **{
            **plain,
            "asof": datetime.fromisoformat(plain["asof"]),
            "stuffed_at": datetime.fromisoformat(plain["stuffed_at"]),
            "hung_at": datetime.fromisoformat(plain["hung_at"]),
            "weighings": tuple(_point(point) for point in plain["weighings"]),
            "air": AirRecord(
                tuple(air["time_d"]),
                tuple(air["temperature_c"]),
                tuple(air["rh_pct"]),
                tuple(AirGap(**gap) for gap in air["gaps"]),
                tuple(air["batches"]),
            ),
            "result": _result(plain["result"]),
            "used_entries": tuple(plain["used_entries"]),
        }
    )


def _plain(value: Any) -> Any:
    if isinstance(value, np.ndarray):
        return _rounded(value) if value.dtype.kind == "f" else value.tolist()
    if isinstance(value, Mapping):
        return {str(name): _plain(item) for name, item in value.items()}
    if isinstance(value, tuple | list):
        return [_plain(item) for item in value]
    if isinstance(value, np.generic):
        value = value.item()
    return _number(value) if isinstance(value, float) else value


def _rounded(values: NDArray[np.float64]) -> Any:
    """As `_number`, for an array: nested lists of its shape."""
    finite = np.isfinite(values).ravel().tolist()
    flat = np.empty(values.size, dtype=object)
    pairs = zip(values.ravel().tolist(), finite, strict=True)
    flat[:] = [float(f"{value:.{FIGURES}g}") if known else None for value, known in pairs]
    return flat.reshape(values.shape).tolist()


def _number(value: float) -> float | None:
    """A float to six figures; None for what is no number (JSON knows none)."""
    return float(f"{value:.{FIGURES}g}") if math.isfinite(value) else None


def _array(values: list[float | None]) -> NDArray[np.float64]:
    return np.array([np.nan if value is None else value for value in values], dtype=np.float64)


def _point(point: Mapping[str, Any]) -> MeasuredPoint:
    return MeasuredPoint(**{**point, "entries": tuple(point["entries"])})


def _result(plain: Mapping[str, Any]) -> DryingForecast:
    return DryingForecast(
        **{
            **plain,
            "time_d": _array(plain["time_d"]),
            "bands": {
                name: SeriesBand(**{part: _array(values) for part, values in band.items()})
                for name, band in plain["bands"].items()
            },
            "targets": {name: _target(target) for name, target in plain["targets"].items()},
            "kill_log10": {name: (_array(a), _array(b)) for name, (a, b) in plain["kill_log10"].items()},
            "flags": tuple(Flag(**flag) for flag in plain["flags"]),
            "facts": tuple(plain["facts"]),
            "likelihood": _likelihood(plain.get("likelihood")),
            "faults": tuple(_fault(fault) for fault in plain.get("faults", ())),
            "linear": _linear(plain.get("linear")),
            "section": _section(plain.get("section")),
            "outlook": _outlook(plain.get("outlook")),
        }
    )


def _outlook(plain: Mapping[str, Any] | None) -> Outlook | None:
    if plain is None:
        return None

    def band(name: str) -> SeriesBand:
        return SeriesBand(**{part: _array(values) for part, values in plain[name].items()})

    def window(name: str) -> Window:
        return Window(Band(**plain[name]["hours"]), plain[name]["share"])

    return Outlook(
        time_d=_array(plain["time_d"]),
        pace_pct_d=band("pace_pct_d"),
        core_minus_rim=band("core_minus_rim"),
        faster_than_core=_array(plain["faster_than_core"]),
        shut_days=Band(**plain["shut_days"]),
        mould_wanted=window("mould_wanted"),
        mould_unwanted=window("mould_unwanted"),
    )


def _likelihood(plain: Mapping[str, Any] | None) -> Likelihood | None:
    if plain is None:
        return None
    air = plain.get("air")
    return Likelihood(
        _array(plain["precision"]), _array(plain["vector"]), None if air is None else _array(air)
    )


def _fault(plain: Mapping[str, Any]) -> Fault:
    return Fault(**{**plain, "weighings": tuple(plain["weighings"])})


def _linear(plain: Mapping[str, Any] | None) -> LinearModel | None:
    if plain is None:
        return None
    blocks = ErrorBlocks(**{name: np.array(part) for name, part in plain["blocks"].items()})
    arrays = {name: np.array(part) for name, part in plain.items() if name not in {"blocks", "columns"}}
    return LinearModel(columns=tuple(plain["columns"]), blocks=blocks, **arrays)


def _section(plain: Mapping[str, Any] | None) -> CrossSection | None:
    return None if plain is None else CrossSection(**{name: np.array(part) for name, part in plain.items()})


def _target(plain: Mapping[str, Any]) -> TargetDay:
    return TargetDay(
        **{
            **plain,
            "piece": Band(**plain["piece"]),
            "mean": Band(**plain["mean"]),
            "share_of_pieces": {share: Band(**band) for share, band in plain["share_of_pieces"].items()},
            "kill_log10": {name: (pair[0], pair[1]) for name, pair in plain["kill_log10"].items()},
            "chances": {name: tuple(days) for name, days in plain.get("chances", {}).items()},
        }
    )
