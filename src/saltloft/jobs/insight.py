"""Why a lot's ready day moved, which weighing taught what, and what to weigh next.

Made by the worker after a forecast and kept beside it. Every number comes from the model: a
cause is told by running it again with that one thing changed, in the order of CAUSES.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from typing import NamedTuple

from saltloft.cases.dry import DryCase
from saltloft.cases.drying_parameters import drying_parameters
from saltloft.cases.house_prior import HousePast, house_past
from saltloft.cases.kept_insight import keep, kept_insight
from saltloft.cases.lot import LotCase, lot_case
from saltloft.cases.lot_samples import meter_error
from saltloft.cases.open_house import OpenHouse
from saltloft.foundation.errors import SaltloftError
from saltloft.plant.answers import LotOutlook
from saltloft.plant.insight import AirTaken, ForecastPoint, Insight, Move
from saltloft.plant.lot_record import LotRecord
from saltloft.process.ensemble import forecast
from saltloft.process.learning import Measured, Weighing
from saltloft.process.learning.advice import Teaching
from saltloft.process.learning.teaching import Ground, teaching
from saltloft.process.moved import mean_air, one_by_one
from saltloft.process.result import DryingForecast

__all__ = ["kept_insight", "update"]

# A lot without a course is given one: its ready day as it was known after each of so many last visits.
FIRST_POINTS = 4
MOST_POINTS = 120
# Each of so many last visits is a step of its own; those before are one together.
MOST_VISITS = 4


def update(house: OpenHouse, outlook: LotOutlook, now: datetime) -> Insight:
    """The insight that belongs to an outlook, kept; answered from what is kept when it is there.

    Args:
        house: OpenHouse.
        outlook: LotOutlook. The lot's last forecast.
        now: datetime, aware. The worker's clock.

    Raises:
        SaltloftError: a case that cannot be gathered.
    """
    kept = kept_insight(house, outlook.lot)
    if kept is not None and kept.key == outlook.key:
        return kept
    case = lot_case(house, outlook.lot, outlook.asof)
    start = house_past(house, case, literature=outlook.prior.split(" ")[0], model=outlook.model)
    points = kept.points if kept is not None else tuple(_first_points(house, case, outlook, start))
    # One point a day: a later forecast of the same day takes the place of the earlier.
    today = outlook.asof.astimezone(house.zone).date()
    before = [point for point in points if point.at.astimezone(house.zone).date() < today]
    found = Insight(
        lot=outlook.lot,
        key=outlook.key,
        points=(*before, _point(outlook))[-MOST_POINTS:],
        moves=_moves(house, before[-1], case, outlook, start) if before else (),
        teaching=_teaching(house, case, outlook, start),
        half_d=_half(outlook),
    )
    keep(house, found, now)
    return found


def _point(outlook: LotOutlook) -> ForecastPoint:
    band = outlook.result.targets[outlook.target_name].mean
    return ForecastPoint(outlook.asof, band.p05, band.p50, band.p95, outlook.model, outlook.prior)


def _half(outlook: LotOutlook) -> float | None:
    band = outlook.result.targets[outlook.target_name].mean
    return None if band.p05 is None or band.p95 is None else 0.5 * (band.p95 - band.p05)


def _run(house: OpenHouse, case: LotCase, drying: DryCase, start: HousePast) -> DryingForecast:
    """The model once more, for the first target alone, from what the house's other lots say today."""
    name, level = next(iter(drying.targets.items()))
    return forecast(
        drying.piece,
        drying.programme,
        drying_parameters(house.facts),
        targets={name: level},
        weighings=drying.weighings,
        measured=drying.measured,
        prior=start.prior,
        experience=start.experience,
        members=drying.members,
        seed=drying.seed,
        lot=case.record.lot,
    )


def _middle(house: OpenHouse, case: LotCase, drying: DryCase, start: HousePast) -> float | None:
    (found,) = _run(house, case, drying, start).targets.values()
    return found.mean.p50


def _first_points(
    house: OpenHouse, case: LotCase, outlook: LotOutlook, start: HousePast
) -> Iterator[ForecastPoint]:
    """The ready day as known when the lot was hung and after its last visits."""
    record = case.record
    assert record.hung_at is not None
    heard = {item.recorded_at.astimezone(house.zone).date(): item.recorded_at for item in record.weighings}
    moments = [record.hung_at + timedelta(hours=1), *sorted(heard.values())[-FIRST_POINTS:]]
    days = set()
    for moment in sorted(moments):
        day = moment.astimezone(house.zone).date()
        if day in days or day >= outlook.asof.astimezone(house.zone).date():
            continue
        try:
            then = _replayed(house, record, moment)
            (target,) = _run(house, then, then.drying, start).targets.values()
        except SaltloftError:
            continue
        days.add(day)
        band = target.mean
        yield ForecastPoint(moment, band.p05, band.p50, band.p95, outlook.model, outlook.prior, replayed=True)


def _replayed(house: OpenHouse, record: LotRecord, moment: datetime) -> LotCase:
    """The case as it was, as far as it is known today: logs are often brought in days later."""
    age_d = (moment - record.made_at).total_seconds() / 86400.0
    return lot_case(house, record.lot, moment, weighed_until_d=age_d, as_recorded=False)


class _Read(NamedTuple):
    """Readings of a lot, each with the name under which it is the same reading in two cases."""

    weighed: tuple[tuple[str, Weighing], ...]
    measured: tuple[tuple[str, Measured], ...]

    def among(self, names: set[str]) -> _Read:
        """Only those of these names."""
        return _Read(
            tuple(pair for pair in self.weighed if pair[0] in names),
            tuple(pair for pair in self.measured if pair[0] in names),
        )

    @property
    def names(self) -> set[str]:
        """All names."""
        return {name for name, _ in (*self.weighed, *self.measured)}

    def into(self, drying: DryCase) -> DryCase:
        """A case with these readings."""
        weighings, measured = tuple(one for _, one in self.weighed), tuple(one for _, one in self.measured)
        return replace(drying, weighings=weighings, measured=measured)


def _readings(case: LotCase) -> _Read:
    weighed = zip((reading.entries[0] for reading in case.weighed), case.drying.weighings, strict=True)
    named = ((f"{one.quantity} {one.day:.5f} {one.tag}", one) for one in case.drying.measured)
    return _Read(tuple(weighed), tuple(named))


def _moves(
    house: OpenHouse, before: ForecastPoint, case: LotCase, outlook: LotOutlook, start: HousePast
) -> tuple[Move, ...]:
    """What moved the ready day since an earlier forecast, one change after another."""
    try:
        if before.replayed:
            then = _replayed(house, case.record, before.at)
        else:
            then = lot_case(house, case.record.lot, before.at)
    except SaltloftError:
        return ()
    causes, drying = [], then.drying
    steps: list[Callable[[], float | None]] = []

    def step(cause: Move, changed: DryCase) -> DryCase:
        causes.append(cause)
        steps.append(lambda: _middle(house, case, changed, start))
        return changed

    # The very case of before, run today: the same model can only differ by what other lots taught since.
    step(Move("house" if before.model == outlook.model else "model", 0.0), drying)
    now, known = _readings(case), _readings(then)
    corrected = now.among(known.names)
    if corrected != known:
        drying = step(Move("corrected", 0.0), corrected.into(drying))
    if (case.drying.piece, case.drying.targets) != (drying.piece, drying.targets):
        changed = replace(drying, piece=case.drying.piece, targets=case.drying.targets)
        drying = step(Move("piece", 0.0), changed)
    drying = step(Move("air", 0.0, air=_air(then, case)), replace(drying, programme=case.drying.programme))
    for move, names in _visits(now, known.names):
        drying = step(move, now.among(names).into(drying))
    moved = one_by_one(before.middle_d, steps)
    found = [replace(cause, days=days) for cause, days in zip(causes, moved, strict=True)]
    # Nothing of the model changed: nothing is said of it.
    return tuple(move for move in found if move.days is None or abs(move.days) >= 0.005 or move.pieces)


def _air(then: LotCase, case: LotCase) -> AirTaken | None:
    """The air between the two forecasts, as read and as it had been taken."""
    start = then.drying.programme.start_d
    trace = case.drying.programme.trace
    if trace is None or trace.end_d <= start + 0.02:
        return None
    read = mean_air(case.drying.programme, start, trace.end_d)
    taken = mean_air(then.drying.programme, start + 1e-6, trace.end_d)
    return AirTaken(
        read.relative_humidity,
        taken.relative_humidity,
        read.temperature_c,
        taken.temperature_c,
        first=then.drying.programme.trace is None,
    )


def _visits(now: _Read, known: set[str]) -> Iterator[tuple[Move, set[str]]]:
    """New readings visit by visit, in time order: what is said of each, and all names known by then."""
    new: list[tuple[float, str, str, int]] = [
        *((one.day, "weighed", name, one.pieces) for name, one in now.weighed if name not in known),
        *((one.day, one.quantity, name, one.pieces) for name, one in now.measured if name not in known),
    ]
    groups: list[list[tuple[float, str, str, int]]] = []
    for reading in sorted(new):
        if groups and reading[1] == groups[-1][0][1] and reading[0] - groups[-1][0][0] <= 0.25:
            groups[-1].append(reading)
        else:
            groups.append([reading])
    early = [reading for group in groups[:-MOST_VISITS] for reading in group]
    names = set(known)
    for group in ([early] if early else []) + groups[-MOST_VISITS:]:
        names = names | {name for _, _, name, _ in group}
        yield _visit(group), names


def _visit(group: Sequence[tuple[float, str, str, int]]) -> Move:
    day, sort, _, _ = group[-1]
    pieces = sum(count for _, _, _, count in group)
    if sort == "weighed":
        return Move("weighed", 0.0, day=day, pieces=pieces)
    return Move("sampled", 0.0, day=day, pieces=pieces, what=sort)


def _teaching(house: OpenHouse, case: LotCase, outlook: LotOutlook, start: HousePast) -> Teaching | None:
    """What taught what; None where the target is not reached by half of the cases."""
    drying, result = case.drying, outlook.result
    ready_d = result.targets[outlook.target_name].mean.p50
    if ready_d is None or not outlook.hanging:
        return None
    ground = Ground(
        piece=drying.piece,
        programme=drying.programme,
        parameters=drying_parameters(house.facts),
        target=outlook.target_name,
        ready_d=ready_d,
        today_d=outlook.age_d,
        weighings=drying.weighings,
        measured=drying.measured,
        linear=result.linear,
        prior=start.prior,
        tags=_tags(case.record),
        meter_sd=meter_error(house.facts),
        of_loss=_creeps(outlook),
    )
    return teaching(ground)


def _creeps(outlook: LotOutlook) -> bool:
    """Whether the late end is open or far off: then a straight line in days says nothing."""
    band = outlook.result.targets[outlook.target_name].mean
    return band.p50 is None or band.p95 is None or band.p95 > 2.5 * band.p50


def _tags(record: LotRecord) -> tuple[str, ...]:
    """Pieces whose green weight was taken; those weighed since first."""
    green = [item.payload.tag for item in record.weighings if item.payload.green and item.payload.tag]
    since = {item.payload.tag for item in record.weighings if not item.payload.green}
    return tuple(sorted(dict.fromkeys(green), key=lambda tag: tag not in since))
