"""Numbers and names that cannot be, in the entries of the material flow, whatever the house looks like."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Iterable
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from saltloft.foundation.errors import InputError
from saltloft.foundation.units import MILLIGRAMS, Mass
from saltloft.foundation.units import mass as booked
from saltloft.plant import flow, hams, lots, orders, parties, stock

NUMBER = re.compile(r"^\w[\w .+&()'-]{0,59}$")
MOST_LINES = 200


def refuse_impossible_flow(payload: Any) -> None:
    """Raise for a number, name or word that no house can mean.

    Raises:
        InputError: with the field, what came and what is allowed.
    """
    check = _CHECKS.get(type(payload))
    if check is not None:
        check(payload)


def _refuse(key: str, got: object, allowed: str, do: str = "") -> None:
    words = key.removesuffix("_c").replace("_", " ")
    raise InputError(f"{words} cannot be {got}", got=str(got), allowed=allowed, do=do, key=key)


def _named(key: str, name: str) -> None:
    if not NUMBER.match(name):
        _refuse(key, f"'{name}'", "1 to 60 letters, digits, blanks and . + & ( ) ' -, beginning with one")


def _one_of(key: str, value: str, allowed: Collection[str]) -> None:
    if value not in allowed:
        _refuse(key, f"'{value}'", ", ".join(word for word in allowed if word))


def _mass(key: str, value: Mass | None) -> None:
    fits = value is None or (
        value.unit in MILLIGRAMS and booked(value.number, value.unit, what=key).mg == value.mg
    )
    if not fits and value is not None:
        _refuse(key, f"{value.mg} mg for {value.number} {value.unit}", "milligrams that fit what was typed")


def _count(key: str, value: int, least: int = 0) -> None:
    if not least <= value <= 10_000_000:
        _refuse(key, value, f"{least} to 10,000,000")


def _word(key: str, value: str) -> None:
    if not value.strip():
        _refuse(key, "nothing", "a word")


def _day(key: str, value: str) -> None:
    if value:
        try:
            date.fromisoformat(value)
        except ValueError:
            _refuse(key, f"'{value}'", "a day as 2026-11-03")


def moment(key: str, text: str) -> datetime | None:
    """A typed moment; None when it was left empty.

    Raises:
        InputError: not a moment, or without its zone.
    """
    if not text:
        return None
    try:
        found = datetime.fromisoformat(text)
    except ValueError:
        found = None
    if found is None or found.tzinfo is None:
        raise InputError(
            f"{key} is no moment", got=f"'{text}'", allowed="such as 2026-07-22T09:10:00+00:00", key=key
        )
    return found


def _from_to(start: str, end: str) -> None:
    begin, finish = moment("start", start), moment("end", end)
    if begin is not None and finish is not None and finish < begin:
        _refuse("end", end, f"not before {start}")


def _lines(key: str, lines: tuple[Any, ...], least: int = 1) -> None:
    if not least <= len(lines) <= MOST_LINES:
        _refuse(key, f"{len(lines)} lines", f"{least} to {MOST_LINES} lines")


def _different(key: str, names: Iterable[str]) -> None:
    listed = list(names)
    for name in listed:
        if listed.count(name) > 1:
            _refuse(key, f"'{name}' twice", "each once")


def _consumed(key: str, consumed: tuple[lots.Consumed, ...]) -> None:
    for line in consumed:
        _mass(key, line.mass)


def _temperature(key: str, value: Decimal | None) -> None:
    if value is not None and not -40 <= value <= 60:
        do = "a value in degrees Fahrenheit is converted where it is typed"
        _refuse(key, f"{value} degC", "-40 to 60 degC", do)


def _party(said: parties.PartyAdded) -> None:
    _named("party", said.party)
    _one_of("role", said.role, parties.PARTY_ROLES)
    _one_of("market", said.market, ("", *lots.MARKETS))
    _count("approved", said.approved)


def _received(said: stock.MaterialReceived) -> None:
    _one_of("sort", said.sort, ("", *stock.MATERIAL_SORTS))
    _day("best_before", said.best_before)
    _temperature("truck_temperature_c", said.truck_temperature_c)


def _split(said: flow.LotSplit) -> None:
    _lines("parts", said.parts, 2)
    _different("lot", [said.lot, *(part.lot for part in said.parts)])
    for part in said.parts:
        _named("lot", part.lot)
        _count("pieces", part.pieces)
        if not 0 < part.share <= 10_000_000:
            _refuse("share", part.share, "above 0", "type pieces, kilograms or per cent for every part")


def _merged(said: flow.LotsMerged) -> None:
    _named("lot", said.lot)
    _lines("sources", said.sources, 2)
    _different("sources", [said.lot, *said.sources])


def _rehung(said: flow.PieceRehung) -> None:
    _word("rack", said.rack)
    _count("pieces", said.pieces, 1)
    if said.tag and said.pieces != 1:
        _refuse("pieces", said.pieces, "1 for a tagged piece")


def _sliced(said: flow.LotSliced) -> None:
    _named("sliced", said.sliced)
    _word("line", said.line)
    if moment("start", said.start) is None or moment("end", said.end) is None:
        _refuse("start", "nothing", "when it began and when it ended")
    _from_to(said.start, said.end)
    out = said.mass.mg + sum(mass.mg for mass in (said.ends, said.waste) if mass is not None)
    # Two scales, each by its division; 0.5 % is common practice, no source.
    if out > said.mass_in.mg * 1.005:
        _refuse("mass", f"{out / 1e6:.2f} kg out of {said.mass_in.kg:.2f} kg", "not more than went on")


def _packed(said: flow.PackMade) -> None:
    _named("pack", said.pack)
    _lines("sources", said.sources)
    _different("sources", [line.material_lot for line in said.sources])
    _consumed("sources", said.sources)
    _count("packs", said.packs, 1)
    _day("use_by", said.use_by)
    _from_to(said.start, said.end)
    went_in = sum(line.mass.mg for line in said.sources)
    if said.mass.mg > went_in * 1.005:
        _refuse(
            "mass",
            f"{said.mass.kg:.2f} kg out of {went_in / 1e6:.2f} kg",
            "not more than went in",
            "look at the unit, or enter the amounts that are missing",
        )


def _order(said: orders.OrderPlaced) -> None:
    _named("order", said.order)
    _lines("lines", said.lines)
    _day("due", said.due)
    for line in said.lines:
        _mass("mass", line.mass)
        _count("packs", line.packs)


def _order_ended(said: orders.OrderEnded) -> None:
    _one_of("how", said.how, orders.ORDER_ENDS)
    if said.how != "shipped":
        _word("reason", said.reason)


def _shipment(said: orders.ShipmentSent) -> None:
    _named("shipment", said.shipment)
    _word("customer", said.customer)
    _lines("lines", said.lines)
    _different("node", [line.node for line in said.lines])
    _temperature("temperature_c", said.temperature_c)
    for line in said.lines:
        _mass("mass", line.mass)
        _count("packs", line.packs)


def _returned(said: orders.GoodsReturned) -> None:
    _named("returned", said.returned)
    _one_of("decision", said.decision, orders.RETURN_DECISIONS)
    _word("reason", said.reason)
    _count("packs", said.packs)


def _sampled(said: flow.LotSampled) -> None:
    _word("purpose", said.purpose)
    _count("pieces", said.pieces)


def _wasted(said: flow.LotWasted | flow.MaterialWasted) -> None:
    _word("reason", said.reason)


def _counter(said: flow.CounterOpened) -> None:
    _word("line", said.line)
    if moment("start", said.start) is None:
        _refuse("start", "nothing", "when it was opened")
    _from_to(said.start, said.end)


def _salted(said: hams.HamGroupSalted) -> None:
    _consumed("consumed", said.consumed)
    if said.tags:
        _different("tags", said.tags)
        if len(said.tags) > said.legs:
            _refuse("tags", f"{len(said.tags)} tags", f"up to {said.legs}, one a leg")


_CHECKS: dict[type, Callable[[Any], None]] = {
    parties.PartyAdded: _party,
    parties.PartyNameErased: lambda said: _word("reason", said.reason),
    stock.MaterialReceived: _received,
    hams.HamGroupSalted: _salted,
    flow.MaterialWasted: _wasted,
    flow.LotSplit: _split,
    flow.LotsMerged: _merged,
    flow.RackMoved: lambda said: _word("rack", said.rack),
    flow.PieceRehung: _rehung,
    flow.LotSliced: _sliced,
    flow.PackMade: _packed,
    flow.LotSampled: _sampled,
    flow.LotWasted: _wasted,
    flow.CounterOpened: _counter,
    orders.OrderPlaced: _order,
    orders.OrderEnded: _order_ended,
    orders.ShipmentSent: _shipment,
    orders.GoodsReturned: _returned,
}
