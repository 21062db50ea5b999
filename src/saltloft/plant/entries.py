"""Every kind of journal entry, by name and version, and its payload's shape.

A payload is a frozen dataclass; in the journal it is canonical JSON that holds
strings, whole numbers, lists and objects only (a measured 5.31 is "5.31").
A reader for every version ever released stays here.
"""

from __future__ import annotations

import dataclasses
import functools
import types
import typing
from collections.abc import Mapping
from datetime import datetime
from decimal import Decimal, InvalidOperation
from typing import Any

from saltloft.foundation.errors import InputError, UnknownName
from saltloft.plant import (
    analyses,
    digital_link,
    earlier,
    flow,
    hams,
    instruments,
    lots,
    orders,
    parties,
    people,
    readings,
    ready_plan,
    recall,
    recipes,
    rooms,
    stock,
)

# Of one kind the newest version stands last.
KINDS: dict[str, type] = {
    "house.set_up/1": people.HouseSetUp,
    "person.added/1": people.PersonAdded,
    "device.enrolled/1": people.DeviceEnrolled,
    "device.revoked/1": people.DeviceRevoked,
    "token.issued/1": people.TokenIssued,
    "offline.entered/1": people.EnteredOffline,
    "fact.confirmed/1": people.FactConfirmed,
    "room.defined/1": rooms.RoomDefined,
    "room.set/1": rooms.RoomSet,
    "instrument.defined/1": instruments.InstrumentDefined,
    "instrument.checked/1": instruments.InstrumentChecked,
    "tare.weighed/1": instruments.TareWeighed,
    "party.added/1": parties.PartyAdded,
    "party.name_erased/1": parties.PartyNameErased,
    "recall.drilled/1": recall.RecallDrilled,
    "product.numbered/1": digital_link.ProductNumbered,
    "material.received/1": earlier.MaterialReceived1,
    "material.received/2": stock.MaterialReceived,
    "material.counted/1": flow.MaterialCounted,
    "material.wasted/1": flow.MaterialWasted,
    "recipe.defined/1": recipes.RecipeDefined,
    "product.defined/1": earlier.ProductDefined1,
    "product.defined/2": recipes.ProductDefined,
    "product.ready/1": ready_plan.ReadyPlanned,
    "lot.made/1": lots.LotMade,
    "lot.hung/1": lots.LotHung,
    "lot.moved/1": lots.LotMoved,
    "lot.held/1": lots.LotHeld,
    "hold.lifted/1": lots.HoldLifted,
    "lot.released/1": lots.LotReleased,
    "lot.dispatched/1": lots.LotDispatched,
    "lot.yielded/1": lots.LotYielded,
    "lot.split/1": flow.LotSplit,
    "lots.merged/1": flow.LotsMerged,
    "rack.moved/1": flow.RackMoved,
    "piece.rehung/1": flow.PieceRehung,
    "lot.sliced/1": flow.LotSliced,
    "lot.sampled/1": flow.LotSampled,
    "lot.wasted/1": flow.LotWasted,
    "counter.opened/1": flow.CounterOpened,
    "pack.made/1": flow.PackMade,
    "order.placed/1": orders.OrderPlaced,
    "order.ended/1": orders.OrderEnded,
    "shipment.sent/1": orders.ShipmentSent,
    "goods.returned/1": orders.GoodsReturned,
    "fresh.made/1": lots.FreshMade,
    "fresh.chilled/1": lots.FreshChilled,
    "fresh.packed/1": lots.FreshPacked,
    "ham.salted/1": earlier.HamGroupSalted1,
    "ham.salted/2": hams.HamGroupSalted,
    "ham.salted_out/1": hams.HamGroupSaltedOut,
    "ham.weighed/1": hams.HamGroupWeighed,
    "piece.weighed/1": readings.PieceWeighed,
    "ph.read/1": readings.PhRead,
    "piece.measured/1": analyses.PieceMeasured,
    "water_activity.read/1": readings.WaterActivityRead,
    "lot.pressed_and_cut/1": earlier.PressedAndCut1,
    "lot.pressed_and_cut/2": readings.PressedAndCut,
    "lot.analysed/1": analyses.LotAnalysed,
    "check.done/1": readings.CheckDone,
    "document.recorded/1": readings.DocumentRecorded,
    "readings.sealed/1": readings.ReadingsSealed,
    "readings.voided/1": readings.ReadingsVoided,
    "entry.corrected/1": readings.Corrected,
}

# The version in which each kind is written now; the others are only read.
_NEWEST = {kind.partition("/")[0]: kind for kind in KINDS}
_NAMES = {payload_type: kind for kind, payload_type in KINDS.items()}

# The field that names what an entry is about; entries about one subject are read together.
_SUBJECTS: dict[type, str] = {
    people.PersonAdded: "person",
    people.DeviceEnrolled: "device",
    people.DeviceRevoked: "device",
    people.TokenIssued: "device",
    people.EnteredOffline: "device",
    people.FactConfirmed: "fact",
    rooms.RoomDefined: "room",
    rooms.RoomSet: "room",
    instruments.InstrumentDefined: "instrument",
    instruments.InstrumentChecked: "instrument",
    instruments.TareWeighed: "carrier",
    parties.PartyAdded: "party",
    parties.PartyNameErased: "party",
    recall.RecallDrilled: "drill",
    digital_link.ProductNumbered: "product",
    stock.MaterialReceived: "material_lot",
    flow.MaterialCounted: "material_lot",
    flow.MaterialWasted: "material_lot",
    flow.LotSliced: "sliced",
    flow.PackMade: "pack",
    orders.OrderPlaced: "order",
    orders.OrderEnded: "order",
    orders.ShipmentSent: "shipment",
    orders.GoodsReturned: "returned",
    recipes.RecipeDefined: "recipe",
    recipes.ProductDefined: "product",
    ready_plan.ReadyPlanned: "product",
    readings.CheckDone: "room",
    readings.DocumentRecorded: "hazard",
    readings.ReadingsSealed: "batch",
    readings.ReadingsVoided: "batch",
}


def subject_of(payload: object) -> str:
    """What an entry is about: its lot, room, instrument, material lot, batch and so on; 'house' for the rest.

    A correction is about the same subject as the entry it corrects; its caller gives that.
    """
    name = _SUBJECTS.get(type(payload), "lot")
    return str(getattr(payload, name, "")) or "house"


def entry_id(at: datetime, random: bytes) -> str:
    """A time-ordered id for a new entry: milliseconds since 1970 and 80 random bits (RFC 9562, version 7).

    Args:
        at: datetime, aware. The client's clock.
        random: bytes, 10. Fresh random bytes.
    """
    milliseconds = int(at.timestamp() * 1000) & ((1 << 48) - 1)
    bits = int.from_bytes(random[:10].rjust(10, b"\0"), "big")
    value = (milliseconds << 80) | bits
    value = (value & ~(0xF << 76)) | (0x7 << 76)
    value = (value & ~(0x3 << 62)) | (0x2 << 62)
    text = f"{value:032x}"
    return f"{text[:8]}-{text[8:12]}-{text[12:16]}-{text[16:20]}-{text[20:]}"


def kind_of(payload: object) -> str:
    """The kind/version name under which a payload is journaled."""
    return _NAMES[type(payload)]


def newest(kind: str) -> str:
    """The same kind in the version in which it is written now; an unknown kind comes back as it is."""
    return _NEWEST.get(kind.partition("/")[0], kind)


def versions(name: str) -> tuple[str, ...]:
    """Every version of a kind, such as 'lot.pressed_and_cut', oldest first."""
    return tuple(kind for kind in KINDS if kind.partition("/")[0] == name)


def encode(payload: object) -> dict[str, Any]:
    """A payload as strings, whole numbers, lists and objects; unset fields are left out."""
    if not dataclasses.is_dataclass(payload) or isinstance(payload, type):
        raise TypeError(f"not a payload: {payload!r}")
    plain: dict[str, Any] = {}
    for name in _shape(type(payload)).fields:
        value = getattr(payload, name)
        if value is not None:
            plain[name] = _plain(value)
    return plain


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
    """The payload dataclass of `kind` from its plain form; one of an earlier version as it is stated today.

    Raises:
        UnknownName: for an unknown kind or field.
        InputError: for a missing field or a value of the wrong sort.
    """
    if kind not in KINDS:
        raise UnknownName("entry kind", kind, KINDS)
    built = _build(KINDS[kind], body, kind)
    to_now = earlier.TO_NOW.get(type(built))
    return built if to_now is None else to_now(built)


@dataclasses.dataclass(frozen=True)
class _Shape:
    """A payload class taken apart once: type hints, required fields, fields that may be null."""

    fields: dict[str, Any]
    required: frozenset[str]
    nullable: frozenset[str]


@functools.cache
def _shape(shape: type) -> _Shape:
    hints = typing.get_type_hints(shape)
    fields = dataclasses.fields(shape)
    bare = frozenset(
        field.name
        for field in fields
        if field.default is dataclasses.MISSING and field.default_factory is dataclasses.MISSING
    )
    nullable = frozenset(field.name for field in fields if type(None) in typing.get_args(hints[field.name]))
    return _Shape({field.name: hints[field.name] for field in fields}, bare, nullable)


def _build(shape: type, body: Any, where: str) -> Any:
    if not isinstance(body, Mapping):
        raise InputError(f"{where} must be an object", got=repr(body), key=where)
    known = _shape(shape)
    for name in body:
        if name not in known.fields:
            raise UnknownName(f"field of {where}", str(name), known.fields, key=f"{where}.{name}")
    values: dict[str, Any] = {}
    for name, hint in known.fields.items():
        if name in body:
            values[name] = _value(hint, body[name], f"{where}.{name}")
        elif name in known.required:
            if name not in known.nullable:
                raise InputError(f"{where} lacks '{name}'", do=f"give {name}", key=f"{where}.{name}")
            values[name] = None
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
