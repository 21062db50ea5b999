"""One lot's way to the door, gathered: its plan, its last forecast, its judgement."""

from __future__ import annotations

from saltloft.cases.judgement import product_of
from saltloft.cases.open_house import OpenHouse, known_at
from saltloft.cases.ready_plans import ready_ground
from saltloft.foundation.errors import InputError
from saltloft.foundation.words import say
from saltloft.plant.answers import LotJudgement, LotOutlook
from saltloft.plant.lot_record import LotRecord
from saltloft.plant.ready import LotReady, lot_ready
from saltloft.process.promise import LEAST_SURE, MOST_SURE


def ready_of(
    house: OpenHouse,
    lot: str,
    outlook: LotOutlook | None,
    judgement: LotJudgement,
    *,
    sure: float | None = None,
    record: LotRecord | None = None,
) -> LotReady:
    """The day to promise and the chain to the door, as of the judgement's moment.

    Args:
        house: OpenHouse.
        lot: str.
        outlook: LotOutlook or None.
        judgement: LotJudgement.
        sure: float or None. Wanted chance, 0..1; None: the house's setting.
        record: LotRecord or None. When it was read already.

    Raises:
        InputError: a chance outside 0.025 to 0.975.
    """
    wanted = house.promise_sure if sure is None else sure
    if not LEAST_SURE <= wanted <= MOST_SURE:
        raise InputError(
            say("no promise can be made so sure"),
            got=f"{wanted:g}",
            allowed=f"{LEAST_SURE:g} to {MOST_SURE:g}",
            do=say("write 0.9 for nine in ten"),
            key="sure",
        )
    own = record or house.store.lots.get(lot, known_at(house, judgement.at))
    product = product_of(house, own, judgement.at)
    ground = ready_ground(house, product, judgement.at)
    return lot_ready(
        own,
        product,
        ground.plan,
        outlook,
        judgement,
        plan_stated=ground.stated,
        sure=wanted,
        zone=house.zone,
    )
