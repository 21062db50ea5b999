"""What may grow or die in the piece meanwhile: orientation beside the rules."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from saltloft.foundation.bands import Band
from saltloft.process.fermentation.model import AcidModel, Course, Members, undissociated
from saltloft.science.growth import (
    CardinalGrowth,
    GrowthGate,
    KillCredit,
    SquareRootGrowth,
    cardinal_rate_h,
    credited_kill_log10,
    growth_possible,
    interaction,
    square_root_factors,
)
from saltloft.science.statistics import weighted_quantile

FloatArray = NDArray[np.float64]

_LN10 = float(np.log(10.0))
# Share of members with an open gate that still counts as 'growth possible'.
_OPEN_SHARE = 0.05


@dataclass(frozen=True)
class Organism:
    """How one organism grows and dies.

    Args:
        name: str.
        growth: CardinalGrowth or SquareRootGrowth.
        rate_log_sd: float. Spread of the rate. [1]
        gate: GrowthGate.
        kill: KillCredit or None. None: no death is credited.
    """

    name: str
    growth: CardinalGrowth | SquareRootGrowth
    rate_log_sd: float
    gate: GrowthGate
    kill: KillCredit | None = None


@dataclass(frozen=True)
class Competition:
    """What all organisms share.

    Args:
        lag_work: float. Rate times lag. [1]
        flora_min_log10, flora_max_log10: float. A lactic flora that comes to rest between the two
            stops the others at its own highest density. [log10 cfu/g]
        highest_log10: float. Highest count of a pathogen. [log10 cfu/g]
        start_log10: float. Count at stuffing. [log10 cfu/g]
    """

    lag_work: float
    flora_min_log10: float
    flora_max_log10: float
    highest_log10: float
    start_log10: float


@dataclass(frozen=True)
class OrganismAnswer:
    """One organism at the end of the stages.

    Args:
        growth_log10: Band. Growth with competition, from stuffing. [log10]
        kill_mean: float or None. Credited death, median member. [log10]
        kill_conservative: float or None. What may be leaned on. [log10]
        possible_until_h: float or None. Last hour at which growth was possible; None while it still is. [h]
    """

    growth_log10: Band
    kill_mean: float | None
    kill_conservative: float | None
    possible_until_h: float | None


def organism_answer(
    organism: Organism,
    course: Course,
    members: Members,
    model: AcidModel,
    competition: Competition,
    *,
    water_activity: FloatArray,
    z_rate: FloatArray,
    weights: FloatArray,
) -> OrganismAnswer:
    """Growth and credited death of one organism along a course.

    Args:
        organism: Organism.
        course: Course.
        members: Members.
        model: AcidModel.
        competition: Competition.
        water_activity: array (times, 2, 1 or members). Core then rim, 0..1. [1]
        z_rate: array (members,). Standard normal draws of the rate. [1]
        weights: array (members,). [1]

    Returns:
        OrganismAnswer.

    Notes:
        The faster of core and rim grows; the lactic flora slows it as it nears its own highest
        density and stops it there (Jameson). Death counts only once both places are past the gate.
    """
    acid = undissociated(course, model)
    wet = np.broadcast_to(water_activity, course.ph.shape)
    open_places = growth_possible(course.temperature_c, course.ph, wet, acid, organism.gate)
    rate = np.where(open_places, _rate(organism, course, wet, acid, members), 0.0)
    rate = rate * np.exp(organism.rate_log_sd * z_rate)
    growth = _grown(rate, course, competition)
    is_open = np.any(open_places, axis=1)
    ends = weighted_quantile(growth, weights, [0.05, 0.5, 0.95])
    shares = (is_open * weights).sum(axis=1)
    still = np.flatnonzero(shares > _OPEN_SHARE)
    until: float | None = float(course.time_h[still[-1]]) if still.size else 0.0
    if still.size and still[-1] == course.time_h.size - 1:
        until = None
    mean, conservative = _kill(organism, course, wet, is_open, weights)
    return OrganismAnswer(Band(*(float(end) for end in ends)), mean, conservative, until)


def _rate(
    organism: Organism, course: Course, wet: FloatArray, acid: FloatArray, members: Members
) -> FloatArray:
    if isinstance(organism.growth, CardinalGrowth):
        return cardinal_rate_h(course.temperature_c, course.ph, wet, organism.growth)
    factors = square_root_factors(
        course.temperature_c,
        course.ph,
        wet,
        undissociated_lactic_mol_m3=acid,
        nitrite_mg_kg=members.nitrite_mg_kg,
        model=organism.growth,
    )
    _, together = interaction(factors)
    return np.asarray(organism.growth.rate_25c_h * np.prod(factors, axis=0) * together)


def _grown(rate: FloatArray, course: Course, competition: Competition) -> FloatArray:
    """Growth of each member at the end, array (members,). [log10]"""
    step = np.diff(course.time_h)[:, None, None]
    middle = 0.5 * (rate[1:] + rate[:-1])
    work = np.cumsum(middle * step, axis=0)
    started = work > competition.lag_work
    at_rest = np.clip(
        course.density_log10.max(axis=0), competition.flora_min_log10, competition.flora_max_log10
    )
    left = np.clip(1.0 - 10.0 ** (course.density_log10[1:] - at_rest), 0.0, 1.0)
    total = np.sum(np.where(started, middle * left, 0.0) * step, axis=0) / _LN10
    highest = competition.highest_log10 - competition.start_log10
    return np.asarray(np.minimum(total.max(axis=0), highest))


def _kill(
    organism: Organism,
    course: Course,
    wet: FloatArray,
    is_open: NDArray[np.bool_],
    weights: FloatArray,
) -> tuple[float | None, float | None]:
    if organism.kill is None:
        return None, None
    # The colder place dies slower; the least acid and the wetter one decide what is credited.
    kill = credited_kill_log10(
        course.time_h * 3600.0,
        course.temperature_c.min(axis=1),
        course.ph.max(axis=1),
        wet.max(axis=1),
        growth_open=is_open,
        credit=organism.kill,
    )[-1]
    lower, middle = weighted_quantile(kill, weights, [0.05, 0.5])
    return float(middle), organism.kill.conservative * float(lower)


def answers(
    organisms: tuple[Organism, ...],
    course: Course,
    members: Members,
    model: AcidModel,
    competition: Competition,
    *,
    water_activity: FloatArray,
    z_rate: FloatArray,
    weights: FloatArray,
) -> Mapping[str, OrganismAnswer]:
    """`organism_answer` for each, by name.

    Args:
        organisms: tuple of Organism.
        course: Course.
        members: Members.
        model: AcidModel.
        competition: Competition.
        water_activity: array (times, 2, 1 or members). Core then rim, 0..1. [1]
        z_rate: array (members,). [1]
        weights: array (members,). [1]
    """
    return {
        organism.name: organism_answer(
            organism,
            course,
            members,
            model,
            competition,
            water_activity=water_activity,
            z_rate=z_rate,
            weights=weights,
        )
        for organism in organisms
    }
