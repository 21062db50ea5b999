"""Every kind of journal entry, by name and version, and its payload's shape.

A payload is a frozen dataclass; in the journal it is canonical JSON that holds
strings, whole numbers, lists and objects only (a measured 5.31 is "5.31").
A reader for every version ever released stays here.
"""

from __future__ import annotations

import dataclasses
import types
import typing
from collections.abc import Mapping
from decimal import Decimal, InvalidOperation
from typing import Any

from saltloft.foundation.errors import InputError, UnknownName
from saltloft.plant import hams, instruments, lots, people, readings, recipes, rooms, stock

KINDS: dict[str, type] = {
    "house.set_up/1": people.HouseSetUp,
    "person.added/1": people.PersonAdded,
    "device.enrolled/1": people.DeviceEnrolled,
    "fact.confirmed/1": people.FactConfirmed,
    "room.defined/1": rooms.RoomDefined,
    "room.set/1": rooms.RoomSet,
    "instrument.defined/1": instruments.InstrumentDefined,
    "instrument.checked/1": instruments.InstrumentChecked,
    "material.received/1": stock.MaterialReceived,
    "recipe.defined/1": recipes.RecipeDefined,
    "product.defined/1": recipes.ProductDefined,
    "lot.made/1": lots.LotMade,
    "lot.hung/1": lots.LotHung,
    "lot.moved/1": lots.LotMoved,
    "lot.held/1": lots.LotHeld,
    "hold.lifted/1": lots.HoldLifted,
    "lot.released/1": lots.LotReleased,
    "lot.dispatched/1": lots.LotDispatched,
    "lot.yielded/1": lots.LotYielded,
    "fresh.made/1": lots.FreshMade,
    "fresh.chilled/1": lots.FreshChilled,
    "fresh.packed/1": lots.FreshPacked,
    "ham.salted/1": hams.HamGroupSalted,
    "ham.salted_out/1": hams.HamGroupSaltedOut,
    "ham.weighed/1": hams.HamGroupWeighed,
    "piece.weighed/1": readings.PieceWeighed,
    "ph.read/1": readings.PhRead,
    "water_activity.read/1": readings.WaterActivityRead,
    "lot.pressed_and_cut/1": readings.PressedAndCut,
    "check.done/1": readings.CheckDone,
    "document.recorded/1": readings.DocumentRecorded,
    "readings.sealed/1": readings.ReadingsSealed,
    "readings.voided/1": readings.ReadingsVoided,
    "entry.corrected/1": readings.Corrected,
}

_NAMES = {payload_type: kind for kind, payload_type in KINDS.items()}


def kind_of(payload: object) -> str:
    """The kind/version name under which a payload is journaled."""
    return _NAMES[type(payload)]


def encode(payload: object) -> dict[str, Any]:
    """A payload as strings, whole numbers, lists and objects; unset fields are left out."""
    if not dataclasses.is_dataclass(payload) or isinstance(payload, type):
        raise TypeError(f"not a payload: {payload!r}")
    return {
        field.name: _plain(getattr(payload, field.name))
        for field in dataclasses.fields(payload)
        if getattr(payload, field.name) is not None
    }


def _plain(value: object) -> Any:
    if isinstance(value, str | int) and not isinstance(value, bool):
        return value
    if isinstance(value, Decimal):
        return format(value, "f")
    if isinstance(value, tuple):
        return [_plain(item) for item in value]
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return encode(value)
    raise TypeError(f"a journal payload may not hold {type(value).__name__}: {value!r}")


def decode(kind: str, body: Mapping[str, Any]) -> Any:
    """The payload dataclass of `kind` from its plain form.

    Raises:
        UnknownName: for an unknown kind or field.
        InputError: for a missing field or a value of the wrong sort.
    """
    if kind not in KINDS:
        raise UnknownName("entry kind", kind, KINDS)
    return _build(KINDS[kind], body, kind)


def _build(shape: type, body: Any, where: str) -> Any:
    if not isinstance(body, Mapping):
        raise InputError(f"{where} must be an object", got=repr(body), key=where)
    hints = typing.get_type_hints(shape)
    fields = {field.name: field for field in dataclasses.fields(shape)}
    for name in body:
        if name not in fields:
            raise UnknownName(f"field of {where}", str(name), fields, key=f"{where}.{name}")
    values: dict[str, Any] = {}
    for name, field in fields.items():
        if name in body:
            values[name] = _value(hints[name], body[name], f"{where}.{name}")
        elif field.default is dataclasses.MISSING and field.default_factory is dataclasses.MISSING:
            if type(None) in typing.get_args(hints[name]):
                values[name] = None
                continue
            raise InputError(f"{where} lacks '{name}'", do=f"give {name}", key=f"{where}.{name}")
    return shape(**values)


def _value(hint: Any, raw: Any, where: str) -> Any:
    origin, arguments = typing.get_origin(hint), typing.get_args(hint)
    if origin in (types.UnionType, typing.Union):
        inner = next(item for item in arguments if item is not type(None))
        return None if raw is None else _value(inner, raw, where)
    if origin is tuple:
        if not isinstance(raw, list | tuple):
            raise InputError(f"{where} must be a list", got=repr(raw), key=where)
        return tuple(_value(arguments[0], item, where) for item in raw)
    if hint is Decimal:
        return _decimal(raw, where)
    if hint is int:
        if isinstance(raw, bool) or not isinstance(raw, int):
            raise InputError(f"{where} must be a whole number", got=repr(raw), key=where)
        return raw
    if hint is str:
        if not isinstance(raw, str):
            raise InputError(f"{where} must be text", got=repr(raw), key=where)
        return raw
    return _build(hint, raw, where)


def _decimal(raw: Any, where: str) -> Decimal:
    if isinstance(raw, bool) or not isinstance(raw, str | int):
        raise InputError(f"{where} must be a number written as text", got=repr(raw), key=where)
    try:
        value = Decimal(str(raw).strip().replace(",", "."))
    except InvalidOperation as error:
        raise InputError(f"{where} is not a number", got=f"'{raw}'", key=where) from error
    if not value.is_finite():
        raise InputError(f"{where} is not a finite number", got=f"'{raw}'", key=where)
    return value
