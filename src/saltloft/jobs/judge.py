"""How does a lot stand against every rule: its judgement now, or as it was known at a moment."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

from saltloft.cases.deviation import read_deviation
from saltloft.cases.judgement import ground_of, judge_lot
from saltloft.cases.open_house import OpenHouse
from saltloft.cases.rules import degree_hours_rules
from saltloft.facts.loader import load_facts
from saltloft.foundation.errors import UnknownName
from saltloft.foundation.words import say
from saltloft.plant.answers import LotJudgement
from saltloft.plant.checks.degree_hours import judge_degree_hours
from saltloft.plant.checks.hazards import stand_of
from saltloft.plant.checks.release import judge_release
from saltloft.plant.lots import MARKETS
from saltloft.plant.recipes import Hazard


def judge(house: OpenHouse, lot: str, at: datetime | None = None, *, market: str = "") -> LotJudgement:
    """Every hazard and rule of one lot.

    Args:
        house: OpenHouse.
        lot: str.
        at: datetime or None. As it was known then; None: now.
        market: str. 'us', 'ca', 'eu' or 'home'; empty: every market of the house.

    Raises:
        UnknownName: no such lot or market.
    """
    if market and market not in MARKETS:
        raise UnknownName(say("market"), market, MARKETS, key="market")
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


def judge_file(path: Path) -> LotJudgement:
    """Hold a logger file and pH readings against the degree-hours rules, without a house.

    Args:
        path: Path. A deviation case, see `cases.deviation`.

    Returns:
        LotJudgement. Never releasable: a file is no lot.

    Raises:
        InputError, UnknownName: the case or a logger file cannot be read.
    """
    case, facts = read_deviation(path), load_facts()
    # Without a house only the source of a row can confirm it.
    confirmed = frozenset(key for key in facts.keys("degree_hours") if facts.confirmed_by_source(key))
    verdicts = [
        judge_degree_hours(
            rule,
            case.first,
            case.sets,
            start_s=case.start_s,
            at_s=case.at_s,
            plan=case.plan,
            second=case.second,
            confirmed=confirmed,
        )
        for rule in degree_hours_rules(facts, case.markets)
    ]
    stand = stand_of(Hazard("staphylococcus_aureus"), verdicts, ())
    at = datetime.fromtimestamp(case.at_s, UTC)
    judged = judge_release(case.title, at, [stand])
    why = say("judged from a file: no lot, no plan, nothing to sign out")
    return replace(judged, releasable=False, open=(*judged.open, why))
