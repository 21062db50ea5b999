"""The forecast of one lot: prior draws, learning from weighings, bands, targets and flags."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import TypedDict

import numpy as np
from numpy.typing import NDArray

from saltloft.foundation.errors import InputError
from saltloft.foundation.words import say
from saltloft.process.draws import Draws, draw
from saltloft.process.flags import flags_of, range_flags
from saltloft.process.kept_learned import Kept, KeptLearned, learned_from
from saltloft.process.kept_states import LATE_D, KeptStates
from saltloft.process.kill import KillModel, kill_of
from saltloft.process.learning import Learned, LotPrior, Measured, Weighing, learn
from saltloft.process.learning.recalibrate import Recalibration, recalibration_of
from saltloft.process.learning.share import NOTHING, Experience
from saltloft.process.mixture import ByLine, by_line
from saltloft.process.notes import air_notes, equilibrium_flags, fault_flags
from saltloft.process.outlook import outlook_of
from saltloft.process.parameters import DryingParameters
from saltloft.process.piece import Piece
from saltloft.process.programme import Programme
from saltloft.process.result import CrossSection, DryingForecast, Flag, SeriesBand, TargetDay
from saltloft.process.section import section_of
from saltloft.process.series import band_of, output_days, ph_band, quantity_of, series_of
from saltloft.process.simulate import Run, first_day, simulate
from saltloft.process.targets import TARGETS, target_day, with_kill
from saltloft.science.statistics import weighted_quantile

Array = NDArray[np.float64]

LONGEST_D = 400.0
MOST_READ_DAYS = 100


def _check(members: int, targets: Mapping[str, float], weighings: Sequence[Weighing]) -> None:
    if not 2 <= members <= 20_000:
        raise InputError(
            say("the number of members"), got=str(members), allowed="2 to 20000", key="ensemble.members"
        )
    if weighings and members < 20:
        raise InputError(
            say("too few members to learn from weighings"),
            got=str(members),
            allowed="20 to 20000 with weighings",
            key="ensemble.members",
        )
    for name, level in targets.items():
        if name not in TARGETS:
            raise InputError(say("no such target"), got=name, allowed=", ".join(TARGETS), key=name)
        if not np.isfinite(level):
            raise InputError(say("a target that is no number"), got=str(level), key=name)


def _horizon(run: Run, stated_d: float, days: Sequence[Array]) -> float:
    """Last day worth showing: all stated stages, and the targets of all but a few members."""
    latest = [float(weighted_quantile(day, None, 0.975)) for day in days]
    wanted = max([stated_d, *(min(day, LONGEST_D) for day in latest)])
    place = int(np.searchsorted(run.time_d, wanted - 1e-9))
    return float(run.time_d[min(place, len(run.time_d) - 1)])


def forecast(
    piece: Piece,
    programme: Programme,
    parameters: DryingParameters,
    *,
    targets: Mapping[str, float],
    weighings: Sequence[Weighing] = (),
    measured: Sequence[Measured] = (),
    prior: LotPrior | None = None,
    members: int = 400,
    seed: int = 1,
    lot: str = "case",
    kill: Sequence[KillModel] = (),
    kept: Kept | None = None,
    keep: Callable[[Kept], None] | None = None,
    experience: Experience | None = None,
) -> DryingForecast:
    """When a lot is ready and how it gets there, with its doubt.

    Args:
        piece: Piece.
        programme: Programme. The room's log as far as it goes, then the planned stages.
        parameters: DryingParameters.
        targets: mapping of a name of TARGETS to its level. [unit of the name]
        weighings: sequence of Weighing. Without any the prior comes back unchanged.
        measured: sequence of Measured. Water activity, moisture, diameters of samples.
        prior: LotPrior or None. What other lots of the house say; None: the literature alone.
        members: int, 2..20000.
        seed: int, 0 or more.
        lot: str. Name that keys the draws, so lots differ and each repeats itself.
        kill: sequence of KillModel. Organisms whose death may be credited.
        kept: Kept or None. What an earlier forecast of the lot left; used where it still fits.
        keep: function of Kept or None. Called with what the next forecast may go on from.
        experience: Experience or None. What the house knows of straight lines and of its own
            forecasts; None: nothing of other lots.

    Returns:
        DryingForecast. `kill_log10` holds only the organisms with a model.

    Raises:
        InputError: targets, weighings or members that cannot be; a composition that is none.
        NumericsError: a member that cannot be followed.
    """
    _check(members, targets, weighings)
    asked = _Asked(piece, programme, parameters, targets, weighings, measured, prior, members, seed, lot)
    learned, knowledge = _learned(asked, kept, wanted=keep is not None)
    whole, stated_d = _whole_run(asked, learned.draws, kept.states if kept else None)
    second = _by_line(asked, learned, experience)
    record = _recalibration(asked, experience)
    put_right = partial(record.added, asked_d=_last_read_d(asked)) if record.lots else None
    whole = replace(whole, by_line=second, put_right=put_right)
    days, horizon_d = _days(asked, whole, stated_d)
    run = whole.until(horizon_d)
    if keep is not None and programme.trace is not None:
        keep(Kept(knowledge, run.kept(programme.trace.end_d - LATE_D)))
    bands = {name: band_of(values, run.draws.lots) for name, values in series_of(run).items()}
    ph = ph_band(programme, run)
    if ph is not None:
        bands["ph"] = SeriesBand(*ph.T, *ph.T)
    kills = {model.organism: kill_of(run, model, None if ph is None else ph[:, 2]) for model in kill}
    outlook, ahead = outlook_of(run, parameters)
    more = (ahead, second.flag() if second else None, record.flag())
    return DryingForecast(
        time_d=run.time_d,
        horizon_d=horizon_d,
        bands=bands,
        targets={name: with_kill(day, run, kills) for name, day in days.items()},
        kill_log10=kills,
        flags=tuple(_flags(asked, run, learned, stated_d, more)),
        facts=parameters.facts,
        members=members,
        seed=seed,
        from_log_until_d=programme.trace.end_d if programme.trace else 0.0,
        likelihood=learned.likelihood,
        faults=learned.faults,
        linear=learned.linear,
        outlook=outlook,
        section=_slice(piece, programme, run, days.values()),
        line_share=0.0 if second is None else float(second.taken.mean()),
    )


@dataclass(frozen=True)
class _Asked:
    """What `forecast` was asked, as its arguments say."""

    piece: Piece
    programme: Programme
    parameters: DryingParameters
    targets: Mapping[str, float]
    weighings: Sequence[Weighing]
    measured: Sequence[Measured]
    prior: LotPrior | None
    members: int
    seed: int
    lot: str


class _Read(TypedDict):
    """What learning reads."""

    weighings: Sequence[Weighing]
    measured: Sequence[Measured]
    prior: LotPrior | None


def _days(asked: _Asked, whole: Run, stated_d: float) -> tuple[dict[str, TargetDay], float]:
    """The day of every target, and the last day worth showing."""
    days, reached = {}, []
    for name, level in asked.targets.items():
        quantity, falling = TARGETS[name]
        values = quantity_of(whole, quantity)
        days[name] = target_day(whole, values, level, falling=falling)
        reached.append(first_day(whole.time_d, values, level, falling=falling))
    return days, _horizon(whole, stated_d, reached)


def _flags(
    asked: _Asked, run: Run, learned: Learned, stated_d: float, more: Iterable[Flag | None]
) -> list[Flag]:
    """Everything a person should know about the run."""
    return [
        *air_notes(asked.programme, stated_d, float(run.time_d[-1])),
        *equilibrium_flags(run, asked.targets, pulsed=asked.programme.ends_pulsed),
        *flags_of(run, asked.parameters, mould=asked.piece.mould),
        *(flag for flag in more if flag is not None),
        *range_flags(run, asked.parameters),
        *fault_flags(learned.faults, asked.weighings),
    ]


def _by_line(asked: _Asked, learned: Learned, experience: Experience | None) -> ByLine | None:
    """The part of the members that follow a straight line; None where it has none."""
    if experience is None:
        diameter = asked.piece.diameter_m
        experience = Experience("", 0.5 * (diameter.low + diameter.high))
    return by_line(
        learned,
        list(asked.weighings),
        asked.parameters,
        experience,
        seed=asked.seed,
        lot=asked.lot,
    )


def _recalibration(asked: _Asked, experience: Experience | None) -> Recalibration:
    """What the house's earlier forecasts say of this one."""
    if experience is None:
        return Recalibration(NOTHING, "", 1000.0 * asked.piece.diameter_m.mean)
    calibre_mm = 1000.0 * experience.calibre_m
    return recalibration_of(experience.record, product=experience.product, calibre_mm=calibre_mm)


def _last_read_d(asked: _Asked) -> float:
    """Day of the last reading; 0 without any. [d]"""
    return max([0.0, *(one.day for one in asked.weighings), *(one.day for one in asked.measured)])


def _slice(piece: Piece, programme: Programme, run: Run, days: Iterable[TargetDay]) -> CrossSection:
    """Through the middle member to a little past the late end of the last target."""
    ends = [band.p95 or band.p50 for band in (day.mean for day in days)]
    horizon_d = float(run.time_d[-1])
    until_d = min(horizon_d, max((1.1 * end for end in ends if end), default=horizon_d))
    if programme.trace is None:
        return section_of(run, until_d)
    # Along a log a run may go on from a kept state, without its early profiles.
    return section_of(run, until_d, partial(simulate, piece, programme, run.parameters))


def _learned(asked: _Asked, kept: Kept | None, *, wanted: bool) -> tuple[Learned, KeptLearned | None]:
    """What the readings teach, and what of it the next forecast may take as it is."""
    case = (asked.piece, asked.programme, asked.parameters)
    plain = draw(asked.seed, asked.lot, asked.members, len(asked.programme.stages))
    read: _Read = {"weighings": asked.weighings, "measured": asked.measured, "prior": asked.prior}
    rests_on = ""
    if (kept is not None or wanted) and (asked.weighings or asked.measured):
        rests_on = learned_from(*case, plain, **read)
        if kept is not None and kept.learned is not None and kept.learned.rests_on == rests_on:
            return kept.learned.learned, kept.learned
    learned = learn(*case, plain, **read, seed=asked.seed, lot=asked.lot)
    return learned, KeptLearned(rests_on, learned) if rests_on else None


def _whole_run(asked: _Asked, draws: Draws, kept: KeptStates | None) -> tuple[Run, float]:
    """The run as far as any answer may need, and the stated end of the programme. [d]"""
    programme = asked.programme
    read_d = [*(one.day for one in asked.weighings), *(one.day for one in asked.measured)]
    stated = programme.start_d + sum(stage.duration_d.high for stage in programme.stages)
    last = max([stated, *read_d])
    sealed = bool(programme.stages) and programme.stages[-1].packed
    until = last if sealed or not asked.targets else max(last, LONGEST_D)
    # Days of readings are shown as they are; of very many, the forecast's own days will do.
    shown = sorted(set(read_d)) if len(set(read_d)) <= MOST_READ_DAYS else []
    time_d = output_days(until, (*shown, stated))
    return simulate(asked.piece, programme, asked.parameters, draws, time_d, kept=kept), last
