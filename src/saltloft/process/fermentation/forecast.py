"""The forecast of a fermentation: pH at core and rim, time to 5.3, degree-hours, organisms."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from saltloft.foundation.bands import Band
from saltloft.foundation.errors import InputError
from saltloft.process.fermentation.learning import Learned, PhReading, learn, teaching
from saltloft.process.fermentation.members import (
    SLOTS,
    Batch,
    FermentationParameters,
    Place,
    draws,
    members_of,
    rooms_of,
)
from saltloft.process.fermentation.model import CORE, RIM, Course, Members, run, time_grid
from saltloft.process.fermentation.organisms import Competition, Organism, OrganismAnswer, answers
from saltloft.science.statistics import weighted_quantile

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Room:
    """The room of a lot: planned stages, or its log with a plan after it.

    Args:
        places: tuple of Place. Used where the log has nothing.
        log_h: array (readings,) or None. Rising, from stuffing. [h]
        log_c: array (readings,) or None. [degC]
    """

    places: tuple[Place, ...]
    log_h: FloatArray | None = None
    log_c: FloatArray | None = None

    def at(self, z: FloatArray, time_h: FloatArray) -> FloatArray:
        """Room temperature over the step that ends at each time, array (times, members). [degC]"""
        planned = rooms_of(z, self.places, time_h)
        if self.log_h is None or self.log_c is None or not self.log_h.size:
            return planned
        middle = np.concatenate(([0.0], 0.5 * (time_h[1:] + time_h[:-1])))
        logged = np.interp(middle, self.log_h, self.log_c)
        return np.where((middle <= self.log_h[-1])[:, None], logged[:, None], planned)


@dataclass(frozen=True)
class WetPath:
    """Water activity of core and rim over time; straight between the points.

    Args:
        time_h: array (points,). [h]
        core, rim: arrays (points,), 0..1. [1]
    """

    time_h: FloatArray
    core: FloatArray
    rim: FloatArray

    def at(self, time_h: FloatArray) -> FloatArray:
        """Array (times, 2), core then rim, 0..1. [1]"""
        return np.stack([np.interp(time_h, self.time_h, values) for values in (self.core, self.rim)], axis=1)


@dataclass(frozen=True)
class PhBand:
    """Quantiles of the pH of a piece at random, arrays (times,). [pH]"""

    p05: FloatArray
    p50: FloatArray
    p95: FloatArray


@dataclass(frozen=True)
class HeatBase:
    """How one market counts degree-hours.

    Args:
        market: str. 'us' or 'ca'.
        base_c: float. Only what lies above counts. [degC]
        per_kelvin: float. Its degrees in one kelvin: 1.8 for Fahrenheit, else 1. [1]
    """

    market: str
    base_c: float
    per_kelvin: float


@dataclass(frozen=True)
class Fermentation:
    """One question: what ferments, where, and by which constants.

    Args:
        batch: Batch.
        room: Room.
        wet: WetPath.
        parameters: FermentationParameters.
        organisms: tuple of Organism.
        competition: Competition.
        end_ph: float. pH at which degree-hours end. [pH]
        heat: tuple of HeatBase.
    """

    batch: Batch
    room: Room
    wet: WetPath
    parameters: FermentationParameters
    organisms: tuple[Organism, ...]
    competition: Competition
    end_ph: float
    heat: tuple[HeatBase, ...]


@dataclass(frozen=True)
class HeatForecast:
    """Degree-hours each member would use until its core is at the end pH, or to the last hour.

    Args:
        used: mapping of market to array (members,). [F.h or C.h]
        highest_c: array (members,). Highest room temperature until then. [degC]
        reached: array of bool (members,).
        weights: array (members,). [1]
    """

    used: Mapping[str, FloatArray]
    highest_c: FloatArray
    reached: NDArray[np.bool_]
    weights: FloatArray


@dataclass(frozen=True)
class FermentationForecast:
    """What a fermentation is expected to do. It never yields an outcome of a rule.

    Args:
        time_h: array (times,). Hours from stuffing. [h]
        core, rim: PhBand.
        core_c: array (times,). Median core temperature. [degC]
        time_to_end_ph_h: Band. When core pH is at 5.3; None beyond the stages. [h]
        share_reached: float, 0..1. Members that reach 5.3 within the stages.
        final_ph: Band. Core, at the end of the stages. [pH]
        heat: HeatForecast.
        organisms: mapping of name to OrganismAnswer.
        readings_used, readings_left_out: int. Readings that taught, and those that did not.
        share_effective: float, 0..1. Effective share of members after learning.
        stalled_share: float, 0..1. Members whose core dries below the starter's limit before 5.3.
        facts: tuple of str. Fact keys.
        members: int.
        seed: int.
    """

    time_h: FloatArray
    core: PhBand
    rim: PhBand
    core_c: FloatArray
    time_to_end_ph_h: Band
    share_reached: float
    final_ph: Band
    heat: HeatForecast
    organisms: Mapping[str, OrganismAnswer]
    readings_used: int
    readings_left_out: int
    share_effective: float
    stalled_share: float
    facts: tuple[str, ...]
    members: int
    seed: int


def output_hours(end_h: float) -> FloatArray:
    """Hours of the answer: each hour for a week, then every sixth, then the end.

    Args:
        end_h: float. [h]
    """
    parts = (np.arange(0.0, min(end_h, 168.0), 1.0), np.arange(168.0, end_h, 6.0), [end_h])
    return np.unique(np.concatenate(parts))


def forecast(
    question: Fermentation,
    *,
    readings: Sequence[PhReading] = (),
    end_h: float | None = None,
    members: int = 400,
    seed: int = 1,
    lot: str = "case",
) -> FermentationForecast:
    """How pH falls, with its doubt, learning from what was read.

    Args:
        question: Fermentation.
        readings: sequence of PhReading. Core and rim teach; mince, offcuts and strips do not.
        end_h: float or None. Last hour; None: the longest end of the stages. [h]
        members: int, 2..20000.
        seed: int, 0 or more.
        lot: str. Name that keys the draws.

    Returns:
        FermentationForecast.

    Raises:
        InputError: members that cannot be, or no stage.
    """
    places = question.room.places
    if not 2 <= members <= 20_000 or not places:
        raise InputError(
            "the fermentation cannot be computed",
            got=f"{members} members, {len(places)} stages",
            allowed="2 to 20000 members, one stage or more",
        )
    last_h = end_h if end_h is not None else sum(place.duration_h.high for place in places)
    prior = draws(seed, lot, members, len(places))
    taught = tuple(one for one in teaching(readings) if one.hour <= last_h)
    learned = _learned(question, prior, taught, seed=seed, lot=lot)
    computed = _computed(question, learned.z, time_grid(last_h))
    return _answer(question, computed, learned, (len(taught), len(readings) - len(taught)), seed)


@dataclass(frozen=True)
class _Computed:
    """One run of all members."""

    members: Members
    room_c: FloatArray
    course: Course


def _computed(question: Fermentation, z: FloatArray, time_h: FloatArray) -> _Computed:
    own = members_of(z, question.batch, question.parameters)
    room_c = question.room.at(z, time_h)
    course = run(own, question.parameters.model, time_h, room_c, question.wet.at(time_h))
    return _Computed(own, room_c, course)


def _learned(
    question: Fermentation, prior: FloatArray, taught: tuple[PhReading, ...], *, seed: int, lot: str
) -> Learned:
    """The draws after every reading; only the time up to the last one is recomputed."""
    hours = np.array([one.hour for one in taught])
    time_h = time_grid(max(float(hours.max()), 0.25)) if taught else np.zeros(1)
    places = [CORE if one.where == "core" else RIM for one in taught]

    def expect(z: FloatArray) -> FloatArray:
        ph = _computed(question, z, time_h).course.ph
        pairs = zip(places, hours, strict=True)
        return np.array([_between(time_h, ph[:, place], hour) for place, hour in pairs])

    return learn(prior, taught, expect, question.parameters, seed=seed, lot=lot)


def _between(time_h: FloatArray, values: FloatArray, hour: float) -> FloatArray:
    """Values (times, members) at one hour, straight between the steps."""
    right = int(np.clip(np.searchsorted(time_h, hour), 1, time_h.size - 1))
    share = (hour - time_h[right - 1]) / (time_h[right] - time_h[right - 1])
    return np.asarray(values[right - 1] * (1.0 - share) + values[right] * share)


def first_hour(time_h: FloatArray, ph: FloatArray, level: float) -> FloatArray:
    """First hour at which pH is at or under a level.

    Args:
        time_h: array (times,). [h]
        ph: array (times, members). [pH]
        level: float. [pH]

    Returns:
        Array (members,); infinity when never. [h]
    """
    under = ph <= level
    reached = under.any(axis=0)
    index = np.where(reached, under.argmax(axis=0), 0)
    before = np.maximum(index - 1, 0)
    columns = np.arange(ph.shape[1])
    high, low = ph[before, columns], ph[index, columns]
    fall = np.where(high > low, high - low, 1.0)
    share = np.clip(np.where(high > low, (high - level) / fall, 1.0), 0.0, 1.0)
    hour = time_h[before] + share * (time_h[index] - time_h[before])
    return np.where(reached, np.where(index == 0, time_h[0], hour), np.inf)


def _answer(
    question: Fermentation, computed: _Computed, learned: Learned, counts: tuple[int, int], seed: int
) -> FermentationForecast:
    weights, course, parameters = learned.weights, computed.course, question.parameters
    ph = course.ph + parameters.piece_ph_sd * learned.z[:, SLOTS.index("piece_ph")]
    shown_h = output_hours(float(course.time_h[-1]))
    reached_h = first_hour(course.time_h, ph[:, CORE], question.end_ph)
    moist = question.wet.at(course.time_h)
    dry_h = first_hour(course.time_h, moist[:, CORE, None], parameters.model.starter.water_activity_root)
    core_c = weighted_quantile(course.temperature_c[:, CORE], weights, 0.5)
    return FermentationForecast(
        time_h=shown_h,
        core=_band(course.time_h, ph[:, CORE], weights, shown_h),
        rim=_band(course.time_h, ph[:, RIM], weights, shown_h),
        core_c=np.interp(shown_h, course.time_h, core_c),
        time_to_end_ph_h=_hours(reached_h, weights),
        share_reached=float(weights[np.isfinite(reached_h)].sum()),
        final_ph=Band(*(float(end) for end in weighted_quantile(ph[-1, CORE], weights, [0.05, 0.5, 0.95]))),
        heat=_heat(question.heat, course.time_h, computed.room_c, reached_h, weights),
        organisms=answers(
            question.organisms,
            course,
            computed.members,
            parameters.model,
            question.competition,
            water_activity=moist[:, :, None],
            z_rate=learned.z[:, SLOTS.index("organism_rate")],
            weights=weights,
        ),
        readings_used=counts[0],
        readings_left_out=counts[1],
        share_effective=learned.share_effective,
        stalled_share=float(weights[(reached_h > dry_h) & np.isfinite(dry_h)].sum()),
        facts=parameters.facts,
        members=len(learned.z),
        seed=seed,
    )


def _band(time_h: FloatArray, ph: FloatArray, weights: FloatArray, shown_h: FloatArray) -> PhBand:
    ends = weighted_quantile(ph, weights, [0.05, 0.5, 0.95])
    return PhBand(*(np.interp(shown_h, time_h, end) for end in ends))


def _hours(hours: FloatArray, weights: FloatArray) -> Band:
    """Quantiles of hours of which some are 'never'; those quantiles are None."""
    ends = [float(end) for end in weighted_quantile(hours, weights, [0.05, 0.5, 0.95])]
    return Band(*(end if np.isfinite(end) else None for end in ends))


def _heat(
    bases: tuple[HeatBase, ...],
    time_h: FloatArray,
    room_c: FloatArray,
    reached_h: FloatArray,
    weights: FloatArray,
) -> HeatForecast:
    """Each member's degree-hours by its own room until its own core is acid."""
    step = np.diff(time_h)[:, None]
    left = np.clip(reached_h[None, :] - time_h[:-1, None], 0.0, step)
    room = room_c[1:]
    used = {
        base.market: (base.per_kelvin * np.maximum(0.0, room - base.base_c) * left).sum(axis=0)
        for base in bases
    }
    highest = np.where(left > 0.0, room, -np.inf).max(axis=0)
    return HeatForecast(used, highest, np.isfinite(reached_h), weights)
