"""One morning of the house: everything the day sheet asks of records, rooms and kept forecasts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from saltloft.cases.hand import kept_hand
from saltloft.cases.open_house import OpenHouse, known_at
from saltloft.cases.rooms_now import rooms_now
from saltloft.plant.answers import HouseFace, LotJudgement, LotOutlook, RoomNow
from saltloft.plant.hand import HouseHand
from saltloft.plant.house_record import InstrumentRecord
from saltloft.plant.lot_record import LotRecord
from saltloft.plant.readings import CheckDone
from saltloft.plant.recipes import ProductDefined
from saltloft.plant.stated import Stated

CHECKS_SEEN = timedelta(days=15)
# Lots that left are of use to what a usual week makes; older ones that still lie here to what is due.
WEEKS_SEEN = timedelta(weeks=10)
LOTS_SEEN = timedelta(days=180)


@dataclass(frozen=True)
class HouseDay:
    """What the house knows at one moment.

    Args:
        face: HouseFace.
        at: datetime, aware.
        zone: ZoneInfo.
        lots: tuple of LotRecord. Every lot that hangs, is held or was made in the last half year.
        products: mapping of product to ProductDefined.
        product_entries: mapping of product to the entry ids of its definition.
        instruments: tuple of InstrumentRecord.
        rooms: tuple of RoomNow.
        checks: tuple of Stated of CheckDone, of the last 15 days.
        outlooks: mapping of lot to LotOutlook. Of the hanging dry sausage lots.
        judgements: mapping of lot to LotJudgement.
        hand: HouseHand or None. What the house's presses and cuts taught.
    """

    face: HouseFace
    at: datetime
    zone: ZoneInfo
    lots: tuple[LotRecord, ...]
    products: Mapping[str, ProductDefined]
    product_entries: Mapping[str, tuple[str, ...]]
    instruments: tuple[InstrumentRecord, ...]
    rooms: tuple[RoomNow, ...]
    checks: tuple[Stated[CheckDone], ...]
    outlooks: Mapping[str, LotOutlook]
    judgements: Mapping[str, LotJudgement]
    hand: HouseHand | None = None

    @property
    def day(self) -> date:
        """The calendar day in the house's zone."""
        return self.local(self.at)

    def local(self, moment: datetime) -> date:
        """The calendar day of a moment in the house's zone."""
        return moment.astimezone(self.zone).date()

    def family(self, family: str) -> tuple[LotRecord, ...]:
        """The lots of one family, by when they were made."""
        return tuple(sorted((lot for lot in self.lots if lot.family == family), key=lambda lot: lot.made_at))

    @property
    def hanging(self) -> tuple[LotRecord, ...]:
        """The dry sausage lots of which a part hangs."""
        return tuple(lot for lot in self.family("dry_sausage") if lot.hanging)

    def age_d(self, lot: LotRecord) -> float:
        """Days from stuffing, salting or making to this moment. [d]"""
        return (self.at - lot.made_at).total_seconds() / 86400.0

    def title(self, lot: LotRecord) -> str:
        """The product's name on papers; the product's key when it was never defined."""
        product = self.products.get(lot.product)
        return product.title if product is not None else lot.product


def _lots(house: OpenHouse, at: datetime, known: datetime | None) -> list[LotRecord]:
    if known is not None:
        return [lot for lot in house.store.lots.all(known) if _matters(lot.state, lot.made_at, at)]
    rows = house.store.lots.summaries()
    return [house.store.lots.get(row.lot) for row in rows if _matters(row.state, row.made_at, at)]


def _matters(state: str, made_at: datetime, at: datetime) -> bool:
    # What was split or merged hangs under other numbers.
    return state != "ended" and (
        state in ("hanging", "held")
        or (state != "gone" and at - made_at < LOTS_SEEN)
        or (at - made_at < WEEKS_SEEN)
    )


def house_day(
    house: OpenHouse,
    at: datetime,
    outlooks: Mapping[str, LotOutlook],
    judgements: Mapping[str, LotJudgement],
) -> HouseDay:
    """Gather one morning.

    Args:
        house: OpenHouse.
        at: datetime, aware. Only what was recorded by then counts.
        outlooks: mapping of lot to LotOutlook.
        judgements: mapping of lot to LotJudgement.
    """
    store = house.store
    known = known_at(house, at)
    lots = tuple(_lots(house, at, known))
    hanging = [lot for lot in lots if lot.hanging]
    products = store.products.all(known)
    return HouseDay(
        face=house.face(),
        at=at,
        zone=house.zone,
        lots=lots,
        products={record.product: record.defined.payload for record in products},
        product_entries={record.product: record.defined.entry_ids for record in products},
        instruments=tuple(store.instruments.all(known)),
        rooms=rooms_now(house, at, hanging, outlooks),
        checks=tuple(store.checks.all(known, start=at - CHECKS_SEEN, end=at)),
        outlooks=outlooks,
        judgements=judgements,
        hand=kept_hand(house),
    )
