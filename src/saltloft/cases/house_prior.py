"""What a lot starts from: likelihoods of earlier lots of its house, kept and gathered in time order."""

from __future__ import annotations

import hashlib
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from saltloft.cases.drying_parameters import drying_parameters
from saltloft.cases.lot import SEED, LotCase, lot_case
from saltloft.cases.open_house import OpenHouse, known_at
from saltloft.foundation.errors import SaltloftError
from saltloft.plant.lot_record import LotRecord, LotSummary
from saltloft.process.draws import draw
from saltloft.process.learning import COLUMNS, Likelihood, LotPrior, learn
from saltloft.process.learning.house import PastLot, pooled
from saltloft.store.kept import KeptResult

SORT = "likelihood"
# So many of the last lots of the same product, and of other products in the same room, are asked.
SAME_PRODUCT, SAME_ROOM = 12, 6
DAY_S = 86400.0


@dataclass(frozen=True)
class HousePast:
    """The earlier lots that a forecast rests on.

    Args:
        version: str. Names them in the forecast and in its key.
        lots: tuple of PastLot.
        product, room: str. Of the lot that is asked about.
    """

    version: str
    lots: tuple[PastLot, ...]
    product: str
    room: str

    def prior(self) -> LotPrior | None:
        """What the lot starts from; None: the literature alone."""
        if not self.lots:
            return None
        return pooled(self.lots, self.product, self.room, version=self.version)


def room_of(record: LotRecord) -> str:
    """The room a lot hung in last; empty when in none."""
    return record.rooms[-1].room if record.rooms else ""


def house_past(house: OpenHouse, case: LotCase, *, literature: str, model: str) -> HousePast:
    """Earlier lots of the same product or room, with what was recorded of them by the case's moment.

    Args:
        house: OpenHouse.
        case: LotCase.
        literature: str. Version of the literature's prior.
        model: str. Version of the model.

    Returns:
        HousePast; its version is the literature's where no earlier lot was weighed.
    """
    record, room = case.record, room_of(case.record)
    found: list[PastLot] = []
    keys: list[str] = []
    for other in _earlier(house.store.lots.summaries("dry_sausage"), record, room):
        known = known_at(house, case.asof)
        state = str(other.last_seq) if known is None else case.asof.isoformat()
        key = hashlib.sha256(f"{SORT} {other.lot} {state} {literature} {model}".encode()).hexdigest()
        likelihood = _likelihood(house, other.lot, case.asof, key)
        if likelihood is None:
            continue
        age_d = (record.made_at - other.made_at).total_seconds() / DAY_S
        found.append(PastLot(likelihood, other.product, other.room or room, age_d))
        keys.append(key)
    if not found:
        return HousePast(literature, (), record.product, room)
    digest = hashlib.sha256("\n".join(keys).encode()).hexdigest()[:12]
    return HousePast(f"{literature} house/{len(found)} lots/{digest}", tuple(found), record.product, room)


def _earlier(summaries: Sequence[LotSummary], record: LotRecord, room: str) -> list[LotSummary]:
    """The last lots made before this one, of its product and of its room, oldest first."""
    before = [one for one in summaries if one.made_at < record.made_at and one.hung_at is not None]
    before.sort(key=lambda one: (one.made_at, one.lot))
    same = [one for one in before if one.product == record.product][-SAME_PRODUCT:]
    beside = [one for one in before if one.product != record.product and room and one.room == room]
    return sorted([*same, *beside[-SAME_ROOM:]], key=lambda one: (one.made_at, one.lot))


def _likelihood(house: OpenHouse, lot: str, asof: datetime, key: str) -> Likelihood | None:
    """What a lot's own readings say, computed once for each state of its record; None without any."""
    kept = house.store.kept.get(key)
    if kept is None:
        body = likelihood_bytes(_own_likelihood(house, lot, asof))
        house.store.kept.put(KeptResult(key, SORT, lot, house.now(), body))
    else:
        body = kept.body
    return likelihood_from(body)


def _own_likelihood(house: OpenHouse, lot: str, asof: datetime) -> Likelihood | None:
    """From the literature's prior, whoever asks: the same bytes in any order of asking."""
    try:
        drying = lot_case(house, lot, asof).drying
        return learn(
            drying.piece,
            drying.programme,
            drying_parameters(house.facts),
            draw(SEED, lot, 2, len(drying.programme.stages)),
            weighings=drying.weighings,
            measured=drying.measured,
            seed=SEED,
            lot=lot,
            correct=False,
        ).likelihood
    except SaltloftError:
        return None  # a lot without a forecast of its own teaches nothing


def likelihood_bytes(likelihood: Likelihood | None) -> bytes:
    """A likelihood in the precision it is kept in; empty for none."""
    if likelihood is None:
        return b""
    whole = np.column_stack([likelihood.precision, likelihood.vector]).astype("<f4")
    return zlib.compress(whole.tobytes(), 6)


def likelihood_from(body: bytes) -> Likelihood | None:
    """The likelihood behind `likelihood_bytes`."""
    if not body:
        return None
    whole = np.frombuffer(zlib.decompress(body), "<f4").astype(np.float64)
    whole = whole.reshape(len(COLUMNS), len(COLUMNS) + 1)
    return Likelihood(0.5 * (whole[:, :-1] + whole[:, :-1].T), whole[:, -1].copy())
