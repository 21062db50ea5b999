"""The recall of FEN-118 on records: the same figures as `trace_cases`, entered through the one way in."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path

from saltloft.foundation.units import Mass, mass
from saltloft.house import House
from saltloft.jobs import record
from saltloft.plant import digital_link, flow, lots, orders, parties, recipes, stock
from saltloft.plant.permit import ReleasePermit
from saltloft.plant.trace import split
from tests.small_house import QUALITY, alder, draft, make_house, set_up, stored
from tests.trace_cases import AGAIN, BATCHES, ENDS_KG, KG, REST_KG, SHIPPED_KG, STOCK_KG

PRODUCTS = {"RO": "rowan", "AL": "alder", "HA": "hazel"}
GTINS = {
    line: digital_link.trade_item("9521234", number)
    for number, line in enumerate(("rowan", "alder", "hazel"), start=11)
}


def weight(mg: int) -> Mass:
    """A weight to the milligram, as an exact scale would show it."""
    return mass(f"{Decimal(mg) / KG:f}", "kg")


def at(month: int, day: int, hour: int = 9) -> datetime:
    """A moment of that summer."""
    return datetime(2026, month, day, hour, tzinfo=UTC)


def product(line: str) -> recipes.ProductDefined:
    """A product that loses 37.5 per cent, so that a lot gives 0.625 of its green weight."""
    base = alder()
    return recipes.ProductDefined(
        PRODUCTS[line],
        line,
        base.family,
        PRODUCTS[line].capitalize(),
        base.recipe,
        base.calibre_mm,
        base.length_mm,
        base.casing,
        base.mould,
        base.stages,
        Decimal("37.5"),
    )


def fennel_house(folder: Path, *, demo: bool = False) -> House:
    """A house in which the bag went where it went."""
    house = make_house(folder, demo=demo)
    set_up(house)
    stored(
        house,
        *(product(line) for line in PRODUCTS),
        *(digital_link.ProductNumbered(name, gtin) for name, gtin in GTINS.items()),
        parties.PartyAdded("sup-07", "supplier"),
        *(parties.PartyAdded(f"cus-{number:02d}", "customer") for number in range(1, 32)),
        stock.MaterialReceived("LT-F", "lean trim", "sup-07", mass("6000", "kg")),
        stock.MaterialReceived("BF-F", "backfat", "sup-07", mass("2000", "kg")),
        at=at(5, 27),
    )
    bag = stock.MaterialReceived(
        "FEN-118", "fennel", "sup-07", mass("25", "kg"), supplier_lot="K-4471", sort="spice"
    )
    stored(house, bag, at=at(5, 28, 8))
    for number in range(1, 32):
        address = f"{number} Quay Street\nCorrowmere\n+353 1 555 0{number:03d}"
        house.store.secrets.set_contact(f"cus-{number:02d}", "customer", f"Shop {number}", address)
    _make(house)
    _pack_and_ship(house)
    ends = split(ENDS_KG * KG, list(BATCHES.values()))
    again = tuple(
        lots.Consumed(f"{lot}/ends", "ends", weight(mg)) for lot, mg in zip(BATCHES, ends, strict=True)
    )
    more = (
        lots.Consumed("LT-F", "lean trim", mass("410", "kg")),
        lots.Consumed("BF-F", "backfat", mass("150", "kg")),
    )
    stored(
        house,
        lots.LotMade(AGAIN, "hazel", "alder-1", (*more, *again), mass("612", "kg"), 2400),
        lots.LotHung(AGAIN, "D2", ("R-7", "R-8")),
        at=at(7, 20),
    )
    return house


def _make(house: House) -> None:
    spice = split(25 * KG, list(BATCHES.values()))
    for (lot, green), fennel in zip(BATCHES.items(), spice, strict=True):
        consumed = (
            lots.Consumed("LT-F", "lean trim", weight(green * KG * 74 // 100)),
            lots.Consumed("BF-F", "backfat", weight(green * KG * 27 // 100)),
            lots.Consumed("FEN-118", "fennel", weight(fennel)),
        )
        made = lots.LotMade(lot, PRODUCTS[lot[:2]], "alder-1", consumed, mass(str(green), "kg"), green)
        stored(house, made, lots.LotHung(lot, "D2"), at=at(6, int(lot[-2:])))


def _pack_and_ship(house: House) -> None:
    greens = list(BATCHES.values())
    shipped, stocked = split(SHIPPED_KG * KG, greens), split(STOCK_KG * KG, greens)
    ends, rest = split(ENDS_KG * KG, greens), split(REST_KG * KG, greens)
    customer = 0
    for place, lot in enumerate(BATCHES):
        out = at(7, 14) + timedelta(minutes=place)
        packed = shipped[place] + stocked[place]
        sample, waste = split(rest[place], [1, 2])
        stored(
            house,
            lots.LotYielded(lot, weight(ends[place]), "ends", 0),
            flow.LotSampled(lot, weight(sample), "laboratory"),
            flow.LotWasted(lot, weight(waste), "fell"),
            lots.LotYielded(lot, weight(packed), "pack"),
            at=out,
        )
        _sign(house, lot, out + timedelta(hours=2))
        pack = flow.PackMade(
            f"PK-{lot}",
            PRODUCTS[lot[:2]],
            (lots.Consumed(lot, "whole", weight(packed)),),
            weight(packed),
            400,
            line="P1",
            start=at(7, 15, 7).isoformat(),
            end=at(7, 15, 8).isoformat(),
            use_by="2026-10-15",
        )
        stored(house, pack, at=at(7, 15, 8) + timedelta(minutes=place))
        count = 4 if place < 4 else 3
        for mg in split(shipped[place], [3, *([1] * (count - 1))]):
            customer += 1
            line = orders.ShipmentLine(f"PK-{lot}", weight(mg))
            sent = orders.ShipmentSent(f"SHIP-{customer:04d}", f"cus-{customer:02d}", (line,))
            stored(house, sent, at=at(7, 18, 6) + timedelta(minutes=customer))


def _sign(house: House, lot: str, when: datetime) -> None:
    """A release as the signing job writes it; its own checks are tested elsewhere."""
    said = draft(lots.LotReleased(lot, "home", "0" * 64), when)
    seen = house.store.lots.get(lot).last_seq
    permit = ReleasePermit(lot, "home", "0" * 64, "ilo", when, seen)
    receipts = record.enter(house, QUALITY, [said], permits=[permit])
    assert receipts[0].status == "stored", receipts
