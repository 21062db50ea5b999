"""Whether an entry of the material flow fits what the house knows: what is left, held, and belongs together.

Nothing may be booked out of a thing that is not in it any more: a count of the
shelf, or a corrected weight, puts a wrong book right.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Protocol

from saltloft.foundation.errors import InputError, RuleBroken
from saltloft.foundation.words import say
from saltloft.plant import flow, hams, lots, orders, stock
from saltloft.plant.fitting import Context
from saltloft.plant.flow_story import FlowNode
from saltloft.plant.lot_state import LotState

# What is packed, sliced or sent of a lot may differ from what came off its racks by two scales
# (common practice, no source).
SCALES = 1.02
_SIGNED_OUT = ("dry_sausage", "ham")
_STILL_TAKEN = (lots.LotHeld, lots.HoldLifted, lots.LotReleased)


class FlowKnown(Protocol):
    """What the store answers about nodes and links, inside the writing transaction."""

    def node(self, name: str) -> FlowNode | None: ...

    def out_mg(
        self, name: str, *, after: datetime | None = None, leaving_out: str = "", free: bool = False
    ) -> int: ...

    def lots_behind(self, name: str) -> tuple[str, ...]: ...

    def all_lots_in(self, name: str) -> tuple[str, ...]: ...

    def sent_mg(self, shipment: str, node: str, *, leaving_out: str = "") -> tuple[int, int]: ...

    def parts_of(self, lot: str) -> tuple[str, ...]: ...


@dataclass(frozen=True)
class FlowContext:
    """The context of an entry, with the flow beside it.

    Args:
        base: Context.
        flow: FlowKnown.
        replaced: str. Id of the entry that this one corrects: what it booked is free again.
    """

    base: Context
    flow: FlowKnown
    replaced: str = ""


def check_flow(payload: Any, context: FlowContext) -> str:
    """Refuse an entry that does not fit; returns words worth saying about one that does (may be empty).

    Raises:
        InputError: an unknown name, or more than is left.
        RuleBroken: a hold, a missing release, a merge of unlike lots, nitrite where none belongs.
    """
    lot = getattr(payload, "lot", "")
    if lot and not isinstance(payload, flow.LotsMerged):
        _not_ended(payload, lot, context)
    found = _CHECKS.get(type(payload))
    return (found(payload, context) or "") if found else ""


def _not_ended(payload: Any, lot: str, context: FlowContext) -> None:
    state = context.base.known.lot(lot)
    if not state.ended or context.base.correcting or isinstance(payload, _STILL_TAKEN[:2]):
        return
    parts = ", ".join(context.flow.parts_of(lot))
    raise RuleBroken(
        f"{lot} goes on as {parts}", got=lot, do="enter it there, where it was seen", allowed=parts, key="lot"
    )


def left_mg(name: str, context: FlowContext) -> int | None:
    """What may still be booked out of a material lot, pack lot, return or ends; None without one. [mg]"""
    node = context.flow.node(name)
    if node is None:
        return None
    if node.counted_at is not None:
        gone = context.flow.out_mg(name, after=node.counted_at, leaving_out=context.replaced)
        return node.counted_mg - gone
    return node.booked_mg - context.flow.out_mg(name, leaving_out=context.replaced)


def _take(name: str, mg: int, key: str, context: FlowContext) -> None:
    """Refuse to book out more than there is."""
    known = context.base.known
    slices = known.find("slices", name)
    if slices is not None:
        there = slices.mass.mg - context.flow.out_mg(name, leaving_out=context.replaced, free=True)
        _enough(name, mg, there, key)
    elif known.lot(name).exists:
        _off_a_lot(known.lot(name), mg, key, context)
    else:
        left = left_mg(name, context)
        if left is None:
            raise InputError(f"there is no {name}", got=name, do="look at its number", key=key)
        _enough(name, mg, left, key, counted=True)


def _off_a_lot(state: LotState, mg: int, key: str, context: FlowContext) -> None:
    gone = context.flow.out_mg(state.lot, leaving_out=context.replaced, free=True)
    all_gone = context.flow.out_mg(state.lot, leaving_out=context.replaced)
    # Off the racks what was weighed there; before that, no more than was stuffed less what was taken of it.
    there = state.finished_mg * SCALES if state.finished_mg else (state.green_mg - (all_gone - gone)) * SCALES
    _enough(state.lot, mg, int(there) - gone, key)


def _enough(name: str, mg: int, left: int, key: str, *, counted: bool = False) -> None:
    if mg <= left:
        return
    do = "look at the unit and the number" + (
        "; if more is there, count it and enter that first" if counted else ""
    )
    raise InputError(
        f"not so much is left of {name}",
        got=f"{mg / 1e6:.3f} kg",
        allowed=f"up to {max(left, 0) / 1e6:.3f} kg",
        do=do,
        key=key,
    )


def _sum_by_source(consumed: Iterable[lots.Consumed]) -> dict[str, int]:
    sums: dict[str, int] = {}
    for line in consumed:
        sums[line.material_lot] = sums.get(line.material_lot, 0) + line.mass.mg
    return sums


def _batch(said: lots.LotMade | lots.FreshMade | hams.HamGroupSalted, context: FlowContext) -> str:
    words: list[str] = []
    for name, mg in _sum_by_source(said.consumed).items():
        _ends_by_name(name, context)
        _take(name, mg, "material_lot", context)
        words += _past_its_day(name, context)
    if not isinstance(said, hams.HamGroupSalted):
        _no_nitrite_into_fresh(said, context)
    return " ".join([say("Recorded."), *words]) if words else ""


def _ends_by_name(name: str, context: FlowContext) -> None:
    if context.base.known.lot(name).exists and context.flow.node(f"{name}/ends") is not None:
        raise InputError(
            f"the ends of {name} are booked", got=name, do=f"take them from {name}/ends", key="material_lot"
        )


def _past_its_day(name: str, context: FlowContext) -> list[str]:
    found = context.base.known.find("material lot", name)
    until = found.best_before if isinstance(found, stock.MaterialReceived) else ""
    if until and context.base.at.date().isoformat() > until:
        return [say("{name} was past its best-before of {day}.", name=name, day=until)]
    return []


def _cured(recipe: str, context: FlowContext) -> bool:
    found = context.base.known.find("recipe", recipe) if recipe else None
    if found is None:
        return False
    return any(
        line.kind == "cure" or line.nitrite_pct > 0 or line.nitrate_pct > 0 for line in found.ingredients
    )


def _no_nitrite_into_fresh(said: lots.LotMade | lots.FreshMade, context: FlowContext) -> None:
    """Ends worked in again carry what their batch was cured with, through any number of batches."""
    if isinstance(said, lots.LotMade) or _cured(said.recipe, context):
        return
    known = context.base.known
    for line in said.consumed:
        for lot in context.flow.all_lots_in(line.material_lot):
            state = known.lot(lot)
            if state.family == "ham" or _cured(state.recipe, context):
                raise RuleBroken(
                    f"{line.material_lot} carries nitrite of {lot}; {said.lot} is made without",
                    got=f"{line.mass.number} {line.mass.unit} of {line.material_lot}",
                    do="work it into a cured batch",
                    key="material_lot",
                )


def _split(said: flow.LotSplit, context: FlowContext) -> str:
    state = context.base.known.existing_lot(said.lot)
    for part in said.parts:
        if not context.base.correcting:
            _new_name(part.lot, context)
        if part.room:
            context.base.known.get("room", part.room, "room")
    if state.finished_mg or context.flow.out_mg(said.lot, leaving_out=context.replaced, free=True):
        raise RuleBroken(
            f"{said.lot} has been taken off the racks or worked up",
            do="book what came off it; only what hangs whole is split",
            key="lot",
        )
    counted = sum(part.pieces for part in said.parts)
    if counted and state.pieces and (counted != state.pieces or not all(part.pieces for part in said.parts)):
        raise InputError(
            "the parts do not have the pieces of the whole",
            got=str(counted),
            allowed=str(state.pieces),
            do="count every part, or leave the pieces out",
            key="pieces",
        )
    return say(
        "Recorded. {lot} goes on as {parts}.", lot=said.lot, parts=", ".join(p.lot for p in said.parts)
    )


def _new_name(name: str, context: FlowContext) -> None:
    if context.base.known.lot(name).exists or context.flow.node(name) is not None:
        raise InputError(f"{name} exists already", got=name, do="give it another number", key="lot")


def _merged(said: flow.LotsMerged, context: FlowContext) -> str:
    known = context.base.known
    if not context.base.correcting:
        _new_name(said.lot, context)
    if said.room:
        known.get("room", said.room, "room")
    states = [known.existing_lot(name, "sources") for name in said.sources]
    for state in states:
        if state.ended and not context.base.correcting:
            _not_ended(said, state.lot, context)
        if state.finished_mg or context.flow.out_mg(state.lot, leaving_out=context.replaced, free=True):
            raise RuleBroken(
                f"{state.lot} has been taken off the racks or worked up",
                do="book what came off it; only what hangs whole is merged",
                key="sources",
            )
    _alike(states)
    return say("Recorded. {lot} counts the days of its youngest stuffing.", lot=said.lot)


def _alike(states: list[LotState]) -> None:
    for key, words in (("product", "product"), ("recipe", "recipe"), ("markets", "market")):
        values = {getattr(state, key) for state in states}
        if len(values) > 1:
            raise RuleBroken(
                f"lots of different {words} are not merged",
                got=", ".join(f"{state.lot}: {_shown(getattr(state, key))}" for state in states),
                allowed=f"one {words}",
                key="sources",
            )


def _shown(value: object) -> str:
    if isinstance(value, frozenset):
        return " and ".join(sorted(value)) or "not signed out"
    return str(value)


def _sliced(said: flow.LotSliced, context: FlowContext) -> None:
    if not context.base.correcting:
        _new_name(said.sliced, context)
    _not_held(said.lot, context, "lot")
    _take(said.lot, said.mass_in.mg, "mass_in", context)


def _packed(said: flow.PackMade, context: FlowContext) -> None:
    known = context.base.known
    if not context.base.correcting:
        _new_name(said.pack, context)
    known.get("product", said.product, "product")
    if said.packaging_lot:
        known.get("material lot", said.packaging_lot, "packaging_lot")
    for line in said.sources:
        _not_held(line.material_lot, context, "sources")
        _take(line.material_lot, line.mass.mg, "sources", context)


def _not_held(name: str, context: FlowContext, key: str) -> None:
    for lot in context.flow.lots_behind(name):
        for hold in context.base.known.lot(lot).open_holds.values():
            raise RuleBroken(
                f"{lot} is on hold", got=hold.reason, do=hold.until or "lift the hold first", key=key
            )


def _shipped(said: orders.ShipmentSent, context: FlowContext) -> None:
    known = context.base.known
    if context.flow.node(said.shipment) is not None and not context.base.correcting:
        raise InputError(f"{said.shipment} exists already", do="give it another number", key="shipment")
    customer = known.get("party", said.customer, "customer")
    if customer.role == "supplier":
        raise InputError(
            f"{said.customer} is no customer", got=customer.role, allowed="customer", key="customer"
        )
    if said.order:
        order = known.get("order", said.order, "order")
        if order.customer != said.customer:
            raise InputError(
                f"{said.order} was placed by somebody else",
                got=said.customer,
                allowed=order.customer,
                key="customer",
            )
    for line in said.lines:
        _may_leave(line.node, customer.market, context)
        _take(line.node, line.mass.mg, "lines", context)


def _may_leave(name: str, market: str, context: FlowContext) -> None:
    known = context.base.known
    _not_held(name, context, "lines")
    back = known.find("return", name)
    if back is not None and back.decision != "stock":
        raise RuleBroken(f"{name} came back and is not for sale", got=back.decision, key="lines")
    for lot in context.flow.lots_behind(name):
        state = known.lot(lot)
        if state.family in _SIGNED_OUT and not state.released:
            raise RuleBroken(
                f"{lot} was not signed out",
                do="ask for its release; open hazards are named there",
                key="lines",
            )
        if market and state.markets and market not in state.markets:
            raise RuleBroken(
                f"{lot} was not signed out for that market",
                got=market,
                allowed=", ".join(sorted(state.markets)),
                key="lines",
            )
    pack = known.find("pack lot", name)
    if pack is not None and pack.use_by and context.base.at.date().isoformat() > pack.use_by:
        raise RuleBroken(
            f"{name} is past its use-by", got=pack.use_by, do="book it out as waste", key="lines"
        )


def _dispatched(said: lots.LotDispatched, context: FlowContext) -> None:
    _off_a_lot(context.base.known.existing_lot(said.lot), said.mass.mg, "mass", context)


def _returned(said: orders.GoodsReturned, context: FlowContext) -> None:
    if not context.base.correcting:
        _new_name(said.returned, context)
    context.base.known.get("shipment", said.shipment, "shipment")
    sent, back = context.flow.sent_mg(said.shipment, said.node, leaving_out=context.replaced)
    if not sent:
        raise InputError(f"{said.node} did not leave with {said.shipment}", got=said.node, key="node")
    if back + said.mass.mg > sent:
        raise InputError(
            f"more than left with {said.shipment}",
            got=f"{(back + said.mass.mg) / 1e6:.3f} kg in all",
            allowed=f"up to {sent / 1e6:.3f} kg",
            key="mass",
        )


def _out_of_anything(said: flow.LotSampled | flow.LotWasted, context: FlowContext) -> None:
    state = context.base.known.lot(said.lot)
    if not state.exists:
        _take(said.lot, said.mass.mg, "mass", context)
        return
    gone = context.flow.out_mg(said.lot, leaving_out=context.replaced)
    _enough(said.lot, said.mass.mg, int(state.green_mg * SCALES) - gone, "mass")


def _counted(said: flow.MaterialCounted, context: FlowContext) -> str:
    found = context.base.known.get("material lot", said.material_lot, "material_lot")
    if said.left is not None and said.left.mg > found.mass.mg * 1.05:
        raise InputError(
            f"more than came in of {said.material_lot}",
            got=f"{said.left.number} {said.left.unit}",
            allowed=f"up to {found.mass.kg:.3f} kg",
            do="look at the unit and the lot's number",
            key="left",
        )
    book = left_mg(said.material_lot, context)
    counted = said.left.mg if said.left is not None else 0
    if book is None or book == counted:
        return ""
    return say(
        "Recorded. The book said {book} kg, {difference} kg more or less than that is there.",
        book=f"{book / 1e6:.3f}",
        difference=f"{(counted - book) / 1e6:+.3f}",
    )


def _material_wasted(said: flow.MaterialWasted, context: FlowContext) -> None:
    context.base.known.get("material lot", said.material_lot, "material_lot")
    _take(said.material_lot, said.mass.mg, "mass", context)


def _received(said: stock.MaterialReceived, context: FlowContext) -> str:
    party = context.base.known.find("party", said.supplier) if said.supplier else None
    if said.supplier and party is None:
        return say("Recorded. {party} is not on the list of suppliers.", party=said.supplier)
    if party is not None and (not party.approved or party.role == "customer") and said.decision != "refused":
        return say("Recorded. {party} is not approved as a supplier.", party=said.supplier)
    return ""


def _ordered(said: orders.OrderPlaced, context: FlowContext) -> None:
    context.base.known.get("party", said.customer, "customer")
    for line in said.lines:
        context.base.known.get("product", line.product, "product")


def _rehung(said: flow.PieceRehung, context: FlowContext) -> None:
    context.base.known.existing_lot(said.lot)


def _rack(said: flow.RackMoved, context: FlowContext) -> None:
    context.base.known.existing_lot(said.lot)
    context.base.known.get("room", said.room, "room")


_CHECKS: dict[type, Callable[[Any, FlowContext], str | None]] = {
    lots.LotMade: _batch,
    lots.FreshMade: _batch,
    hams.HamGroupSalted: _batch,
    lots.LotDispatched: _dispatched,
    stock.MaterialReceived: _received,
    flow.MaterialCounted: _counted,
    flow.MaterialWasted: _material_wasted,
    flow.LotSplit: _split,
    flow.LotsMerged: _merged,
    flow.RackMoved: _rack,
    flow.PieceRehung: _rehung,
    flow.LotSliced: _sliced,
    flow.PackMade: _packed,
    flow.LotSampled: _out_of_anything,
    flow.LotWasted: _out_of_anything,
    flow.CounterOpened: lambda said, context: _not_held(said.lot, context, "lot"),
    orders.OrderPlaced: _ordered,
    orders.OrderEnded: lambda said, context: context.base.known.get("order", said.order, "order") and None,
    orders.ShipmentSent: _shipped,
    orders.GoodsReturned: _returned,
}
# Entries whose check asks for what was booked before.
ASKING = frozenset(_CHECKS)
