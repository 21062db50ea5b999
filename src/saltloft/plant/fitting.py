"""Whether an entry fits what the house knows: names that exist, times and amounts that can be.

Pure functions over `Known`, which the store answers inside the writing
transaction, so that nothing changes between the look and the entry.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Protocol

from saltloft.foundation.errors import InputError, RuleBroken
from saltloft.foundation.words import say
from saltloft.plant import (
    analyses,
    digital_link,
    flow,
    hams,
    instruments,
    lots,
    orders,
    parties,
    people,
    readings,
    ready_plan,
    recipes,
    rooms,
    stock,
)
from saltloft.plant.lot_state import LotState, net_mg

# Which entries bring a name into being: the sort of name, and the field that holds it.
DEFINES: dict[type, tuple[str, str]] = {
    people.HouseSetUp: ("house", ""),
    people.PersonAdded: ("person", "person"),
    rooms.RoomDefined: ("room", "room"),
    instruments.InstrumentDefined: ("instrument", "instrument"),
    recipes.ProductDefined: ("product", "product"),
    recipes.RecipeDefined: ("recipe", "recipe"),
    stock.MaterialReceived: ("material lot", "material_lot"),
    parties.PartyAdded: ("party", "party"),
    orders.OrderPlaced: ("order", "order"),
    orders.ShipmentSent: ("shipment", "shipment"),
    orders.GoodsReturned: ("return", "returned"),
    flow.PackMade: ("pack lot", "pack"),
    flow.LotSliced: ("slices", "sliced"),
    readings.ReadingsSealed: ("batch", "batch"),
}


class Known(Protocol):
    """What the store answers about names and lots."""

    def find(self, sort: str, name: str) -> Any | None: ...

    def get(self, sort: str, name: str, key: str) -> Any: ...

    def lot(self, lot: str) -> LotState: ...

    def existing_lot(self, lot: str, key: str = "lot") -> LotState: ...


@dataclass(frozen=True)
class Context:
    """Who enters what, when.

    Args:
        known: Known.
        at: datetime, aware. When it happened.
        person: str.
        role: str. Empty while nobody was added yet.
        demo: bool. The invented house.
        correcting: bool. The entry replaces an earlier one: what that one brought into being is
            there already, and what it added is still counted.
    """

    known: Known
    at: datetime
    person: str
    role: str
    demo: bool
    correcting: bool = False


def check(payload: Any, context: Context) -> str:
    """Refuse an entry that does not fit; returns words worth saying about one that does (may be empty).

    Raises:
        InputError: an unknown name (with the nearest), an impossible time or amount.
        RuleBroken: the house's own rules refuse it.
    """
    if type(payload) in _LOT_ENTRIES:
        _on_a_lot(payload, context)
    found = _CHECKS.get(type(payload))
    return (found(payload, context) or "") if found else ""


def _on_a_lot(payload: Any, context: Context) -> None:
    state = context.known.existing_lot(payload.lot)
    if state.made_at is not None and context.at < state.made_at:
        raise InputError(
            f"this was before {payload.lot} was made",
            got=context.at.isoformat(timespec="minutes"),
            allowed=f"from {state.made_at.isoformat(timespec='minutes')} on",
            key="happened_at",
        )
    for key, sort in (("room", "room"), ("instrument", "instrument")):
        name = getattr(payload, key, "")
        # A lot hangs somewhere; other entries may leave their room out.
        if name or (key == "room" and isinstance(payload, lots.LotHung | lots.LotMoved)):
            context.known.get(sort, name, key)
    family = _LOT_ENTRIES[type(payload)]
    if family and state.family != family:
        raise InputError(f"{payload.lot} is not of that kind", got=state.family, allowed=family, key="lot")


def _new_lot(said: Any, context: Context, family: str) -> None:
    if context.known.lot(said.lot).exists and not context.correcting:
        raise InputError(
            f"a lot called {said.lot} exists already", got=said.lot, do="give it another name", key="lot"
        )
    product = context.known.get("product", said.product, "product")
    if product.family != family:
        raise InputError(
            f"{said.product} is not made that way", got=product.family, allowed=family, key="product"
        )


def _made(said: lots.LotMade, context: Context) -> None:
    _new_lot(said, context, "dry_sausage")
    context.known.get("recipe", said.recipe, "recipe")
    _sources(said.consumed, context)
    for key in ("casing_lot", "culture_lot"):
        if getattr(said, key):
            _source(getattr(said, key), key, context)


def _fresh(said: lots.FreshMade, context: Context) -> None:
    _new_lot(said, context, "fresh_sausage")
    context.known.get("recipe", said.recipe, "recipe")
    _sources(said.consumed, context)


def _salted(said: hams.HamGroupSalted, context: Context) -> None:
    _new_lot(said, context, "ham")
    context.known.get("room", said.room, "room")
    for source in said.material_lots:
        _source(source, "material_lots", context)


def _sources(consumed: tuple[lots.Consumed, ...], context: Context) -> None:
    for line in consumed:
        _source(line.material_lot, "material_lot", context)


def _source(name: str, key: str, context: Context) -> None:
    """A material lot, or a lot whose ends are worked in again, by its number or as '<lot>/ends'."""
    found = context.known.find("material lot", name)
    if found is None:
        lot = name.removesuffix("/ends")
        if not context.known.lot(lot).exists and context.known.find("slices", lot) is None:
            context.known.get("material lot", name, key)
        return
    if found.decision == "refused":
        raise RuleBroken(
            f"{name} was refused at the door", got=found.note, do="use another material lot", key=key
        )


def _weighed(said: readings.PieceWeighed, context: Context) -> None:
    state = context.known.existing_lot(said.lot)
    _instrument(said.instrument, ("scale",), context)
    if state.green_mg and net_mg(said) * said.pieces > state.green_mg * 1.02:
        raise InputError(
            "the piece cannot be heavier than its whole lot was green",
            got=f"{said.mass.number} {said.mass.unit}",
            allowed=f"up to {state.green_mg / 1e6:.1f} kg",
            do="look at the unit and the decimal mark",
            key="mass",
        )


def _instrument(name: str, types: tuple[str, ...], context: Context) -> None:
    found = context.known.get("instrument", name, "instrument")
    if found.type not in types:
        raise InputError(
            f"{name} does not measure that", got=found.type, allowed=", ".join(types), key="instrument"
        )


def _group_weighed(said: hams.HamGroupWeighed, context: Context) -> None:
    state = context.known.existing_lot(said.lot)
    if said.legs > state.pieces:
        raise InputError(
            "more legs than the group has", got=str(said.legs), allowed=f"up to {state.pieces}", key="legs"
        )
    _not_above_green(said.mass.mg * state.pieces / said.legs, state, said.mass)


def _salted_out(said: hams.HamGroupSaltedOut, context: Context) -> None:
    _not_above_green(said.mass.mg, context.known.existing_lot(said.lot), said.mass)


def _yielded(said: lots.LotYielded, context: Context) -> None:
    state = context.known.existing_lot(said.lot)
    before = 0 if context.correcting else state.yielded_mg
    _not_above_green(before + said.mass.mg, state, said.mass)


def _not_above_green(mg: float, state: LotState, typed: Any) -> None:
    # Salt clings and scales err: 5 % over green is common practice, no source.
    if mg > state.green_mg * 1.05:
        raise InputError(
            f"more than {state.lot} weighed green",
            got=f"{typed.number} {typed.unit}",
            allowed=f"up to {state.green_mg / 1e6:.1f} kg in all",
            do="look at the unit and the decimal mark",
            key="mass",
        )


def _dispatched(said: lots.LotDispatched, context: Context) -> str:
    state = context.known.existing_lot(said.lot)
    if state.open_holds:
        hold = next(iter(state.open_holds.values()))
        raise RuleBroken(
            f"{said.lot} is on hold", got=hold.reason, do=hold.until or "lift the hold first", key="lot"
        )
    out = state.yielded_mg or state.green_mg
    in_all = said.mass.mg + (0 if context.correcting else state.dispatched_mg)
    if in_all > out * 1.02:
        raise InputError(
            f"more than came of {said.lot}",
            got=f"{in_all / 1e6:.1f} kg in all",
            allowed=f"up to {out / 1e6:.1f} kg",
            key="mass",
        )
    if state.family == "dry_sausage" and not state.released:
        return say("Recorded. {lot} was not signed out in Saltloft.", lot=said.lot)
    return ""


def _lifted(said: lots.HoldLifted, context: Context) -> None:
    holds = context.known.existing_lot(said.lot).open_holds
    if said.hold not in holds and not context.correcting:
        raise InputError(
            f"{said.lot} has no open hold of that number",
            got=said.hold,
            allowed=", ".join(holds) or "no hold is open",
            key="hold",
        )
    if not said.reason.strip():
        raise InputError("a hold is lifted with a reason", key="reason")


def _held(said: lots.LotHeld, context: Context) -> None:
    if not said.reason.strip():
        raise InputError("a hold needs a reason", key="reason")


def _released(said: lots.LotReleased, context: Context) -> None:
    house = context.known.find("house", "house")
    if said.market != "home" and house is not None and said.market not in house.markets:
        raise InputError(
            "the house does not sell there", got=said.market, allowed=", ".join(house.markets), key="market"
        )


def _product(said: recipes.ProductDefined, context: Context) -> None:
    if said.recipe:
        context.known.get("recipe", said.recipe, "recipe")
    signs = bool(said.plan.signed_by) or any(hazard.left_out_reason for hazard in said.hazards)
    if signs and (said.plan.signed_by != context.person or context.role != "quality"):
        raise RuleBroken(
            "a safety plan, or a hazard left out of it, is signed by a quality person who enters it",
            got=f"signed by '{said.plan.signed_by}', entered by {context.person} ({context.role})",
            do="let the quality person enter it, or leave the signature empty while it is a draft",
            key="plan.signed_by",
        )


def _ready(said: ready_plan.ReadyPlanned, context: Context) -> None:
    found = context.known.get("product", said.product, "product")
    if found.family != "dry_sausage":
        raise InputError(
            "only dry sausage is planned to be ready this way",
            got=found.family,
            allowed="dry_sausage",
            key="product",
        )


def _document(said: readings.DocumentRecorded, context: Context) -> None:
    for lot in said.covers_lots:
        context.known.existing_lot(lot, "covers_lots")
    for product in said.covers_products:
        context.known.get("product", product, "covers_products")
    _marked(said.demo, context)


def _marked(demo: int, context: Context) -> None:
    """What is invented stays in the invented house, and says so there."""
    if bool(demo) != context.demo:
        raise RuleBroken(
            "a demo confirmation or document belongs in the demo house, and only such belong there",
            got="marked demo" if demo else "not marked demo",
            allowed="marked demo" if context.demo else "not marked demo",
            key="demo",
        )


def _voided(said: readings.ReadingsVoided, context: Context) -> None:
    context.known.get("batch", said.batch, "batch")


def _in_room(said: Any, context: Context) -> None:
    if said.room:
        context.known.get("room", said.room, "room")


def _house(said: people.HouseSetUp, context: Context) -> None:
    before = context.known.find("house", "house")
    if before is not None and bool(before.demo) != bool(said.demo):
        raise RuleBroken("an invented house stays one, and a real house never becomes one", key="demo")


# Entries about a lot that must exist, with the family it must be of ('' for any).
_LOT_ENTRIES: dict[type, str] = {
    lots.LotHung: "",
    lots.LotMoved: "",
    lots.LotHeld: "",
    lots.HoldLifted: "",
    lots.LotReleased: "",
    lots.LotDispatched: "",
    lots.LotYielded: "",
    lots.FreshChilled: "fresh_sausage",
    lots.FreshPacked: "fresh_sausage",
    hams.HamGroupSaltedOut: "ham",
    hams.HamGroupWeighed: "ham",
    readings.PieceWeighed: "",
    readings.PhRead: "",
    readings.WaterActivityRead: "",
    readings.PressedAndCut: "",
    analyses.LotAnalysed: "",
    analyses.PieceMeasured: "",
}

_CHECKS: dict[type, Callable[[Any, Context], str | None]] = {
    people.HouseSetUp: _house,
    people.FactConfirmed: lambda said, context: _marked(said.demo, context),
    rooms.RoomSet: _in_room,
    instruments.InstrumentDefined: _in_room,
    digital_link.ProductNumbered: lambda said, context: (
        context.known.get("product", said.product, "product") and None
    ),
    instruments.TareWeighed: lambda said, context: _instrument(said.instrument, ("scale",), context),
    instruments.InstrumentChecked: lambda said, context: (
        context.known.get("instrument", said.instrument, "instrument") and None
    ),
    recipes.ProductDefined: _product,
    ready_plan.ReadyPlanned: _ready,
    lots.LotMade: _made,
    lots.FreshMade: _fresh,
    lots.HoldLifted: _lifted,
    lots.LotHeld: _held,
    lots.LotReleased: _released,
    lots.LotDispatched: _dispatched,
    lots.LotYielded: _yielded,
    hams.HamGroupSalted: _salted,
    hams.HamGroupSaltedOut: _salted_out,
    hams.HamGroupWeighed: _group_weighed,
    readings.PieceWeighed: _weighed,
    readings.PhRead: lambda said, context: _instrument(said.instrument, ("ph_meter",), context),
    readings.WaterActivityRead: lambda said, context: _instrument(
        said.instrument, ("water_activity_meter",), context
    ),
    readings.CheckDone: _in_room,
    readings.DocumentRecorded: _document,
    readings.ReadingsVoided: _voided,
}
