"""What a lot starts from: what earlier lots of its house taught, kept and gathered in time order."""

from __future__ import annotations

import hashlib
import zlib
from bisect import bisect_left
from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from dataclasses import asdict, dataclass, replace
from datetime import datetime, timedelta
from functools import cached_property
from typing import Any

import numpy as np

from saltloft.cases import house_record
from saltloft.cases.drying_parameters import drying_parameters
from saltloft.cases.house_record import Looked
from saltloft.cases.lot import SEED, LotCase, lot_case, off_racks_at
from saltloft.cases.open_house import OpenHouse, known_at
from saltloft.foundation.errors import SaltloftError
from saltloft.plant.lot_record import LotRecord, LotSummary
from saltloft.process.draws import draw
from saltloft.process.learning import COLUMNS, Likelihood, LotPrior, learn
from saltloft.process.learning.house import PastLot, pooled
from saltloft.process.learning.level import PastLine
from saltloft.process.learning.record import HouseRecord, PastForecast
from saltloft.process.learning.rival import past_line
from saltloft.process.learning.share import NOTHING, Experience, seen_of
from saltloft.process.packed import pack, unpack
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
        calibre_m: float. Of its pieces, nominal. [m]
        lines: tuple of PastLine. What the same lots' weighings say of straight lines.
        record: HouseRecord. What forecasts of those that are finished were worth.
    """

    version: str
    lots: tuple[PastLot, ...]
    product: str
    room: str
    calibre_m: float = 0.05
    lines: tuple[PastLine, ...] = ()
    record: HouseRecord = NOTHING

    @cached_property
    def prior(self) -> LotPrior | None:
        """What the lot starts from; None: the literature alone."""
        if not self.lots:
            return None
        return pooled(self.lots, self.product, self.room, version=self.version)

    @cached_property
    def experience(self) -> Experience:
        """What the house knows of straight lines and of its own forecasts."""
        return Experience(self.product, self.calibre_m, self.lines, self.record)


@dataclass(frozen=True)
class Taught:
    """What an earlier lot's readings say, as it is kept.

    Args:
        likelihood: Likelihood or None.
        line: PastLine or None.
        off: datetime or None. When the last of it left its room; None while it hangs.
    """

    likelihood: Likelihood | None = None
    line: PastLine | None = None
    off: datetime | None = None


def room_of(record: LotRecord) -> str:
    """The room a lot hung in last; empty when in none."""
    return record.rooms[-1].room if record.rooms else ""


@dataclass(frozen=True)
class _Asked:
    """One question to a house's past: by when, with which literature and model."""

    house: OpenHouse
    asof: datetime
    literature: str
    model: str

    def state(self, lot: LotSummary) -> str:
        """A lot's record as far as it counts."""
        return str(lot.last_seq) if known_at(self.house, self.asof) is None else self.asof.isoformat()

    def key(self, sort: str, lot: LotSummary, more: str = "") -> str:
        """Of what is kept of a lot."""
        named = f"{sort} {lot.lot} {self.state(lot)} {self.literature} {self.model} {more}"
        return hashlib.sha256(named.encode()).hexdigest()

    def kept(self, sort: str, lot: LotSummary, key: str, made: Callable[[], bytes]) -> bytes:
        """What is kept under a key, made and kept where nothing is."""
        kept = self.house.store.kept.get(key)
        if kept is not None:
            return kept.body
        body = made()
        self.house.store.kept.put(KeptResult(key, sort, lot.lot, self.house.now(), body))
        return body

    def taught(self, lot: LotSummary) -> Taught:
        """What a lot's own readings say, computed once for each state of its record."""
        key = self.key(SORT, lot)
        return taught_from(self.kept(SORT, lot, key, lambda: taught_bytes(_own(self.house, lot, self.asof))))


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
    asked = _Asked(house, case.asof, literature, model)
    record, room = case.record, room_of(case.record)
    shelf = Shelf.of(house.store.lots.summaries("dry_sausage"))
    earlier = shelf.before(record.lot, record.product, room, record.made_at)
    taught = [(other, asked.taught(other)) for other in earlier]
    known = [(other, one) for other, one in taught if one.likelihood is not None]
    calibre_m = float(case.product.calibre_mm) / 1000.0
    if not known:
        return HousePast(literature, (), record.product, room, calibre_m)
    keys = [asked.key(SORT, other) for other, _ in known]
    past: list[PastForecast] = []
    for place, (other, one) in enumerate(known):
        if _is_off(one, case.asof):
            key, found = _record(asked, shelf, other)
            past += found.past
            keys.append(key)
            if found.likelihood is not None:
                known[place] = other, replace(one, likelihood=found.likelihood)
    digest = hashlib.sha256("\n".join(keys).encode()).hexdigest()[:12]
    return HousePast(
        version=f"{literature} house/{len(known)} lots/{digest}",
        lots=tuple(_past_lot(other, one, record.made_at, room) for other, one in known),
        product=record.product,
        room=room,
        calibre_m=calibre_m,
        lines=tuple(one.line for _, one in known if one.line is not None),
        record=HouseRecord(tuple(past), digest),
    )


def make_ready(
    house: OpenHouse,
    records: Sequence[LotRecord],
    asof: datetime,
    *,
    literature: str,
    model: str,
    threads: int = 2,
) -> None:
    """Make what forecasts of many lots will ask of earlier ones, each once, side by side.

    Lots of a product ask the same earlier lots; two that are computed at the same moment
    would each make what the other is making.

    Args:
        house: OpenHouse.
        records: sequence of LotRecord. Lots about to be forecast.
        asof: datetime, aware. The moment of their cases.
        literature, model: str. As for `house_past`.
        threads: int.
    """
    asked = _Asked(house, asof, literature, model)
    shelf = Shelf.of(house.store.lots.summaries("dry_sausage"))
    earlier: dict[str, LotSummary] = {}
    for record in records:
        for other in shelf.before(record.lot, record.product, room_of(record), record.made_at):
            earlier[other.lot] = other
    with ThreadPoolExecutor(max_workers=threads) as pool:
        taught = dict(zip(earlier, pool.map(asked.taught, earlier.values()), strict=True))
        finished = [
            other
            for other in earlier.values()
            if taught[other.lot].likelihood is not None and _is_off(taught[other.lot], asof)
        ]
        rests_on = {one.lot: one for other in finished for one in _off_before(shelf, other)}
        list(pool.map(asked.taught, [one for lot, one in rests_on.items() if lot not in earlier]))
        list(pool.map(lambda other: _record_or_none(asked, shelf, other), finished))


def _record_or_none(asked: _Asked, shelf: Shelf, lot: LotSummary) -> None:
    """A past lot that cannot be asked again fails in the forecast that needs it, not here."""
    with suppress(SaltloftError):
        _record(asked, shelf, lot)


def _is_off(one: Taught, moment: datetime) -> bool:
    return one.off is not None and one.off <= moment


def _past_lot(other: LotSummary, one: Taught, made_at: datetime, room: str) -> PastLot:
    assert one.likelihood is not None
    age_d = (made_at - other.made_at).total_seconds() / DAY_S
    return PastLot(one.likelihood, other.product, other.room or room, age_d)


@dataclass(frozen=True)
class Shelf:
    """The hung lots of a house by product and by room, each in the order in which they were made.

    Args:
        by_product, by_room: mapping of str to list of LotSummary.
    """

    by_product: Mapping[str, list[LotSummary]]
    by_room: Mapping[str, list[LotSummary]]

    @staticmethod
    def of(summaries: Iterable[LotSummary]) -> Shelf:
        """Sorted once for all questions."""
        by_product: dict[str, list[LotSummary]] = {}
        by_room: dict[str, list[LotSummary]] = {}
        hung = [one for one in summaries if one.hung_at is not None]
        for one in sorted(hung, key=lambda one: (one.made_at, one.lot)):
            by_product.setdefault(one.product, []).append(one)
            if one.room:
                by_room.setdefault(one.room, []).append(one)
        return Shelf(by_product, by_room)

    def before(self, lot: str, product: str, room: str, made_at: datetime) -> list[LotSummary]:
        """The last lots made before one, of its product and of its room, oldest first."""

        def last(lots: Sequence[LotSummary], most: int, but: str = "") -> list[LotSummary]:
            count = bisect_left(lots, made_at, key=lambda one: one.made_at)
            found: list[LotSummary] = []
            for one in reversed(lots[:count]):
                if one.product != but and one.lot != lot:
                    found.append(one)
                    if len(found) == most:
                        break
            return found

        same = last(self.by_product.get(product, []), SAME_PRODUCT)
        beside = last(self.by_room.get(room, []), SAME_ROOM, product) if room else []
        return sorted([*same, *beside], key=lambda one: (one.made_at, one.lot))


def _record(asked: _Asked, shelf: Shelf, lot: LotSummary) -> tuple[str, Looked]:
    """Key of what is kept of a finished lot, and what is."""
    before = _off_before(shelf, lot)
    key = asked.key(house_record.SORT, lot, " ".join(f"{one.lot} {asked.state(one)}" for one in before))

    def made() -> bytes:
        taught = [(one, asked.taught(one)) for one in before]
        starts = {
            asked_d: _start(taught, lot, lot.made_at + timedelta(days=asked_d))
            for asked_d in house_record.ASKED_D
        }
        found = house_record.looked_back(asked.house, lot.lot, asked.asof, starts)
        again = likelihood_bytes(found.likelihood)
        return pack({"past": house_record.plain(found.past)}, {"again": np.frombuffer(again, np.uint8)})

    told, arrays = unpack(asked.kept(house_record.SORT, lot, key, made))
    past = tuple(PastForecast(**row) for row in told["past"])
    return key, Looked(past, likelihood_from(arrays["again"].tobytes()))


def _off_before(shelf: Shelf, lot: LotSummary) -> list[LotSummary]:
    """Lots of its product off the racks: what hangs is weighed on, and would change the key daily."""
    before = shelf.before(lot.lot, lot.product, "", lot.made_at)
    return [one for one in before if not one.room and one.product == lot.product]


def _start(
    taught: Sequence[tuple[LotSummary, Taught]], lot: LotSummary, moment: datetime
) -> tuple[LotPrior | None, tuple[PastLine, ...]]:
    """What a lot would have started from at a moment, given the lots that were off the racks by then."""
    then = [(other, one) for other, one in taught if _is_off(one, moment)]
    lots = [_past_lot(other, one, lot.made_at, "") for other, one in then if one.likelihood is not None]
    lines = tuple(one.line for _, one in then if one.line is not None)
    return (pooled(lots, lot.product) if lots else None), lines


def _own(house: OpenHouse, lot: LotSummary, asof: datetime) -> Taught:
    """From the literature's prior, whoever asks: the same bytes in any order of asking."""
    try:
        case = lot_case(house, lot.lot, asof)
        drying, parameters = case.drying, drying_parameters(house.facts)
        learned = learn(
            drying.piece,
            drying.programme,
            parameters,
            draw(SEED, lot.lot, 2, len(drying.programme.stages)),
            weighings=drying.weighings,
            measured=drying.measured,
            seed=SEED,
            lot=lot.lot,
            correct=False,
        )
        seen = seen_of(drying.weighings, parameters, learned.outlier_share if drying.weighings else None)
        line = None
        if len(seen.day):
            line = past_line(seen, lot.lot, lot.product, float(case.product.calibre_mm) / 1000.0)
        return Taught(learned.likelihood, line, off_racks_at(case.record))
    except SaltloftError:
        return Taught()  # a lot without a forecast of its own teaches nothing


def taught_bytes(taught: Taught) -> bytes:
    """What a lot taught, in the precision it is kept in."""
    told: dict[str, Any] = {"off": None if taught.off is None else taught.off.isoformat()}
    arrays = {"likelihood": np.frombuffer(likelihood_bytes(taught.likelihood), np.uint8)}
    if taught.line is not None:
        told["line"] = {key: value for key, value in asdict(taught.line).items() if key != "evidence"}
        arrays["evidence"] = taught.line.evidence.astype("<f4")
    return pack(told, arrays)


def taught_from(body: bytes) -> Taught:
    """What is behind `taught_bytes`."""
    told, arrays = unpack(body)
    line = None
    if "line" in told:
        line = PastLine(**told["line"], evidence=arrays["evidence"].astype(np.float64))
    off = None if told["off"] is None else datetime.fromisoformat(told["off"])
    return Taught(likelihood_from(arrays["likelihood"].tobytes()), line, off)


def likelihood_bytes(likelihood: Likelihood | None) -> bytes:
    """A likelihood in the precision it is kept in; empty for none."""
    if likelihood is None:
        return b""
    whole = np.column_stack([likelihood.precision, likelihood.vector]).ravel()
    air = np.zeros(0) if likelihood.air is None else likelihood.air
    return zlib.compress(np.concatenate([whole, air]).astype("<f4").tobytes(), 6)


def likelihood_from(body: bytes) -> Likelihood | None:
    """The likelihood behind `likelihood_bytes`."""
    if not body:
        return None
    numbers = np.frombuffer(zlib.decompress(body), "<f4").astype(np.float64)
    count = len(COLUMNS) * (len(COLUMNS) + 1)
    whole, air = numbers[:count].reshape(len(COLUMNS), len(COLUMNS) + 1), numbers[count:]
    symmetric = 0.5 * (whole[:, :-1] + whole[:, :-1].T)
    return Likelihood(symmetric, whole[:, -1].copy(), air if len(air) else None)
