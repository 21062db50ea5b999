"""Signing a lot out: a permit when nothing stands in the way, else a refusal that names everything open."""

from __future__ import annotations

from datetime import datetime

from saltloft.cases.judgement import judge_lot
from saltloft.cases.open_house import OpenHouse
from saltloft.foundation.errors import InputError
from saltloft.plant.answer_json import judgement_digest
from saltloft.plant.answers import LotJudgement
from saltloft.plant.checks.release import Signer, refuse_unless_releasable
from saltloft.plant.lots import LotReleased
from saltloft.plant.permit import ReleasePermit

MARKETS = ("us", "ca", "eu", "home")


def permit(
    house: OpenHouse, lot: str, market: str, person: str, at: datetime | None = None
) -> tuple[LotReleased, ReleasePermit, LotJudgement]:
    """Ask every hazard of a lot, and hand out what signing it needs.

    The caller has verified the person's PIN and enters the LotReleased with the permit
    through `jobs.record`; anything stated about the lot in between refuses it there.

    Args:
        house: OpenHouse.
        lot: str.
        market: str. One of MARKETS.
        person: str. Who signs.
        at: datetime or None. None: now; another moment is for the invented house's past.

    Returns:
        The payload to enter, the permit beside it, and the judgement that was shown.

    Raises:
        UnknownName: no such lot or person.
        InputError: no such market, or a moment that a real house may not sign at.
        RuleBroken: naming every hazard, hold and instrument that is open, or the missing right.
    """
    if market not in MARKETS:
        raise InputError("no such market", got=market, allowed=", ".join(MARKETS), key="market")
    moment = at or house.now()
    if at is not None and not house.demo:
        raise InputError("a lot is signed out now, at no other moment", got=at.isoformat(), key="at")
    record = house.store.lots.get(lot, moment)
    judgement = judge_lot(house, lot, moment, market=market)
    role = house.store.people.get(person).role
    refuse_unless_releasable(judgement, Signer(person, role))
    digest = judgement_digest(judgement)
    released = LotReleased(lot, market, digest)
    return released, ReleasePermit(lot, market, digest, person, moment, record.last_seq), judgement
