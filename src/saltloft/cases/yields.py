"""Which share of its green weight a lot should give: its own weighings, the house's lots, or the target."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from datetime import timedelta

import numpy as np

from saltloft.cases.lot_weighings import losses, measured_points
from saltloft.cases.open_house import OpenHouse
from saltloft.foundation.words import say
from saltloft.plant.balance import LotFacts, YieldBand
from saltloft.plant.flow_story import ENDS, SAMPLE, WASTE, FlowLink
from saltloft.plant.lot_record import LotRecord
from saltloft.plant.trace import Link

# So many finished lots of a product tell its spread; fewer leave the trade's band of 4 % of the yield.
ENOUGH_LOTS = 8
TRADE_BAND = 0.04
# A weighing is the lot's own word when it was taken so shortly before the racks were emptied.
SHORTLY_BEFORE = timedelta(days=4)
# What six pieces on the scale leave in doubt about 1,300 on the racks (chosen, no source).
PIECES_BAND = 0.03


def lot_facts(
    house: OpenHouse, links: Iterable[FlowLink | Link], lots: Collection[str] | None = None
) -> dict[str, LotFacts]:
    """What the balance has to know of lots.

    Args:
        house: OpenHouse.
        links: iterable of FlowLink or Link. All of the house, or its sums by giver and sort.
        lots: collection of str or None. The lots; numbers that are no lots are left out. None: every lot.
    """
    shelf = house.store.lots
    records = shelf.all() if lots is None else shelf.some(lots)
    own = {record.lot: _own(record) for record in records}
    # The others are measured by finished lots like them, of which only what was weighed off is asked.
    wanted = {record.product for record in records if own[record.lot] is None}
    bands = _house_bands(house.store.lot_courses.of_products(wanted), _aside(links))
    targets = _targets(house)
    return {
        record.lot: LotFacts(
            green_mg=record.green_mass.mg,
            finished_mg=_finished(record),
            hangs=record.hanging,
            expected=own[record.lot] or bands.get(record.product) or targets.get(record.product),
        )
        for record in records
    }


def _aside(links: Iterable[FlowLink | Link]) -> dict[str, int]:
    found: dict[str, int] = {}
    for link in links:
        if link.sort in (ENDS, SAMPLE, WASTE):
            found[link.source] = found.get(link.source, 0) + link.mg
    return found


def _finished(record: LotRecord) -> int | None:
    """Weighed off the racks for packing or the stock; a fresh batch is finished when it is packed. [mg]"""
    if record.family == "fresh_sausage":
        return sum(item.payload.mass.mg for item in record.packed) or None
    return (
        sum(item.payload.mass.mg for item in record.yields if item.payload.into in ("pack", "stock")) or None
    )


def _given(record: LotRecord, aside: Mapping[str, int]) -> float | None:
    finished = _finished(record)
    if finished is None or record.hanging or not record.green_mass.mg:
        return None
    return (finished + aside.get(record.lot, 0)) / record.green_mass.mg


def _house_bands(records: Iterable[LotRecord], aside: Mapping[str, int]) -> dict[str, YieldBand]:
    """What finished lots of each product gave: their median, and three robust standard deviations."""
    by_product: dict[str, list[float]] = {}
    for record in records:
        share = _given(record, aside)
        if share is not None:
            by_product.setdefault(record.product, []).append(share)
    found = {}
    for product, shares in by_product.items():
        if len(shares) < ENOUGH_LOTS:
            continue
        middle = float(np.median(shares))
        spread = 1.4826 * float(np.median(np.abs(np.array(shares) - middle)))
        half = max(3.0 * spread, 0.01)
        words = say("what {count} finished lots of it gave", count=len(shares))
        found[product] = YieldBand(middle - half, middle, middle + half, words)
    return found


def _targets(house: OpenHouse) -> dict[str, YieldBand]:
    found = {}
    for record in house.store.products.all():
        loss = float(record.defined.payload.target_weight_loss_pct) / 100.0
        if loss > 0.0:
            share = 1.0 - loss
            words = say("its target loss, and the trade's band of 4 %")
            found[record.product] = YieldBand(
                share * (1.0 - TRADE_BAND), share, share * (1.0 + TRADE_BAND), words
            )
    return found


def _own(record: LotRecord) -> YieldBand | None:
    """By the last weighing of its own pieces, when it was taken shortly before the end."""
    ends = [stay.end for stay in record.rooms if stay.end is not None]
    if record.family != "dry_sausage" or record.hanging or not ends:
        return None
    points = measured_points(losses(record))
    if not points:
        return None
    last = points[-1]
    behind = max(ends) - record.made_at - timedelta(days=last.day)
    if behind > SHORTLY_BEFORE:
        return None
    share = 1.0 - last.value / 100.0
    half = max((last.high - last.low) / 200.0, PIECES_BAND * share)
    words = say(
        "its own pieces, weighed {days} days before", days=max(round(behind.total_seconds() / 86400), 0)
    )
    return YieldBand(share - half, share, share + half, words)
