"""When will a lot be ready: its forecast from records and room air, computed once and kept."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import datetime
from typing import Any

from saltloft import __version__
from saltloft.cases.drying_parameters import drying_parameters, kill_models
from saltloft.cases.house_prior import HousePast, house_past, make_ready
from saltloft.cases.kept_outlook import SORT, from_bytes, to_bytes
from saltloft.cases.lot import LotCase, air_record, key_of, lot_case, plan_of
from saltloft.cases.lot_ahead import ahead_flag
from saltloft.cases.lot_weighings import measured_points
from saltloft.cases.open_house import OpenHouse, known_at
from saltloft.foundation.errors import SaltloftError
from saltloft.foundation.words import say
from saltloft.plant.answers import AirRecord, LotOutlook
from saltloft.process.ensemble import forecast as dry_forecast
from saltloft.process.kept_learned import Kept
from saltloft.process.result import Flag
from saltloft.store.kept import KeptResult

# Raised when a change of the model or of how a lot's case is gathered may change a kept forecast.
MODEL = f"drying/2 saltloft {__version__}"
# Half hours of ninety days are more than a chart shows; three hours' extremes are kept.
AIR_BUCKET = 6


def prior_version(house: OpenHouse) -> str:
    """Name of the prior and a digest of the fact rows it is made of."""
    keys = drying_parameters(house.facts).facts
    rows = "".join(f"{key}={house.facts.digest(key)}\n" for key in sorted(keys))
    return f"literature/{hashlib.sha256(rows.encode()).hexdigest()[:12]}"


def forecast(
    house: OpenHouse, lot: str, asof: datetime | None = None, *, weighed_until_d: float | None = None
) -> LotOutlook:
    """The forecast of one lot: the kept one when nothing it rests on changed, else a new one, kept.

    Args:
        house: OpenHouse.
        lot: str.
        asof: datetime or None. Only what was recorded by then counts; None: now.
        weighed_until_d: float or None. Hold back every later weighing. [d]

    Raises:
        UnknownName, InputError: no such lot, or one without a forecast in this version.
        NumericsError: a member that cannot be followed.
    """
    case = lot_case(house, lot, asof or house.now(), weighed_until_d=weighed_until_d)
    past = house_past(house, case, literature=prior_version(house), model=MODEL)
    key = key_of(case, _seals(house, case), prior=past.version, model=MODEL)
    kept = house.store.kept.get(key)
    if kept is not None:
        return from_bytes(kept.body)
    outlook = compute(house, case, key=key, prior=past.version, past=past)
    body = to_bytes(outlook)
    house.store.kept.put(KeptResult(key, SORT, lot, house.now(), body))
    # What is answered is what is kept, to the last figure.
    return from_bytes(body)


def _seals(house: OpenHouse, case: LotCase) -> dict[str, str]:
    return {batch: house.store.readings.get(batch).sealed.payload.digest for batch in case.air.batches}


def compute(
    house: OpenHouse, case: LotCase, *, key: str, prior: str, past: HousePast | None = None
) -> LotOutlook:
    """Run the model on one gathered case.

    Args:
        house: OpenHouse. For the fact rows.
        case: LotCase.
        key: str. From `key_of`.
        prior: str. Version of what it starts from: the literature and the house's earlier lots.
        past: HousePast or None. The earlier lots of the house; None: the literature alone.
    """
    drying = case.drying
    result = dry_forecast(
        drying.piece,
        drying.programme,
        drying_parameters(house.facts),
        targets=drying.targets,
        weighings=drying.weighings,
        measured=drying.measured,
        prior=past.prior if past else None,
        experience=past.experience if past else None,
        members=drying.members,
        seed=drying.seed,
        lot=case.record.lot,
        kill=kill_models(house.facts),
        kept=_kept(house, case.record.lot),
        keep=lambda left: _keep(house, case.record.lot, left),
    )
    name, value = next(iter(drying.targets.items()))
    assert case.record.hung_at is not None
    return LotOutlook(
        lot=case.record.lot,
        product=case.product.product,
        title=case.product.title,
        asof=case.asof,
        zone=str(house.zone),
        stuffed_at=case.record.made_at,
        hung_at=case.record.hung_at,
        target_name=name,
        target_value=value,
        weighings=measured_points(case.readings),
        air=_thinned(air_record(case)),
        result=replace(result, flags=(*result.flags, *_air_flags(case))),
        used_entries=case.used_entries,
        prior=prior,
        model=MODEL,
        key=key,
        promise=case.promise,
        hanging=case.record.hanging,
    )


def _keep(house: OpenHouse, lot: str, left: Kept) -> None:
    house.store.member_states.put(lot, left.to_bytes())


def _kept(house: OpenHouse, lot: str) -> Kept | None:
    """What the lot's last forecast left; whether it still fits is asked where it would be used."""
    body = house.store.member_states.get(lot)
    return None if body is None else Kept.from_bytes(body)


def _air_flags(case: LotCase) -> list[Flag]:
    """Says how much of the air was read, what stands in for the rest, and what the air ahead is."""
    trace = case.drying.programme.trace
    taken = ahead_flag(plan_of(case.product, 0.0), trace, case.told) if case.record.hanging else None
    told = [] if taken is None else [taken]
    share = case.air.measured_share
    if not case.air.holes:
        return told
    hours = sum(hole.end_s - hole.start_s for hole in case.air.holes) / 3600.0
    words = say(
        "{hours} h of the room's air have no reading and are taken as set.",
        hours=round(hours) if hours >= 2.0 else f"{hours:.1f}",
    )
    return [Flag("air_not_read", None, 1.0 - share, words), *told]


def _thinned(air: AirRecord) -> AirRecord:
    """Every stretch of three hours by its driest and its wettest half hour, in time order."""
    count = len(air.time_d)
    keep: set[int] = {0, count - 1} if count else set()
    for start in range(0, count, AIR_BUCKET):
        bucket = range(start, min(start + AIR_BUCKET, count))
        for values in (air.rh_pct, air.temperature_c):
            keep.add(min(bucket, key=values.__getitem__))
            keep.add(max(bucket, key=values.__getitem__))
    order = sorted(keep)
    return replace(
        air,
        time_d=tuple(air.time_d[i] for i in order),
        temperature_c=tuple(air.temperature_c[i] for i in order),
        rh_pct=tuple(air.rh_pct[i] for i in order),
    )


def kept_outlook(house: OpenHouse, lot: str) -> LotOutlook | None:
    """The last forecast kept for a lot, whatever it rested on; None when there is none."""
    kept = house.store.kept.latest(SORT, lot)
    return None if kept is None else from_bytes(kept.body)


def morning(
    house: OpenHouse,
    asof: datetime | None = None,
    *,
    threads: int = 2,
    tell: Callable[[str, int, int], None] | None = None,
) -> dict[str, LotOutlook]:
    """Forecast every hanging lot of dry sausage, each from its kept result where nothing changed.

    Args:
        house: OpenHouse.
        asof: datetime or None. None: now.
        threads: int. Lots computed side by side.
        tell: function of (lot, done, of) or None. Called as each lot is ready.

    Returns:
        Mapping of lot to LotOutlook. A lot that cannot be computed is left out; `refused`
        tells why for one lot.
    """
    moment = asof or house.now()
    records = [
        record
        for record in house.store.lots.hanging(known_at(house, moment))
        if record.family == "dry_sausage"
    ]
    lots = [record.lot for record in records]
    house.store.member_states.keep_only(lots)
    make_ready(house, records, moment, literature=prior_version(house), model=MODEL, threads=threads)
    found: dict[str, LotOutlook] = {}

    def one(lot: str) -> LotOutlook | None:
        try:
            return forecast(house, lot, moment)
        except SaltloftError:
            return None

    with ThreadPoolExecutor(max_workers=threads) as pool:
        for number, (lot, outlook) in enumerate(zip(lots, pool.map(one, lots), strict=True), start=1):
            if outlook is not None:
                found[lot] = outlook
            if tell is not None:
                tell(lot, number, len(lots))
    return found


def catch_up(house: OpenHouse, most: int) -> tuple[str, ...]:
    """Forecast lots that were cut and came down without one, newest first: the hand learns from them.

    Args:
        house: OpenHouse.
        most: int. At most so many are tried.

    Returns:
        tuple of str. Those that have one now.
    """
    hanging = {record.lot for record in house.store.lots.hanging(None)}
    newest = {item.payload.lot: item.at for item in house.store.cuts.all(None)}
    past = [
        lot
        for lot in sorted(newest, key=lambda lot: (newest[lot], lot), reverse=True)
        if lot not in hanging and house.store.kept.latest(SORT, lot) is None
    ]
    found = []
    for lot in past[:most]:
        try:
            forecast(house, lot)
        except SaltloftError:
            continue
        found.append(lot)
    return tuple(found)


def refused(house: OpenHouse, lot: str, asof: datetime | None = None) -> str:
    """Why a lot has no forecast, in words; empty when it has one."""
    try:
        forecast(house, lot, asof)
    except SaltloftError as error:
        return error.message
    return ""


def forecast_fields(outlook: LotOutlook) -> Mapping[str, Any]:
    """What `forecast --json` says beyond the answer of `dry`."""
    return {
        "schema": "forecast/1",
        "lot": outlook.lot,
        "asof": outlook.asof.isoformat(),
        "used_entries": list(outlook.used_entries),
        "prior": outlook.prior,
        "model": outlook.model,
    }
