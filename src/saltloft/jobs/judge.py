"""How does a lot stand against every rule: its judgement now, or as it was known at a moment."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from saltloft.cases.judgement import ground_of, judge_lot
from saltloft.cases.open_house import OpenHouse
from saltloft.foundation.errors import UnknownName
from saltloft.plant.answers import LotJudgement


def judge(house: OpenHouse, lot: str, at: datetime | None = None, *, market: str = "") -> LotJudgement:
    """Every hazard and rule of one lot.

    Args:
        house: OpenHouse.
        lot: str.
        at: datetime or None. As it was known then; None: now.
        market: str. 'us', 'ca', 'eu' or 'home'; empty: every market of the house.

    Raises:
        UnknownName: no such lot.
    """
    return judge_lot(house, lot, at or house.now(), market=market)


def judge_many(house: OpenHouse, lots: Iterable[str], at: datetime | None = None) -> dict[str, LotJudgement]:
    """The judgements of several lots at one moment; a lot whose product is not known is left out.

    Args:
        house: OpenHouse.
        lots: iterable of str.
        at: datetime or None. None: now.
    """
    moment = at or house.now()
    ground = ground_of(house, moment)
    found = {}
    for lot in lots:
        try:
            found[lot] = judge_lot(house, lot, moment, ground=ground)
        except UnknownName:
            continue
    return found
