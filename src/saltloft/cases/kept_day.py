"""The day sheet as a kept result: written down by the worker, read back the same by the pages."""

from __future__ import annotations

import base64
import dataclasses
import json
import types
import typing
import zlib
from datetime import date, datetime
from enum import Enum
from functools import lru_cache
from typing import Any

from saltloft.cases import kept_outlook
from saltloft.plant.answers import DaySheet, LotOutlook

SORT = "day"


def to_bytes(day: DaySheet) -> bytes:
    """The day sheet as compressed JSON."""
    text = json.dumps(_plain(day), ensure_ascii=False, sort_keys=True, separators=(",", ":"))
    return zlib.compress(text.encode(), 6)


def from_bytes(body: bytes) -> DaySheet:
    """The day sheet behind `to_bytes`.

    Raises:
        TypeError: the bytes were written by a version whose day sheet had other fields.
    """
    found = _typed(DaySheet, json.loads(zlib.decompress(body)))
    assert isinstance(found, DaySheet)
    return found


def _plain(value: Any) -> Any:
    if isinstance(value, LotOutlook):
        return base64.b85encode(kept_outlook.to_bytes(value)).decode()
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {field.name: _plain(getattr(value, field.name)) for field in dataclasses.fields(value)}
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, tuple):
        return [_plain(item) for item in value]
    return value


@lru_cache(maxsize=64)
def _hints(shape: type) -> dict[str, Any]:
    return typing.get_type_hints(shape)


def _typed(hint: Any, raw: Any) -> Any:
    origin = typing.get_origin(hint)
    if origin in (types.UnionType, typing.Union):
        inner = next(item for item in typing.get_args(hint) if item is not type(None))
        return None if raw is None else _typed(inner, raw)
    if origin is tuple:
        return tuple(_typed(typing.get_args(hint)[0], item) for item in raw)
    return _one(hint, raw)


def _one(hint: Any, raw: Any) -> Any:
    if hint is LotOutlook:
        return kept_outlook.from_bytes(base64.b85decode(raw))
    if hint in (datetime, date):
        return hint.fromisoformat(raw)
    if isinstance(hint, type) and issubclass(hint, Enum):
        return hint(raw)
    if dataclasses.is_dataclass(hint):
        hints = _hints(typing.cast(type, hint))
        return typing.cast(Any, hint)(**{name: _typed(hints[name], value) for name, value in raw.items()})
    return float(raw) if hint is float else raw
