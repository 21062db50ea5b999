"""Which share of its green weight a lot should give: its own weighings, the house's lots, or the target."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
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


def lot_facts(house: OpenHouse, links: Iterable[FlowLink | Link]) -> dict[str, LotFacts]:
    """What the balance has to know of every lot.

    Args:
        house: OpenHouse.
        links: iterable of FlowLink or Link. All of the house, or its sums by giver and sort.
    """
    aside = _aside(links)
    records = house.store.lots.all()
    given = {record.lot: _given(record, aside) for record in records}
    bands = _house_bands(records, given)
    targets = _targets(house)
    return {
        record.lot: LotFacts(
            green_mg=record.green_mass.mg,
            finished_mg=_finished(record),
            hangs=record.hanging,
            expected=_expected(record, bands, targets),
        )
        for record in records
    }


def yield_bands(house: OpenHouse, lots: Iterable[str]) -> dict[str, YieldBand]:
    """The band of each of some lots; one without any ground is left out.

    Args:
        house: OpenHouse.
        lots: iterable of str. Numbers that are no lots are left out.
    """
    wanted = set(lots)
    facts = lot_facts(house, house.store.flow.links())
    return {
        lot: found.expected for lot, found in facts.items() if lot in wanted and found.expected is not None
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


def _house_bands(records: Iterable[LotRecord], given: Mapping[str, float | None]) -> dict[str, YieldBand]:
    """What finished lots of each product gave: their median, and three robust standard deviations."""
    by_product: dict[str, list[float]] = {}
    for record in records:
        share = given[record.lot]
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


def _expected(
    record: LotRecord, bands: Mapping[str, YieldBand], targets: Mapping[str, YieldBand]
) -> YieldBand | None:
    own = _own(record)
    return own or bands.get(record.product) or targets.get(record.product)


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
